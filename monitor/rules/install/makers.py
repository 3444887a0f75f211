"""What the maker's own document asks, beside the profile: figure by figure, and where the profile is the looser one."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType
from typing import NamedTuple

from monitor.basis.errors import QuantityError
from monitor.basis.times import HOUR
from monitor.basis.units import parse_duration, parse_length, parse_percent, parse_temperature
from monitor.basis.values import Entry, Kind
from monitor.config.profile import Profile

ALIKE = 1e-9  # limits no further apart are the same [of the kept unit]


class Span(NamedTuple):
    """What is allowed: from `low` to `high`, None where nothing bounds it. [%RH, degC, h or m]"""

    low: float | None
    high: float | None


class Beside(NamedTuple):
    """One figure: what the profile allows, what the maker allows, and who allows what the other does not."""

    figure: str
    ours: Span
    makers: Span
    ours_looser: bool
    makers_looser: bool


class _Figure(NamedTuple):
    """`bounds`: what a limit of this figure bounds; `ours` is the profile's."""

    bounds: str
    read: Callable[[str, str], float]
    like: str
    ours: Callable[[Profile], Span]


class Document(NamedTuple):
    """A maker's document as an entry of the log names it; `limits` by figure."""

    number: int
    at: int
    title: str
    revision: str
    date: str
    file: str
    sha256: str
    limits: Mapping[str, Span]


def _percent(text: str, where: str) -> float:
    return parse_percent(text, where=where)


def _temperature(text: str, where: str) -> float:
    return parse_temperature(text, where=where)


def _length(text: str, where: str) -> float:
    return parse_length(text, where=where)


def _hours(text: str, where: str) -> float:
    return parse_duration(f"{text} h" if text.replace(".", "", 1).isdecimal() else text, where=where) / HOUR


_HUMIDITY = ("both", _percent, '"40 %..60 %"')
_TEMPERATURE = ("both", _temperature, '"65 degF..80 degF"')
FIGURES: Mapping[str, _Figure] = MappingProxyType(
    {
        "humidity": _Figure(*_HUMIDITY, lambda profile: Span(*profile.band.humidity)),
        "temperature": _Figure(*_TEMPERATURE, lambda profile: Span(*profile.band.temperature)),
        "life_humidity": _Figure(*_HUMIDITY, lambda profile: Span(*profile.life.humidity)),
        "life_temperature": _Figure(*_TEMPERATURE, lambda profile: Span(*profile.life.temperature)),
        "hours": _Figure("low", _hours, '"72"', lambda p: Span(p.acclimation.required / HOUR, None)),
        "flatness": _Figure("high", _length, '"1/8 in"', lambda profile: Span(None, profile.wall.flatness)),
        "edge_gap": _Figure("low", _length, '"1/4 in"', lambda profile: Span(profile.wall.edge_gap, None)),
        "max_length": _Figure("high", _length, '"30 ft"', lambda profile: Span(None, profile.wall.max_length)),
        "max_height": _Figure("high", _length, '"9 ft"', lambda profile: Span(None, profile.wall.max_height)),
        "stagger": _Figure("low", _length, '"12 in"', lambda profile: Span(profile.wall.stagger_least, None)),
    }
)


def read_limit(figure: str, text: str, *, where: str) -> Span:
    """A limit as a document states it: "40 %..60 %", one side left out where it has none; of the others one value.

    Raises QuantityError.
    """
    if figure not in FIGURES:
        raise QuantityError(f"there is no figure {figure!r}", where=where, mend=f"Use one of {', '.join(FIGURES)}")
    bounds, read, like, _ = FIGURES[figure]
    if bounds == "both":
        low, dots, high = (part.strip() for part in text.partition(".."))
        if not dots or not (low or high):
            raise QuantityError(f"{text!r} is not a band", where=where, mend=f"Write it like {like}")
        span = Span(read(low, where) if low else None, read(high, where) if high else None)
        if span.low is not None and span.high is not None and not span.low < span.high:
            raise QuantityError(f"{low!r} is not below {high!r}", where=where, mend="Write the lower one first")
        return span
    value = read(text.strip(), where)
    if not value > 0:
        raise QuantityError(f"{text!r} is no limit", where=where, mend=f"Write it like {like}")
    return Span(value, None) if bounds == "low" else Span(None, value)


def beside(profile: Profile, limits: Mapping[str, Span]) -> list[Beside]:
    """Each figure that the maker states, in the order of FIGURES, beside the profile's."""
    return [
        Beside(name, ours, limits[name], _looser(ours, limits[name]), _looser(limits[name], ours))
        for name, figure in FIGURES.items()
        if name in limits
        for ours in (figure.ours(profile),)
    ]


def looser(profile: Profile, limits: Mapping[str, Span]) -> list[str]:
    """The figures in which the profile allows what the maker does not."""
    return [row.figure for row in beside(profile, limits) if row.ours_looser]


def _looser(one: Span, other: Span) -> bool:
    """Whether `one` reaches beyond `other` on either side."""
    below = other.low is not None and (one.low is None or one.low < other.low - ALIKE)
    above = other.high is not None and (one.high is None or one.high > other.high + ALIKE)
    return below or above


def documents(entries: Sequence[Entry], as_of: int) -> list[Document]:
    """The maker's documents in force at `as_of`, of each title the one entered last; `entries` corrections applied."""
    found: dict[str, Document] = {}
    for entry in entries:
        if entry.kind is Kind.DOCUMENT and entry.at <= as_of:
            where, body = f"entry {entry.number}", entry.body
            found[body["title"]] = Document(
                number=entry.number,
                at=entry.at,
                title=body["title"],
                revision=body["revision"],
                date=body["date"],
                file=body["file"],
                sha256=body["sha256"],
                limits={name: read_limit(name, text, where=where) for name, text in body["limits"].items()},
            )
    return sorted(found.values(), key=lambda document: document.number)
