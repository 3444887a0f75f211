"""Quantities: read and printed here and nowhere else. degC, %RH, metres and milliseconds inside.

A temperature and a difference of temperatures are two things: 3 degF as a difference is 3 / 1.8 K, without the 32.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from fractions import Fraction
from typing import Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

from monitor.basis.errors import QuantityError
from monitor.basis.times import DAY, HOUR, MINUTE, SECOND
from monitor.basis.values import Quantity

System = Literal["us", "si"]
FloatOrArray = TypeVar("FloatOrArray", float, NDArray[np.float64])

INCH = 0.0254  # international inch, exact since 1959 [m]
FOOT = 0.3048  # international foot, exact since 1959 [m]
SQUARE_FOOT = FOOT * FOOT  # [m2]
ZERO_CELSIUS_IN_KELVIN = 273.15  # exact, SI Brochure 9th ed. 2.3.1 [K]

_TEMPERATURE = {
    "degc": "degC", "c": "degC", "°c": "degC", "cel": "degC", "celsius": "degC",
    "degf": "degF", "f": "degF", "°f": "degF", "[degf]": "degF", "fahrenheit": "degF",
    "k": "K", "kelvin": "K",
}  # fmt: skip
_HUMIDITY = {"%": "%", "%rh": "%", "percent": "%", "pct": "%", "/": "1", "1": "1", "fraction": "1"}
_SHARES = (Quantity.AIR_HUMIDITY, Quantity.WALL_MOISTURE, Quantity.BATTERY)
_LENGTH = {
    "m": 1.0, "cm": 0.01, "mm": 0.001, "in": INCH, "inch": INCH, "inches": INCH, '"': INCH, "ft": FOOT, "foot": FOOT,
    "feet": FOOT, "'": FOOT,
}  # fmt: skip
_DURATION = {
    "ms": 1, "s": SECOND, "sec": SECOND, "min": MINUTE, "h": HOUR, "hour": HOUR, "hours": HOUR, "d": DAY, "day": DAY,
    "days": DAY,
}  # fmt: skip

_AREA = {"m2": 1.0, "m²": 1.0, "sq m": 1.0, "sq ft": SQUARE_FOOT, "ft2": SQUARE_FOOT, "ft²": SQUARE_FOOT}
_VOLUME = {"l": 1e-3, "ml": 1e-6, "fl oz": 29.5735295625e-6}  # US fluid ounce: NIST Handbook 44, Appendix C

_SIZE = {"kb": 1_000, "mb": 1_000_000, "gb": 1_000_000_000, "tb": 1_000_000_000_000}  # SI prefixes

_NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?"
_ONE = re.compile(rf"\s*({_NUMBER})\s*(\S.*?)?\s*")
_PART = re.compile(
    r"(?:(\d+(?:\.\d*)?|\.\d+)(?![\d/.]))?\s*(?:(\d{1,4})\s*/\s*(\d{1,4}))?\s*([a-z]+|'|\")\s*"
)  # "4 1/2 in", one part of a sum


def _split(text: str, where: str, example: str) -> tuple[float, str]:
    found = _ONE.fullmatch(text)
    if found is None or math.isinf(float(found[1])):
        raise QuantityError(f"{text!r} is not a number with a unit", where=where, mend=f"Write it like {example}")
    return float(found[1]), (found[2] or "").lower()


def _sum(text: str, units: Mapping[str, float]) -> float:
    """The sum of "16 ft 4 3/16 in" or "26 h 30 min" in the base of `units`, larger units first; NaN if it isn't one."""
    rest, total, last = text.strip().lower(), 0.0, math.inf
    while rest:
        found = _PART.match(rest)
        unit = units.get(found[4]) if found else None
        if not found or not unit or not unit < last or not (found[1] or found[2]) or not int(found[3] or 1):
            return math.nan
        fraction = float(Fraction(int(found[2]), int(found[3]))) if found[2] else 0.0
        total += (float(found[1] or 0) + fraction) * unit
        rest, last = rest[found.end() :], unit
    return total if last < math.inf else math.nan


def unit_of(text: str, quantity: Quantity, *, where: str) -> str:
    """The unit a sensor sends, in our spelling: degC, degF or K; % or 1 (a fraction). Raises QuantityError."""
    table = _HUMIDITY if quantity in _SHARES else _TEMPERATURE
    unit = table.get(text.strip().lower())
    if unit is None:
        known = "%, fraction" if table is _HUMIDITY else "degC, degF, K"
        raise QuantityError(f"{text!r} is no unit of {quantity.value}", where=where, mend=f"Use one of {known}")
    return unit


def to_base(value: FloatOrArray, unit: str) -> FloatOrArray:
    """A value as sent, in degC or %. `unit` is one of `unit_of`'s: degC, degF, K, %, 1."""
    if unit in ("degC", "%"):
        return value
    if unit == "degF":
        return (value - 32.0) / 1.8
    if unit == "K":
        return value - ZERO_CELSIUS_IN_KELVIN
    if unit == "1":
        return value * 100.0
    raise ValueError(f"no such unit: {unit}")


def parse_temperature(text: str, *, where: str = "temperature") -> float:
    """ "68 degF", "68F", "20 degC", "293.15 K" -> degC. Raises QuantityError. [degC]"""
    value, unit = _split(text, where, '"68 degF" or "20 degC"')
    if unit not in _TEMPERATURE:
        raise QuantityError(f"{text!r} is not a temperature", where=where, mend='Write it like "68 degF" or "20 degC"')
    return to_base(value, _TEMPERATURE[unit])


def parse_temperature_difference(text: str, *, where: str = "difference") -> float:
    """ "3 degF" -> 1.666... K: a difference has no 32 in it. Raises QuantityError. [K]"""
    value, unit = _split(text, where, '"3 degF" or "2 K"')
    if unit not in _TEMPERATURE:
        raise QuantityError(
            f"{text!r} is not a difference of temperatures", where=where, mend='Write it like "3 degF" or "2 K"'
        )
    return value / 1.8 if _TEMPERATURE[unit] == "degF" else value


def parse_percent(text: str, *, where: str = "humidity") -> float:
    """ "45 %" or "45 %RH" -> 45.0. Raises QuantityError. [%]"""
    value, unit = _split(text, where, '"45 %"')
    if _HUMIDITY.get(unit) != "%":
        raise QuantityError(f"{text!r} is not a percentage", where=where, mend='Write it like "45 %"')
    return value


def parse_duration(text: str, *, where: str = "duration") -> int:
    """ "48 h", "30 min", "7 d", "90 s", "26 h 30 min" -> milliseconds. Raises QuantityError. [ms]"""
    ms = _sum(text, _DURATION)
    if not ms < math.inf:
        raise QuantityError(f"{text!r} is not a duration", where=where, mend='Write it like "30 min", "48 h" or "7 d"')
    return round(ms)


def parse_length(text: str, *, where: str = "length") -> float:
    """ "3/16 in", "16 ft 4 in", "16' 4 1/2\\"", "4.2 m" -> metres. Raises QuantityError. [m]"""
    metres = _sum(text, _LENGTH)
    if not metres < math.inf:
        raise QuantityError(
            f"{text!r} is not a length", where=where, mend='Write it like "3/16 in", "16 ft 4 in" or "4.2 m"'
        )
    return metres


def parse_area(text: str, *, where: str = "area") -> float:
    """ "10 sq ft", "1.2 m2" -> square metres. Raises QuantityError. [m2]"""
    value, unit = _split(text, where, '"10 sq ft" or "1 m2"')
    if unit not in _AREA:
        raise QuantityError(f"{text!r} is not an area", where=where, mend='Write it like "10 sq ft" or "1 m2"')
    return value * _AREA[unit]


def parse_volume(text: str, *, where: str = "volume") -> float:
    """ "28 fl oz", "310 ml" -> cubic metres. Raises QuantityError. [m3]"""
    value, unit = _split(text, where, '"28 fl oz" or "310 ml"')
    if unit not in _VOLUME:
        raise QuantityError(f"{text!r} is not a volume", where=where, mend='Write it like "28 fl oz" or "310 ml"')
    return value * _VOLUME[unit]


def parse_size(text: str, *, where: str = "size") -> int:
    """ "500 MB", "2 GB" -> bytes. Raises QuantityError. [bytes]"""
    value, unit = _split(text, where, '"500 MB" or "2 GB"')
    if unit not in _SIZE:
        raise QuantityError(f"{text!r} is not a size", where=where, mend='Write it like "500 MB" or "2 GB"')
    return round(value * _SIZE[unit])


def format_temperature(degc: float, system: System = "si", *, places: int = 1) -> str:
    """ "68.0 degF" or "20.0 degC"."""
    return f"{degc * 1.8 + 32:z.{places}f} degF" if system == "us" else f"{degc:z.{places}f} degC"


def format_temperature_difference(kelvin: float, system: System = "si", *, places: int = 1) -> str:
    """ "3.0 degF" or "1.7 K": a difference is 1.8 x, without the 32."""
    return f"{kelvin * 1.8:z.{places}f} degF" if system == "us" else f"{kelvin:z.{places}f} K"


def format_percent(percent: float, *, places: int = 1) -> str:
    """ "45.0 %"."""
    return f"{percent:z.{places}f} %"


def format_duration(ms: int) -> str:
    """ "26 h 30 min": to the minute above an hour, to the second below; a length of time, never a time of day."""
    if ms < 0:
        return f"-{format_duration(-ms)}"
    if ms < MINUTE:
        return f"{ms / SECOND:g} s"
    if ms < HOUR:
        minutes, seconds = divmod(round(ms / SECOND), 60)
        return f"{minutes} min {seconds} s" if seconds else f"{minutes} min"
    hours, minutes = divmod(round(ms / MINUTE), 60)
    return f"{hours} h {minutes} min" if minutes else f"{hours} h"


def format_area(m2: float, system: System = "si") -> str:
    """ "9.29 m2", or "100.0 sq ft"."""
    return f"{m2 / SQUARE_FOOT:z.1f} sq ft" if system == "us" else f"{m2:z.2f} m2"


def format_length(metres: float, system: System = "si", *, denominator: int = 16) -> str:
    """ "4.200 m", or feet and inches to the nearest 1/`denominator` inch: "16 ft 4 3/16 in"."""
    if system == "si":
        return f"{metres:.3f} m" if abs(metres) >= 1 else f"{metres * 1000:.1f} mm"
    if metres < 0:
        return f"-{format_length(-metres, system, denominator=denominator)}"
    feet, parts = divmod(round(metres / INCH * denominator), 12 * denominator)
    inches, rest = divmod(parts, denominator)
    fraction = str(Fraction(rest, denominator)) if rest else ""
    inch = " ".join(part for part in (str(inches) if inches else "", fraction) if part)
    return " ".join(part for part in (f"{feet} ft" if feet else "", f"{inch} in" if inch else "") if part) or "0 in"
