"""What a place must be: each answer that speaks against it, and what stands after several entries."""

import pytest

from monitor.basis.values import Entry, Kind
from monitor.rules.install.suitability import QUESTIONS, Place, condition, objections, place_of, unsaid

GOOD = {
    "kind": "partition",
    "surface": "wall",
    "vertical": True,
    "over_water": False,
    "indoors": True,
    "climate_since": "2026-01-02",
    "closed_in_since": "2025-11-20",
    "wet_trades_done": "2025-12-12",
}


def entry(number, body, who="robin", kind=Kind.SUITABILITY):
    return Entry("den", number, kind, 0, 0, who, body, None, b"", b"")


@pytest.mark.parametrize(
    ("key", "answer", "said"),
    [
        ("kind", "below-grade", "the wall is below grade"),
        ("kind", "masonry", "the wall is masonry"),
        ("surface", "ceiling", "it is a ceiling"),
        ("surface", "counter", "it is a counter"),
        ("surface", "splash-back", "it is a splash-back"),
        ("vertical", False, "it is not vertical"),
        ("over_water", True, "it is over a sink or tub"),
        ("indoors", False, "it is not indoors"),
        ("climate_since", False, "heating or cooling is not in service"),
        ("closed_in_since", False, "the building is not closed in"),
        ("wet_trades_done", False, "the wet trades are not done"),
    ],
)
def test_what_the_planks_are_not_made_for_fails_whoever_accepted_it(key, answer, said):
    assert objections({**GOOD, key: answer}) == {key: said}
    found = condition(place_of([entry(1, GOOD), entry(2, {key: answer, "reason": "in writing"}, "kim")]))
    assert (found.verdict, found.evidence) == ("fail", f"{said} (accepted by kim: in writing)")


@pytest.mark.parametrize("kind", ["partition", "outside"])
def test_a_partition_and_an_outside_wall_are_what_they_are_made_for(kind):
    assert objections({**GOOD, "kind": kind}) == {}
    found = condition(Place({**GOOD, "kind": kind}))
    assert found.verdict == "pass"
    assert found.evidence.startswith({"partition": "a partition wall, ", "outside": "an outside wall, "}[kind])


def test_all_said_and_nothing_against_it_passes():
    assert condition(Place(GOOD)).evidence == (
        "a partition wall, indoors, vertical, not over a sink or tub, heated or cooled since 2026-01-02, "
        "closed in since 2025-11-20, wet trades done 2025-12-12"
    )


@pytest.mark.parametrize(
    ("key", "asks"),
    [
        ("kind", "what kind of wall it is"),
        ("surface", "whether it is a wall"),
        ("vertical", "whether it is vertical"),
        ("over_water", "whether it is over a sink or tub"),
        ("indoors", "whether it is indoors"),
        ("climate_since", "since when heating or cooling is in service"),
        ("closed_in_since", "since when the building is closed in"),
        ("wet_trades_done", "when the wet trades were done"),
    ],
)
def test_one_thing_that_nobody_said_is_unknown_and_named(key, asks):
    said = {name: answer for name, answer in GOOD.items() if name != key}
    assert unsaid(said) == [asks]
    found = condition(Place(said))
    assert (found.verdict, found.evidence) == ("unknown", f"nobody said {asks}")


def test_every_question_is_asked():
    assert set(GOOD) == set(QUESTIONS)
    assert len(unsaid({})) == len(QUESTIONS)


def test_a_place_of_which_nothing_was_said_is_unknown():
    found = condition(place_of([]))
    assert (found.verdict, found.evidence) == ("unknown", "nothing was said of the place")


def test_what_speaks_against_a_place_is_told_before_what_nobody_said():
    found = condition(place_of([entry(1, {"over_water": True, "reason": "no steam"})]))
    assert (found.verdict, found.evidence) == ("fail", "it is over a sink or tub (accepted by robin: no steam)")


def test_each_objection_keeps_the_reason_that_it_was_given():
    log = [entry(1, {"over_water": True, "reason": "no steam"})]
    log.append(entry(2, {"climate_since": False, "reason": "next week"}, "kim"))
    assert condition(place_of(log)).evidence == (
        "it is over a sink or tub (accepted by robin: no steam), "
        "heating or cooling is not in service (accepted by kim: next week)"
    )


def test_the_last_answer_to_a_question_stands_and_the_others_stay():
    first = entry(1, {"over_water": True, "indoors": True, "reason": "no steam"})
    log = [first, entry(2, {"over_water": False})]
    place = place_of(reversed(log))
    assert place.answers == {"over_water": False, "indoors": True}
    assert objections(place.answers) == {}


def test_entries_of_other_kinds_say_nothing_of_the_place():
    assert place_of([entry(1, {"indoors": True}, kind=Kind.NOTE)]).answers == {}
