"""A part of a bundle, chosen in words; needs no home."""

from __future__ import annotations

import re
from pathlib import Path
from typing import NamedTuple

from monitor.basis.clock import Clock, SystemClock
from monitor.basis.errors import RecordError, WallclimeError
from monitor.basis.segment import ms_of_day
from monitor.basis.values import SENSORS_CHAIN, Entry, Quantity
from monitor.intake.handover import handed_over
from monitor.seal import layout
from monitor.seal.disclose import Choice, disclose
from monitor.seal.verify import Verified, verify
from monitor.watch.evidence.sealing import SOFTWARE

_RANGE = re.compile(r"(\d{1,9})(?:-(\d{1,9}))?")


class Asked(NamedTuple):
    """What is to be shown: UTC days, channels ("air_humidity", "STREAM air_humidity"), entries "1-5,9", all photos."""

    first: str | None = None
    last: str | None = None
    channels: tuple[str, ...] = ()
    entries: str | None = None
    photos: bool = False


def write(root: Path, target: Path, asked: Asked, *, clock: Clock | None = None) -> list[str]:
    """Disclose what is asked for of the bundle in `root`; the files that were left out for what they say of a place.

    Raises RecordError, ReportError.
    """
    source = verify(root)
    log = {entry.number for entry in source.log}
    withhold = {} if asked.photos else telling(source)
    choice = Choice(
        days=_days(asked),
        channels=_channels(source, asked.channels),
        entries=None if asked.entries is None else _entries(source, asked.entries, log),
        withhold=frozenset(withhold),
    )
    disclose(source, target, choice, made=(clock or SystemClock()).now(), software=SOFTWARE, key=None)
    return sorted(withhold.values())


def telling(source: Verified) -> dict[str, str]:
    """The pictures of a bundle that hold more than the picture: SHA-256 -> the name of the file in the log."""
    found = {}
    for entry in [*source.log, *source.sensors_log]:
        if str(entry.body.get("media_type", "")).startswith("image/"):
            sha256 = str(entry.body["sha256"])
            content = source.document(layout.attachment_name(sha256, str(entry.body["media_type"])))
            if content is not None and not is_bare(content):
                found[sha256] = str(entry.body.get("file", sha256))
    return found


def is_bare(content: bytes) -> bool:
    """Whether a picture has nothing to strip before it is handed over."""
    try:
        return handed_over(content) == content
    except WallclimeError:
        return False


def _days(asked: Asked) -> tuple[str, str] | None:
    if asked.first is None and asked.last is None:
        return None
    for option, day in (("--from", asked.first), ("--to", asked.last)):
        try:
            ms_of_day(day or "2026-01-05")
        except ValueError as exc:
            raise RecordError(f"{day!r} is no day", where=option, mend="Write it like 2026-01-05") from exc
    return asked.first or "0001-01-01", asked.last or "9999-12-30"


def _channels(source: Verified, asked: tuple[str, ...]) -> frozenset[tuple[str, Quantity]] | None:
    if not asked:
        return None
    found: set[tuple[str, Quantity]] = set()
    for text in asked:
        stream, _, name = text.rpartition(" ")
        known = [quantity for quantity in Quantity if quantity.value == name]
        if not known or stream not in ("", *source.about.sensors):
            what = f"there is no sensor {stream!r} in the bundle" if known else f"{name!r} is no quantity"
            mend = f"Quantities are {', '.join(Quantity)}; sensors {', '.join(source.about.sensors)}"
            raise RecordError(what, where="--channel", mend=mend)
        found |= {(one, known[0]) for one in ([stream] if stream else source.about.sensors)}
    return frozenset(found)


def _entries(source: Verified, text: str, log: set[int]) -> frozenset[tuple[str, int]]:
    """The chosen entries of the job's log; of the sensors' log all that is shown, as readings mean nothing without."""
    chosen: set[int] = set()
    for part in text.replace(" ", "").split(","):
        found = _RANGE.fullmatch(part)
        if found is None:
            raise RecordError(f"{part!r} is no number of an entry", where="--entries", mend='Write it like "1-5,9"')
        numbers = range(int(found[1]), int(found[2] or found[1]) + 1)
        if len(numbers) == 0 or not log & set(numbers):
            raise RecordError(
                f"there is no entry {part}", where="--entries", mend=f"The log shows {min(log)} to {max(log)}"
            )
        chosen |= log & set(numbers)
    sensors: list[Entry] = list(source.sensors_log)
    return frozenset({(source.about.job, number) for number in chosen}) | {(SENSORS_CHAIN, e.number) for e in sensors}
