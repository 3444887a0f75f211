"""Planks on the wall, in moisture: nine bodies that lag behind the room from the start of the installation on.

Before it they lie in unopened boxes, which hardly exchange vapour in days. Three isotherms times three diffusivities
stand for what is not known of a board.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache, lru_cache
from typing import Any, NamedTuple, get_args

import numpy as np
from numpy.typing import NDArray

from monitor.basis.times import DAY
from monitor.basis.values import Quantity
from monitor.climate import lag, wood
from monitor.climate.lag import Modes, State
from monitor.climate.stack import plank_moisture_modes
from monitor.config.profile import Board
from monitor.rules.board.estimates import BoardReading, Bounds, Days, Extreme
from monitor.rules.board.hours import Hours
from monitor.rules.channel import Times, Values
from monitor.rules.frame import Delivery, Frame

SPREADS: tuple[wood.Spread, ...] = get_args(wood.Spread)
SPEEDS = 3
CENTRAL = 4  # of the nine: the central isotherm and the central diffusivity

_T, _RH = Quantity.AIR_TEMPERATURE, Quantity.AIR_HUMIDITY


@cache
def plank_bodies(board: Board) -> tuple[Modes, ...]:
    """The mean moisture of one plank on the wall: slow, central, fast."""
    return tuple(plank_moisture_modes(board.thickness, d, open_faces=board.open_faces) for d in board.diffusivity)


def measured_moistures(frame: Frame) -> list[float]:
    """What was measured of the lots that came before the installation, one a lot. [% of dry mass]"""
    return [d.stack.moisture for d in _came(frame) if d.stack.moisture is not None]


def _came(frame: Frame) -> list[Delivery]:
    return [d for d in frame.deliveries if frame.start is None or d.at <= frame.start]


def starts_of(frame: Frame) -> list[tuple[float, ...]]:
    """What the boards of each kind of lot came with, by each isotherm: as measured, else the profile's figure.

    A lot that nobody measured is taken to be in balance with the profile's figure. [% of dry mass]
    """
    board = frame.profile.board
    middle = sum(frame.profile.band.temperature) / 2
    taken = _in_balance(board, middle)
    lots = [taken if d.stack.moisture is None else (d.stack.moisture,) * len(SPREADS) for d in _came(frame)]
    return list(dict.fromkeys(lots)) or [taken]


def came_with(frame: Frame) -> tuple[float, ...]:
    """The moisture that boards are taken to have had when they came: lowest, central, highest. [% of dry mass]

    Lowest and highest over the lots; central the mean of the measured ones, where there are any.
    """
    starts, measured = starts_of(frame), measured_moistures(frame)
    central = sum(measured) / len(measured) if measured else starts[0][1]
    return min(start[0] for start in starts), central, max(start[-1] for start in starts)


def settles_at(board: Board, t_c: Values, rh_pct: Values, spread: wood.Spread = "central") -> Values:
    """Moisture at which a board settles in this air; temperatures are held to what the model covers. [% of dry mass]"""
    return wood.equilibrium_pct(board.core, np.clip(t_c, *wood.TEMPERATURE_RANGE_C), rh_pct, spread)


@cache
def _in_balance(board: Board, t_c: float) -> tuple[float, ...]:
    """What a board that came as the profile says has settled at, by each isotherm. [% of dry mass]"""
    return tuple(wood.equilibrium_pct(board.core, t_c, board.came_at, spread) for spread in SPREADS)


class BoardDays(NamedTuple):
    """The nine boards at the end of each day, and how far beyond the band's air took the central one's balance.

    `moisture` (9, days), `too_dry` and `too_damp` (days): means over the day's known hours, NaN where there are none.
    [% of dry mass]
    """

    moisture: Values
    too_dry: Values
    too_damp: Values


def follow_boards(frame: Frame, boards: list[State], hours: Hours) -> BoardDays | None:
    """Move `boards`, changed in place, on by these hours; None where there are none.

    There are none before the installation, and none of a core that does not move with moisture.
    """
    board, start = frame.profile.board, frame.start
    if start is None or hours.end[-1] <= start or not wood.moves_with_moisture(board.core):
        return None
    if not boards:
        boards += [lag.settled(b, start, came) for came in came_with(frame) for b in plank_bodies(board)]
    heard = ~np.isnan(hours.mean[_T] + hours.mean[_RH]) & (hours.end > start)
    t = hours.start[heard]
    first = hours.days()
    ends = np.append(hours.start[first[1:]], hours.end[-1])
    after = ends > start
    t_c, rh = hours.mean[_T][heard], hours.mean[_RH][heard]
    central, driest, dampest = (settles_at(board, t_c, humid) for humid in (rh, *_limits(frame, t)))
    settles = {spread: central if spread == "central" else settles_at(board, t_c, rh, spread) for spread in SPREADS}
    moisture = np.full((len(boards), len(ends)), np.nan)
    rooms = [settles[spread] for spread in SPREADS for _ in range(SPEEDS)]
    moisture[:, after], boards[:] = lag.follow_each(plank_bodies(board) * len(SPREADS), boards, t, rooms, ends[after])
    return BoardDays(moisture, *(_day_means(heard, excess, first) for excess in (driest - central, central - dampest)))


def _limits(frame: Frame, start: Times) -> tuple[Values, Values]:
    """The band's humidity at these times, or the life's once the installation is finished; or one for all. [%]"""
    life = np.full(len(start), True) if frame.finish is None else start >= frame.finish
    if life.all() or not life.any():
        life = life[:1]
    (low, high), (life_low, life_high) = frame.profile.band.humidity, frame.profile.life.humidity
    return np.where(life, life_low, low), np.where(life, life_high, high)


def _day_means(heard: NDArray[np.bool_], excess: Values, first: Times) -> Values:
    """The mean of what is above 0 over each day's hours that are heard. [unit of `excess`]"""
    beyond = np.zeros(len(heard))
    beyond[heard] = np.maximum(excess, 0.0)
    counted = np.add.reduceat(heard.astype(np.int64), first)
    return np.where(counted > 0, np.add.reduceat(beyond, first) / np.maximum(counted, 1), np.nan)


def board_reading(
    frame: Frame, boards: Sequence[State], days: Days, spread: Mapping[Quantity, float]
) -> BoardReading | None:
    """The boards now; None where none are followed. `spread`: the sensors' expanded uncertainty. [K, %RH]"""
    if not boards or frame.start is None:
        return None
    bodies, came = plank_bodies(frame.profile.board), came_with(frame)
    followed = np.array([lag.level(bodies[row % SPEEDS], state) for row, state in enumerate(boards)])
    apart = _apart(frame, came)
    now = followed + apart * _left(apart, frame.profile.board, frame.start, boards[0].at_ms)
    known = days[~np.isnan(days["grown"])]
    return BoardReading(
        since=frame.start,
        came=Bounds(*came),
        now=_bounds(now, followed[CENTRAL]),
        gained=_bounds(now - apart - np.repeat(came, SPEEDS), followed[CENTRAL] - came[1]),
        measured=bool(measured_moistures(frame)),
        sensor=_left_open(frame, days, spread),
        driest=_extreme(frame, apart, known, "grown_least", np.argmin) if len(known) else None,
        dampest=_extreme(frame, apart, known, "grown_most", np.argmax) if len(known) else None,
    )


def _apart(frame: Frame, came: Sequence[float]) -> Values:
    """How far the boards of each kind of lot came from where the nine bodies began: (kinds, 9). [% of dry mass]"""
    return np.repeat(np.array(starts_of(frame)) - np.array(came), SPEEDS, axis=1)


def _left(apart: Values, board: Board, start: int, at: int) -> Values:
    """What is left at `at` of a difference that boards came with, by each of the nine bodies: 1 down to 0.

    It is not asked for, and taken for 1, where no boards came `apart`.
    """
    return np.array(_faded(board, start, at)) if apart.any() else np.ones(len(SPREADS) * SPEEDS)


@lru_cache(maxsize=4096)  # at the end of a day it is asked for by every look
def _faded(board: Board, start: int, at: int) -> tuple[float, ...]:
    """What is left at `at` of a difference at `start`. [1]"""
    if at <= start:
        return (1.0,) * (len(SPREADS) * SPEEDS)
    begun = np.array([start])
    left = [lag.follow(body, lag.settled(body, start, 1.0), begun, np.zeros(1), at)[0] for body in plank_bodies(board)]
    return tuple(left) * len(SPREADS)


def _bounds(every: Values, central: float) -> Bounds:
    return Bounds(float(every.min()), float(central), float(every.max()))


def _extreme(frame: Frame, apart: Values, days: Days, by: str, pick: Any) -> Extreme:
    """That day's gain, as wide as lots that came apart make it."""
    row = days[pick(days[by])]
    end, start = (int(row["day"]) + 1) * DAY, frame.start or 0
    wider = apart * (1.0 - _left(apart, frame.profile.board, start, end))
    least, most = float(row["grown_least"]) - max(wider.max(), 0.0), float(row["grown_most"]) - min(wider.min(), 0.0)
    return Extreme(int(row["day"]) * DAY, Bounds(float(least), float(row["grown"]), float(most)))


def _left_open(frame: Frame, days: Days, spread: Mapping[Quantity, float]) -> float:
    """What the sensors leave open in the boards' balance, at the last day's air. [% of dry mass]"""
    heard = days[~np.isnan(days["rh_mean"] + days["t_mean"])]
    if not len(heard):
        return 0.0
    t_c = float(np.clip(heard["t_mean"][-1], *wood.TEMPERATURE_RANGE_C))
    u_t, u_rh = spread[Quantity.AIR_TEMPERATURE], spread[Quantity.AIR_HUMIDITY]
    return float(
        wood.equilibrium_uncertainty_pct(frame.profile.board.core, t_c, float(heard["rh_mean"][-1]), u_t, u_rh)
    )
