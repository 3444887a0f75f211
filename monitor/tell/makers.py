"""The maker's figures beside the profile's, in words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from types import MappingProxyType

from monitor.basis.units import INCH, format_length
from monitor.config.profile import Profile
from monitor.rules.install.makers import Beside, Document, Span, beside
from monitor.tell.words import Display, visible

NAMES: Mapping[str, str] = MappingProxyType(
    {
        "humidity": "humidity until the wall is finished",
        "temperature": "temperature until the wall is finished",
        "life_humidity": "humidity from then on",
        "life_temperature": "temperature from then on",
        "hours": "hours of acclimation",
        "flatness": "flatness over 10 ft",
        "edge_gap": "gap at adjoining walls",
        "max_length": "longest unbroken run",
        "max_height": "greatest height",
        "stagger": "stagger of joints",
    }
)
_ABOUT: Mapping[str, str] = MappingProxyType(
    {
        "humidity": "{} until the wall is finished",
        "temperature": "{} until the wall is finished",
        "life_humidity": "{} for the finished wall",
        "life_temperature": "{} for the finished wall",
        "hours": "{} of acclimation",
        "flatness": "a wall out of flat by {} over 10 ft",
        "edge_gap": "a gap of {} at adjoining walls",
        "max_length": "unbroken runs of {}",
        "max_height": "a height of {}",
        "stagger": "joints staggered by {}",
    }
)
PLACES = range(1, 5)  # tried until two limits that differ are shown as different


def warnings(documents: Iterable[Document], profile: Profile, display: Display) -> list[str]:
    """A sentence for every figure in which the profile is looser than a maker's document, to stand with the verdict."""
    return [
        f"The maker asks for {_ABOUT[row.figure].format(makers)}; "
        f"this profile {'asks for' if row.ours.high is None else 'allows'} {ours}, which is looser."
        for document in documents
        for row in beside(profile, document.limits)
        if row.ours_looser
        for ours, makers in (_both(row, display),)
    ]


def rows(documents: Sequence[Document], profile: Profile, display: Display) -> list[tuple[str, str, str, str, str]]:
    """(figure, profile's, maker's, which is looser, document) of every figure that a document states."""
    return [
        (NAMES[row.figure], *_both(row, display), _which(row), name(document))
        for document in documents
        for row in beside(profile, document.limits)
    ]


def name(document: Document) -> str:
    """ "Hall planks, revision 3, 2025-11"."""
    return visible(f"{document.title}, revision {document.revision}, {document.date}")


def _which(row: Beside) -> str:
    if row.ours_looser and row.makers_looser:
        return "each on one side"
    return "the profile" if row.ours_looser else "the maker" if row.makers_looser else "neither"


def _both(row: Beside, display: Display) -> tuple[str, str]:
    """The profile's and the maker's, with as many places as it takes to differ where they do."""
    for places in PLACES:
        ours, makers = (_span(row.figure, span, display, places) for span in (row.ours, row.makers))
        if ours != makers or not (row.ours_looser or row.makers_looser):
            break
    return ours, makers


def _span(figure: str, span: Span, display: Display, places: int) -> str:
    low, high = (None if end is None else _value(figure, end, display, places) for end in span)
    unit = _unit(figure, display)
    if low is not None and high is not None:
        return f"{low} to {high}{unit}"
    return f"at least {low}{unit}" if high is None else f"at most {high}{unit}"


def _unit(figure: str, display: Display) -> str:
    if figure.endswith("humidity"):
        return " %RH"
    if figure.endswith("temperature"):
        return " degF" if display.units == "us" else " degC"
    return " h" if figure == "hours" else ""


def _value(figure: str, value: float, display: Display, places: int) -> str:
    if _unit(figure, display):
        shown = value * 1.8 + 32 if figure.endswith("temperature") and display.units == "us" else value
        return f"{shown:z.{places}f}".rstrip("0").rstrip(".")
    if places == PLACES[-1]:
        return f"{value / INCH:.4f} in" if display.units == "us" else f"{value * 1000:.4f} mm"
    return format_length(value, display.units, denominator=16 * 2 ** (places - 1))
