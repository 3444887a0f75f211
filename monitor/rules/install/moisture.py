"""Is the wall dry? By the difference from a dry place of the same material, read with the same meter on the same scale.

No standard says how moist drywall may be, and a meter's scale is its own: a bare reading is not judged.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from monitor.basis.times import DAY
from monitor.basis.values import Entry, Kind
from monitor.config.profile import Profile
from monitor.rules.assessment import Condition, Verdict
from monitor.rules.install.site import too_old

_NOISE = 1e-9  # of the arithmetic [points]


class Moisture(NamedTuple):
    """What a meter showed at places (where, value) of one material at `at` [ms]; values in points of its scale."""

    material: str
    points: tuple[tuple[str, float], ...]
    dry_reference: float | None
    at: int


def moisture_of(entries: Iterable[Entry]) -> tuple[Moisture, ...]:
    """The newest measurement of each material among `entries`, corrections applied; in order of its name."""
    found: dict[str, Moisture] = {}
    measured = [entry for entry in entries if entry.kind is Kind.WALL_MOISTURE]
    for entry in sorted(measured, key=lambda entry: (entry.at, entry.number)):
        body = entry.body
        points = tuple((point["where"], float(point["value"])) for point in body["points"])
        found[body["material"].casefold()] = Moisture(body["material"], points, body.get("dry_reference"), entry.at)
    return tuple(found[name] for name in sorted(found))


def moisture_condition(found: Sequence[Moisture], profile: Profile, *, at: int) -> Condition:
    """The wall's moisture as one condition of readiness: every material must be dry.

    `at` is the start of the installation, or the instant asked for while it has not begun. [ms]
    """
    name = "wall moisture"
    if not found:
        return Condition(name, "unknown", "no wall moisture is recorded")
    told = [_judged(one, profile, at) for one in found]
    for verdict in ("fail", "unknown", "pass"):
        if said := [
            f"{one.material}: {text}" for one, (is_so, text) in zip(found, told, strict=True) if is_so == verdict
        ]:
            break
    return Condition(name, verdict, "; ".join(said))


def _judged(one: Moisture, profile: Profile, at: int) -> tuple[Verdict, str]:
    if old := too_old(one.at, at, profile.site.moisture_holds):
        return "unknown", f"it is {old}; a measurement holds for {profile.site.moisture_holds / DAY:g} days"
    dry, most = one.dry_reference, profile.site.above_dry
    if dry is None:
        return "unknown", "no dry reference is recorded; a bare reading is not judged, as no published limit exists"
    allowed = f"{most:g} {'point' if most == 1 else 'points'} of the meter's scale"
    wet = [f"{where} by {value - dry:.4g}" for where, value in one.points if value - dry > most + _NOISE]
    if wet:
        return "fail", f"more than {allowed} above the dry reference of {dry:g}: {', '.join(wet)}"
    where, value = max(one.points, key=lambda point: point[1])
    return "pass", f"at most {allowed} above the dry reference of {dry:g}; the highest is {where}, {value:g}"
