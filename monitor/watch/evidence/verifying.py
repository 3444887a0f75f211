"""Checking a bundle without a home: what seal finds, and whether the verdict follows from what is in it."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any, NamedTuple, cast

from monitor.basis.errors import WallclimeError
from monitor.basis.times import ms_of, zone_of
from monitor.basis.units import System
from monitor.rules.assessment import RULES_VERSION
from monitor.rules.begun import open_at_start
from monitor.rules.frame import job_of
from monitor.seal import layout
from monitor.seal.canonical import text_of
from monitor.seal.verify import Verified, verify
from monitor.tell.pages.evidence import figures_of, missing_figures, names_digest
from monitor.tell.words import Display
from monitor.watch.evidence.rejudging import Material, Shown, judged, profile_of

_CLOSE = 1e-9  # of two figures that were computed on two machines


class Checked(NamedTuple):
    """What was found: of the bundle, and of the verdict in it (`judged`: whether that could be computed anew)."""

    found: Verified
    faults: tuple[str, ...]
    remarks: tuple[str, ...]
    judged: bool

    @property
    def whole(self) -> bool:
        """Whether there is no fault at all."""
        return self.found.whole and not self.faults


def check(
    root: Path, *, heads: Sequence[str] = (), key: str | None = None, authorities: Sequence[bytes] = ()
) -> Checked:
    """Check the bundle in `root` and compute its verdict anew; see seal.verify. Raises RecordError."""
    found = verify(root, heads=heads, key=key, authorities=authorities)
    if found.about.disclosure:
        return Checked(found, (), ("The verdict was not computed anew: a disclosure does not hold all of it.",), False)
    if not found.whole:
        return Checked(found, (), ("The verdict was not computed anew, as the bundle has faults.",), False)
    try:
        faults, remarks = _compared(found)
    except (WallclimeError, ValueError, TypeError, KeyError, LookupError, AttributeError, StopIteration) as exc:
        # The bundle is as it was signed, so it was made like this, by another program or to deceive.
        what = f"data/{layout.ASSESSMENT}: the verdict can't be computed anew ({exc}). It rests on the report alone"
        return Checked(found, (what,), (), False)
    return Checked(found, tuple(faults), tuple(remarks), not remarks)


def _compared(found: Verified) -> tuple[list[str], list[str]]:
    """Faults and remarks of the verdict that is in a bundle."""
    text = found.document(layout.ASSESSMENT)
    page = found.document(layout.REPORT)
    if text is None or page is None:
        return [f"data/{layout.ASSESSMENT}: it or the report is not there. There is no verdict to compare"], []
    stated = json.loads(text)
    if stated["rules_version"] != RULES_VERSION:
        return [], [
            f"The verdict was computed by rules of version {stated['rules_version']} and not anew: this program has "
            f"version {RULES_VERSION}."
        ]
    as_of = ms_of(datetime.fromisoformat(stated["as_of"]))
    material = Material(found.log, found.sensors_log, Shown(found.series), found.refused)
    anew = judged(material, as_of)
    faults = [
        f"data/{layout.ASSESSMENT}: {where} is not what readings and log say. It was not made from this record"
        for where in list(differences(json.loads(text_of(anew.to_json())), stated))[:20]
    ]
    if found.document(layout.PROFILE) != profile_of(found.log, as_of).text.encode():
        what = "it is not the profile that the log has in force. The verdict rests on that of the log"
        faults.append(f"data/{layout.PROFILE}: {what}")
    html = page.decode()
    if not names_digest(html, text):
        faults.append(f"data/{layout.REPORT}: it was made from another Assessment. Rely on neither")
    job = job_of(found.log)
    display = Display(zone_of(job.zone), cast(System, job.units))
    figures = figures_of(anew, display, open_at_start(found.log, as_of, lambda at: judged(material, at)))
    for name, said in missing_figures(html, figures):
        faults.append(f"data/{layout.REPORT}: it does not show {name} as it is: {said!r}. The page says something else")
    return faults, []


def differences(a: Any, b: Any, where: str = "") -> Iterator[str]:
    """The places at which two JSON values differ, such as "coverage.known_h"; figures may by a hair."""
    if isinstance(a, dict) and isinstance(b, dict):
        for name in sorted({*a, *b}):
            at = f"{where}.{name}" if where else name
            yield from differences(a[name], b[name], at) if name in a and name in b else [at]
    elif isinstance(a, list) and isinstance(b, list) and len(a) == len(b):
        for place, (one, other) in enumerate(zip(a, b, strict=True)):
            yield from differences(one, other, f"{where}[{place}]")
    elif not _same(a, b):
        yield where


def _same(a: Any, b: Any) -> bool:
    figures = all(isinstance(one, int | float) and not isinstance(one, bool) for one in (a, b))
    return math.isclose(a, b, rel_tol=_CLOSE, abs_tol=_CLOSE) if figures else type(a) is type(b) and bool(a == b)
