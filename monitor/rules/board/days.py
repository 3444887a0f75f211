"""What became of each UTC day of the judged span: time in band, the air, the boards, the wall's skin; a row a day."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.basis.times import DAY, HOUR
from monitor.basis.values import Quantity
from monitor.climate.surface import CONDENSATION_LIMIT_PCT
from monitor.rules.board.boards import CENTRAL, BoardDays
from monitor.rules.board.estimates import DAYS, FIGURES
from monitor.rules.board.hours import Hours
from monitor.rules.board.skin import SurfaceHours
from monitor.rules.channel import Mask, Times, Values
from monitor.rules.timeline import put_in, turns


def packed_days(
    edges: Times,
    known: Mask,
    in_band: Mask,
    hours: Hours,
    boards: BoardDays | None,
    came: NDArray[np.float64],
    skin: SurfaceHours,
) -> bytes:
    """A row for each day of a stretch of intervals `edges`, of which midnights are edges too.

    `came` (9, 1): the moisture of each board at the installation. [% of dry mass]
    """
    first = hours.days()
    rows = np.zeros(len(first), DAYS)
    for name in FIGURES:
        rows[name] = np.nan
    rows["day"] = hours.start[first] // DAY
    begins = np.searchsorted(edges, np.maximum(rows["day"].astype(np.int64) * DAY, edges[0]))
    rows["elapsed"] = np.append(edges[begins[1:]], edges[-1]) - edges[begins]
    rows["known"], rows["in_band"] = held_for(edges, begins, known, in_band)
    for short, quantity in (("t", Quantity.AIR_TEMPERATURE), ("rh", Quantity.AIR_HUMIDITY)):
        for name, value in _range(hours.mean[quantity], first, hours.known[quantity]).items():
            rows[f"{short}_{name}"] = value
    if boards is not None:
        _boards(rows, boards, came)
    _skin(rows, skin, first)
    return rows.tobytes()


def held_for(edges: Times, begins: Times, *held: Mask) -> list[Times]:
    """How long each of `held` holds in each stretch of intervals that begins at one of `begins`: its runs are added up.
    [ms]"""
    most, *others = sorted((turns(one) for one in held), key=len, reverse=True)
    at, _ = put_in(most, np.concatenate([begins, *others]))
    length = np.append(edges[at[1:]], edges[-1]) - edges[at]
    first = np.searchsorted(at, begins)
    return [np.add.reduceat(np.where(one[at], length, 0), first) for one in held]


def _range(value: Values, first: Times, weight: Times) -> dict[str, Values]:
    """Lowest, mean and highest of each day, over what is known of it."""
    return {
        "low": np.fmin.reduceat(value, first),  # NaN where nothing is known
        "mean": _mean(value, first, weight),
        "high": np.fmax.reduceat(value, first),
    }


def _mean(value: Values, first: Times, weight: Times) -> Values:
    heard = ~np.isnan(value)
    total = np.add.reduceat(np.where(heard, weight, 0), first)
    mean = np.add.reduceat(np.where(heard, value * weight, 0.0), first) / np.maximum(total, 1)
    return np.where(total > 0, mean, np.nan)


def _boards(rows: Any, boards: BoardDays, came: NDArray[np.float64]) -> None:
    gained = boards.moisture - came
    for name, figures in (("board", boards.moisture), ("grown", gained)):
        rows[name] = figures[CENTRAL]
    rows["board_low"], rows["board_high"] = boards.moisture.min(axis=0), boards.moisture.max(axis=0)
    rows["grown_least"], rows["grown_most"] = gained.min(axis=0), gained.max(axis=0)
    rows["too_dry"], rows["too_damp"] = boards.too_dry, boards.too_damp


def _skin(rows: Any, skin: SurfaceHours, first: Times) -> None:
    """Of an hour cut short nothing is counted."""
    rows["skin_t_low"] = np.fmin.reduceat(skin.t_c, first)
    rows["skin_rh_mean"] = _mean(skin.rh_pct, first, np.full(len(skin.t_c), HOUR))
    for name, over in (("damp", skin.rh_pct > 80.0), ("wet", skin.rh_pct >= CONDENSATION_LIMIT_PCT)):
        rows[name] = np.add.reduceat((over & ~np.isnan(skin.mould)).astype(np.int64), first)
    last = np.append(first[1:], len(skin.mould)) - 1
    rows["mould"] = skin.mould[last]
