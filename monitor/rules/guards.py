"""Guards of empty rooms: frost in the pipes, boxes colder than the dew point, damp at a cold outside wall.

Each looks at now alone. How long a state has lasted, and when to tell of it, is for the alarm to say.
"""

from __future__ import annotations

import math
from typing import Literal, NamedTuple

from monitor.basis.units import System, format_temperature
from monitor.climate.air import dew_point_c, frost_point_c
from monitor.climate.surface import (
    CONDENSATION_LIMIT_PCT,
    MOULD_LIMIT_PCT,
    surface_humidity_pct,
    surface_temperature_c,
)
from monitor.rules.assessment import Verdict
from monitor.rules.phrases import beyond, percent, temperature_in
from monitor.rules.target import Situation
from monitor.rules.timeline import HAIR

# Room air below which pipes, in outside walls and corners colder than the air, begin to be at risk: the frost setting
# of thermostats, common practice, no published source [degC]
FROST_C = 5.0

What = Literal["frost", "boxes", "surface"]


class Guard(NamedTuple):
    """What one guard says of now: `fail` calls for a hand, `unknown` that something it needs is not known."""

    what: What
    verdict: Verdict
    sentence: str


def guards(situation: Situation, units: System = "si") -> tuple[Guard, Guard, Guard]:
    """All three, the most pressing first. Raises ValueError for values outside the ranges of `monitor.climate`."""
    return frost(situation, units), boxes(situation, units), surface(situation, units)


def frost(situation: Situation, units: System = "si") -> Guard:
    """Whether the room is so cold, below 5 degC, that pipes can freeze."""
    if situation.temperature is None:
        return Guard("frost", "unknown", "Whether pipes can freeze is not known: the room's temperature is not.")
    limit, air = format_temperature(FROST_C, units), situation.temperature.value
    room = beyond(air, FROST_C, temperature_in(units))
    if air < FROST_C - HAIR:
        mend = "Bring the heating back, or have the water shut off and the pipes drained."
        return Guard("frost", "fail", f"At {room} the room is below {limit}: pipes can freeze. {mend}")
    return Guard("frost", "pass", f"At {room} the room is not below {limit}: pipes are not at risk.")


def boxes(situation: Situation, units: System = "si") -> Guard:
    """Whether boxes are, or may be, colder than the room's dew point, below 0 degC its frost point."""
    point = _dew_point_c(situation)
    if point is None or situation.boxes_c is None:
        return Guard("boxes", "unknown", "Whether boxes are colder than the room's dew point is not known.")
    low, high = situation.boxes_c
    told = f"{'dew' if point > 0.0 else 'frost'} point of {format_temperature(point, units)}"
    at = _range(low, high, units)
    if low >= point:
        return Guard("boxes", "pass", f"Boxes, at {at}, are not colder than the room's {told}.")
    verb = "are" if high < point else "may be"
    mend = "Do not open them, water would condense on the boards: let them warm up closed."
    return Guard("boxes", "fail", f"Boxes, at {at}, {verb} colder than the room's {told}. {mend}")


def _dew_point_c(situation: Situation) -> float | None:
    """Where vapour first settles on a cold box; None where it is not known, or the air holds next to none."""
    if situation.temperature is None or situation.humidity is None:
        return None
    t, rh = situation.temperature.value, min(situation.humidity.value, 100.0)
    return max((point for point in (dew_point_c(t, rh), frost_point_c(t, rh)) if not math.isnan(point)), default=None)


def _range(low: float, high: float, units: System) -> str:
    first, last = format_temperature(low, units), format_temperature(high, units)
    return first if first == last else f"{first} to {last}"


def surface(situation: Situation, units: System = "si") -> Guard:
    """Whether a cold outside wall has more than 80 % at its surface (ISO 13788:2012 s. 5), or water on it.

    An assumed temperature factor, being a cautious one, can show that it has not, but not that it has.
    """
    if situation.temperature is None or situation.humidity is None or situation.outdoor_c is None:
        return Guard("surface", "unknown", "How damp a cold outside wall is at its surface is not known.")
    air = situation.temperature.value
    wall = surface_temperature_c(air, situation.outdoor_c, situation.factor)
    damp = surface_humidity_pct(air, min(situation.humidity.value, 100.0), wall)
    limit, assumed = f"{MOULD_LIMIT_PCT:.0f} %", situation.f_rsi is None
    has = f"{'may have' if assumed else 'has'} {beyond(min(damp, 100.0), MOULD_LIMIT_PCT, percent)}"
    told = f"A cold outside wall {has} at its surface of {format_temperature(wall, units)} ({factor_of(situation)})"
    if damp <= MOULD_LIMIT_PCT + HAIR:
        return Guard("surface", "pass", f"{told}, not over {limit}.")
    harm = "water condenses there" if damp >= CONDENSATION_LIMIT_PCT else f"over {limit} mould can grow"
    mend = "Look there" if assumed else "Warm the room, let air reach that wall, dry the air but not below the band"
    return Guard("surface", "unknown" if assumed else "fail", f"{told}: {harm}. {mend}.")


def factor_of(situation: Situation) -> str:
    """ "temperature factor 0.60, assumed"."""
    return f"temperature factor {situation.factor:.2f}{', assumed' if situation.f_rsi is None else ''}"
