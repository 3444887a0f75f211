"""Whether a wall and its place are what the planks are made for: what was said of it, and what speaks against it.

What is asked is what the trade asks; common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, NamedTuple

from monitor.basis.values import Entry, Kind
from monitor.rules.assessment import Condition


class Question(NamedTuple):
    """What is asked of a place: in words, and the answers that speak against it, each with what is wrong then.

    The answer to a `dated` one is a date, ISO 8601, or False where it is not so yet.
    """

    asks: str
    against: Mapping[Any, str]
    dated: bool = False


QUESTIONS: Mapping[str, Question] = MappingProxyType(
    {
        "kind": Question(
            "what kind of wall it is",
            {"below-grade": "the wall is below grade", "masonry": "the wall is masonry"},
        ),
        "surface": Question(
            "whether it is a wall",
            {"ceiling": "it is a ceiling", "counter": "it is a counter", "splash-back": "it is a splash-back"},
        ),
        "vertical": Question("whether it is vertical", {False: "it is not vertical"}),
        "over_water": Question("whether it is over a sink or tub", {True: "it is over a sink or tub"}),
        "indoors": Question("whether it is indoors", {False: "it is not indoors"}),
        "climate_since": Question(
            "since when heating or cooling is in service", {False: "heating or cooling is not in service"}, True
        ),
        "closed_in_since": Question(
            "since when the building is closed in", {False: "the building is not closed in"}, True
        ),
        "wet_trades_done": Question("when the wet trades were done", {False: "the wet trades are not done"}, True),
    }
)
_WORDS: Mapping[str, Mapping[Any, str]] = {
    "kind": {
        "partition": "a partition wall",
        "outside": "an outside wall",
        "below-grade": "a wall below grade",
        "masonry": "a masonry wall",
    },
    "indoors": {True: "indoors"},
    "vertical": {True: "vertical"},
    "over_water": {False: "not over a sink or tub"},
}
_DATED = {
    "climate_since": "heated or cooled since",
    "closed_in_since": "closed in since",
    "wet_trades_done": "wet trades done",
}


@dataclass(frozen=True, slots=True)
class Place:
    """What stands, by question: the answer, and who accepted it for what reason where it speaks against the place."""

    answers: Mapping[str, Any] = field(default_factory=dict)
    accepted: Mapping[str, str] = field(default_factory=dict)


def place_of(entries: Iterable[Entry]) -> Place:
    """The last answer to each question, in the order of writing."""
    place = Place()
    for entry in sorted(entries, key=lambda entry: entry.number):
        if entry.kind is Kind.SUITABILITY:
            said = {key: entry.body[key] for key in QUESTIONS if key in entry.body}
            accepted = dict.fromkeys(said, f"accepted by {entry.who}: {entry.body.get('reason', '')}")
            place = Place({**place.answers, **said}, {**place.accepted, **accepted})
    return place


def faces_outdoors(place: Place) -> bool:
    """Whether the wall's skin may follow the weather: an outside or a masonry wall, or one of which nobody said."""
    return place.answers.get("kind") not in ("partition", "below-grade")


def objections(answers: Mapping[str, Any]) -> dict[str, str]:
    """What speaks against a place, by question."""
    return {
        key: question.against[answers[key]]
        for key, question in QUESTIONS.items()
        if key in answers and answers[key] in question.against
    }


def unsaid(answers: Mapping[str, Any]) -> list[str]:
    """What nobody has said, in the order of the questions."""
    return [question.asks for key, question in QUESTIONS.items() if key not in answers]


def condition(place: Place) -> Condition:
    """Whether the planks are made for such a place; what speaks against it fails, whoever accepted it."""
    against, missing = objections(place.answers), unsaid(place.answers)
    if against:
        told = [f"{what} ({place.accepted[key]})" for key, what in against.items()]
        return Condition("suitability", "fail", ", ".join(told))
    if missing:
        what = "nothing was said of the place" if not place.answers else f"nobody said {', '.join(missing)}"
        return Condition("suitability", "unknown", what)
    return Condition("suitability", "pass", ", ".join(_told(place.answers)))


def _told(answers: Mapping[str, Any]) -> list[str]:
    words = [_WORDS[key][answers[key]] for key in ("kind", "indoors", "vertical", "over_water")]
    return words + [f"{text} {answers[key]}" for key, text in _DATED.items()]
