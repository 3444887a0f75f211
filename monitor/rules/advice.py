"""What to do about the air of a room: in plain words, with amounts, and with what can hurt on the way."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from monitor.basis.times import HOUR
from monitor.basis.units import System, format_percent, format_temperature, format_temperature_difference
from monitor.basis.values import Quantity
from monitor.climate.air import dew_point_c
from monitor.climate.surface import MOULD_LIMIT_PCT
from monitor.climate.wood import moves_with_moisture
from monitor.rules.cautions import HEATING, Caution
from monitor.rules.guards import Guard, factor_of, guards
from monitor.rules.phrases import Form, at_most, beyond, litres, percent, temperature_in, time_span, volume
from monitor.rules.target import Measured, Move, Situation, Target, Water, ceiling_pct, side_of, target, water
from monitor.rules.timeline import HAIR
from monitor.rules.trend import Slope, reached, recent_slope

PATIENCE = 3 * HOUR  # what returns by itself within this is left alone; ours, no published source [ms]
_FULL = f"{MOULD_LIMIT_PCT:.0f} % at its surface"


@dataclass(frozen=True, slots=True)
class Advice:
    """What to do, in the order of `sentences`; `moves` are the same for a program.

    `amounts` has what is known of: `temperature_c` and `humidity_pct` aimed for, `left_alone_pct`, `ceiling_pct`,
    `aired_pct` and `instead_c` (see `Target`), and the litres `once_l`, `daily_l`, `boards_l` (see `Water`); empty
    where there is nothing to do and while the room is to be left alone (`wait`).
    """

    sentences: tuple[str, ...]
    moves: tuple[Move, ...] = ()
    amounts: Mapping[str, float] = field(default_factory=dict)
    cautions: tuple[Caution, ...] = ()
    wait: bool = False


class _Air(NamedTuple):
    """One quantity of the room's air as advice looks at it. `slope` per hour; `spread` its uncertainty in words."""

    name: str
    now: Measured
    limits: tuple[float, float]
    form: Form
    spread: str
    slope: Slope | None

    @property
    def side(self) -> int:
        return side_of(self.now.value, self.limits)

    def told(self, value: float) -> str:
        return self.form(value, places=1)


def advice(situation: Situation, units: System = "si") -> Advice:
    """From the present state to the nearest point in band, or to wait where the trend returns by itself.

    Raises ValueError for values outside the ranges of `monitor.climate`.
    """
    failing = [guard for guard in guards(situation, units) if guard.verdict == "fail" or _may_be_damp(guard, situation)]
    heard = tuple(_heard(situation, units))
    said = [guard.sentence for guard in failing] + [_state(air) for air in heard if air.side]
    said += _unheard(situation)
    if waiting := _waiting(situation, heard):
        return Advice((*said, *waiting), cautions=_cautions(failing), wait=True)
    if situation.temperature is None:
        return Advice(tuple(said))
    aim = target(situation)
    if not aim.moves and not any(air.side for air in heard):
        return Advice((*said, *_quiet(heard, failing)), cautions=_cautions(failing))
    amounts = water(situation, aim)
    said += [*_heat(situation, aim, units), *_humidity(situation, aim, units), *_litres(situation, aim, amounts, units)]
    warming = aim.instead_c is not None and aim.instead_c > aim.temperature_c
    return Advice(tuple(said), aim.moves, _amounts(aim, amounts), _cautions(failing, aim.moves, warming))


# --- what is ----------------------------------------------------------------------------------------


def _heard(situation: Situation, units: System) -> Iterator[_Air]:
    if situation.temperature is not None:
        yield _Air(
            "temperature",
            situation.temperature,
            situation.band.temperature,
            temperature_in(units),
            format_temperature_difference(situation.temperature.uncertainty, units),
            recent_slope(situation.recent.get(Quantity.AIR_TEMPERATURE), situation.as_of),
        )
    if situation.humidity is not None:
        yield _Air(
            "humidity",
            situation.humidity,
            situation.band.humidity,
            percent,
            format_percent(situation.humidity.uncertainty),
            recent_slope(situation.recent.get(Quantity.AIR_HUMIDITY), situation.as_of),
        )


def _state(air: _Air) -> str:
    low, high = (air.told(limit) for limit in air.limits)
    value = beyond(air.now.value, air.limits[air.side > 0], air.form)
    return f"{air.name.capitalize()} is {value}, {'above' if air.side > 0 else 'below'} the band of {low} to {high}."


def _unheard(situation: Situation) -> list[str]:
    both = (("temperature", situation.temperature), ("humidity", situation.humidity))
    missing = [name for name, now in both if now is None]
    verb = "are" if len(missing) > 1 else "is"
    told = f"The room's {' and '.join(missing)} {verb} not known: let a sensor there be heard first."
    return [told] if missing else []


def _quiet(heard: tuple[_Air, ...], failing: list[Guard]) -> Iterator[str]:
    values = " and ".join(air.told(air.now.value) for air in heard)
    yield f"In band: {values}.{' Leave the air as it is.' if len(heard) == 2 and not failing else ''}"
    for air in heard:
        low, high = air.limits
        limit = low if air.now.value - low < high - air.now.value else high
        if abs(limit - air.now.value) < air.now.uncertainty:
            yield f"{air.name.capitalize()} is nearer to {air.told(limit)} than its uncertainty of {air.spread}."
        yield from _leaving(air)


# --- if this goes on ------------------------------------------------------------------------------


def _leaving(air: _Air) -> Iterator[str]:
    for limit, where in zip(air.limits, ("below", "above"), strict=True):
        inside = limit < air.now.value if where == "below" else limit > air.now.value
        reach = reached(air.slope, air.now.value, limit, PATIENCE) if inside else None
        if reach:
            yield f"If this goes on, {air.name} goes {where} {air.told(limit)} in {time_span(reach)}."


def _waiting(situation: Situation, heard: tuple[_Air, ...]) -> list[str]:
    """What returns and when; nothing unless all that is out returns, nothing else leaves, and no wall stays damp."""
    out = [air for air in heard if air.side]
    reaches = [reached(air.slope, air.now.value, air.limits[air.side > 0], PATIENCE) for air in out]
    leaves = any(True for air in heard if not air.side for _ in _leaving(air))
    if leaves or (_damp(situation) and situation.f_rsi is not None):
        return []
    told = [
        f"If this goes on, {air.name} is back in band in {time_span(reach)}: wait, change nothing."
        for air, reach in zip(out, reaches, strict=True)
        if reach
    ]
    return told if len(told) == len(out) else []


def _may_be_damp(guard: Guard, situation: Situation) -> bool:
    return guard.what == "surface" and _damp(situation)


def _damp(situation: Situation) -> bool:
    if situation.temperature is None or situation.humidity is None:
        return False
    ceiling = ceiling_pct(situation, situation.temperature.value)
    return ceiling is not None and situation.humidity.value > ceiling + HAIR


# --- what to do -----------------------------------------------------------------------------------


def _heat(situation: Situation, aim: Target, units: System) -> Iterator[str]:
    verb = next((each for each in ("heat", "cool") if each in aim.moves), None)
    if verb is None or situation.temperature is None:
        return
    allowed = _allowed(format_temperature_difference(situation.temperature.uncertainty, units), situation.temperature)
    yield f"{verb.capitalize()} to {format_temperature(aim.temperature_c, units)}{allowed}."
    if situation.humidity is not None and aim.left_alone_pct is not None:
        before, after = format_percent(min(situation.humidity.value, 100.0)), format_percent(aim.left_alone_pct)
        yield f"This alone takes the air from {before} to {after}."


def _allowed(spread: str, now: Measured) -> str:
    return f", which allows for the sensor's uncertainty of {spread}" if now.uncertainty > 0.0 else ""


def _humidity(situation: Situation, aim: Target, units: System) -> Iterator[str]:
    if situation.humidity is None or aim.humidity_pct is None or aim.left_alone_pct is None:
        return
    allowed = _allowed(format_percent(situation.humidity.uncertainty), situation.humidity)
    if "moisten" in aim.moves:
        yield from _moisten(situation, aim, aim.humidity_pct, allowed, units)
    elif "dry" in aim.moves:
        yield from _dry(situation, aim, aim.humidity_pct, allowed, units)
    else:
        if side_of(aim.left_alone_pct, situation.band.humidity) < 0:
            yield f"Add no water: a cold outside wall has {_FULL} or more already ({_outdoors(situation, units)})."
        return
    yield from _windows(aim, units)
    yield from _instead(aim, aim.humidity_pct, units)


def _moisten(situation: Situation, aim: Target, to_pct: float, allowed: str, units: System) -> Iterator[str]:
    lead = f"{_lead('moisten', aim)}{' moderately,' if situation.phase == 'after' else ''} to"
    low, high = situation.band.humidity
    if aim.ceiling_pct is None:
        yield f"{lead} {format_percent(to_pct)}{allowed}."
        yield "The outdoor temperature is not known: stop at once when panes or outside walls turn wet."
    elif to_pct < aim.ceiling_pct:
        yield f"{lead} {format_percent(to_pct)}{allowed}."
        if aim.ceiling_pct < high:
            yield f"Never beyond {at_most(aim.ceiling_pct)}: {_there(situation, units)}."
    else:
        yield f"{lead} {at_most(to_pct)} and no further: {_there(situation, units)}."
        if side_of(to_pct, situation.band.humidity):
            yield f"The band begins at {format_percent(low)}: the rest waits for milder weather or a warmer wall."
    dew = dew_point_c(aim.temperature_c, to_pct)
    if situation.boxes_c is not None and situation.boxes_c[0] < dew:
        yield f"Moisten only once the boxes are warmer than that air's dew point, {format_temperature(dew, units)}."


def _dry(situation: Situation, aim: Target, to_pct: float, allowed: str, units: System) -> Iterator[str]:
    lead, low = f"{_lead('dry', aim)} to", format_percent(situation.band.humidity[0])
    if aim.ceiling_pct is None or to_pct < aim.ceiling_pct - HAIR:
        yield f"{lead} {format_percent(to_pct)}{allowed}."
    elif to_pct <= aim.ceiling_pct + HAIR:
        yield f"{lead} {at_most(to_pct)}: {_there(situation, units)}."
    else:
        yield f"{lead} {low}, though a cold outside wall keeps over {_FULL} ({_outdoors(situation, units)}): warm it."
    yield f"Never below {low}: drier air does not make boards ready sooner."


def _lead(verb: str, aim: Target) -> str:
    return f"Then {verb}" if {"heat", "cool"} & set(aim.moves) else verb.capitalize()


def _there(situation: Situation, units: System) -> str:
    return f"there a cold outside wall has {_FULL} ({_outdoors(situation, units)})"


def _outdoors(situation: Situation, units: System) -> str:
    assert situation.outdoor_c is not None  # where the wall's limit is known, so is the air outdoors
    return f"outdoors {format_temperature(situation.outdoor_c, units)}, {factor_of(situation)}"


def _windows(aim: Target, units: System) -> Iterator[str]:
    if aim.aired_pct is None:
        return
    fact = f"outdoor air brought to {format_temperature(aim.temperature_c, units)} has {format_percent(aim.aired_pct)}"
    if "air" in aim.moves:
        yield f"Airing helps, in short bursts: {fact}."
    elif "dry" in aim.moves:
        yield f"Keep the windows shut: {fact}."
    else:
        yield f"Air no more than people need: {fact}."


def _instead(aim: Target, to_pct: float, units: System) -> Iterator[str]:
    if aim.instead_c is not None:
        verb = "warm" if aim.instead_c > aim.temperature_c else "cool"
        place = format_temperature(aim.instead_c, units)
        yield f"Or {verb} the room to {place}: with the water that it holds now it has {format_percent(to_pct)} there."


# --- with what water --------------------------------------------------------------------------------


def _litres(situation: Situation, aim: Target, amounts: Water, units: System) -> Iterator[str]:
    if not {"moisten", "dry"} & set(aim.moves):
        return
    moisten = "moisten" in aim.moves
    if situation.volume_m3 is None or amounts.once is None:
        yield "Give the room's volume to know how much water that is."
    else:
        room, once = volume(situation.volume_m3, units), litres(amounts.once, units)
        where, daily = "into" if moisten else "out of", _daily(situation, amounts, moisten, units)
        yield f"In a room of {room} that is {once} {where} the air once{daily}."
    yield from _boards(situation, amounts, moisten, units)


def _daily(situation: Situation, amounts: Water, moisten: bool, units: System) -> str:
    if amounts.daily is None:
        return "; what a day takes is not known, for the air outdoors is not"
    rate = f"{situation.changes:g} air changes an hour{'' if situation.air_changes_1_h is not None else ' (assumed)'}"
    if not amounts.daily:
        return f"; after that none is needed at {rate}"
    going = "" if moisten else ", while what gives off water now goes on"
    return f" and then {litres(amounts.daily, units)} a day at {rate}{going}"


def _boards(situation: Situation, amounts: Water, moisten: bool, units: System) -> Iterator[str]:
    who = "The wall's boards" if situation.phase == "after" else "Boards and boxes"
    verb, device = ("take up", "humidifier") if moisten else ("give off", "dehumidifier")
    if amounts.boards is None and moves_with_moisture(situation.core):
        yield f"{who} {verb} far more than the air: give their weight to know how much."
    elif amounts.boards:
        times = amounts.boards / amounts.once if amounts.once else 0.0
        larger = f", {times:.0f} times what the air takes" if times >= 2.0 else ""
        yield (
            f"{who}, if in balance with the air now, {verb} about {litres(amounts.boards, units)} besides, over days "
            f"to weeks{larger}: meanwhile a {device} sized for the air alone is too small."
        )


def _amounts(aim: Target, amounts: Water) -> dict[str, float]:
    named = {
        "temperature_c": aim.temperature_c,
        "humidity_pct": aim.humidity_pct,
        "left_alone_pct": aim.left_alone_pct,
        "ceiling_pct": aim.ceiling_pct,
        "aired_pct": aim.aired_pct,
        "instead_c": aim.instead_c,
        "once_l": amounts.once,
        "daily_l": amounts.daily,
        "boards_l": amounts.boards,
    }
    return {name: value for name, value in named.items() if value is not None}


def _cautions(failing: list[Guard], moves: tuple[Move, ...] = (), warming: bool = False) -> tuple[Caution, ...]:
    wanted = set(HEATING) if "heat" in moves or warming else set()
    if any(guard.what == "frost" for guard in failing):
        wanted.add(Caution.PIPES)
    wanted |= {Caution.HUMIDIFIER} if "moisten" in moves else set()
    wanted |= {Caution.DEHUMIDIFIER} if "dry" in moves else set()
    wanted |= {Caution.LOCAL_CODE} if wanted else set()
    return tuple(caution for caution in Caution if caution in wanted)
