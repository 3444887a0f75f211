"""What is to be told as of an instant, of every job and of the house: the signals that alarms are made of. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from monitor.basis.alarm import Signal
from monitor.config.alarms import Patience
from monitor.rules.look import Look, stake
from monitor.rules.signals_air import air
from monitor.rules.signals_house import House, Vitals, house, sensors
from monitor.rules.signals_wall import wall


def signals_of(look: Look) -> tuple[Signal, ...]:
    """Of one job; none once it is closed."""
    closed = look.frame.close
    if closed is not None and look.found.as_of >= closed:
        return ()
    return (*air(look), *wall(look))


def signals(
    looks: Sequence[Look], vitals: Sequence[Vitals], fares: House, as_of: int, patience: Patience, told_from: int
) -> tuple[Signal, ...]:
    """Of all jobs, of their sensors and of the house, as of `as_of`; what ended by `told_from` is not told. [ms]"""
    stakes = {look.found.job: stake(look.frame, look.found) for look in looks}
    return (
        *(signal for look in looks for signal in signals_of(look)),
        *sensors(vitals, fares.links, stakes, as_of, patience),
        *house(fares, stakes, as_of, patience, told_from),
    )
