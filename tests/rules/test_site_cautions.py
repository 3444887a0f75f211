"""The catalogue of what can hurt: what each step shows, what each text must name."""

import pytest

from monitor.rules.cautions import CAUTIONS, HEATING, STEPS, Caution, at_check, at_step

HEADLINES = {
    Caution.POWER: "Switch the power off and prove each outlet and switch dead before you open it.",
    Caution.NAIL_PATH: "Find cables and pipes before you nail or screw.",
    Caution.OUTLETS: "Have outlet boxes brought flush with the planks.",
    Caution.OLD_PAINT: "Have old paint and texture tested before you sand, scrape or drill it.",
    Caution.DUST: "Cut outside or with extraction, with a dust mask, eye and ear protection.",
    Caution.HEAVY_BOXES: "Lift boxes in twos.",
    Caution.SHELVES: "Fix shelves, screens and all else that is heavy to the studs, never to the planks.",
    Caution.LADDERS: "Stand the ladder on firm level ground, and climb down rather than reach.",
    Caution.FIRE_DISTANCE: (
        "Planks burn: keep them as far from stoves, flues, fireplaces and heaters as local code and the maker of the "
        "heat source ask."
    ),
    Caution.FLAME_SPREAD: (
        "By stairs, in corridors and in houses of several homes, code may ask for a flame-spread class that planks do "
        "not have."
    ),
    Caution.HEATER_FUEL: "Heat with electric or vented heaters only.",
    Caution.LOCAL_CODE: (
        "Local code and the makers' instructions come first; leave gas, mains wiring and water pipes to licensed "
        "trades."
    ),
}


@pytest.mark.parametrize(("caution", "headline"), HEADLINES.items())
def test_the_headline_is_the_first_sentence(caution, headline):
    assert CAUTIONS[caution].headline == headline


@pytest.mark.parametrize(
    ("caution", "named"),
    [
        (Caution.POWER, ("tester", "two circuits", "29 CFR 1910.333")),
        (Caution.NAIL_PATH, ("cables and pipes", "steel guard plate")),
        (Caution.OUTLETS, ("recessed", "extenders", "electrician")),
        (Caution.OLD_PAINT, ("lead", "asbestos", "tested", "licensed", "40 CFR 745", "29 CFR 1926.1101")),
        (Caution.DUST, ("outside", "extraction", "mask", "eye", "ear", "IARC")),
        (Caution.HEAVY_BOXES, ("twos", "low", "nothing leaning")),
        (Caution.SHELVES, ("heavy", "studs")),
        (Caution.FIRE_DISTANCE, ("local code", "maker of the heat source")),
        (Caution.LOOK, ("open no outlet", "licensed trade")),
        (Caution.WATER_AND_POWER, ("power is off", "someone who may", "electrician")),
        (Caution.MOULD, ("a day or two", "mould", "EPA 402-K-02-003")),
        (Caution.TRADES, ("licensed", "plumber", "electrician", "heating", "gas", "carbon monoxide")),
        (Caution.FLAME_SPREAD, ("flame-spread class", "stairs", "corridors", "several homes", "ASTM E84")),
    ],
)
def test_a_caution_names_what_hurts_and_what_helps(caution, named):
    told = " ".join(CAUTIONS[caution])
    assert [word for word in named if word not in told] == []


def test_every_source_says_where_it_comes_from():
    marks = ("no published source", "from memory", "CFR")
    for caution in HEADLINES:
        assert any(mark in CAUTIONS[caution].source for mark in marks), caution


@pytest.mark.parametrize(
    ("step", "first"),
    [
        ("deliver", Caution.HEAVY_BOXES),
        ("check", Caution.OLD_PAINT),
        ("install", Caution.POWER),
        ("care", Caution.SHELVES),
        ("inspect", Caution.LADDERS),
        ("leak", Caution.WATER_AND_POWER),
        ("heating-out", Caution.PIPES),
        ("reading", Caution.HEATER_FUEL),
    ],
)
def test_each_step_begins_with_what_hurts_most_and_ends_with_local_code(step, first):
    found = at_step(step)
    assert (found[0], found[-1]) == (first, Caution.LOCAL_CODE)
    assert len(set(found)) == len(found)


def test_every_caution_but_those_of_a_check_of_sensors_is_shown_at_a_step():
    shown = {caution for step in STEPS for caution in at_step(step)}
    assert set(Caution) - shown == {Caution.SALT}
    assert set(HEATING) <= set(at_step("reading"))


ALWAYS = (Caution.POWER, Caution.LADDERS, Caution.LOCAL_CODE)
SPARED = {"old_paint": "no", "heat_sources": [], "several_homes": False, "stairs": False, "corridor": False}


@pytest.mark.parametrize(
    ("answers", "failing", "more"),
    [
        ({}, (), ()),
        ({"old_paint": "tested"}, (), ()),
        *(({"old_paint": said}, (), (Caution.OLD_PAINT,)) for said in ("yes", "unknown")),
        *(({key: True}, (), (Caution.FLAME_SPREAD,)) for key in ("several_homes", "stairs", "corridor")),
        ({}, ("flatness",), (Caution.DUST,)),
        ({}, ("plumb",), ()),
        ({"heat_sources": [{"what": "stove", "distance_m": 0.9}]}, (), (Caution.FIRE_DISTANCE,)),
    ],
)
def test_a_check_cautions_by_its_answers(answers, failing, more):
    assert set(at_check({**SPARED, **answers}, failing)) == {*ALWAYS, *more}


def test_a_check_cautions_of_what_nobody_answered_lead_and_asbestos_first():
    assert at_check({}, ()) == (
        Caution.OLD_PAINT,
        Caution.POWER,
        Caution.FIRE_DISTANCE,
        Caution.LADDERS,
        Caution.LOCAL_CODE,
    )
