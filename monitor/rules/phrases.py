"""Figures as advice and guards say them, in the units that a job asks for."""

from __future__ import annotations

import math
from typing import Protocol

from monitor.basis.times import MINUTE
from monitor.basis.units import FOOT, INCH, System, format_duration, format_percent, format_temperature
from monitor.rules.trend import Reach

GALLON = 231 * INCH**3 * 1000  # US liquid gallon, 231 cubic inches by definition [litre]


class Form(Protocol):
    """A figure and its unit, with so many places."""

    def __call__(self, value: float, *, places: int) -> str:
        """The text."""
        ...


def temperature_in(units: System) -> Form:
    """Temperatures in degF or degC."""

    def form(value: float, *, places: int) -> str:
        return format_temperature(value, units, places=places)

    return form


def percent(value: float, *, places: int) -> str:
    """Humidity."""
    return format_percent(value, places=places)


def beyond(value: float, limit: float, form: Form) -> str:
    """`value` with as many places as it takes to differ from `limit`; with one where eight do not."""
    texts = (form(value, places=n) for n in range(1, 9) if form(value, places=n) != form(limit, places=n))
    return next(texts, form(value, places=1))


def at_most(value: float) -> str:
    """A humidity cut to a tenth, not rounded: a ceiling is never said higher than it is."""
    return format_percent(math.floor(value * 10.0) / 10.0)


def litres(value: float, units: System) -> str:
    """ "5.4 litres" or "1.4 gal": two digits or whole ones, for no such figure is known better."""
    size, unit = (value / GALLON, "gal") if units == "us" else (value, "litres")
    return f"{size:.{0 if size >= 10 else 1 if size >= 1 else 2}f} {unit}"


def volume(value_m3: float, units: System) -> str:
    """ "50 m3" or "1766 ft3"."""
    return f"{value_m3 / FOOT**3:.0f} ft3" if units == "us" else f"{value_m3:.0f} m3"


def time_span(reach: Reach) -> str:
    """ "40 min to 1 h 10 min", widened to whole minutes; "about 1 h" where that is one, "at most 5 min" from now on."""
    soonest, latest = reach.soonest // MINUTE * MINUTE, -(-reach.latest // MINUTE) * MINUTE
    if soonest == latest:
        return f"about {format_duration(latest)}"
    return (
        f"{format_duration(soonest)} to {format_duration(latest)}" if soonest else f"at most {format_duration(latest)}"
    )
