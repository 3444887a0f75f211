"""An invented room in an invented winter, for trying and training: its air is heated, cooled, dried and moistened.

Two bodies hold heat: the air with what stands in it, and the walls. Two hold water: the air, and the surfaces around
it; what one loses the other gains, or it leaves with the air, or a humidifier brings it. Every figure below is invented
and only means to be plausible.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from typing import NamedTuple
from zoneinfo import ZoneInfo

from monitor.basis.times import HOUR, MINUTE, datetime_of
from monitor.climate.air import humidity_ratio_g_kg, rh_from_humidity_ratio_pct
from monitor.climate.room_air import humidity_ratio_after_g_kg

STEP = MINUTE  # [ms]
_H = STEP / HOUR  # [h]

AIR_KG = 60.0  # dry air of 50 m3 [kg]
SURFACE_KG_PCT = 0.040  # water that the surfaces take up for each 1 %RH [kg]
_TO_SURFACES_KG_H_PCT = 0.008  # for each 1 %RH between air and surfaces [kg/h]
_AIR_CHANGES_1_H = 0.6  # closed [1/h]
_AIR_CHANGES_OPEN_1_H = 12.0  # with the outer door open [1/h]
_HUMIDIFIER_KG_H = 0.45
_HUMIDIFIER_PCT = (43.0, 48.0)  # on below, off above

_AIR_TO_WALLS_1_H = 3.0  # temperature that the air loses each hour for each K to the walls
_WALLS_TO_AIR_1_H = 0.2  # the same of the walls, which hold 15 times as much heat
_WALLS_OUTWARD_1_H = 0.045  # of the walls towards what is behind them
_AIRED_SHARE = 0.25  # of the heat of air and furniture that is the air's
_HEATER_K_H = 18.0
_THERMOSTAT_K = 0.5  # either side of the target
_DAY_C, _NIGHT_C = 20.5, 18.5
_DAY_HOURS = range(6, 22)

_OUTSIDE_C = 1.0
_OUTSIDE_SWING_K = 4.0  # either side, warmest at 15 h
_DRIFT_K, _DRIFT_H = 1.5, 30.0  # standard deviation and memory of the weather
_DEW_BELOW_K = 3.0  # the dew point outside, below the day's mean
_NEIGHBOURS_C = 18.0  # behind the other half of the walls

BEGINNING_PCT = 45.0


class Air(NamedTuple):
    """The air of the room. [degC, %]"""

    t_c: float
    rh_pct: float


class Conditions(NamedTuple):
    """What works and what is open."""

    heated: bool = True
    moistened: bool = True
    open: bool = False


class Room:
    """The room from `start` on [UTC ms]; `conditions(after)` says what holds so long after it [ms].

    A room that is not heated or not moistened at the start has been so for long. The same seed has the same weather.
    """

    def __init__(self, start: int, *, seed: int, zone: ZoneInfo, conditions: Callable[[int], Conditions]) -> None:
        self._start, self._now, self._zone, self._conditions = start, start, zone, conditions
        self._chance = random.Random(f"{seed} weather")
        self._drift = self._chance.gauss(0.0, _DRIFT_K)
        begins = conditions(0)
        self._walls_c = self._behind_c() + (9.0 if begins.heated else 0.5)
        t_c = self._target_c() if begins.heated else self._walls_c
        _, outside_g_kg = self._outside()
        dry = rh_from_humidity_ratio_pct(t_c, outside_g_kg)
        self.air = self._before = Air(t_c, BEGINNING_PCT if begins.moistened else dry)
        self.ratio_g_kg = humidity_ratio_g_kg(*self.air)
        self.surface_pct = self.air.rh_pct
        self._heating = self._humidifying = False

    def at(self, t: int) -> Air:
        """The air at `t`, which never goes back behind the last minute asked for. [UTC ms]"""
        while self._now < t:
            self._before = self.air
            self._step()
        share = (self._now - t) / STEP
        before, air = self._before, self.air
        return Air(air.t_c + share * (before.t_c - air.t_c), air.rh_pct + share * (before.rh_pct - air.rh_pct))

    def water_kg(self) -> float:
        """All the water of the room, in its air and its surfaces (from the dry state)."""
        return AIR_KG * self.ratio_g_kg / 1000 + SURFACE_KG_PCT * self.surface_pct

    def _step(self) -> None:
        now = self._conditions(self._now - self._start)
        changes = _AIR_CHANGES_OPEN_1_H if now.open else _AIR_CHANGES_1_H
        outside_c, outside_g_kg = self._outside()
        t_c = self._warm(outside_c, changes, heated=now.heated)
        self._moisten(t_c, outside_g_kg, changes, moistened=now.moistened)
        self._drift += -self._drift * _H / _DRIFT_H + _DRIFT_K * math.sqrt(2 * _H / _DRIFT_H) * self._chance.gauss()
        self._now += STEP

    def _warm(self, outside_c: float, changes: float, *, heated: bool) -> float:
        """The air's temperature after a step; the walls follow."""
        t_c, walls_c = self.air.t_c, self._walls_c
        target = self._target_c()
        self._heating = heated and t_c < target + (_THERMOSTAT_K if self._heating else -_THERMOSTAT_K)
        gain = _HEATER_K_H * self._heating
        gain += _AIR_TO_WALLS_1_H * (walls_c - t_c) + _AIRED_SHARE * changes * (outside_c - t_c)
        self._walls_c += _H * (_WALLS_TO_AIR_1_H * (t_c - walls_c) + _WALLS_OUTWARD_1_H * (self._behind_c() - walls_c))
        return t_c + _H * gain

    def _moisten(self, t_c: float, outside_g_kg: float, changes: float, *, moistened: bool) -> None:
        low, high = _HUMIDIFIER_PCT
        self._humidifying = moistened and self.air.rh_pct < (high if self._humidifying else low)
        to_surfaces = _TO_SURFACES_KG_H_PCT * (self.air.rh_pct - self.surface_pct)
        ratio = humidity_ratio_after_g_kg(
            _H,
            start_g_kg=self.ratio_g_kg,
            outside_g_kg=outside_g_kg,
            air_changes_1_h=changes,
            air_kg=AIR_KG,
            released_kg_h=_HUMIDIFIER_KG_H * self._humidifying - to_surfaces,
        )
        full = humidity_ratio_g_kg(t_c, 100.0)
        self.ratio_g_kg = min(ratio, full)
        condensed_kg = AIR_KG * (ratio - self.ratio_g_kg) / 1000
        self.surface_pct += (to_surfaces * _H + condensed_kg) / SURFACE_KG_PCT
        self.air = Air(t_c, rh_from_humidity_ratio_pct(t_c, self.ratio_g_kg))

    def _outside(self) -> tuple[float, float]:
        """Temperature [degC] and humidity ratio [g/kg] of the air outside, which is full below its dew point."""
        mean = _OUTSIDE_C + self._drift
        t_c = mean + _OUTSIDE_SWING_K * math.cos(2 * math.pi * (self._hour() - 15.0) / 24)
        return t_c, humidity_ratio_g_kg(min(t_c, mean - _DEW_BELOW_K), 100.0)

    def _behind_c(self) -> float:
        return (_OUTSIDE_C + self._drift + _NEIGHBOURS_C) / 2

    def _target_c(self) -> float:
        return _DAY_C if int(self._hour()) in _DAY_HOURS else _NIGHT_C

    def _hour(self) -> float:
        """The time of day. [h]"""
        moment = datetime_of(self._now, self._zone)
        return moment.hour + moment.minute / 60
