"""How sensors stand to hand readings and to each other, in words."""

from __future__ import annotations

import re
from collections.abc import Sequence

from monitor.basis.values import Quantity
from monitor.rules.hand import Compared, Drift
from monitor.tell.pages.table import Table, most
from monitor.tell.pages.views import CheckLine, SensorLine
from monitor.tell.words import CHECK, QUANTITY, Display, difference, measure, visible, when

CHECKS = ("when", "sensor", "quantity", "how", "reference", "correction", "uncertainty left", "valid until", "by")
KNOWN = ("said", "", "", "said", "said", "computed", "computed", "said", "said")
APPLIED = "The correction is applied to every reading for which the check holds; the reading as it came is kept too."
_DEGREES = re.compile(r"(-?\d+\.\d) degC")


def beside(quantity: Quantity, found: Compared, display: Display) -> str:
    """ "shelf agrees: 1.2 %RH above it, within the combined uncertainty of 5.4 %RH"."""
    way = "above" if found.difference > 0 else "below"
    away = f"{difference(quantity, abs(found.difference), display)} {way} it"
    relation = "within" if found.verdict == "agrees" else "more than"
    combined = f"the combined uncertainty of {difference(quantity, found.combined, display)}"
    return f"{visible(found.sensor)} {found.verdict}: {away}, {relation} {combined}"


def all_beside(quantity: Quantity, found: Sequence[Compared], display: Display) -> str:
    """Every sensor that a hand reading was held against."""
    return "; ".join(beside(quantity, each, display) for each in found) or "no sensor spoke then"


def drift(found: Drift, display: Display) -> str:
    """ "door has moved away from boxes by 2.1 %RH in 30 days (humidity; 1.9 %RH to 2.4 %RH)"."""
    near, far = sorted((abs(found.by.low), abs(found.by.high)))
    by, low, high = (difference(found.quantity, size, display) for size in (abs(found.by.middle), near, far))
    told = (
        f"{visible(found.sensor)} has moved away from {visible(found.neighbour)} by {by} in {found.days} days "
        f"({QUANTITY[found.quantity]}; {low} to {high})"
    )
    return f"{told}: more than their uncertainty, check both" if found.beyond else told


def backing(sensor: SensorLine, display: Display) -> str:
    """What backs a sensor now, and what did when the wall was begun, where that was another check or a later one."""
    now = CHECK.get(sensor.check, visible(sensor.check))
    if sensor.check_then is None or (sensor.check_then == sensor.check and sensor.checked_later is None):
        return now
    later = "" if sensor.checked_later is None else f" (checked later, on {when(sensor.checked_later, display)[:10]})"
    return f"{CHECK.get(sensor.check_then, visible(sensor.check_then))} when the wall was begun{later}; {now} now"


def checks(found: Sequence[CheckLine], display: Display) -> Table:
    """The checks of the job's sensors, with the correction that each made."""
    shown, note = most(found, lambda one: one.at, "checks ")
    rows = [
        (
            when(one.at, display),
            visible(one.sensor),
            QUANTITY[one.quantity],
            CHECK.get(one.level, visible(one.level)),
            _reference(one, display),
            _correction(one, display),
            difference(one.quantity, one.uncertainty, display),
            when(one.until, display),
            visible(one.who),
        )
        for one in shown
    ]
    told = f"{APPLIED} {note}".rstrip() if rows else "No sensor of the job was checked against another instrument."
    return Table("checks", CHECKS, rows, told, KNOWN)


def _reference(one: CheckLine, display: Display) -> str:
    """ "NaCl at 68.0 degF: read 73.0 %, true 75.5 % within 0.2 %RH"."""
    how = _DEGREES.sub(lambda said: measure(Quantity.AIR_TEMPERATURE, float(said[1]), display), visible(one.how))
    points = "; ".join(
        f"read {measure(one.quantity, read, display)}, true {measure(one.quantity, true, display)} within "
        f"{difference(one.quantity, spread, display)}"
        for read, true, spread in one.points
    )
    return f"{how}: {points}" if how else points


def _correction(one: CheckLine, display: Display) -> str:
    """ "+2.5 %RH", or of a line "1.020 times what it reads, -0.8 %RH"."""
    offset, line = one.offset, one.slope != 1.0
    if line and one.quantity is Quantity.AIR_TEMPERATURE and display.units == "us":
        offset += 32 * (1 - one.slope) / 1.8  # what degF add, as a difference in K
    size = difference(one.quantity, abs(offset), display)
    signed = size if float(size.split()[0]) == 0.0 else f"{'-' if offset < 0 else '+'}{size}"
    return f"{one.slope:.3f} times what it reads, {signed}" if line else signed
