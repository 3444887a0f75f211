"""What is to be told as of an instant, of a job and of what stands beside it: the signals of alarms. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from monitor.basis.alarm import Signal
from monitor.config.alarms import Patience
from monitor.rules.look import Look, stake
from monitor.rules.signals_air import air
from monitor.rules.signals_house import House, Vitals, house, sensors
from monitor.rules.signals_wall import wall
from monitor.rules.whats import FROST, HUMIDITY_HIGH, SUDDEN_DAMP, SURFACE_DAMP, SURFACE_WET, TEMPERATURE_LOW


def signals_of(look: Look) -> tuple[Signal, ...]:
    """Of one job; none once it is closed."""
    closed = look.frame.close
    if closed is not None and look.found.as_of >= closed:
        return ()
    return _told_once((*air(look), *wall(look)))


def _told_once(found: Sequence[Signal]) -> tuple[Signal, ...]:
    """With what a graver one says of the same air inhibited while that stands."""
    grave = {COVERED_BY.get(one.what) for one in found if one.ended is None and not one.inhibited and not one.holds}
    return tuple(replace(one, inhibited=True) if one.what in grave and _is_small(one) else one for one in found)


def _is_small(one: Signal) -> bool:
    """A notice, or the surface's dampness: what asks for something else than the graver one stays told."""
    return one.ended is None and (one.notice or one.what == SURFACE_DAMP)


COVERED_BY = {SUDDEN_DAMP: HUMIDITY_HIGH, FROST: TEMPERATURE_LOW, SURFACE_WET: SURFACE_DAMP}


def signals_beside(
    looks: Sequence[Look], vitals: Sequence[Vitals], fares: House, as_of: int, patience: Patience, told_from: int
) -> tuple[Signal, ...]:
    """Of the sensors that the jobs of `looks` rest on, and of the house; what ended by `told_from` is not told. [ms]"""
    stakes = {look.found.job: stake(look.frame, look.found) for look in looks}
    return (
        *sensors(vitals, fares.links, stakes, as_of, patience),
        *house(fares, stakes, as_of, patience, told_from),
    )
