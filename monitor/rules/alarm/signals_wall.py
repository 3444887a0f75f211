"""What a job has to tell beside its air: its clock, its readiness, its boxes, the wall's surface, its care."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from monitor.basis.alarm import Priority, Signal
from monitor.basis.times import DAY
from monitor.basis.values import Quantity
from monitor.climate.air import dew_point_c, frost_point_c
from monitor.climate.surface import MOULD_LIMIT_PCT
from monitor.rules.alarm import whats
from monitor.rules.alarm.look import Look
from monitor.rules.board.estimates import Days
from monitor.rules.channel import Mask

# All ours: the days of one front of weather are left alone, and an hour of mist on a corner too.
DAMP_DAYS = 3  # with a mean above what mould needs [d]
WET_HOURS = 3  # with condensation, within two days [h]
GROWS, SHOWS = 1.0, 3.0  # mould index: growth under the microscope, and seen by the eye (Hukka and Viitanen 1999)

# Readiness has these conditions that another alarm tells of, or that stand in no alarm's power.
_TOLD_OTHERWISE = ("acclimation complete", "air in band now", "sensors fresh", "sensors not flat", "sensors agree")
_T, _RH = Quantity.AIR_TEMPERATURE, Quantity.AIR_HUMIDITY


def wall(look: Look) -> Iterator[Signal]:
    """All of them."""
    yield from acclimation(look)
    yield from readiness(look)
    yield from boxes(look)
    yield from surface(look)
    yield from care(look)
    yield from sensors_apart(look)


# --- until it hangs --------------------------------------------------------------------------------


def acclimation(look: Look) -> Iterator[Signal]:
    """Complete, lapsed or put back to zero: told once each, as what is to be done about it is the air's to tell."""
    if look.found.phase != "before":
        return
    lot = look.found.lot
    clock, facts = lot.clock, {"lot": lot.name, "counted_ms": lot.clock.counted, "required_ms": lot.clock.required}
    lapsed = [one for one in clock.history if one.lapsed_at is not None]
    lapsed_at = max((one.lapsed_at or 0 for one in lapsed), default=0)
    if clock.completed_at is not None:
        if clock.completed_at > look.told_from:
            facts |= {"beyond_uncertainty": lot.beyond_uncertainty}
            yield look.signal(whats.COMPLETE, clock.completed_at, Priority.LOW, facts, notice=True)
    elif lapsed and (not clock.restarts or lapsed_at >= clock.restarts[-1].at):
        facts |= {"completed": lapsed[-1].completed_at}
        if lapsed_at > look.told_from:
            yield look.signal(whats.LAPSED, lapsed_at, Priority.MEDIUM, facts, notice=True)
    elif clock.restarts and clock.restarts[-1].at > look.told_from:
        facts |= {"cause": clock.restarts[-1].cause}
        yield look.signal(whats.RESTARTED, clock.restarts[-1].at, Priority.MEDIUM, facts, notice=True)


def readiness(look: Look) -> Iterator[Signal]:
    """Ready, told once a completion; no longer ready, where that was told and no other alarm says what is amiss."""
    completed = look.found.lot.clock.completed_at
    if look.found.phase != "before" or completed is None:
        return
    failing = {
        one.name: one.evidence
        for one in look.found.readiness
        if one.verdict != "pass" and one.name not in _TOLD_OTHERWISE
    }
    if look.found.ready or (look.told_ready and not failing):
        yield look.signal(whats.READY, completed, Priority.LOW, {"lot": look.found.lot.name}, notice=True)
    elif look.told_ready:
        yield look.signal(whats.NO_LONGER_READY, look.found.as_of, Priority.MEDIUM, {"conditions": failing})


def boxes(look: Look) -> Iterator[Signal]:
    """The boxes are surely colder than the air's dew point: opened now, their boards get wet."""
    core = look.found.lot.core
    if look.found.phase != "before" or core is None:
        return
    points = [_dew_point(values) for values in look.found.now.values.values()]
    warmest = core.high if core.measured is None else core.measured
    point = max((point for point in points if not math.isnan(point)), default=None)
    if warmest is not None and point is not None and warmest < point:
        facts = {"boxes": warmest, "dew_point": point, "measured": core.measured is not None}
        yield look.signal(whats.BOXES_COLD, look.found.as_of, Priority.LOW, facts)


def _dew_point(values: Any) -> float:
    """Where vapour first settles on something cold; NaN where it is not known, or is no air of a room. [degC]"""
    if not {_T, _RH} <= set(values) or not -40.0 <= values[_T] <= 60.0:
        return math.nan
    t, rh = values[_T], min(max(values[_RH], 0.0), 100.0)
    return float(np.fmax(dew_point_c(t, rh), frost_point_c(t, rh)))


# --- while it hangs --------------------------------------------------------------------------------


def surface(look: Look) -> Iterator[Signal]:
    """A cold wall's surface: water on it, damp for days, or mould by the index. Only where it is known at all."""
    skin, days = look.found.skin, look.found.days
    if skin is None or not len(days):
        return
    wet = int(days["wet"][-2:].sum())
    if wet >= WET_HOURS:
        priority = Priority.HIGH if look.lives else Priority.MEDIUM
        yield look.signal(whats.SURFACE_WET, _began(days, days["wet"] > 0), priority, {"hours": wet})
    damp = days["skin_rh_mean"] > MOULD_LIMIT_PCT
    if len(days) >= DAMP_DAYS and bool(damp[-DAMP_DAYS:].all()):
        month = skin.month is not None and skin.month > MOULD_LIMIT_PCT
        facts = {"humidity": skin.humid, "month": skin.month, "limit": MOULD_LIMIT_PCT}
        signal = look.signal(whats.SURFACE_DAMP, _began(days, damp), Priority.MEDIUM if month else Priority.LOW, facts)
        yield replace(signal, inhibited=wet >= WET_HOURS)  # that it is wet is being told
    if skin.mould >= GROWS:
        priority = Priority.HIGH if skin.mould >= SHOWS else Priority.MEDIUM
        yield look.signal(whats.MOULD, _began(days, days["mould"] >= GROWS), priority, {"index": skin.mould})


def _began(days: Days, holds: Mask) -> int:
    """The first day of the last ones in which it holds; today where it holds in none as yet. [ms]"""
    last = np.flatnonzero(holds)[-1] if holds.any() else len(holds) - 1
    not_so = np.flatnonzero(~holds[:last])
    return int(days["day"][not_so[-1] + 1 if len(not_so) else 0]) * DAY


def care(look: Look) -> Iterator[Signal]:
    """What the finished wall asks for: told when its time comes, and once more when it is overdue."""
    now = look.found.as_of
    for item in look.items:
        if not item.over and now >= item.opens:
            late = item.overdue(now)
            what = whats.INSPECTION_DUE if item.what.startswith("inspection") else whats.CARE_DUE
            facts = {"care": item.what, "opens": item.opens, "due": item.due, "last": item.last, "overdue": late}
            since = item.due if late else item.opens
            yield look.signal(what, since, Priority.LOW, facts, where=item.what, notice=True)


# --- its sensors together --------------------------------------------------------------------------


def sensors_apart(look: Look) -> Iterator[Signal]:
    """Neighbours that have said other things for an hour, or have moved apart over weeks, beyond their uncertainty."""
    agree = next((one for one in look.found.readiness if one.name == "sensors agree"), None)
    if agree is not None and agree.verdict == "unknown" and look.found.now.values:
        said = {name: {q.value: v for q, v in values.items()} for name, values in look.found.now.values.items()}
        priority = Priority.LOW if look.lives else Priority.MEDIUM
        yield look.signal(whats.DISAGREEING, look.found.as_of, priority, {"evidence": agree.evidence, "values": said})
    for one in look.drifts:
        if one.beyond:
            facts = {
                "quantity": one.quantity.value, "sensor": one.sensor, "neighbour": one.neighbour, "days": one.days,
                "by": one.by.middle, "combined": one.combined,
            }  # fmt: skip
            where = f"{one.sensor} beside {one.neighbour}: {one.quantity.value}"
            yield look.signal(whats.DRIFTING, look.found.as_of, Priority.LOW, facts, where=where)
