"""What is to be told as of an instant, of a job and of what stands beside it: the signals of alarms. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from monitor.basis.alarm import Signal
from monitor.config.alarms import Patience
from monitor.rules.alarm.look import Look, stake
from monitor.rules.alarm.signals_air import air
from monitor.rules.alarm.signals_house import House, Vitals, house, sensors
from monitor.rules.alarm.signals_wall import wall


def signals_of(look: Look) -> tuple[Signal, ...]:
    """Of one job; none once it is closed."""
    closed = look.frame.close
    if closed is not None and look.found.as_of >= closed:
        return ()
    return (*air(look), *wall(look))


def signals_beside(
    looks: Sequence[Look], vitals: Sequence[Vitals], fares: House, as_of: int, patience: Patience, told_from: int
) -> tuple[Signal, ...]:
    """Of the sensors that the jobs of `looks` rest on, and of the house; what ended by `told_from` is not told. [ms]"""
    stakes = {look.found.job: stake(look.frame, look.found) for look in looks}
    return (
        *sensors(vitals, fares.links, stakes, as_of, patience),
        *house(fares, stakes, as_of, patience, told_from),
    )
