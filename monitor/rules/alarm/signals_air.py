"""What the air of a room has to tell: out of its band, heading there, changing fast, near frost, or sodden."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.basis.alarm import Priority, Signal
from monitor.basis.times import DAY, HOUR
from monitor.basis.values import AIR, Quantity
from monitor.climate import wood
from monitor.climate.surface import MOULD_LIMIT_PCT
from monitor.rules.alarm import whats
from monitor.rules.alarm.look import Look, stake
from monitor.rules.alarm.spells import LINGERS, Spell, held, lingers, of, spells, together
from monitor.rules.assessment import Side
from monitor.rules.board.boards import settles_at
from monitor.rules.trend import Recent, median_slope, reached, recent_slope

# In the life of a wall, all ours: boards lag behind the room by weeks, so that what is outside for hours in a week is
# one season; a bathroom is damp for an hour, a burst pipe for longer.
SEASON = 7 * DAY  # the off-delay [ms]
HOURS = 4 * HOUR  # the on-delay [ms]
SODDEN = HOUR  # how long air is above what mould needs before that is an alarm [ms]

RAPID_LEAST, RAPID_MOST, RAPID_FEW = 5, 60, 3  # readings of an hour that make a slope; of slow sensors the last; ours
_SIDES: tuple[Side, Side] = "low", "high"
_T, _RH = Quantity.AIR_TEMPERATURE, Quantity.AIR_HUMIDITY


def air(look: Look) -> Iterator[Signal]:
    """All of them; none of a room that nobody hears."""
    standing: set[Quantity] = set()
    for quantity, side in whats.OUT:
        for signal in out(look, quantity, side):
            if signal.ended is None:
                standing.add(quantity)
            yield signal
    for quantity in AIR:
        if quantity not in standing:
            yield from heading(look, quantity)
            if not _came_back(look, quantity):
                yield from rapid(look, quantity)
    yield from frost(look)
    yield from sudden_damp(look)


# --- out of band -----------------------------------------------------------------------------------


def out(look: Look, quantity: Quantity, side: Side) -> Iterator[Signal]:
    """The spell of one side of one quantity that stands, and those that came and went unseen."""
    on_delay, off_delay, begun = look.on_delay(quantity), look.patience.off_delay, 0
    if look.lives:
        off_delay, begun = max(off_delay, SEASON), look.frame.finish or 0
    found = spells(look.found, quantity, side, off_delay=off_delay, over_after=look.told_from - DAY, begun=begun)
    every = _joined(look, found, off_delay)
    for spell in every:
        hours = look.lives and spell.start >= begun  # what began before the finish has been told by then
        if spell.outside < (max(on_delay, HOURS) if hours else on_delay):
            continue
        if spell is every[-1] and _stands(look, spell, off_delay):
            yield _signal(look, spell, None)
        elif spell.end is not None and spell.over is not None and spell.over > look.told_from:
            yield _signal(look, spell, spell.end)


def _joined(look: Look, found: Sequence[Spell], off_delay: int) -> list[Spell]:
    """The last spell with those before it from which the air never came back by the dead band, as one.

    As far back as is known what the sensors said.
    """
    every, known = list(found), look.found.as_of - LINGERS
    while len(every) > 1 and (every[-2].end or 0) >= known and _lingers(look, every[-2], off_delay, every[-1].start):
        every[-2:] = [together(*every[-2:])]
    return every


def _stands(look: Look, spell: Spell, off_delay: int) -> bool:
    """Whether it is not over, by the dead band too, or nobody knows."""
    unheard = spell.silenced and look.furthest(spell.quantity) is None
    return unheard or _lingers(look, spell, off_delay, look.found.as_of)


def _lingers(look: Look, spell: Spell, off_delay: int, at: int) -> bool:
    limit, dead_band = look.limit(spell.quantity, spell.side), look.dead_band(spell.quantity)
    return lingers(spell, look.said, limit, dead_band, off_delay, at)


def _signal(look: Look, spell: Spell, ended: int | None) -> Signal:
    speaks = look.furthest(spell.quantity)
    facts: dict[str, Any] = {
        "quantity": spell.quantity.value,
        "side": spell.side,
        "limit": look.limit(spell.quantity, spell.side),
        "worst": spell.peak,
        "value": None if speaks is None else speaks[1],
        "outside_ms": spell.outside,
        "excursions": spell.excursions,
        "phase": look.found.phase,
        **(_boards(look, spell) if look.lives else _clock(look)),
    }
    priority = _by_boards(spell.side, facts) if look.lives else stake(look.frame, look.found)
    return Signal(
        whats.OUT[spell.quantity, spell.side], look.found.job, look.place, spell.start, priority, facts,
        notice=look.lives, ended=ended,
    )  # fmt: skip


def _clock(look: Look) -> dict[str, Any]:
    """What it does to the acclimation: what is counted, and by when the room must be back for it not to be lost."""
    if look.found.phase != "before":
        return {}
    clock, now = look.found.lot.clock, look.found.now
    act_by = None
    if now.state == "out" and now.since is not None and (clock.counted or clock.completed_at is not None):
        act_by = now.since + look.frame.profile.acclimation.reset_after_out
    return {
        "counted_ms": clock.counted,
        "required_ms": clock.required,
        "completed": clock.completed_at,
        "act_by": act_by if act_by is not None and act_by > look.found.as_of else None,
    }


def _boards(look: Look, spell: Spell) -> dict[str, Any]:
    """What it did to the boards: their moisture now, and that at which they settle at the limit. [% of dry mass]"""
    board, made = look.found.board, look.frame.profile.board
    if board is None or spell.quantity is not _RH or not wood.moves_with_moisture(made.core):
        return {}
    middle = np.array([sum(look.frame.profile.life.temperature) / 2.0])
    edge = settles_at(made, middle, np.array([look.limit(_RH, spell.side)]))
    return {
        "board_pct": board.now.central,
        "board_edge_pct": float(edge[0]),
        "gained_pct": [board.gained.low, board.gained.high],
    }


def _by_boards(side: Side, facts: dict[str, Any]) -> Priority:
    """Low while the boards themselves are still where air in band would have them, else medium."""
    if "board_pct" not in facts:
        return Priority.LOW
    beyond = facts["board_pct"] - facts["board_edge_pct"]
    return Priority.MEDIUM if (beyond > 0.0 if side == "high" else beyond < 0.0) else Priority.LOW


# --- if this goes on -------------------------------------------------------------------------------


def heading(look: Look, quantity: Quantity) -> Iterator[Signal]:
    """It leaves the band within the patience's hours, if this goes on. Where nothing hangs on hours it is no news."""
    speaks, as_of, costs = look.furthest(quantity), look.found.as_of, stake(look.frame, look.found)
    if speaks is None or costs is Priority.LOW:
        return
    slope = recent_slope(look.said.get((speaks[0], quantity)), as_of)
    for side in ("low", "high"):
        limit = look.limit(quantity, side)
        inside = speaks[1] > limit if side == "low" else speaks[1] < limit
        reach = reached(slope, speaks[1], limit, look.patience.heading_out) if inside else None
        if reach is not None:
            facts = {
                "quantity": quantity.value, "side": side, "limit": limit, "value": speaks[1], "sensor": speaks[0],
                "soonest": as_of + reach.soonest, "latest": as_of + reach.latest, **_clock(look),
            }  # fmt: skip
            priority = Priority.MEDIUM if costs is Priority.HIGH else Priority.LOW
            yield look.signal(whats.HEADING[quantity, side], as_of, priority, facts)


def rapid(look: Look, quantity: Quantity) -> Iterator[Signal]:
    """It changes fast, and in an hour it will be out of its band: what stays inside may change as it likes."""
    speaks, as_of = look.furthest(quantity), look.found.as_of
    if speaks is None:
        return
    slope = _hour(look.said.get((speaks[0], quantity)), as_of)
    least = look.patience.rapid.temperature if quantity is _T else look.patience.rapid.humidity
    if slope is None or abs(slope) < least:
        return
    side: Side = "low" if slope < 0.0 else "high"
    limit, ahead = look.limit(quantity, side), speaks[1] + slope
    if ahead < limit if side == "low" else ahead > limit:
        facts = {
            "quantity": quantity.value, "side": side, "limit": limit, "value": speaks[1], "sensor": speaks[0],
            "per_hour": slope,
        }  # fmt: skip
        yield look.signal(whats.RAPID, as_of, Priority.LOW, facts, where=f"{look.place}: {quantity.value}")


def _came_back(look: Look, quantity: Quantity) -> bool:
    """Whether it has been over within the hour that the rate is taken from: then the change is the return itself."""
    off_delay, before = look.patience.off_delay, look.found.as_of - HOUR
    return any(
        spell.over is not None and spell.outside >= look.on_delay(quantity)
        for side in _SIDES
        for spell in spells(look.found, quantity, side, off_delay=off_delay, over_after=before)
    )


def _hour(recent: Recent | None, as_of: int) -> float | None:
    """The slope over the last hour, per hour; over the last three readings where a sensor speaks less often."""
    if recent is None:
        return None
    heard = np.flatnonzero((recent.t < as_of) & (recent.t >= as_of - HOURS))
    heard = heard[np.argsort(recent.t[heard], kind="stable")]
    lately = heard[recent.t[heard] >= as_of - HOUR]
    if len(lately) < RAPID_LEAST:
        lately = heard[-RAPID_FEW:]
    if len(lately) < RAPID_FEW:
        return None
    picked = lately[_spread(len(lately))]
    return median_slope((recent.t[picked] - as_of) / HOUR, recent.value[picked])


@lru_cache(maxsize=1024)
def _spread(count: int) -> NDArray[np.int64]:
    """At most RAPID_MOST of so many numbers, the first and the last among them."""
    return np.unique(np.linspace(0, count - 1, RAPID_MOST).astype(np.int64))


# --- what harms at once ----------------------------------------------------------------------------


def frost(look: Look) -> Iterator[Signal]:
    """The room is so cold that pipes in its walls may freeze: always high."""
    patience, limit = look.patience, look.patience.freezing_below
    since = held(
        of(look.said, _T), limit, "low", patience.dead_band_temperature,
        on_delay=patience.on_delay_temperature, off_delay=patience.off_delay, as_of=look.found.as_of,
    )  # fmt: skip
    yield from _held(look, whats.FROST, _T, since, limit, min)


def sudden_damp(look: Look) -> Iterator[Signal]:
    """In the life of a wall: far damper than rooms are, for longer than a bath lasts. Water runs, or a wall is wet."""
    if not look.lives:
        return
    patience, limit = look.patience, max(MOULD_LIMIT_PCT, look.limit(_RH, "high"))
    since = held(
        of(look.said, _RH), limit, "high", patience.dead_band_humidity,
        on_delay=max(SODDEN, patience.on_delay_humidity), off_delay=patience.off_delay, as_of=look.found.as_of,
    )  # fmt: skip
    yield from _held(look, whats.SUDDEN_DAMP, _RH, since, limit, max)


def _held(
    look: Look, what: str, quantity: Quantity, since: int | None, limit: float, pick: Callable[..., float | None]
) -> Iterator[Signal]:
    """What is so since `since`; where nobody has spoken for the quantity for a day, nobody knows that it is over."""
    if since is None and (of(look.said, quantity) or look.found.now.last_heard is None):
        return
    speaks = [values[quantity] for values in look.found.now.values.values() if quantity in values]
    facts = {"limit": limit, "value": pick(speaks, default=None)}
    if not speaks:
        facts["unheard_since"] = _unheard_since(look, quantity)
    signal = look.signal(what, look.found.as_of if since is None else since, Priority.HIGH, facts)
    yield replace(signal, holds=since is None)


def _unheard_since(look: Look, quantity: Quantity) -> int | None:
    """The last word on a quantity; more than a day after it, since when the record has it as not known. [ms]"""
    said = [int(recent.t.max()) for recent in of(look.said, quantity)]
    if said:
        return max(said)
    gaps = [gap.start for gap in look.found.gaps if quantity in gap.missing and gap.end >= look.found.as_of]
    return gaps[-1] if gaps else look.found.now.last_heard
