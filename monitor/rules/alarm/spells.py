"""Spells: the strict excursions of the record as a patient person sees them.

Excursions of one side of one quantity that are nearer to each other than the off-delay are one spell. It counts once
the time outside in it adds up to the on-delay: so every excursion as long as that is told, noise around a limit makes
one spell, and a door that opens now and then none. What was not known between them is no time inside: a spell that a
silence cut short goes on until the air is known to be back.
"""

from __future__ import annotations

import bisect
from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from monitor.basis.times import DAY
from monitor.basis.values import AIR, Quantity
from monitor.rules.assessment import Assessment, Excursion, Gap, Side
from monitor.rules.channel import Channel
from monitor.rules.frame import Frame
from monitor.rules.timeline import HAIR, stays_at
from monitor.rules.trend import Recent

LINGERS = DAY  # within the limits for so long is well, however near to them; ours [ms]

Heard = Mapping[tuple[str, Quantity], Recent]  # what each sensor of a room said of late


class Spell(NamedTuple):
    """Excursions of one side of one quantity that belong together. Times in ms.

    `end` is None while the last of them is open; `over` when the air had been known to be off that side for as long as
    the off-delay asks, None while that is not so. `outside` is how long the excursions are together up to as_of,
    `peak` the value furthest out (degC, %RH), `dose` in K.h or %RH.h. `silenced`: the last one ended by silence.
    """

    quantity: Quantity
    side: Side
    start: int
    end: int | None
    over: int | None
    outside: int
    peak: float
    dose: float
    excursions: int
    silenced: bool


def spells(
    found: Assessment, quantity: Quantity, side: Side, *, off_delay: int, over_after: int, begun: int = 0
) -> tuple[Spell, ...]:
    """The spells that are not over or were so after `over_after`, in order of time, as of the Assessment's as_of.

    Excursions that had ended by `begun` are left out. [ms]
    """
    gaps = _Unknown([gap for gap in found.gaps if quantity in gap.missing])
    groups: list[list[Excursion]] = []  # from the newest back: years of them lie before those that still count
    for one in reversed(found.excursions):
        if (one.quantity, one.side) != (quantity, side) or (one.end is not None and one.end <= begun):
            continue
        over = None if one.end is None else gaps.calm(one.end, off_delay)
        later = groups[-1][-1] if groups else None
        if later is not None and (later.continues or over is None or later.start < over):
            groups[-1].append(one)
        elif over is not None and over <= min(over_after, found.as_of):
            break  # so was all that is older
        else:
            groups.append([one])
    return tuple(_spell(group[::-1], gaps, off_delay, found.as_of) for group in reversed(groups))


class _Unknown:
    """When a quantity was not known, in order of time."""

    def __init__(self, gaps: Sequence[Gap]) -> None:
        self._gaps, self._ends = gaps, [gap.end for gap in gaps]

    def calm(self, end: int, off_delay: int) -> int:
        """When it has been known not to be outside for `off_delay` since `end`, if all is well. [ms]

        Without a break; where that takes days, in all: a sensor is seldom without a gap for so long.
        """
        left = off_delay
        for gap in self._gaps[bisect.bisect_right(self._ends, end) :]:
            if gap.start >= end + left:
                break
            left -= max(gap.start - end, 0) if off_delay >= DAY else 0
            end = gap.end
        return end + left


def _spell(group: Sequence[Excursion], gaps: _Unknown, off_delay: int, as_of: int) -> Spell:
    last, pick = group[-1], min if group[0].side == "low" else max
    over = None if last.end is None else gaps.calm(last.end, off_delay)
    return Spell(
        quantity=last.quantity,
        side=last.side,
        start=group[0].start,
        end=last.end,
        over=None if over is None or over > as_of else over,
        outside=sum((as_of if one.end is None else one.end) - one.start for one in group),
        peak=pick(one.peak for one in group),
        dose=sum(one.dose for one in group),
        excursions=len(group),
        silenced=last.ended_by == "silence",
    )


def together(one: Spell, later: Spell) -> Spell:
    """Two spells of a side as one."""
    pick = min if one.side == "low" else max
    return later._replace(
        start=one.start,
        outside=one.outside + later.outside,
        peak=pick(one.peak, later.peak),
        dose=one.dose + later.dose,
        excursions=one.excursions + later.excursions,
    )


# --- what the sensors said of late -----------------------------------------------------------------

Stretch = tuple[int, int]


def lingers(spell: Spell, said: Heard, limit: float, dead_band: float, off_delay: int, as_of: int) -> bool:
    """Whether air that came back within the limit keeps so near to it that the spell is not over yet. [ms]

    It is over once every sensor has been inside by the dead band for the off-delay, or within the limit for a day.
    """
    if spell.over is None or spell.end is None:
        return True
    if as_of - spell.end >= LINGERS:
        return False
    at = spell.end
    for start, end in _beyond(of(said, spell.quantity), _drawn_in(limit, spell.side, dead_band), spell.side, as_of):
        if end > at:
            if start - at >= off_delay:
                return False
            at = end
    return as_of - at < off_delay


def held(
    channels: Iterable[Recent], limit: float, side: Side, dead_band: float, *, on_delay: int, off_delay: int, as_of: int
) -> int | None:
    """Since when some channel has been beyond a limit, with on-delay, off-delay and dead band; None where none is. [ms]

    As far back as the channels go.
    """
    channels = list(channels)
    near = _beyond(channels, _drawn_in(limit, side, dead_band), side, as_of)
    if not near or as_of - near[-1][1] >= off_delay:
        return None
    start = next((b[0] for a, b in reversed(list(pairwise(near))) if b[0] - a[1] >= off_delay), near[0][0])
    out = [(a, b) for a, b in _beyond(channels, limit, side, as_of) if a >= start]
    return out[0][0] if out and sum(b - a for a, b in out) >= on_delay else None


def of(said: Heard, quantity: Quantity) -> list[Recent]:
    """The channels of one quantity."""
    return [recent for (_, what), recent in said.items() if what is quantity]


def _drawn_in(limit: float, side: Side, dead_band: float) -> float:
    return limit + dead_band if side == "low" else limit - dead_band


def _beyond(channels: Iterable[Recent], limit: float, side: Side, as_of: int) -> list[Stretch]:
    """When some channel was beyond `limit`, by its last word, in order and none touching another. [ms]"""
    found: list[Stretch] = []
    for channel in channels:
        t, value = channel.t[channel.t < as_of], channel.value[channel.t < as_of]
        order = np.argsort(t, kind="stable")
        until = np.append(t[order][1:], as_of)
        out = value[order] < limit - HAIR if side == "low" else value[order] > limit + HAIR
        found += zip(t[order][out].tolist(), until[out].tolist(), strict=True)
    joined: list[Stretch] = []
    for start, end in sorted(found):
        if joined and start <= joined[-1][1]:
            joined[-1] = joined[-1][0], max(joined[-1][1], end)
        else:
            joined.append((start, end))
    return joined


def said_here(
    frame: Frame, found: Assessment, channels: Mapping[tuple[str, Quantity], Channel]
) -> dict[tuple[str, Quantity], Recent]:
    """Of all that was heard what the sensors of the judged room said."""
    here = {stay.sensor for stay in stays_at(frame, judged_place(frame, found), found.as_of - 1)}
    return {
        (name, quantity): Recent(channel.t, channel.value)
        for (name, quantity), channel in channels.items()
        if name in here and quantity in AIR and len(channel.t)
    }


def judged_place(frame: Frame, found: Assessment) -> str:
    """The boxes' place before the installation, the wall's from then on."""
    return frame.job.boxes_place if found.phase == "before" else frame.job.wall_place
