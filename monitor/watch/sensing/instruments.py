"""Checks of instruments: what was compared becomes an entry of the sensors' chain, and the jobs are judged anew."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Literal, NamedTuple

from monitor.basis.errors import RecordError
from monitor.basis.times import DAY
from monitor.basis.values import SENSORS_CHAIN, Draft, Entry, Kind, Quantity
from monitor.climate.salts import fixed_point
from monitor.rules.assessment import Assessment
from monitor.rules.frame import checks_of, effective
from monitor.rules.instrument import Point, fit, in_force
from monitor.watch.desk import Desk
from monitor.watch.job.diary import AIR_RANGE
from monitor.watch.job.jobs import past
from monitor.watch.judging import assess, note_all_completions
from monitor.watch.sensing.sensors import MOST_UNCERTAIN, known

VALID = 365 * DAY  # how long a check holds unless it is said; ours, no published source [ms]
LONGEST_VALID = 3650 * DAY  # ours: more is a slip of the pen [ms]
BESIDE = {Quantity.AIR_TEMPERATURE: 0.5, Quantity.AIR_HUMIDITY: 2.0}  # U of a second instrument; ours [K, %RH]
FURTHEST = {Quantity.AIR_TEMPERATURE: 10.0, Quantity.AIR_HUMIDITY: 30.0}  # ours: more is broken or a slip [K, %RH]

Level = Literal["side by side", "salt", "laboratory"]


class Compared(NamedTuple):
    """One reading of the sensor beside what it was compared with; `how` in words. degC or %RH."""

    quantity: Quantity
    point: Point
    how: str


class Checked(NamedTuple):
    """The entries of a check, and each job that it bears on as it was judged before and after."""

    entries: tuple[Entry, ...]
    verdicts: Mapping[str, tuple[Assessment, Assessment]]


def salt_point(salt: str, read_pct: float, temp_c: float) -> Compared:
    """A reading over a saturated solution at `temp_c`. Raises RecordError where the salt has no reference there."""
    try:
        reference = fixed_point(salt, temp_c)
    except ValueError as exc:
        raise RecordError(str(exc), where="--salt", mend="Take a salt and a temperature that have a reference") from exc
    how = f"{salt} at {temp_c:.1f} degC"
    return Compared(Quantity.AIR_HUMIDITY, Point(read_pct, reference.rh_pct, reference.uncertainty_pct), how)


def compensated(desk: Desk, name: str, temp_c: float, *, at: int | None) -> float:
    """What the sensor's own temperature is by the check that is in force at `at` (now). Raises RecordError. [degC]"""
    known(desk, name)
    when = desk.clock.now() if at is None else at
    checks = checks_of(effective(desk.book.entries(SENSORS_CHAIN))).get(name, ())
    check = in_force(checks, Quantity.AIR_TEMPERATURE, when)
    return temp_c if check is None else check.slope * temp_c + check.offset


def check_sensor(
    desk: Desk,
    name: str,
    level: Level,
    compared: Sequence[Compared],
    *,
    at: int | None,
    valid: int | None,
    adjusted: bool,
    who: str,
) -> Checked:
    """Record a check, an entry a quantity: in force from `at` (now) for `valid` (365 d).

    `adjusted`: the sensor was changed for it, so that it does not speak for the time before. Raises RecordError. [ms]
    """
    when = past(desk, at, "sensor check")
    known(desk, name)
    until = when + _checked_valid(VALID if valid is None else valid)
    for one in compared:
        _plausible(one)
    quantities = [quantity for quantity in Quantity if any(one.quantity is quantity for one in compared)]
    drafts = [
        Draft(Kind.CHECK, when, who, _body(name, quantity, level, compared, until, adjusted)) for quantity in quantities
    ]
    stream = desk.book.sensors()[name].stream
    jobs = desk.book.jobs_of().get(stream, ())
    before = {job: assess(desk, job) for job in jobs}
    entries = desk.store.append(SENSORS_CHAIN, drafts)
    note_all_completions(desk, stream)
    return Checked(tuple(entries), {job: (before[job], assess(desk, job)) for job in jobs})


def _body(
    name: str, quantity: Quantity, level: Level, compared: Sequence[Compared], until: int, adjusted: bool
) -> dict[str, Any]:
    own = [one for one in compared if one.quantity is quantity]
    found = fit(quantity, [one.point for one in own])
    certified = max(one.point.uncertainty for one in own)
    return {
        "sensor": name,
        "quantity": quantity.value,
        "level": level,
        "until": until,
        "slope": found.slope,
        "offset": found.offset,
        "uncertainty": certified if level == "laboratory" else found.uncertainty,
        "as_found": not adjusted,
        "basis": found.basis,
        "points": [[one.point.read, one.point.reference, one.point.uncertainty] for one in own],
        "how": "; ".join(dict.fromkeys(one.how for one in own)),
    }


def _checked_valid(valid: int) -> int:
    if not DAY <= valid <= LONGEST_VALID:
        raise RecordError("a check can't hold for so long or so short", where="--valid", mend='Give "1 d" to "3650 d"')
    return valid


def _plausible(one: Compared) -> None:
    """Raises RecordError for what no sensor that works reads, and for what is no uncertainty."""
    low, high = AIR_RANGE[one.quantity]
    unit = "%" if one.quantity is Quantity.AIR_HUMIDITY else "degC"
    for value in (one.point.read, one.point.reference):
        if not low <= value <= high:
            raise RecordError(
                f"{value:g} {unit} is no air of a room",
                where="sensor check",
                mend=f"Read it again: {low:g} to {high:g}",
            )
    if not 0 < one.point.uncertainty <= MOST_UNCERTAIN:
        raise RecordError(
            f"an uncertainty of {one.point.uncertainty:g} is not above 0 and at most {MOST_UNCERTAIN:g}",
            where="sensor check",
            mend="Take it from the certificate, or from the second instrument's data sheet",
        )
    away = abs(one.point.read - one.point.reference)
    if away > FURTHEST[one.quantity]:
        raise RecordError(
            f"{one.point.read:g} is {away:.1f} away from {one.point.reference:.1f} {unit}",
            where="sensor check",
            mend="Check that each --read stands with its own reference; a sensor like this is broken",
        )
