"""Boxes, in warmth: how the core of each delivery's stack follows the room, until the installation starts.

Three boards, slow to fast, stand for what is not known. The answer to the room is added up from a stack that came at
0 degC and what is left of its own warmth, as all of it is linear: so the start may be a range.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, NamedTuple

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from monitor.basis.times import HOUR, rfc3339
from monitor.basis.units import System, format_temperature, format_temperature_difference
from monitor.basis.values import Quantity
from monitor.climate import lag
from monitor.climate.lag import Modes, State
from monitor.climate.stack import cold_floor_modes, stack_modes
from monitor.config.profile import Board
from monitor.rules.assessment import Verdict
from monitor.rules.board.estimates import CoreReading
from monitor.rules.board.hours import Hours
from monitor.rules.channel import Times, Values
from monitor.rules.frame import Delivery, Frame, Stack
from monitor.rules.stays import Stay
from monitor.rules.timeline import HAIR

SPEEDS: tuple[lag.Speed, ...] = ("slow", "central", "fast")
CAME_BETWEEN_C = (0.0, 40.0)  # boxes of which nobody said how warm they came: a van in winter or summer; ours [degC]
TRAILING = 24  # clock hours over which the room's mean is taken
_LOOKS = 10_001  # at how many times a core on a cold floor is looked at: far finer than the slowest mode
LEAST_KNOWN = 12 * HOUR  # of those, for a mean to be one; ours [ms]

_T = Quantity.AIR_TEMPERATURE

Trail = dict[str, list[tuple[float, int]]]


@dataclass(slots=True)
class CoreState:
    """The core of a delivery's boxes: three bodies that came at 0 degC at `began`, and what was found last. [degC]

    `low` and `high` bound the estimate, `measured` is what a sensor in the boxes said in the last hour, `room` is the
    room's trailing mean; `within` is since when the core has been near it.
    """

    began: int
    bodies: list[State]
    low: float | None = None
    high: float | None = None
    measured: float | None = None
    room: float | None = None
    within: int | None = None

    def to_json(self) -> list[Any]:
        """As a checkpoint keeps it."""
        return [self.began, self.bodies, self.low, self.high, self.measured, self.room, self.within]

    @classmethod
    def from_json(cls, kept: Sequence[Any]) -> CoreState:
        """What `to_json` wrote down."""
        began, bodies, *rest = kept
        return cls(began, [state_of(body) for body in bodies], *rest)


def state_of(kept: Sequence[Any]) -> State:
    """A lagging body as a checkpoint kept it."""
    at, held, lags = kept
    return State(at, held, tuple(lags))


class Warming(NamedTuple):
    """One speed of a stack: how it follows the room, and what is left of its own warmth. `floor` where that is cold."""

    room: Modes
    floor: Modes | None

    def left(self, waited_ms: Values) -> Values:
        """The part of its own warmth that a stack still has. [1]"""
        parts = [self.room] if self.floor is None else [self.room, self.floor]
        return np.asarray(sum(_left(part, waited_ms) for part in parts))


def _left(body: Modes, waited_ms: Values) -> Values:
    return np.asarray(sum(w * np.exp(-r * waited_ms / 1000.0) for r, w in zip(body.rate, body.weight, strict=True)))


def box_height(board: Board) -> float:
    """Of one box, lying: its planks on each other. [m]"""
    return board.thickness * len(board.lengths)


@cache
def stack_bodies(stack: Stack, board: Board) -> tuple[Warming, ...]:
    """Slow, central and fast; none where nobody said how high the boxes are stacked."""
    if stack.spacers:
        return tuple(Warming(stack_modes(box_height(board), speed=speed), None) for speed in SPEEDS)
    if stack.height is None:
        return ()
    if stack.floor_c is not None:
        return tuple(Warming(*cold_floor_modes(stack.height, speed=speed)) for speed in SPEEDS)
    return tuple(Warming(stack_modes(stack.height, stack.width, on_floor=True, speed=speed), None) for speed in SPEEDS)


def follow_cores(
    frame: Frame,
    cores: dict[str, CoreState],
    trail: list[tuple[float, int]],
    lots: Mapping[str, Delivery],
    hours: Hours,
    measured: Mapping[str, Values],
) -> None:
    """Move the cores of the lots in one view on, until the installation starts.

    `cores` and `trail` (this view's) are changed in place; `measured`: hour means in the boxes of each lot,
    NaN unknown. [degC]
    """
    before = hours.start < (hours.end[-1] if frame.start is None else frame.start)
    start, end, t_c = hours.start[before], hours.end[before], hours.mean[_T][before]
    room = _trailing(trail, t_c, hours.known[_T][before])
    for name, lot in lots.items():
        _follow_core(frame, cores, name, lot, (start, end, t_c), room, measured[name][before])


def _trailing(trail: list[tuple[float, int]], t_c: Values, known: Times) -> Values:
    """The room's mean over the 24 clock hours up to the end of each; NaN where too little of them is known."""
    warmth = np.where(known > 0, t_c * known, 0.0)
    padding = TRAILING - 1 - len(trail)
    warm = np.concatenate((np.zeros(padding), [cell[0] for cell in trail], warmth))
    length = np.concatenate((np.zeros(padding, np.int64), np.array([cell[1] for cell in trail], np.int64), known))
    trail[:] = list(zip(warm[1 - TRAILING :].tolist(), length[1 - TRAILING :].tolist(), strict=True))
    total = sliding_window_view(length, TRAILING).sum(axis=1)
    mean = sliding_window_view(warm, TRAILING).sum(axis=1) / np.maximum(total, 1)
    return np.where(total >= LEAST_KNOWN, mean, np.nan)


def _follow_core(
    frame: Frame,
    cores: dict[str, CoreState],
    name: str,
    lot: Delivery,
    hours: tuple[Times, Times, Values],
    room: Values,
    inside: Values,
) -> None:
    start, end, t_c = hours
    bodies = stack_bodies(lot.stack, frame.profile.board)
    heard = ~np.isnan(t_c) & (end > lot.at)
    if name not in cores and heard.any():
        began = max(int(start[heard][0]), lot.at)
        cores[name] = CoreState(began, [lag.settled(body.room, began, 0.0) for body in bodies])
    if name not in cores:
        return
    core = cores[name]
    asked = end > core.began
    if not asked.any():
        return
    t = np.maximum(start[heard], core.began)
    low, high = _bounds(core, lot.stack, bodies, t, t_c[heard], end[asked])
    told = inside[asked]
    known = ~np.isnan(told)
    limit = frame.profile.readiness.box_core_within
    within = _near(np.where(known, told, low), room[asked], limit)
    within &= _near(np.where(known, told, high), room[asked], limit)
    far = np.flatnonzero(~within)
    if len(far):
        core.within = None if far[-1] == len(within) - 1 else int(end[asked][far[-1] + 1])
    elif core.within is None:
        core.within = int(end[asked][0])
    core.low, core.high = (None if np.isnan(bound[-1]) else float(bound[-1]) for bound in (low, high))
    core.measured = float(told[-1]) if known[-1] else None
    core.room = None if np.isnan(room[-1]) else float(room[-1])


def _near(core: Values, room: Values, limit: float) -> NDArray[np.bool_]:
    return np.asarray(np.abs(core - room) <= limit + HAIR)


def _bounds(
    core: CoreState, stack: Stack, bodies: Sequence[Warming], t: Times, t_c: Values, asked: Times
) -> tuple[Values, Values]:
    """The lowest and the highest that the core may be at the times asked for; NaN without a stack. [degC]"""
    if not bodies:
        return (np.full(len(asked), np.nan),) * 2
    low, high = np.full(len(asked), np.inf), np.full(len(asked), -np.inf)
    waited = (asked - core.began).astype(np.float64)
    came = CAME_BETWEEN_C if stack.box_c is None else (stack.box_c, stack.box_c)
    rooms = [body.room for body in bodies]
    answers, core.bodies[:] = lag.follow_each(rooms, core.bodies, t, [t_c] * len(bodies), asked)
    for body, answer in zip(bodies, answers, strict=True):
        if body.floor is not None and stack.floor_c is not None:
            answer = answer + stack.floor_c * (body.floor.share - _left(body.floor, waited))
        left = body.left(waited)
        low, high = np.minimum(low, answer + came[0] * left), np.maximum(high, answer + came[1] * left)
    return low, high


def core_reading(frame: Frame, lot: Delivery | None, core: CoreState | None) -> CoreReading | None:
    """The boxes of one delivery; None where nobody said how they lie and no sensor is in them."""
    if lot is None:
        return None
    board = frame.profile.board
    told = bool(stack_bodies(lot.stack, board))
    heard = core is not None and core.measured is not None
    inside = [stay for stay in frame.stays if (stay.place, stay.role) == (lot.place, "box")]
    if not (told or heard or inside):
        return None
    if core is None:
        return CoreReading(None, None, None, None, None)
    stays = held_at(lot.stack, board, limit=frame.profile.readiness.box_core_within, room_c=core.room)
    return CoreReading(core.low, core.high, core.measured, core.room, core.within, stays, _shared(frame, lot, inside))


def _shared(frame: Frame, lot: Delivery, inside: Sequence[Stay]) -> bool:
    """Whether a sensor in the boxes was put in where several deliveries lay, so that it may lie in another's."""
    beside = [other.at for other in frame.deliveries if other.place == lot.place]
    return any(lot.at <= stay.start and sum(at <= stay.start for at in beside) > 1 for stay in inside)


def held_at(stack: Stack, board: Board, *, limit: float, room_c: float | None) -> float | None:
    """What a core on a cold floor stays at for good, where that is not within `limit` [K] of the room. [degC]

    None where it comes near, and where room, floor or stack are not known.
    """
    if room_c is None or stack.floor_c is None:
        return None
    ends = [_end(body, stack.floor_c, room_c) for body in stack_bodies(stack, board) if body.floor is not None]
    far = any(abs(end - room_c) >= limit - HAIR for end in ends)
    return ends[SPEEDS.index("central")] if far else None


def _end(body: Warming, floor_c: float, room_c: float) -> float:
    """Where a core ends in a steady room. [degC]"""
    return room_c if body.floor is None else body.room.share * room_c + body.floor.share * floor_c


class Evening(NamedTuple):
    """How long a stack takes to come within the limit of the room: fast, central and slow board. [ms]"""

    fast: int
    central: int
    slow: int


def evening_out(
    stack: Stack, board: Board, *, limit: float, apart: float | None = None, room_c: float | None = None
) -> Evening | None:
    """How long boxes take to even out in a steady room; None where nobody said how they lie, or they never do.

    `apart` is how far they are from the room when they come [K]; not known, the time to close nine tenths of the way.
    `room_c` is the room, which a cold floor keeps them from: see `held_at` [degC].
    """
    bodies = stack_bodies(stack, board)
    if not bodies or held_at(stack, board, limit=limit, room_c=room_c) is not None:
        return None
    if stack.floor_c is not None and stack.box_c is not None and room_c is not None and bodies[0].floor is not None:
        slow, central, fast = (_near_from(body, stack.box_c, stack.floor_c, room_c, limit) for body in bodies)
        return Evening(min(fast, slow), central, max(fast, slow))
    if apart is not None and apart <= limit:
        return Evening(0, 0, 0)
    share = 0.9 if apart is None else 1.0 - limit / apart
    slow, central, fast = (round(lag.time_to_close_s(body.room, share) * 1000) for body in bodies)
    return Evening(fast, central, slow)


def _near_from(body: Warming, box_c: float, floor_c: float, room_c: float, limit: float) -> int:
    """When a core that came at `box_c` onto a cold floor is within `limit` of the room for good; it will be. [ms]"""
    if body.floor is None:
        raise AssertionError("these boxes lie on a cold floor")
    end = _end(body, floor_c, room_c)
    weights = (box_c - room_c) * np.array(body.room.weight) + (box_c - floor_c) * np.array(body.floor.weight)
    spare = limit - abs(end - room_c)
    latest = max(float(np.log(np.abs(weights).sum() / spare)), 0.0) / min(body.room.rate)  # surely near from then on
    waited, step = np.linspace(0.0, latest, _LOOKS, retstep=True)
    left = np.exp(-np.outer(waited, body.room.rate)) @ weights
    far = np.flatnonzero(np.abs(end + left - room_c) > limit)
    return round((waited[far[-1]] + step) * 1000) if len(far) else 0


def core_verdict(core: CoreReading | None, limit: float, units: System) -> tuple[Verdict, str]:
    """Whether the core is within `limit` [K] of the room's 24 h mean, and what that rests on.

    Where a sensor that may lie in another lot's boxes contradicts the estimate, the estimate is judged: never a pass.
    """
    if core is None:
        return "unknown", "nobody said how the boxes lie, and no sensor is in them"
    anothers = core.shared and core.disagree > 0
    measured = None if anothers else core.measured
    low, high = (measured, measured) if measured is not None else (core.low, core.high)
    if low is None or high is None:
        silent = "nothing is heard from the sensor in the boxes, and nobody said how they lie"
        return "unknown", "too little is known of the room since the boxes came" if core.room is None else silent
    if core.room is None:
        return "unknown", f"{_of(core, units)}, but too little is known of the room's last 24 h"
    near = (
        f"{format_temperature_difference(limit, units)} of the room's 24 h mean, {format_temperature(core.room, units)}"
    )
    if core.within is not None and not anothers:
        return "pass", f"within {near}, since {rfc3339(core.within)}: {_of(core, units)}"
    surely = low > core.room + limit or high < core.room - limit
    hint = "; several lots lie there, and the sensor may be in another's boxes" if anothers else ""
    hint += "" if core.stays is None else f"; {put_on_spacers(core.stays, units)}"
    if surely or measured is not None:
        return "fail", f"not within {near}: {_of(core, units)}{hint}"
    return "unknown", f"not yet surely within {near}: {_of(core, units)}{hint}"


def put_on_spacers(stays_c: float, units: System) -> str:
    """What a cold floor does to boxes, and the mend."""
    return f"on this floor the core stays at about {format_temperature(stays_c, units)}: put the boxes on spacers"


def _of(core: CoreReading, units: System) -> str:
    """What is said of the core: measured outranks estimated; where they are far apart both are told."""
    estimated = ""
    if core.low is not None and core.high is not None:
        low, high = (format_temperature(bound, units) for bound in (core.low, core.high))
        estimated = f"estimated {low} to {high}" if low != high else f"estimated {low}"
    if core.measured is None:
        return estimated
    measured = f"measured {format_temperature(core.measured, units)}"
    if not core.disagree:
        return measured
    return f"{measured}, {format_temperature_difference(core.disagree, units)} beyond the {estimated}"
