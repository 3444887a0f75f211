"""The wall's skin: how warm and how humid it is at the surface, and what grows there, by the hour. An estimate."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from monitor.basis.times import HOUR
from monitor.basis.values import Quantity
from monitor.climate.mould import MouldState, mould_index
from monitor.climate.surface import TEMPERATURE_RANGE_C, surface_humidity_pct, surface_temperature_c
from monitor.config.profile import Surface
from monitor.rules.board.estimates import Days, SkinReading
from monitor.rules.board.hours import Hours
from monitor.rules.channel import Values

_T, _RH = Quantity.AIR_TEMPERATURE, Quantity.AIR_HUMIDITY
MONTH = 30  # days over which the humidity at the surface is judged, as by a month's mean


class SurfaceHours(NamedTuple):
    """The wall's surface, an hour: its temperature [degC], the humidity at it [%], the mould index there [1].

    NaN where it is not known.
    """

    t_c: Values
    rh_pct: Values
    mould: Values


def follow_surface(
    rule: Surface, mould: MouldState, hours: Hours, measured: Values, outdoor_c: Values
) -> tuple[SurfaceHours, MouldState]:
    """The surface by a sensor on it, else from the air outdoors by the temperature factor.

    Mould is counted over whole hours. [degC]
    """
    whole = hours.end - hours.start == HOUR
    if np.isnan(measured).all() and np.isnan(outdoor_c).all():  # as of most walls
        unknown = np.full(len(whole), np.nan)
        return SurfaceHours(unknown, unknown, unknown), mould._replace(unknown_h=mould.unknown_h + int(whole.sum()))
    t_c, outdoor, told = (np.clip(one, *TEMPERATURE_RANGE_C) for one in (hours.mean[_T], outdoor_c, measured))
    rh = hours.mean[_RH]
    surface = np.where(np.isnan(told), surface_temperature_c(t_c, outdoor, rule.temperature_factor), told)
    humid = surface_humidity_pct(t_c, rh, surface)
    index = np.full(len(t_c), np.nan)
    index[whole], mould = mould_index(
        surface[whole], humid[whole], mould, sensitivity=rule.sensitivity, decline=rule.decline
    )
    return SurfaceHours(surface, humid, index), mould


def skin_reading(mould: MouldState, days: Days) -> SkinReading | None:
    """The wall's surface; None where it was never known."""
    known = days[~np.isnan(days["skin_rh_mean"])]
    if not len(known):
        return None
    last = known[-1] if len(days) and known[-1]["day"] == days[-1]["day"] else None
    month = known[known["day"] > days[-1]["day"] - MONTH]
    return SkinReading(
        coldest=None if last is None else float(last["skin_t_low"]),
        humid=None if last is None else float(last["skin_rh_mean"]),
        month=float(month["skin_rh_mean"].mean(dtype=np.float64)) if len(month) * 2 >= MONTH else None,
        damp_h=int(days["damp"].sum(dtype=np.int64)),
        wet_h=int(days["wet"].sum(dtype=np.int64)),
        mould=mould.level,
        unknown_h=mould.unknown_h,
    )
