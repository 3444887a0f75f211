"""What dry and damp spells did to the boards on the wall, and what the record's own year says of the season ahead."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.basis.times import DAY, day_of
from monitor.basis.values import Quantity
from monitor.climate import lag, wood
from monitor.config.profile import Board
from monitor.rules.assessment import Excursion
from monitor.rules.board.boards import plank_bodies
from monitor.rules.board.estimates import Bounds, Days
from monitor.rules.channel import Values

MOST = 50  # excursions of which it is worked out what they did: those that did most
YEAR, SEASON = 365, 90  # the season ahead is what came in the same days of the year before [d]


class Effect(NamedTuple):
    """What an excursion did: `moved` by its end, negative when it dried; `number` in the list. [% of dry mass]"""

    number: int
    moved: Bounds


def effects(excursions: Sequence[Excursion], days: Days, board: Board) -> list[Effect]:
    """The excursions that moved the boards most, the worst first, by the slow, the central and the fast board.

    As all that lags is linear, an excursion's part is the answer to what it added beyond the band alone: the day means
    `too_dry` or `too_damp` of its days, shared by length with others of that day, from no change at its start to the
    end of its last day. An hour outside does next to nothing; weeks do what the air's balance says.
    """
    if not wood.moves_with_moisture(board.core) or not len(days):
        return []
    found = [_moved(number, one, beyond, days, board) for number, one, beyond in _largest(excursions, days)]
    return sorted((one for one in found if one.moved.central), key=lambda one: (-abs(one.moved.central), one.number))


def _largest(excursions: Sequence[Excursion], days: Days) -> list[tuple[int, Excursion, Values]]:
    """Those of humidity that added most to the boards' balance, before any lag, and what each added a day."""
    humid = [(number, one) for number, one in enumerate(excursions) if one.quantity is Quantity.AIR_HUMIDITY]
    out = {"low": np.zeros(len(days)), "high": np.zeros(len(days))}
    brief, day, length = _brief([one for _, one in humid], days)
    for side, total in out.items():
        here = np.array([one.side == side for _, one in humid], np.bool_) & brief
        np.add.at(total, day[here], length[here])
    for k in np.flatnonzero(~brief).tolist():
        out[humid[k][1].side][_span(humid[k][1], days)] += _length(humid[k][1], days)
    added = np.zeros(len(humid))
    for side, name in (("low", "too_dry"), ("high", "too_damp")):
        here = np.array([one.side == side for _, one in humid], np.bool_) & brief
        beyond = np.nan_to_num(days[name].astype(np.float64))[day[here]]
        added[here] = beyond * length[here] / np.maximum(out[side][day[here]], 1.0)
    for k in np.flatnonzero(~brief).tolist():
        added[k] = _beyond(humid[k][1], days, out[humid[k][1].side]).sum()
    most = [k for k in np.argsort(-added, kind="stable")[:MOST].tolist() if added[k] > 0]
    return [(*humid[k], _beyond(humid[k][1], days, out[humid[k][1].side])) for k in most]


def _brief(humid: Sequence[Excursion], days: Days) -> tuple[NDArray[np.bool_], NDArray[np.intp], Values]:
    """Which excursions lie in one day, as by far the most of a long record do, the day's row, and how long they are."""
    start = np.array([one.start for one in humid], np.int64)
    end = np.array([np.iinfo(np.int64).max if one.end is None else one.end for one in humid], np.int64)
    first = np.searchsorted(days["day"], start // DAY)
    brief = (start // DAY == (end - 1) // DAY) & (first < len(days))
    first = np.minimum(first, len(days) - 1)
    brief &= days["day"][first] == start // DAY
    return brief, first, np.where(brief, end - start, 0).astype(np.float64)


def _span(excursion: Excursion, days: Days) -> slice:
    last = days["day"][-1] if excursion.end is None else (excursion.end - 1) // DAY
    return slice(*np.searchsorted(days["day"], [excursion.start // DAY, last + 1]).tolist())


def _length(excursion: Excursion, days: Days) -> Values:
    """How long it lasted on each of its days. [ms]"""
    start = days["day"][_span(excursion, days)].astype(np.int64) * DAY
    end = start + DAY if excursion.end is None else np.minimum(start + DAY, excursion.end)
    return (end - np.maximum(start, excursion.start)).astype(np.float64)


def _beyond(excursion: Excursion, days: Days, out: Values) -> Values:
    """Its part of what the air added beyond the band on each of its days. [% of dry mass]"""
    here = _span(excursion, days)
    beyond = days["too_dry" if excursion.side == "low" else "too_damp"][here].astype(np.float64)
    return np.nan_to_num(beyond) * _length(excursion, days) / out[here]


def _moved(number: int, excursion: Excursion, beyond: Values, days: Days, board: Board) -> Effect:
    there = days["day"][_span(excursion, days)].astype(np.int64) * DAY
    start = day_of(excursion.start)
    signed = -beyond if excursion.side == "low" else beyond
    three = [
        lag.follow(body, lag.settled(body, start, 0.0), there, signed, int(there[-1]) + DAY)[0]
        for body in plank_bodies(board)
    ]
    return Effect(number, Bounds(min(three), three[1], max(three)))


class Season(NamedTuple):
    """What the same 90 days brought a year ago: first day [ms], lowest and highest day mean [%RH], boards' range.

    `low`, `high`: of the central board, None where it was not on the wall yet. [% of dry mass]
    """

    start: int
    end: int
    rh_low: float
    rh_high: float
    low: float | None
    high: float | None


def season_ahead(days: Days, as_of: int) -> Season | None:
    """The coming 90 days as the record knows them from the year before; None where it knows less than half of them."""
    first = day_of(as_of) // DAY - YEAR
    there = days[(days["day"] >= first) & (days["day"] < first + SEASON) & ~np.isnan(days["rh_mean"])]
    if len(there) * 2 < SEASON:
        return None
    boards = there["board"][~np.isnan(there["board"])]
    return Season(
        first * DAY,
        (first + SEASON) * DAY,
        float(there["rh_mean"].min()),
        float(there["rh_mean"].max()),
        float(boards.min()) if len(boards) else None,
        float(boards.max()) if len(boards) else None,
    )
