"""The site check and the wall's moisture, as entries of a job's log.

Keys of a site check, all optional, None counts as left out; what is left out is unknown, and a later check adds to an
earlier one. Lengths in m, positions from the left end or the floor, deviations and offsets towards the room positive.

- `surface`: "drywall", "plaster", "wood", "masonry" or "other"; `finish`: "bare", "primed", "painted", "wallpaper" or
  "panelling"
- `secure`, `clean`, `dry`, `stains`: bool; `windows`: "tight", "leaking" or "none"
- `heat_sources`: list of {"what": str, "distance_m": float}, empty for none; `heat_as_code`: bool, whether local code
  and the makers of all of them allow those distances
- `several_homes`, `stairs`, `corridor`: bool; `flame_spread`: str, the planks' class where one of the three is true
- `old_paint`: "no", "yes", "unknown" or "tested": old paint or texture that would be sanded
- `flatness`: list of {"direction": "along", "across", "rising diagonal" or "falling diagonal", "points": list of
  [position, deviation], "name": str (optional), "straightedge_m": float (optional), "extent_m": float (optional, the
  wall's own by default)}
- `plumb`: list of {"offset_m": float, "over_m": float, "at_m": float (optional)}
- `level`: list of [position, height] of the first row
- `uncertainty_m`: float, the expanded uncertainty of a deviation, an offset and a height; 1/64 in by default
- `note`: str

Keys of a wall moisture: `meter`, `scale` (with its setting), `material`: str; `points`: list of {"where": str,
"value": float}; `dry_reference`: float (optional), of the same material; `note`: str (optional). Values in points of
the meter's scale.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any, get_args

from monitor.basis.errors import Fault, RecordError, WallclimeError
from monitor.basis.units import INCH, System
from monitor.basis.values import Draft, Entry, Kind
from monitor.config import tables
from monitor.rules.assessment import Condition
from monitor.rules.cautions import Caution, at_check
from monitor.rules.frame import Job
from monitor.rules.install.flatness import Direction
from monitor.rules.install.moisture import moisture_condition
from monitor.rules.install.site import SAID, judge_site, line_of, site_condition
from monitor.watch.desk import Desk
from monitor.watch.job.entering import add
from monitor.watch.job.jobs import past

READ_TO = INCH / 64  # expanded uncertainty of a rule read to 1/64 in, where none is given; ours [m]

_POSITION, _DEVIATION = tables.number(0, 1000), tables.number(-10, 10)


def _yes_no(value: Any, where: str) -> bool:
    if not isinstance(value, bool):
        raise tables.fault(f"{value!r} is not yes or no", where, "Say true or false")
    return value


def _listed(value: Any, where: str) -> list[Any]:
    if not isinstance(value, list | tuple):
        raise tables.fault(f"{value!r} is not a list", where, "Give a list, of one item if there is one")
    return list(value)


def _pairs(value: Any, where: str) -> list[list[float]]:
    """Pairs of a position and what was measured there."""
    found = []
    for number, pair in enumerate(_listed(value, where), 1):
        spot = f"{where}, point {number}"
        if not isinstance(pair, list | tuple) or len(pair) != 2:
            raise tables.fault(f"{pair!r} is not a pair", spot, "Give the position and what was measured there")
        found.append([float(_POSITION(pair[0], spot)), float(_DEVIATION(pair[1], spot))])
    return found


def _items(needed: Mapping[str, tables.Reader], optional: Mapping[str, tables.Reader]) -> tables.Reader:
    """A list of things, each with the keys `needed` and maybe those of `optional`."""

    def read_items(value: Any, where: str) -> list[dict[str, Any]]:
        return [_item(item, f"{where} {number}") for number, item in enumerate(_listed(value, where), 1)]

    def _item(item: Any, spot: str) -> dict[str, Any]:
        if not isinstance(item, Mapping):
            raise tables.fault(f"{item!r} has no keys", spot, f"Give {', '.join(needed)}")
        told = {key: value for key, value in item.items() if value is not None}
        faults = [Fault("it is missing", f"{spot}: {key}", "Give it") for key in needed if key not in told]
        figures, misread = tables.read(told, {**needed, **optional}, spot)
        if faults + misread:
            raise WallclimeError.of(faults + misread)
        return {key: figure.value for key, figure in figures.items()}

    return read_items


_SITE: Mapping[str, tables.Reader] = {
    **{key: tables.one_of(*SAID[key]) for key in ("surface", "finish")},
    **dict.fromkeys(("secure", "clean", "dry", "stains"), _yes_no),
    "windows": tables.one_of(*SAID["windows"]),
    "heat_sources": _items({"what": tables.line, "distance_m": tables.number(0, 100)}, {}),
    **dict.fromkeys(("heat_as_code", "several_homes", "stairs", "corridor"), _yes_no),
    "flame_spread": tables.line,
    "old_paint": tables.one_of(*SAID["old_paint"]),
    "flatness": _items(
        {"direction": tables.one_of(*get_args(Direction)), "points": _pairs},
        {"name": tables.line, "straightedge_m": tables.number(0.1, 100), "extent_m": tables.number(0.01, 1000)},
    ),
    "plumb": _items({"offset_m": _DEVIATION, "over_m": tables.number(0.1, 100)}, {"at_m": _POSITION}),
    "level": _pairs,
    "uncertainty_m": tables.number(1e-5, 0.1),
    "note": tables.prose,
}
_MOISTURE: Mapping[str, tables.Reader] = {
    **dict.fromkeys(("meter", "scale", "material"), tables.line),
    "dry_reference": tables.number(0, 10_000),
    "points": _items({"where": tables.line, "value": tables.number(0, 10_000)}, {}),
    "note": tables.prose,
}
_MEASURED = ("flatness", "plumb", "level")


def site_check(desk: Desk, job: str, facts: Mapping[str, Any], *, at: int | None, who: str) -> Entry:
    """Record what was found at the wall; `facts` by the keys above. Raises RecordError with every fault of them."""
    body = checked_site(facts)
    if not set(body) - {"note", "uncertainty_m"}:
        raise RecordError(
            "nothing is answered", where="site check", mend="Answer a question, or more: --help lists them"
        )
    if any(body.get(key) for key in _MEASURED):
        body.setdefault("uncertainty_m", READ_TO)
    of_job = desk.book.job(job)
    if "flatness" in body:
        body["flatness"] = [_extended(line, of_job) for line in body["flatness"]]
    _inside(body.get("level", ()), of_job)
    return add(desk, job, Draft(Kind.SITE_CHECK, past(desk, at, "site check"), who, body))


def wall_moisture(desk: Desk, job: str, facts: Mapping[str, Any], *, at: int | None, who: str) -> Entry:
    """Record what a moisture meter showed; `facts` by the keys above. Raises RecordError with every fault of them."""
    body = checked_moisture(facts)
    return add(desk, job, Draft(Kind.WALL_MOISTURE, past(desk, at, "wall moisture"), who, body))


def checked_site(facts: Mapping[str, Any]) -> dict[str, Any]:
    """What is said of a site check, each item checked. Raises RecordError with every fault."""
    return _read(facts, _SITE, "site check")


def checked_moisture(facts: Mapping[str, Any]) -> dict[str, Any]:
    """What is said of a wall moisture, each item checked. Raises RecordError with every fault."""
    body = _read(facts, _MOISTURE, "wall moisture")
    missing = [key for key in ("meter", "scale", "material", "points") if not body.get(key)]
    if missing:
        raise RecordError.of(
            [Fault("it is missing", f"wall moisture: {key}", "A reading means nothing without it") for key in missing]
        )
    return body


def site_told(desk: Desk, job: str) -> tuple[Condition, ...]:
    """Every question of the site check as it stands now, the whole of it last."""
    frame = desk.book.frame_at(job, desk.clock.now())
    units: System = "us" if frame.job.units == "us" else "si"
    length, at = frame.job.length, frame.checked_at(desk.clock.now())
    questions = judge_site(frame.site, frame.profile, length=length, at=at, units=units)
    return (*questions, site_condition(frame.site, frame.profile, length=length, at=at, units=units))


def site_cautions(desk: Desk, job: str, questions: Iterable[Condition]) -> tuple[Caution, ...]:
    """What can hurt at the wall as it stands now; `questions` as `site_told` gives them."""
    site = desk.book.frame_at(job, desk.clock.now()).site
    answers = {} if site is None else {key: answer.value for key, answer in site.answers.items()}
    return at_check(answers, {one.name for one in questions if one.verdict == "fail"})


def moisture_told(desk: Desk, job: str) -> Condition:
    """The wall's moisture as it stands now."""
    frame = desk.book.frame_at(job, desk.clock.now())
    return moisture_condition(frame.moisture, frame.profile, at=frame.checked_at(desk.clock.now()))


def _read(facts: Mapping[str, Any], readers: Mapping[str, tables.Reader], where: str) -> dict[str, Any]:
    """What was said, each item checked, in the order of `readers`. Raises RecordError."""
    figures, faults = tables.read({key: value for key, value in facts.items() if value is not None}, readers, where)
    if faults:
        raise RecordError.of(faults)
    return {key: figures[key].value for key in readers if key in figures}


def _extended(told: Mapping[str, Any], job: Job) -> dict[str, Any]:
    """A line with the wall's length along it, which holds for good. Raises RecordError for points that can't be."""
    own = {"along": job.length, "across": job.height}.get(told["direction"], math.hypot(job.length, job.height))
    line = {"extent_m": own, **told}
    try:
        line_of(line)
    except WallclimeError as exc:
        raise RecordError.of(exc.faults) from exc
    return line


def _inside(points: Any, job: Job) -> None:
    for position, _ in points:
        if position > job.length + 1e-9:
            raise RecordError(
                f"the position {position:g} m is outside the wall's {job.length:g} m",
                where="first row level",
                mend="Measure from the wall's left end, and check the unit",
            )
