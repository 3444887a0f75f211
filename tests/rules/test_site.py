"""The site check, question by question: every sentence, what is newest, what is too old."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from rooms import frame

from monitor.basis.times import DAY, HOUR
from monitor.basis.units import FOOT, INCH
from monitor.basis.values import Entry, Kind, Quantity
from monitor.config.profile import load_profile
from monitor.rules.frame import Keys, effective
from monitor.rules.install.flatness import DIRECTIONS
from monitor.rules.install.site import judge_site, site_condition, site_of

PROFILE = load_profile("laminate-planks")
T0 = 1_767_571_200_000  # 2026-01-05T00:00Z [ms]
LENGTH = 16 * FOOT
EXACT = 1e-5  # [m]


def entry(number: int, body: dict[str, Any], at: int = T0, kind: Kind = Kind.SITE_CHECK) -> Entry:
    return Entry("den", number, kind, at, at, "robin", body, None, b"", b"")


def flat(direction: str, inches: tuple[float, ...] = (0.0,) * 11, **more: Any) -> dict[str, Any]:
    """A line of points 1 ft apart."""
    points = [[k * FOOT, inch * INCH] for k, inch in enumerate(inches)]
    return {"direction": direction, "extent_m": (len(inches) - 1) * FOOT, "points": points, **more}


GOOD: dict[str, Any] = {
    "surface": "drywall",
    "finish": "primed",
    "secure": True,
    "clean": True,
    "dry": True,
    "stains": False,
    "windows": "none",
    "heat_sources": [],
    "several_homes": False,
    "stairs": False,
    "corridor": False,
    "old_paint": "no",
    "flatness": [flat(direction) for direction in DIRECTIONS],
    "plumb": [{"offset_m": INCH / 8, "over_m": 8 * FOOT}],
    "level": [[0.0, 0.0], [8 * FOOT, INCH / 16], [16 * FOOT, 0.0]],
    "uncertainty_m": EXACT,
}


def said(bodies: list[dict[str, Any]], name: str, *, at: int = T0, units: Any = "us") -> tuple[str, str]:
    """Verdict and sentence of one question, after checks a day apart."""
    entries = [entry(number, body, T0 + (number - 1) * DAY) for number, body in enumerate(bodies, 1)]
    found = judge_site(site_of(entries), PROFILE, length=LENGTH, at=at, units=units)
    (one,) = [condition for condition in found if condition.name == name]
    return one.verdict, one.evidence


def whole(*bodies: dict[str, Any], at: int = T0) -> tuple[str, str]:
    """Verdict and sentence of the site check as a condition of readiness."""
    entries = [entry(number, body) for number, body in enumerate(bodies, 1)]
    found = site_condition(site_of(entries), PROFILE, length=LENGTH, at=at, units="us")
    assert found.name == "site check"
    return found.verdict, found.evidence


# --- question by question ---------------------------------------------------------------------------------------------

ASK = "ask the planks' maker in writing"
TEST = "have it tested for lead and asbestos before anything is sanded"
STOVE = {"what": "stove", "distance_m": 3 * FOOT}
QUESTIONS = [
    ("surface", {"surface": "drywall"}, "pass", "drywall"),
    ("surface", {"surface": "plaster"}, "fail", f"the surface is plaster, not drywall: {ASK}"),
    ("surface", {"surface": "wood"}, "fail", f"the surface is wood, not drywall: {ASK}"),
    ("surface", {"surface": "masonry"}, "fail", f"the surface is masonry, not drywall: {ASK}"),
    ("surface", {"surface": "other"}, "fail", f"the surface is not drywall: {ASK}"),
    ("surface", {}, "unknown", "not said"),
    ("finish", {"finish": "bare"}, "pass", "bare"),
    ("finish", {"finish": "primed"}, "pass", "primed"),
    ("finish", {"finish": "painted"}, "pass", "painted"),
    ("finish", {"finish": "wallpaper"}, "fail", "there is wallpaper on it: take it off"),
    ("finish", {"finish": "panelling"}, "fail", "there is panelling on it: take it off"),
    ("finish", {}, "unknown", "not said"),
    ("secure", {"secure": True}, "pass", "secure"),
    ("secure", {"secure": False}, "fail", "it is loose: fix it to the studs"),
    ("secure", {}, "unknown", "not said"),
    ("clean", {"clean": True}, "pass", "clean"),
    ("clean", {"clean": False}, "fail", "it is dirty: take off dust, grease and what flakes"),
    ("clean", {}, "unknown", "not said"),
    ("dry", {"dry": True}, "pass", "dry"),
    ("dry", {"dry": False}, "fail", "it is damp: find the water, mend that, and let the wall dry"),
    ("dry", {}, "unknown", "not said"),
    ("stains", {"stains": False}, "pass", "no stains"),
    ("stains", {"stains": True}, "fail", "it has stains: find out where the water came from"),
    ("stains", {}, "unknown", "not said"),
    ("windows", {"windows": "tight"}, "pass", "tight windows"),
    ("windows", {"windows": "none"}, "pass", "no windows"),
    ("windows", {"windows": "leaking"}, "fail", "a window leaks: mend it, and let the wall dry"),
    ("windows", {}, "unknown", "not said"),
    ("heat sources", {"heat_sources": []}, "pass", "no heat source near"),
    (
        "heat sources",
        {"heat_sources": [STOVE], "heat_as_code": True},
        "pass",
        "stove at 3 ft, as local code and its maker allow",
    ),
    (
        "heat sources",
        {"heat_sources": [STOVE, {"what": "flue", "distance_m": FOOT / 2}], "heat_as_code": False},
        "fail",
        "stove at 3 ft, flue at 6 in: nearer than local code and its maker allow",
    ),
    (
        "heat sources",
        {"heat_sources": [STOVE]},
        "unknown",
        "stove at 3 ft: whether local code and its maker allow that is not said",
    ),
    ("heat sources", {"heat_as_code": True}, "unknown", "not said"),
    (
        "flame-spread class",
        {"several_homes": False, "stairs": False, "corridor": False},
        "pass",
        "no stairs, no corridor, one home",
    ),
    ("flame-spread class", {"stairs": True, "flame_spread": "C"}, "pass", "flame-spread class C"),
    (
        "flame-spread class",
        {"stairs": True},
        "unknown",
        "stairs: local code asks for a flame-spread class, and that of the planks is not said",
    ),
    (
        "flame-spread class",
        {"several_homes": True, "stairs": False, "corridor": True},
        "unknown",
        "a house of several homes and a corridor: local code asks for a flame-spread class, and that of the planks is "
        "not said",
    ),
    ("a corridor", {"several_homes": False, "stairs": False}, "unknown", "not said"),
    ("a house of several homes", {}, "unknown", "not said"),
    ("old paint", {"old_paint": "no"}, "pass", "no old paint or texture"),
    ("old paint", {"old_paint": "tested"}, "pass", "old paint or texture was tested"),
    ("old paint", {"old_paint": "yes"}, "unknown", f"there is old paint or texture: {TEST}"),
    ("old paint", {"old_paint": "unknown"}, "unknown", f"nobody knows how old the paint or texture is: {TEST}"),
    ("old paint", {}, "unknown", "not said"),
    ("flatness", {}, "unknown", "not said"),
    (
        "plumb",
        {"plumb": GOOD["plumb"]},
        "pass",
        "it leans 1/8 in towards the room (at most 1/4 in over 8 ft)",
    ),
    (
        "plumb",
        {"plumb": [{"offset_m": -INCH / 2, "over_m": 8 * FOOT, "at_m": 4 * FOOT}]},
        "fail",
        "at 4 ft it leans 1/2 in away from the room: more than 1/4 in over 8 ft",
    ),
    ("plumb", {}, "unknown", "not said"),
    (
        "first row level",
        {"level": GOOD["level"]},
        "pass",
        "the first row rises 1/16 in from 0 in to 8 ft (at most 1/8 in over the run)",
    ),
    (
        "first row level",
        {"level": [[0.0, 0.0], [16 * FOOT, INCH / 2]]},
        "fail",
        "the first row rises 1/2 in from 0 in to 16 ft: more than 1/8 in over the run",
    ),
    (
        "first row level",
        {"level": [[0.0, 0.0], [8 * FOOT, 0.0]]},
        "unknown",
        "heights reach from 0 in to 8 ft only, of a run of 16 ft",
    ),
    ("first row level", {}, "unknown", "not said"),
]


@pytest.mark.parametrize(("name", "body", "verdict", "sentence"), QUESTIONS)
def test_a_question_and_its_sentence(name, body, verdict, sentence):
    assert said([{"note": "seen", **body}], name) == (verdict, sentence)


# --- flatness ---------------------------------------------------------------------------------------------------------


def test_a_flat_wall_passes_with_how_flat_it_is():
    assert said([GOOD], "flatness") == ("pass", "4 lines, hump 0 in at most, hollow 0 in at most")


def test_a_hollow_says_where_it_is_how_much_and_where_to_fill():
    # a parabola 1/4 in deep over 10 ft: 0.21 in or more from 3 to 7 ft, the limit is 3/16 = 0.1875
    bow = tuple(-0.25 * 4 * k / 10 * (1 - k / 10) for k in range(11))
    assert said([{"flatness": [flat("along", bow, name="low")]}], "flatness") == (
        "fail",
        "low: hollow of 1/4 in at 5 ft, between 0 in and 10 ft: more than 3/16 in over the whole 10 ft; "
        "low: fill from 3 ft to 7 ft, 1/16 in beyond the limit",
    )


BENT = flat("along", (0, 0, 0, 0, 0, 0.1, 0, 0, 0, 0, 0))  # a ridge of 0.1 in: a hump, and a step within 1 ft
PLAIN = {"flatness": [BENT, *(flat(direction) for direction in DIRECTIONS[1:])], "uncertainty_m": EXACT}
WIDE_STEP = PROFILE._replace(site=PROFILE.site._replace(step=INCH))


@pytest.mark.parametrize(
    ("profile", "verdict"),
    [
        (PROFILE, "fail"),  # its step is 1/16 in over 12 in
        (WIDE_STEP, "pass"),  # its hump is 3/16 in
        (WIDE_STEP._replace(wall=PROFILE.wall._replace(flatness=INCH / 16)), "fail"),
        (WIDE_STEP._replace(site=WIDE_STEP.site._replace(points_apart=11 * INCH)), "unknown"),
        (PROFILE._replace(site=PROFILE.site._replace(step_over=11 * INCH)), "unknown"),  # no points so near
    ],
)
def test_flatness_goes_by_the_profiles_figures(profile, verdict):
    found = judge_site(site_of([entry(1, PLAIN)]), profile, length=LENGTH, at=T0, units="us")
    assert [one.verdict for one in found if one.name == "flatness"] == [verdict]


@pytest.mark.parametrize(
    ("site", "name"),
    [
        (PROFILE.site._replace(plumb=INCH / 16), "plumb"),  # 1/8 in over 8 ft was measured
        (PROFILE.site._replace(plumb_over=20 * FOOT), "plumb"),
        (PROFILE.site._replace(level=INCH / 32), "first row level"),  # 1/16 in
    ],
)
def test_plumb_and_level_go_by_the_profiles_figures(site, name):
    found = judge_site(site_of([entry(1, GOOD)]), PROFILE._replace(site=site), length=LENGTH, at=T0, units="us")
    assert [one.name for one in found if one.verdict == "fail"] == [name]


def test_each_line_is_judged_with_the_uncertainty_it_was_measured_with():
    careless = {"flatness": [flat("along")], "uncertainty_m": INCH / 16}
    verdict, sentence = said([careless, {"flatness": [flat("across")], "uncertainty_m": EXACT}], "flatness")
    assert verdict == "unknown"
    assert sentence == (
        "no whole line is measured: rising diagonal, falling diagonal; along: no step: too near to 1/16 in "
        "over 1 ft to tell with an uncertainty of 5/32 in"
    )


def test_a_line_measured_again_takes_the_place_of_the_line_of_its_name():
    bad, good = flat("along", (0, 0, 0, 0, 0, 0.5, 0, 0, 0, 0, 0), name="low"), flat("along", name="low")
    others = [flat(direction) for direction in DIRECTIONS]
    assert said([{**GOOD, "flatness": [*others, bad]}], "flatness")[0] == "fail"
    mended = {"flatness": [good], "uncertainty_m": EXACT}
    assert said([{**GOOD, "flatness": [*others, bad]}, mended], "flatness") == (
        "pass",
        "5 lines, hump 0 in at most, hollow 0 in at most",
    )


# --- the whole of it --------------------------------------------------------------------------------------------------


def test_no_site_check_is_unknown():
    assert whole() == ("unknown", "no site check is recorded")


def test_a_wall_fit_for_planks_says_all_that_was_found():
    assert whole(GOOD) == (
        "pass",
        "drywall; primed; secure; clean; dry; no stains; no windows; no heat source near; "
        "no stairs, no corridor, one home; no old paint or texture; "
        "flatness, 4 lines, hump 0 in at most, hollow 0 in at most; "
        "it leans 1/8 in towards the room (at most 1/4 in over 8 ft); "
        "the first row rises 1/16 in from 0 in to 8 ft (at most 1/8 in over the run)",
    )


def test_what_was_left_out_is_named():
    assert whole({"surface": "drywall", "finish": "bare", "secure": True, "stairs": False}) == (
        "unknown",
        "not said: clean, dry, stains, windows, heat sources, a house of several homes, old paint, flatness, plumb, "
        "first row level",
    )


def test_failures_are_said_first_and_what_is_not_known_after_them():
    open_ = {**GOOD, "finish": "wallpaper", "dry": False, "old_paint": "yes"}
    del open_["windows"]
    assert whole(open_) == (
        "fail",
        "there is wallpaper on it: take it off; it is damp: find the water, mend that, and let the wall dry; "
        f"there is old paint or texture: {TEST}; not said: windows",
    )


def test_the_newest_answer_of_each_question_stands():
    assert whole({**GOOD, "clean": False}, {"clean": True})[0] == "pass"
    assert whole({"clean": True}, {**GOOD, "clean": False}) == (
        "fail",
        "it is dirty: take off dust, grease and what flakes",
    )


def test_newest_is_what_speaks_of_the_later_time_whenever_it_was_entered():
    late = [entry(1, {"clean": True}, T0 + HOUR), entry(2, {"clean": False}, T0)]
    found = site_of(late)
    assert found is not None
    assert found.answers["clean"].value is True


def test_a_new_heat_source_needs_a_new_word_on_its_distance():
    heater = {"heat_sources": [{"what": "heater", "distance_m": FOOT}]}
    old = {"heat_sources": [STOVE], "heat_as_code": True}
    assert said([old, heater], "heat sources") == (
        "unknown",
        "heater at 1 ft: whether local code and its maker allow that is not said",
    )
    assert said([old, heater, {"heat_as_code": True}], "heat sources")[0] == "pass"


def test_metric_jobs_read_metric_sentences():
    assert said([{"heat_sources": [{"what": "stove", "distance_m": 0.9}]}], "heat sources", units="si") == (
        "unknown",
        "stove at 900.0 mm: whether local code and its maker allow that is not said",
    )


def test_a_withdrawn_check_says_nothing():
    withdrawn = Entry("den", 2, Kind.CORRECTION, T0, T0, "robin", {"withdrawn": True, "reason": "x"}, 1, b"", b"")
    assert site_of(effective([entry(1, GOOD), withdrawn])) is None


# --- how long it holds ------------------------------------------------------------------------------------------------


def test_a_check_holds_for_exactly_30_days():
    assert whole(GOOD, at=T0 + 30 * DAY)[0] == "pass"
    assert whole(GOOD, at=T0 + 30 * DAY + 1) == ("unknown", "it is 31 days old; a check holds for 30 days")
    assert whole(GOOD, at=T0 + 41 * DAY) == ("unknown", "it is 41 days old; a check holds for 30 days")


def test_answers_that_are_too_old_are_named_beside_newer_ones():
    entries = [entry(1, GOOD, T0), entry(2, {"clean": True, "dry": True}, T0 + 20 * DAY)]
    found = site_condition(site_of(entries), PROFILE, length=LENGTH, at=T0 + 35 * DAY, units="us")
    assert (found.verdict, found.evidence) == (
        "unknown",
        "35 days old: surface, finish, secure, stains, windows, heat sources, a house of several homes, old paint, "
        "flatness, plumb, first row level",
    )


def test_a_line_that_is_too_old_is_left_out_and_one_of_a_newer_check_counts():
    bad = flat("along", (0, 0, 0, 0, 0, 0.5, 0, 0, 0, 0, 0), name="low")
    entries = [
        entry(1, {"flatness": [bad]}, T0),
        entry(2, {"flatness": GOOD["flatness"], "uncertainty_m": EXACT}, T0 + 20 * DAY),
    ]
    found = judge_site(site_of(entries), PROFILE, length=LENGTH, at=T0 + 35 * DAY, units="us")
    assert [one.verdict for one in found if one.name == "flatness"] == ["pass"]


def test_other_entries_are_no_site_check():
    assert site_of([entry(1, {"text": "x"}, kind=Kind.NOTE)]) is None


def test_no_checkpoint_hangs_on_the_site_check():
    has = {"a": (Quantity.AIR_HUMIDITY,)}
    bare = frame("a")
    looked_at = replace(bare, site=site_of([entry(1, GOOD)]))
    assert Keys(bare, has).at(T0 + DAY) == Keys(looked_at, has).at(T0 + DAY)
