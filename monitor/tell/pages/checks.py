"""What stands behind a sensor, for a page: its checks, and the correction that each made."""

from __future__ import annotations

import re
from collections.abc import Sequence

from monitor.basis.values import Quantity
from monitor.tell.pages.table import Table, most
from monitor.tell.pages.views import CheckLine, SensorLine
from monitor.tell.words import CHECK, QUANTITY, Display, difference, measure, visible, when

CHECKS = ("when", "sensor", "quantity", "how", "reference", "correction", "uncertainty left", "valid until", "by")
KNOWN = ("said", "", "", "said", "said", "computed", "computed", "said", "said")
APPLIED = "The correction is applied to every reading for which the check holds; the reading as it came is kept too."
_DEGREES = re.compile(r"(-?\d+\.\d) degC")


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
