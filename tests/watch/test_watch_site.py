"""The site check and the wall's moisture on their way into the log: each fault named, sizes filled in, judged."""

from __future__ import annotations

import math
from typing import Any

import pytest
from desks import NOW, T0, furnish, kinds

from monitor.basis.errors import RecordError
from monitor.basis.times import DAY
from monitor.basis.units import INCH
from monitor.rules.assessment import Condition
from monitor.watch.desk import Desk
from monitor.watch.job.diary import correct
from monitor.watch.job.installing import Installing, install
from monitor.watch.job.site import moisture_told, site_check, site_told, wall_moisture
from monitor.watch.judging import assess

METER = {"meter": "pin meter", "scale": "gypsum", "material": "drywall"}
LOW = [{"where": "low left", "value": 0.4}]


@pytest.fixture
def den(desk: Desk) -> Desk:
    """The den: 4 m long, 2.4 m high, one lot delivered."""
    furnish(desk, sensor=None)
    return desk


def check(desk: Desk, facts: dict[str, Any], at: int | None = None) -> dict[str, Any]:
    return dict(site_check(desk, "den", facts, at=at, who="robin").body)


def condition(desk: Desk, name: str, at: int | None = None) -> tuple[str, str]:
    """A condition of readiness."""
    (found,) = [one for one in assess(desk, "den", at=at).readiness if one.name == name]
    return found.verdict, found.evidence


# --- the site check ---------------------------------------------------------------------------------------------------


def test_what_was_said_is_kept_and_what_was_left_out_is_not(den: Desk):
    facts = {"surface": "drywall", "finish": None, "secure": True, "stains": False, "note": "by the window"}
    assert check(den, facts) == {"surface": "drywall", "secure": True, "stains": False, "note": "by the window"}
    assert kinds(den)[-1] == "site check"


@pytest.mark.parametrize(
    ("direction", "extent"),
    [
        ("along", 4.0),
        ("across", 2.4),
        ("rising diagonal", math.hypot(4, 2.4)),
        ("falling diagonal", math.hypot(4, 2.4)),
    ],
)
def test_a_line_keeps_the_walls_length_along_it(den: Desk, direction, extent):
    body = check(den, {"flatness": [{"direction": direction, "points": [[0, 0.001], [0.3, 0]]}]})
    assert body == {
        "flatness": [{"extent_m": extent, "direction": direction, "points": [[0.0, 0.001], [0.3, 0.0]]}],
        "uncertainty_m": INCH / 64,
    }


def test_a_line_that_says_how_long_it_is_keeps_that(den: Desk):
    line = {"direction": "along", "points": [[0, 0], [0.9, 0]], "extent_m": 0.9, "name": "niche", "straightedge_m": 1.2}
    assert check(den, {"flatness": [line], "uncertainty_m": 0.0002}) == {"flatness": [line], "uncertainty_m": 0.0002}


def test_answers_alone_have_no_uncertainty(den: Desk):
    assert check(den, {"clean": True}) == {"clean": True}


PAIR = "Give the position and what was measured there"
FAULTS = [
    ({}, "site check: nothing is answered. Answer a question, or more: --help lists them"),
    ({"note": "x"}, "site check: nothing is answered. Answer a question, or more: --help lists them"),
    (
        {"surface": "brick"},
        "site check: surface: 'brick' is not known. Known here: drywall, plaster, wood, masonry, other",
    ),
    ({"clean": "yes"}, "site check: clean: 'yes' is not yes or no. Say true or false"),
    ({"windws": "none"}, 'site check: windws: there is no such key. Did you mean "windows"?'),
    (
        {"heat_sources": "stove"},
        "site check: heat_sources: 'stove' is not a list. Give a list, of one item if there is one",
    ),
    ({"heat_sources": ["stove"]}, "site check: heat_sources 1: 'stove' has no keys. Give what, distance_m"),
    ({"heat_sources": [{"what": "stove"}]}, "site check: heat_sources 1: distance_m: it is missing. Give it"),
    (
        {"heat_sources": [{"what": "stove", "distance_m": -1}]},
        "site check: heat_sources 1: distance_m: -1 is outside 0 to 100. Give one within them",
    ),
    (
        {"flatness": [{"direction": "up", "points": [[0, 0]]}]},
        "site check: flatness 1: direction: 'up' is not known. "
        "Known here: along, across, rising diagonal, falling diagonal",
    ),
    (
        {"flatness": [{"direction": "along", "points": [[0, 0], [1]]}]},
        f"site check: flatness 1: points, point 2: [1] is not a pair. {PAIR}",
    ),
    (
        {"flatness": [{"direction": "along", "points": [[0, 0], [4.01, 0]]}]},
        "flatness, along: the position 4.01 m is outside the line's 4 m. "
        "Measure from the line's start, and check the unit",
    ),
    (
        {"flatness": [{"direction": "along", "points": []}]},
        "flatness, along: it has no points or one that is no number. Give each as position, deviation",
    ),
    (
        {"level": [[0, 0], [4.2, 0]]},
        "first row level: the position 4.2 m is outside the wall's 4 m. "
        "Measure from the wall's left end, and check the unit",
    ),
    ({"plumb": [{"over_m": 2.4}]}, "site check: plumb 1: offset_m: it is missing. Give it"),
    ({"plumb": [], "uncertainty_m": 0}, "site check: uncertainty_m: 0 is outside 1e-05 to 0.1. Give one within them"),
    ({"flame_spread": " "}, "site check: flame_spread: ' ' is not a line of text. Write one line in quotes"),
]


@pytest.mark.parametrize(("facts", "message"), FAULTS)
def test_what_cant_be_is_refused_and_nothing_is_kept(den: Desk, facts, message):
    with pytest.raises(RecordError) as refused:
        check(den, facts)
    assert str(refused.value) == message
    assert not {"site check", "wall moisture"} & set(kinds(den))


def test_every_fault_is_named_at_once(den: Desk):
    with pytest.raises(RecordError) as refused:
        check(den, {"surface": "brick", "dry": 1, "windows": "tight"})
    assert str(refused.value).splitlines() == [
        "site check: surface: 'brick' is not known. Known here: drywall, plaster, wood, masonry, other",
        "site check: dry: 1 is not yes or no. Say true or false",
    ]


def test_a_check_of_the_future_or_of_no_job_is_refused(den: Desk):
    with pytest.raises(RecordError) as refused:
        check(den, {"clean": True}, at=NOW + 1000)
    assert str(refused.value) == (
        "site check: 2026-01-17T00:00:01Z is in the future. The log holds what has happened; check the date"
    )
    with pytest.raises(RecordError) as refused:
        site_check(den, "attic", {"clean": True}, at=None, who="robin")
    assert str(refused.value) == "job attic: there is no job 'attic'. wallclime job list shows the jobs there are"


def test_each_question_is_told_as_it_stands_and_the_whole_of_it_last(den: Desk):
    check(den, {"surface": "drywall", "clean": False}, at=NOW - DAY)
    check(den, {"clean": True, "heat_sources": [{"what": "stove", "distance_m": 1.2}], "heat_as_code": True})
    told = site_told(den, "den")
    assert told[0] == Condition("surface", "pass", "drywall")
    assert Condition("clean", "pass", "clean") in told
    assert Condition("heat sources", "pass", "stove at 1.200 m, as local code and its maker allow") in told
    assert (told[-1].name, told[-1].verdict) == ("site check", "unknown")
    assert told[-1].evidence == (
        "not said: finish, secure, dry, stains, windows, a house of several homes, old paint, flatness, plumb, "
        "first row level"
    )
    assert condition(den, "site check") == (told[-1].verdict, told[-1].evidence)


def test_readiness_of_an_earlier_time_knows_only_the_checks_of_then(den: Desk):
    check(den, {"clean": False}, at=T0 + DAY)
    assert condition(den, "site check", at=T0 + DAY - 1) == ("unknown", "no site check is recorded")
    assert condition(den, "site check", at=T0 + DAY)[0] == "fail"


def test_a_check_must_hold_at_the_start_of_the_installation_and_not_today(den: Desk):
    check(den, {"surface": "wood"}, at=T0)
    wall_moisture(den, "den", {**METER, "points": LOW, "dry_reference": 0.3}, at=T0, who="robin")
    start = T0 + 2 * DAY
    install(den, "den", Installing(start=start, not_ready=True, reason="guests"), who="robin")
    den.clock.move(60 * DAY)  # type: ignore[attr-defined]
    assert condition(den, "site check")[0] == "fail"
    assert condition(den, "wall moisture")[0] == "pass"
    assert moisture_told(den, "den").verdict == "pass"


def test_what_was_looked_at_after_the_start_bears_no_witness(den: Desk):
    install(den, "den", Installing(start=T0 + DAY, not_ready=True, reason="guests"), who="robin")
    check(den, {"clean": True}, at=T0 + 2 * DAY)
    wall_moisture(den, "den", {**METER, "points": LOW}, at=T0 + 2 * DAY, who="robin")
    assert condition(den, "site check") == ("unknown", "no site check is recorded")
    assert condition(den, "wall moisture") == ("unknown", "no wall moisture is recorded")


def test_a_check_that_is_withdrawn_is_judged_no_more(den: Desk):
    number = site_check(den, "den", {"clean": False}, at=None, who="robin").number
    assert condition(den, "site check")[0] == "fail"
    correct(den, "den", number, withdraw=True, reason="another wall", who="robin")
    assert condition(den, "site check") == ("unknown", "no site check is recorded")


# --- wall moisture ----------------------------------------------------------------------------------------------------


def test_wall_moisture_is_kept_and_judged(den: Desk):
    facts = {**METER, "points": LOW, "dry_reference": 0.3, "note": None}
    entry = wall_moisture(den, "den", facts, at=None, who="robin")
    assert (entry.kind.value, dict(entry.body)) == ("wall moisture", {**METER, "dry_reference": 0.3, "points": LOW})
    told = moisture_told(den, "den")
    assert (told.verdict, told.evidence) == (
        "pass",
        "drywall: at most 1 point of the meter's scale above the dry reference of 0.3; the highest is low left, 0.4",
    )
    assert condition(den, "wall moisture") == (told.verdict, told.evidence)


@pytest.mark.parametrize(
    ("facts", "message"),
    [
        (
            {"dry_reference": 0.3},
            "wall moisture: meter: it is missing. A reading means nothing without it\n"
            "wall moisture: scale: it is missing. A reading means nothing without it\n"
            "wall moisture: material: it is missing. A reading means nothing without it\n"
            "wall moisture: points: it is missing. A reading means nothing without it",
        ),
        ({**METER, "points": []}, "wall moisture: points: it is missing. A reading means nothing without it"),
        (
            {**METER, "points": [{"where": "low", "value": -1}]},
            "wall moisture: points 1: value: -1 is outside 0 to 10000. Give one within them",
        ),
        (
            {**METER, "points": LOW, "dry": 0.3},
            'wall moisture: dry: there is no such key. Did you mean "dry_reference"?',
        ),
    ],
)
def test_what_no_meter_shows_is_refused(den: Desk, facts, message):
    with pytest.raises(RecordError) as refused:
        wall_moisture(den, "den", facts, at=None, who="robin")
    assert str(refused.value) == message
    assert not {"site check", "wall moisture"} & set(kinds(den))
