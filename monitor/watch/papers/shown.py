"""How a job is shown: its zone and its units."""

from __future__ import annotations

from typing import cast

from monitor.basis.times import zone_of
from monitor.basis.units import System
from monitor.tell.words import Display
from monitor.watch.desk import Desk


def display(desk: Desk, job: str) -> Display:
    """The zone and the units in which a job is shown."""
    found = desk.book.job(job)
    return Display(zone_of(found.zone), cast(System, found.units))
