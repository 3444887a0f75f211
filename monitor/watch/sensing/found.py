"""Sensors as an installer meets them: heard and not named yet, with the command to add each; or hardly right."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from shlex import quote
from statistics import median
from typing import NamedTuple

from monitor.basis.times import DAY, HOUR, rfc3339
from monitor.basis.units import format_duration, to_base
from monitor.basis.values import AIR, SENSORS_CHAIN, Kind, OriginKind, Quantity
from monitor.intake.moment import LIVE_WITHIN
from monitor.rules.channel import as_claimed
from monitor.rules.frame import Sensor, effective
from monitor.rules.plausible import looks_like
from monitor.rules.stays import Stay
from monitor.tell.words import Display, measure
from monitor.watch.desk import Desk
from monitor.watch.job.jobs import closed_at
from monitor.watch.papers.shown import display

APART = {Quantity.AIR_TEMPERATURE: 5.0, Quantity.AIR_HUMIDITY: 20.0}  # hardly one room's air; figures ours [K, %]
FEW = 3  # strangers that are named unasked

_SAYS_NOTHING = re.compile(r"(?i)(state|status|sensors?|climate|data|values?|tele(metry)?|air)?")  # of a level
_LAST = 5  # readings whose middle one stands for what a sensor says
_UNIT_WORDS = {"degC": "degrees Celsius", "degF": "degrees Fahrenheit", "1": "fractions"}
_UNIT_OPTIONS = {"1": "fraction"}


class Said(NamedTuple):
    """What a sensor says of a quantity of late: as sent, the unit it is taken for, and in degC or %.

    `t` when last, `late_by` how far behind its arrival that was, where it came as back-fill. [ms]
    """

    quantity: Quantity
    value: float
    unit: str
    base: float
    t: int
    late_by: int


def unnamed(desk: Desk) -> list[str]:
    """The addresses that are heard and have no name."""
    return [heard.stream for heard in desk.store.heard() if heard.name is None]


def add_command(desk: Desk, stream: str, job: str | None = None) -> str:
    """The command that names a sensor and brings it to a job: to `job`, else to the only open one, else to JOB."""
    return "".join([
        f"wallclime sensor add {_free_name(desk, stream)} --topic {_quoted(stream)}",
        f" --job {_quoted(job or _only_job(desk) or 'JOB')}",
        *(f" --unit {_option(unit)}" for _, unit in odd_units(_said(desk, stream))),
    ])  # fmt: skip


def odd_units(said: Iterable[Said], beside: Sequence[float] = ()) -> list[tuple[Said, str]]:
    """Of what looks like another unit: what is said, and that unit. `beside`: the temperatures of others. [degC]"""
    found = [
        (one, looks_like(one.quantity, one.value, one.unit, beside if one.quantity is AIR[0] else ())) for one in said
    ]
    return [(one, unit) for one, unit in found if unit is not None]


def looks(desk: Desk, stream: str) -> list[str]:
    """What looks wrong about the units of a sensor without a name."""
    return [
        f"{said.value:g}: these look like {_UNIT_WORDS[unit]}, --unit {_option(unit)}"
        for said, unit in odd_units(_said(desk, stream))
    ]


def strangers(desk: Desk, job: str) -> list[str]:
    """What to do where no sensor hears an open job's place: the commands that add those which are heard."""
    if closed_at(desk, job) is not None or any(s.place in desk.book.places(job) for s in _standing(desk)):
        return []
    found = unnamed(desk)
    more = [f"and {len(found) - FEW} more: wallclime sensor seen"] if len(found) > FEW else []
    return [_stranger(desk, stream, job) for stream in found[:FEW]] + more


def _stranger(desk: Desk, stream: str, job: str) -> str:
    odd = "".join(f" ({said})" for said in looks(desk, stream))
    return f"heard and at no place yet{odd}: {add_command(desk, stream, job)}"


def doubts(desk: Desk, job: str) -> list[str]:
    """What can hardly be right of the sensors at a job's places now: their clocks, their units, where they are."""
    places = sorted(desk.book.places(job)) if closed_at(desk, job) is None else []
    return [line for place in places for line in _doubts_at(desk, job, place)]


def _doubts_at(desk: Desk, job: str, place: str) -> Iterator[str]:
    sensors = desk.book.frame_at(job, desk.clock.now()).sensors
    here = sorted((s for s in _standing(desk) if s.place == place and s.role == "air"), key=lambda stay: stay.sensor)
    said = {stay.sensor: _said(desk, sensors[stay.sensor].stream, sensors[stay.sensor]) for stay in here}
    yield from (_late(name, found[0]) for name, found in said.items() if found and found[0].late_by > LIVE_WITHIN)
    odd = [
        _odd_unit(stay, one, unit)
        for stay in here
        for one, unit in odd_units(said[stay.sensor], _warmth({n: s for n, s in said.items() if n != stay.sensor}))
    ]
    yield from odd
    if not odd:
        now = {
            name: {one.quantity: one.base for one in found if one.t > desk.clock.now() - sensors[name].hold}
            for name, found in said.items()
        }
        yield from _apart(desk, here, now, display(desk, job))[:1]


def _apart(desk: Desk, here: Sequence[Stay], now: Mapping[str, Mapping[Quantity, float]], shown: Display) -> list[str]:
    """That sensors of one place say what one room's air can't be, and how to take one away that is not there."""
    lines = []
    for quantity in AIR:
        said = {name: values[quantity] for name, values in now.items() if quantity in values}
        if said and max(said.values()) - min(said.values()) > APART[quantity]:
            told = ", ".join(f"{name} {measure(quantity, value, shown)}" for name, value in said.items())
            numbers = ", ".join(f"{stay.sensor} {_entry_of(desk, stay)}" for stay in here if stay.sensor in said)
            lines.append(
                f"that can hardly be one room's air: {told}. Is each of them beside the boxes? One that has left: "
                f"wallclime sensor release NAME; one that never was there: wallclime sensor withdraw NUMBER ({numbers})"
            )
    return lines


def _warmth(said: Mapping[str, Sequence[Said]]) -> list[float]:
    return [one.base for found in said.values() for one in found if one.quantity is AIR[0]]


def _late(name: str, said: Said) -> str:
    return (
        f"{name}: its clock is {format_duration(said.late_by)} behind, so that its readings stand at a wrong time "
        "and say nothing of now; set it (hour, zone, summer time)"
    )


def _odd_unit(stay: Stay, said: Said, unit: str) -> str:
    which = "humidity" if unit == "1" else "temperature"
    taken = "" if said.unit == "1" else f" {said.unit}"
    return (
        f"{stay.sensor}: {said.value:g}{taken}: these look like {_UNIT_WORDS[unit]}: wallclime sensor unit "
        f"{_quoted(stay.sensor)} --quantity {which} --unit {_option(unit)} --from {rfc3339(stay.start)} --still "
        "--reason TEXT"
    )


def _standing(desk: Desk) -> list[Stay]:
    now = desk.clock.now()
    return [stay for stay in desk.book.stays() if stay.start <= now and (stay.end is None or stay.end > now)]


def _entry_of(desk: Desk, stay: Stay) -> int:
    """The number of the entry that brought a sensor where it is."""
    entries = effective(desk.book.entries(SENSORS_CHAIN))
    return next(
        entry.number
        for entry in reversed(entries)
        if entry.kind is Kind.ASSIGNMENT
        and entry.body.get("from") == stay.start
        and entry.body["sensor"] == stay.sensor
    )


def _said(desk: Desk, stream: str, sensor: Sensor | None = None) -> list[Said]:
    """The middle one of the last readings of each quantity of the air that was heard in the last day."""
    bounds = {quantity: desk.store.bounds(stream, quantity) for quantity in AIR}
    return [
        _said_of(desk, stream, quantity, last[1], sensor)
        for quantity, last in bounds.items()
        if last is not None and last[1] > desk.clock.now() - DAY
    ]


def _said_of(desk: Desk, stream: str, quantity: Quantity, t: int, sensor: Sensor | None) -> Said:
    series = desk.store.series(stream, quantity, t - HOUR)
    if sensor is not None:
        series = as_claimed(series, quantity, sensor)
    alike = series.value[series.unit == series.unit[-1]]
    unit, value = series.units[series.unit[-1]], float(median(alike[-_LAST:]))
    late = series.origins[series.origin[-1]].kind is OriginKind.BACK_FILL
    arrived = int(desk.store.arrivals(stream, quantity, t, t + 1)[-1])
    return Said(quantity, value, unit, float(to_base(value, unit)), t, arrived - t if late else 0)


def _free_name(desk: Desk, stream: str) -> str:
    """A name out of an address: its last level that tells something, with a number where it is taken."""
    levels = [re.sub(r"[^A-Za-z0-9._-]", "", level) for level in re.split(r"[/:]", stream)]
    telling = [level for level in levels if not _SAYS_NOTHING.fullmatch(level)]
    name = telling[-1][:40].lstrip("-") if telling else ""
    name, taken = name or "sensor-1", desk.book.sensors()
    return next(one for one in (name, *(f"{name}-{n}" for n in range(2, len(taken) + 3))) if one not in taken)


def _only_job(desk: Desk) -> str | None:
    found = [name for name in desk.book.names() if closed_at(desk, name) is None]
    return found[0] if len(found) == 1 else None


def _option(unit: str) -> str:
    return _UNIT_OPTIONS.get(unit, unit)


def _quoted(text: str) -> str:
    return quote(text) if text.isprintable() else repr(text)
