"""Where a room's air should go, and the water that this takes: the nearest point of the band that does no harm.

Two limits stand above the band: no water is added past the point where a cold outside wall has 80 % at its surface,
and none is taken out below the band. An assumed temperature factor of that wall is enough to stop at; air that is in
band is dried for the wall's sake only when the factor is known. Aims lie inside the band by the sensor's uncertainty,
for air that only reads as if it were in band may be out of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from monitor.basis.values import Quantity
from monitor.climate.air import SEA_LEVEL_PA, vapour_pressure_pa
from monitor.climate.room_air import heated_or_cooled, moisture_load_kg_h, water_in_air_kg
from monitor.climate.saturation import saturation_temperature_c
from monitor.climate.surface import MOULD_LIMIT_PCT, surface_humidity_pct, surface_temperature_c
from monitor.climate.wood import TEMPERATURE_RANGE_C, Core, equilibrium_pct, moves_with_moisture
from monitor.config.profile import Band
from monitor.rules.assessment import Phase
from monitor.rules.timeline import HAIR
from monitor.rules.trend import Recent

F_RSI_ASSUMED = 0.60  # colder than the 0.70 that DIN 4108-2 asks of new walls: old corners are. Ours [1]
AIR_CHANGES_ASSUMED = 0.5  # of a lived-in flat with windows shut; common practice, no published source [1/h]

Move = Literal["heat", "cool", "moisten", "dry", "air"]
_HEAT_MOVES: dict[int, tuple[Move, ...]] = {-1: ("heat",), 0: (), 1: ("cool",)}


class Measured(NamedTuple):
    """A value and its expanded uncertainty, not below 0. [degC and K, or %RH]"""

    value: float
    uncertainty: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Situation:
    """What is known of a room at `as_of` [ms]; None is not known.

    `band` is the profile's band or, in the life of the wall, its life band. `recent` has the last hours' readings.
    `f_rsi` is the temperature factor of the coldest outside wall (0.60 is assumed), `air_changes_1_h` 0.5 is assumed.
    `boards_kg` is what boards and boxes weigh, of `core`. `boxes_c` is the lowest and highest that the boxes may be at,
    measured or estimated [degC].
    """

    as_of: int
    band: Band
    temperature: Measured | None
    humidity: Measured | None
    phase: Phase = "before"
    recent: Mapping[Quantity, Recent] = field(default_factory=dict)
    outdoor_c: float | None = None
    outdoor_pct: float | None = None
    f_rsi: float | None = None
    volume_m3: float | None = None
    air_changes_1_h: float | None = None
    boards_kg: float | None = None
    core: Core = "HDF"
    boxes_c: tuple[float, float] | None = None
    pressure_pa: float = SEA_LEVEL_PA

    @property
    def factor(self) -> float:
        """The temperature factor, given or assumed. [1]"""
        return F_RSI_ASSUMED if self.f_rsi is None else self.f_rsi

    @property
    def changes(self) -> float:
        """Air changes, given or assumed. [1/h]"""
        return AIR_CHANGES_ASSUMED if self.air_changes_1_h is None else self.air_changes_1_h


class Target(NamedTuple):
    """Where the air should go; None where humidity, or the air outdoors, is not known.

    `left_alone_pct`: the humidity at `temperature_c` with the water the air holds now. `ceiling_pct`: the humidity at
    which a cold outside wall then has 80 % at its surface, at most 100. `aired_pct`: what outdoor air has when brought
    to that temperature. `instead_c`: the temperature inside the band at which the water held now would do.
    """

    temperature_c: float
    moves: tuple[Move, ...]
    left_alone_pct: float | None = None
    humidity_pct: float | None = None
    ceiling_pct: float | None = None
    aired_pct: float | None = None
    instead_c: float | None = None


class Water(NamedTuple):
    """Litres, never below 0, to bring in when the air is moistened, to take out when it is dried.

    `once`: for the air of the room; `daily`: to hold it there against the air that is exchanged; `boards`: what boards
    and boxes take up, or give off, on the way. None where what it takes is not known.
    """

    once: float | None = None
    daily: float | None = None
    boards: float | None = None


def side_of(value: float, limits: tuple[float, float]) -> int:
    """-1 below the limits, 1 above, 0 within; outside means by more than a hair, as everywhere in the rules."""
    return int(value > limits[1] + HAIR) - int(value < limits[0] - HAIR)


def _aims(limits: tuple[float, float], uncertainty: float) -> tuple[float, float]:
    """The limits drawn in by the uncertainty; the middle where that leaves nothing."""
    middle = (limits[0] + limits[1]) / 2.0
    return min(limits[0] + uncertainty, middle), max(limits[1] - uncertainty, middle)


def ceiling_pct(situation: Situation, t_c: float) -> float | None:
    """Room humidity at which a cold outside wall has 80 % at its surface, the room at `t_c`; at most 100.

    None where the outdoor temperature is not known. `monitor.climate.surface`, ISO 13788:2012 s. 5. [%]
    """
    if situation.outdoor_c is None:
        return None
    wall = surface_temperature_c(t_c, situation.outdoor_c, situation.factor)
    return min(MOULD_LIMIT_PCT / surface_humidity_pct(t_c, 1.0, wall), 100.0)


def target(situation: Situation) -> Target:
    """The nearest point of the band, temperature first, then humidity.

    Raises ValueError without a temperature, or for values outside the ranges of `monitor.climate`.
    """
    if situation.temperature is None:
        raise ValueError("a room without a temperature has no target")
    now, limits = situation.temperature.value, situation.band.temperature
    side = side_of(now, limits)
    low, high = _aims(limits, situation.temperature.uncertainty)
    to = {-1: low, 0: now, 1: high}[side]
    moves = _HEAT_MOVES[side]
    if situation.humidity is None:
        return Target(to, moves)
    alone = heated_or_cooled(now, min(situation.humidity.value, 100.0), to, situation.pressure_pa).rh_pct
    ceiling = ceiling_pct(situation, to)
    aim = _humidity_aim(situation, alone, situation.humidity.uncertainty, ceiling)
    aired = _aired_pct(situation, to)
    moves += _water_moves(alone, aim, aired)
    instead = None if side else _instead_c(situation, alone, aim, (low, high))
    return Target(to, moves, alone, aim, ceiling, aired, instead)


def _humidity_aim(situation: Situation, alone: float, uncertainty: float, ceiling: float | None) -> float:
    """Never above what the wall's surface bears if water is added, never below the band if it is taken out."""
    limits = situation.band.humidity
    low, high = _aims(limits, uncertainty)
    most, side = 100.0 if ceiling is None else ceiling, side_of(alone, limits)
    if side < 0:
        return max(min(low, most), alone)
    if not side and situation.f_rsi is None:
        return alone
    return max(min(high if side else alone, most), limits[0])


def _water_moves(alone: float, aim: float, aired: float | None) -> tuple[Move, ...]:
    if abs(aim - alone) <= HAIR:
        return ()
    move: Move = "moisten" if aim > alone else "dry"
    helps = aired is not None and (aired > aim if move == "moisten" else aired < aim)
    return ("air", move) if helps else (move,)


def _aired_pct(situation: Situation, to_c: float) -> float | None:
    if situation.outdoor_c is None or situation.outdoor_pct is None:
        return None
    outdoor = min(situation.outdoor_pct, 100.0)
    return heated_or_cooled(situation.outdoor_c, outdoor, to_c, situation.pressure_pa).rh_pct


def _instead_c(situation: Situation, now: float, aim: float, aims: tuple[float, float]) -> float | None:
    """Warmer or cooler inside the band, the water that the air holds would be `aim`: less trouble than a device."""
    limits = situation.band.humidity
    if situation.temperature is None or not side_of(now, limits) or side_of(aim, limits) or not aim:
        return None
    saturated = 100.0 / aim * vapour_pressure_pa(situation.temperature.value, now)
    there = saturation_temperature_c(min(saturated, SEA_LEVEL_PA))  # at which water boils at 100 degC, beyond any band
    if not aims[0] <= there <= aims[1]:
        return None
    ceiling = ceiling_pct(situation, there)
    return there if ceiling is None or aim <= ceiling else None


def water(situation: Situation, aim: Target) -> Water:
    """The litres (1 kg of water each) that `aim`, this situation's target, takes.

    `once` the change of the air's vapour. `daily` n V / v (W - Wo), ASHRAE HVAC Systems and Equipment, humidifiers:
    when moistening, as if nothing in the room gave off water; when drying, as if what gives it off now went on so.
    `boards` the change of the equilibrium moisture times the dry mass, boards being in balance with the air now.
    Raises ValueError for values outside the ranges of `monitor.climate`.
    """
    if aim.humidity_pct is None or aim.left_alone_pct is None:
        return Water()
    way = side_of(aim.humidity_pct, (aim.left_alone_pct, aim.left_alone_pct))
    if not way:
        return Water()
    return Water(
        _once(situation, aim.temperature_c, aim.left_alone_pct, aim.humidity_pct),
        _daily(situation, aim.temperature_c, aim.humidity_pct, way),
        _boards(situation, aim.temperature_c, aim.humidity_pct, way),
    )


def _once(situation: Situation, t_c: float, before_pct: float, after_pct: float) -> float | None:
    if situation.volume_m3 is None:
        return None
    before, after = (water_in_air_kg(t_c, rh, situation.volume_m3) for rh in (before_pct, after_pct))
    return abs(after - before)


def _daily(situation: Situation, t_c: float, rh_pct: float, way: int) -> float | None:
    if situation.volume_m3 is None or situation.outdoor_c is None or situation.outdoor_pct is None:
        return None
    outside = [(situation.outdoor_c, min(situation.outdoor_pct, 100.0))]
    if way < 0 and situation.temperature is not None and situation.humidity is not None:
        # what the room's sources give off now holds it at its present humidity: drying works against that, or against
        # outdoor air where that is the wetter
        outside.append((situation.temperature.value, min(situation.humidity.value, 100.0)))
    loads = [
        moisture_load_kg_h(
            inside_c=t_c,
            inside_pct=rh_pct,
            outside_c=there_c,
            outside_pct=there_pct,
            volume_m3=situation.volume_m3,
            air_changes_1_h=situation.changes,
            pressure_pa=situation.pressure_pa,
        )
        for there_c, there_pct in outside
    ]
    return max(24.0 * way * load for load in (*loads, 0.0))


def _boards(situation: Situation, t_c: float, rh_pct: float, way: int) -> float | None:
    if situation.boards_kg is None or situation.temperature is None or situation.humidity is None:
        return None
    if not moves_with_moisture(situation.core):
        return 0.0
    now_pct = _moisture_pct(situation.core, situation.temperature.value, min(situation.humidity.value, 100.0))
    gain_pct = _moisture_pct(situation.core, t_c, rh_pct) - now_pct
    return max(way * situation.boards_kg * gain_pct / (100.0 + now_pct), 0.0)


def _moisture_pct(core: Core, t_c: float, rh_pct: float) -> float:
    return equilibrium_pct(core, min(max(t_c, TEMPERATURE_RANGE_C[0]), TEMPERATURE_RANGE_C[1]), rh_pct)
