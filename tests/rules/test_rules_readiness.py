"""Readiness: every condition as pass, fail and unknown, with its sentence."""

from dataclasses import replace

import pytest
from rooms import HUMIDITY, MS, PROFILE, TEMPERATURE, Row, assess, course, frame, heard, minutes, steady

from monitor.basis.times import rfc3339
from monitor.config.profile import Profile, ReadinessRule
from monitor.rules.assessment import Assessment
from monitor.rules.frame import Delivery, Frame
from monitor.rules.install.suitability import Place
from monitor.rules.install.takenoff import TakenOff
from monitor.rules.install.wall import rectangle, split_lines
from monitor.rules.instrument import Check
from monitor.rules.judge import judge
from monitor.rules.stays import Stay

DAY = 1440


def said(found: Assessment, name: str) -> tuple[str, str]:
    """Verdict and evidence of one condition."""
    (condition,) = [one for one in found.readiness if one.name == name]
    return condition.verdict, condition.evidence


def test_the_conditions_stand_in_the_order_in_which_an_installer_meets_them():
    assert [one.name for one in assess(steady(60), 60).readiness] == [
        "boxes delivered",
        "acclimation complete",
        "air in band now",
        "sensors fresh",
        "sensors not flat",
        "sensors agree",
        "instrument check",
        "box core",
        "site check",
        "wall moisture",
        "wall size",
        "suitability",
    ]


def test_ready_means_that_all_pass_and_unknown_is_no_pass():
    found = assess(steady(3 * DAY), 3 * DAY)
    assert {one.verdict for one in found.readiness} == {"pass", "unknown"}
    assert not found.ready
    passed = tuple(one for one in found.readiness if one.verdict == "pass")
    assert found._replace(readiness=passed).ready
    assert found.readiness[0].to_json() == {
        "condition": "boxes delivered",
        "verdict": "pass",
        "evidence": "1 delivery recorded",
    }


# --- boxes delivered ---


def test_boxes_delivered():
    name = "boxes delivered"
    assert said(assess(steady(60), 60, delivered=None), name) == ("unknown", "no delivery is recorded")
    assert said(assess(steady(60), 60), name) == ("pass", "1 delivery recorded")
    deliveries = (Delivery("lot 1", "hall", minutes(0), 1), Delivery("lot 2", "hall", minutes(9), 1))
    two = judge(replace(frame("a"), deliveries=deliveries), minutes(60), heard(a=steady(60)))
    assert said(two, name) == ("pass", "2 deliveries recorded")


# --- acclimation complete ---


def test_acclimation_under_way():
    found = assess(steady(90), 90)
    assert said(found, "acclimation complete") == ("fail", "1.5 of 48 h counted")


def test_acclimation_complete_and_held():
    # steady() never leaves 50.0..50.8 %RH and 21.0..21.6 degC: far inside the limits drawn in
    found = assess(steady(3 * DAY), 3 * DAY)
    assert said(found, "acclimation complete") == (
        "pass",
        "48.0 of 48 h counted, held since; also with the limits drawn in by the sensors' uncertainty",
    )


def test_acclimation_complete_but_not_beyond_uncertainty():
    rows = [(m, 21.0, 62.0 + m % 20 / 100) for m in range(0, 49 * 60, 10)]
    assert said(assess(rows, 49 * 60), "acclimation complete") == (
        "pass",
        "48.0 of 48 h counted, held since; but not with the limits drawn in by the sensors' uncertainty",
    )


def test_an_acclimation_that_lapsed_is_not_complete():
    rows = course(("in", 50 * 60), ("wet", 61), ("in", 120))
    found = assess(rows, 50 * 60 + 181, hold=10)
    assert said(found, "acclimation complete") == ("fail", "2.0 of 48 h counted")


# --- air in band now ---


def test_air_in_band_now():
    name = "air in band now"
    rows = course(("in", 100), ("wet", 30), ("silent", 50))
    assert said(assess(rows, 90, hold=10), name) == ("pass", "in band for 1 h 30 min")
    assert said(assess(rows, 120, hold=10), name) == ("fail", "out of band for 20 min")
    assert said(assess(rows, 175, hold=10), name) == ("unknown", "not known for 45 min")


def test_air_of_which_nothing_was_ever_heard():
    assert said(assess([], 60, delivered=None), "air in band now") == ("unknown", "not known")


# --- sensors fresh ---


def two(a: list[Row], b: list[Row], until: float, **more: object) -> Assessment:
    return judge(frame("a", "b", **more), minutes(until), heard(a=a, b=b))  # type: ignore[arg-type]


def test_sensors_fresh():
    name = "sensors fresh"
    assert said(two(steady(60), steady(60), 60), name) == ("pass", "heard from a, b")
    assert said(two([], [], 60), name) == ("unknown", "nothing heard from a, b")
    assert said(two(steady(60), steady(20), 60), name) == ("unknown", "not all is heard from b")


def test_a_sensor_of_which_only_one_quantity_is_heard_is_not_fresh():
    found = two(steady(60), [(50, 21.0, None)], 60)
    assert said(found, "sensors fresh") == ("unknown", "not all is heard from b")


def test_a_place_without_sensors():
    found = judge(frame("a", stays=()), minutes(60), heard(a=steady(60)))
    for name in ("sensors fresh", "instrument check"):
        assert said(found, name) == ("unknown", "no sensor is assigned to the place")
    assert said(found, "sensors agree") == ("unknown", "no sensor speaks")


def test_a_record_that_ended_says_when():
    found = two(steady(60), [], 90, stays=(Stay("a", "hall", minutes(0), minutes(55)),))
    assert found.now.last_heard is not None
    ended = f"the record ends {rfc3339(found.now.last_heard)}; nothing is heard now"
    assert said(found, "sensors fresh") == ("unknown", ended)


def test_the_sensors_asked_are_those_of_the_judged_place():
    stays = (Stay("a", "shed", minutes(0), None), Stay("b", "hall", minutes(0), None))

    def moved(start: float | None) -> Assessment:
        fr = frame("a", "b", stays=stays, start=start)
        fr = replace(fr, job=fr.job._replace(boxes_place="shed"))
        return judge(fr, minutes(60), heard(a=steady(60), b=[]))

    assert said(moved(None), "sensors fresh") == ("pass", "heard from a")
    assert said(moved(30), "sensors fresh") == ("unknown", "nothing heard from b")


def test_a_sensor_that_left_is_not_asked():
    stays = (Stay("a", "hall", minutes(0), None), Stay("b", "hall", minutes(0), minutes(60)))
    found = two(steady(90), steady(60), 90, stays=stays)
    assert said(found, "sensors fresh") == ("pass", "heard from a")


@pytest.mark.parametrize(("end", "asked"), [(60, ", b"), (60 - MS, "")])
def test_the_last_instant_before_as_of_says_who_is_there(end, asked):
    stays = (Stay("a", "hall", minutes(0), None), Stay("b", "hall", minutes(0), minutes(end)))
    found = two(steady(60), steady(60), 60, stays=stays)
    assert said(found, "sensors fresh") == ("pass", f"heard from a{asked}")


def test_a_sensor_that_has_just_come_is_asked():
    stays = (Stay("a", "hall", minutes(0), None), Stay("b", "hall", minutes(60 - MS), None))
    found = two(steady(60), [], 60, stays=stays)
    assert said(found, "sensors fresh") == ("unknown", "not all is heard from b")


# --- sensors not flat ---


def test_sensors_not_flat():
    name = "sensors not flat"
    stuck = [(m, 21.0, 50.0) for m in range(0, 490, 10)]
    assert said(two(steady(490), steady(490), 490), name) == ("pass", "what they say changes")
    assert said(two(steady(490), stuck, 490), name) == ("fail", "unchanged for so long that it proves nothing: b")
    assert said(two(stuck, stuck, 490), name) == ("fail", "unchanged for so long that it proves nothing: a, b")
    assert said(two([], [], 490), name) == ("unknown", "no sensor speaks")


def test_a_sensor_that_moves_again_is_not_flat():
    stuck = [(m, 21.0, 50.0) for m in range(0, 490, 10)]
    found = two(steady(500), [*stuck, (490, 21.1, 50.2)], 500)
    assert said(found, "sensors not flat") == ("pass", "what they say changes")


def test_a_stuck_humidity_alone_is_enough():
    rows = [(m, 21.0 + m % 3 / 10, 50.0) for m in range(0, 1450, 10)]
    assert said(assess(rows, 1450), "sensors not flat")[0] == "fail"


# --- sensors agree ---


def apart(humidity: float, since: float, until: float) -> Assessment:
    """b is `humidity` away from a from `since` on."""
    a = [(m, 21.0 + m % 3 / 10, 50.0) for m in range(0, 300, 10)]
    b = [(m, 21.0 + m % 3 / 10, 50.0 + (humidity if m >= since else 1.0)) for m in range(0, 300, 10)]
    return two(a, b, until)


def test_one_sensor_agrees_with_itself():
    assert said(assess(steady(60), 60), "sensors agree") == ("pass", "one sensor")


def test_sensors_within_their_combined_uncertainty_agree():
    # U of each is 5 %RH: combined sqrt(25 + 25) = 7.071
    assert said(apart(7.0, 100, 200), "sensors agree") == ("pass", "within uncertainty")


def test_exactly_the_combined_uncertainty_apart_agree():
    # U of 3 and of 4 %RH: combined 5
    fr = frame("a", "b")
    mine = {name: {TEMPERATURE: 1.0, HUMIDITY: u} for name, u in (("a", 3.0), ("b", 4.0))}
    fr = replace(fr, sensors={name: fr.sensors[name]._replace(uncertainty=u) for name, u in mine.items()})
    a = [(m, 21.0 + m % 3 / 10, 50.0) for m in range(0, 120, 10)]
    for humidity, verdict in ((55.0, "pass"), (55.125, "unknown")):
        b = [(m, 21.0 + m % 3 / 10, humidity) for m in range(0, 120, 10)]
        assert said(judge(fr, minutes(120), heard(a=a, b=b)), "sensors agree")[0] == verdict


def test_further_apart_for_an_hour_is_unknown():
    assert said(apart(7.1, 100, 160), "sensors agree") == (
        "unknown",
        "air humidity further apart than the combined uncertainty for 1 h",
    )
    assert said(apart(7.1, 100, 160 - MS), "sensors agree") == ("pass", "within uncertainty")


def test_the_hour_may_be_the_first_of_all():
    assert said(apart(7.1, 0, 60), "sensors agree")[0] == "unknown"
    assert said(apart(7.1, 0, 60 - MS), "sensors agree")[0] == "pass"


def test_one_pair_of_readings_may_be_apart_for_an_hour():
    a: list[Row] = [(0, 21.0, 50.0), (60, 21.1, 50.0)]
    b: list[Row] = [(0, 21.0, 51.0), (60, 21.1, 58.0)]
    assert said(two(a, b, 120, hold=90), "sensors agree")[0] == "unknown"
    assert said(two(a, b, 119, hold=90), "sensors agree")[0] == "pass"


def test_the_hour_begins_anew_when_they_agreed_in_between():
    a = [(m, 21.0 + m % 3 / 10, 50.0) for m in range(0, 300, 10)]
    b = [(m, 21.0 + m % 3 / 10, 51.0 if m == 150 else 58.0) for m in range(0, 300, 10)]
    assert said(two(a, b, 219), "sensors agree") == ("pass", "within uncertainty")
    assert said(two(a, b, 220), "sensors agree")[0] == "unknown"


def test_the_hour_runs_over_midnight():
    a = [(m, 21.0 + m % 3 / 10, 50.0 + m % 20 / 100) for m in range(0, DAY + 40, 10)]
    b = [(m, 23.0 + m % 3 / 10 if m >= DAY - 30 else 21.0, 50.1) for m in range(0, DAY + 40, 10)]
    # U of each is 1 K: combined 1.414; 2 K apart from 23:30 on
    assert said(two(a, b, DAY + 29), "sensors agree") == ("pass", "within uncertainty")
    assert said(two(a, b, DAY + 35), "sensors agree") == (
        "unknown",
        "air temperature further apart than the combined uncertainty for 1 h 5 min",
    )


def test_the_longest_disagreement_is_told():
    a = [(m, 21.0 + m % 3 / 10, 50.0) for m in range(0, 300, 10)]
    b = [(m, 24.0 + m % 3 / 10 if m >= 50 else 21.0, 58.0 if m >= 100 else 50.5) for m in range(0, 300, 10)]
    assert said(two(a, b, 200), "sensors agree")[1].startswith("air temperature further apart")


# --- instrument check ---


def checked(level: str) -> tuple[Check, ...]:
    """A check of the humidity of that level, and a side-by-side one of the temperature; a maker's statement is none."""
    if level == "maker":
        return ()
    span = (minutes(-100), minutes(1000))
    return (
        Check(HUMIDITY, level, *span, 1.0, 0.0, 2.0, False),  # type: ignore[arg-type]
        Check(TEMPERATURE, "side by side", *span, 1.0, 0.0, 0.5, False),
    )


def backed(level: str, asked: str) -> Assessment:
    fr: Frame = frame("a", "b")
    fr = replace(
        fr,
        sensors={**fr.sensors, "b": fr.sensors["b"]._replace(checks=checked(level))},
        profile=PROFILE._replace(readiness=ReadinessRule(asked, 3 / 1.8)),  # type: ignore[arg-type]
    )
    return judge(fr, minutes(60), heard(a=steady(60), b=steady(60)))


def test_a_makers_statement_is_enough_by_default():
    assert said(backed("maker", "maker"), "instrument check") == (
        "pass",
        "humidity backed by: maker; temperature backed by: maker",
    )


def test_every_sensor_needs_the_level_that_is_asked_for():
    assert said(backed("laboratory", "salt"), "instrument check") == (
        "fail",
        "the air humidity of a has no check of the level 'salt'",
    )


@pytest.mark.parametrize(
    ("level", "verdict"), [("maker", "fail"), ("side by side", "fail"), ("salt", "pass"), ("laboratory", "pass")]
)
def test_a_better_check_backs_a_lesser_demand(level, verdict):
    fr = frame("a")
    fr = replace(
        fr,
        sensors={"a": fr.sensors["a"]._replace(checks=checked(level))},
        profile=PROFILE._replace(readiness=ReadinessRule("salt", 3 / 1.8)),
    )
    assert said(judge(fr, minutes(60), heard(a=steady(60))), "instrument check")[0] == verdict


# --- what is not known here ---


def test_what_nobody_entered_is_unknown():
    found = assess(steady(60), 60)
    assert said(found, "box core") == ("unknown", "nobody said how the boxes lie, and no sensor is in them")
    assert said(found, "site check") == ("unknown", "no site check is recorded")
    assert said(found, "wall moisture") == ("unknown", "no wall moisture is recorded")


# --- wall size ---

SPLIT = "for one unbroken run; split it with a transition profile at"


@pytest.mark.parametrize(
    ("length", "height", "verdict", "evidence"),
    [
        (40 * 0.3048, 10 * 0.3048, "pass", "inside the limits for one unbroken run"),
        (12.2, 2.4, "fail", f"too long {SPLIT} 6.100 m from the left end"),
        (4.0, 3.05, "fail", f"too high {SPLIT} 1.525 m from the floor"),
        (12.2, 3.05, "fail", f"too long and high {SPLIT} 6.100 m from the left end and at 1.525 m from the floor"),
    ],
)
def test_wall_size(length, height, verdict, evidence):
    # at most 40 ft = 12.192 m long and 10 ft = 3.048 m high
    fr = frame("a")
    fr = replace(fr, job=fr.job._replace(length=length, height=height))
    assert said(judge(fr, minutes(60), heard(a=steady(60))), "wall size") == (verdict, evidence)


@pytest.mark.parametrize(
    ("length", "height", "split", "verdict", "evidence"),
    [
        (24.5, 2.4, False, "fail", f"too long {SPLIT} 8.167 m and 16.333 m from the left end"),
        (
            24.5,
            2.4,
            True,
            "pass",
            "split with a transition profile at 8.167 m and 16.333 m from the left end, each part inside the limits",
        ),
        (
            4.0,
            3.05,
            True,
            "pass",
            "split with a transition profile at 1.525 m from the floor, each part inside the limits",
        ),
        (4.0, 2.4, True, "pass", "inside the limits for one unbroken run"),
    ],
)
def test_a_wall_that_is_split_as_its_take_off_proposes_is_not_too_large(length, height, split, verdict, evidence):
    # what the take-off measured stands, not the job's 4.0 m x 2.4 m
    assert said(measured(length, height, split), "wall size") == (verdict, evidence)


def test_a_split_that_a_stricter_profile_finds_too_long_is_proposed_anew():
    # two parts of 10 m are inside 12.192 m; of at most 9 m each it takes three
    strict = PROFILE._replace(wall=PROFILE.wall._replace(max_length=9.0))
    assert said(measured(20.0, 2.4, True), "wall size")[0] == "pass"
    assert said(measured(20.0, 2.4, True, strict), "wall size") == (
        "fail",
        f"too long {SPLIT} 6.667 m and 13.333 m from the left end",
    )


def measured(length: float, height: float, split: bool, profile: Profile = PROFILE) -> Assessment:
    """A job of 4.0 m x 2.4 m whose take-off, by the profile of the tests, says otherwise."""
    shape, wall = rectangle(length, height), PROFILE.wall
    lines = split_lines(length, wall.max_length), split_lines(height, wall.max_height)
    taken = TakenOff(shape, "horizontal", split, *lines, 7, "tests")
    fr = replace(frame("a"), profile=profile, take_off=taken)
    return judge(fr, minutes(60), heard(a=steady(60)))


# --- suitability ---

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


@pytest.mark.parametrize(
    ("answers", "verdict", "evidence"),
    [
        ({}, "unknown", "nothing was said of the place"),
        ({"kind": "masonry"}, "fail", "the wall is masonry (accepted by robin: dry for years)"),
        (
            {key: GOOD[key] for key in list(GOOD)[:6]},
            "unknown",
            "nobody said since when the building is closed in, when the wet trades were done",
        ),
        (
            GOOD,
            "pass",
            "a partition wall, indoors, vertical, not over a sink or tub, heated or cooled since 2026-01-02, "
            "closed in since 2025-11-20, wet trades done 2025-12-12",
        ),
    ],
)
def test_suitability(answers, verdict, evidence):
    place = Place(answers, dict.fromkeys(answers, "accepted by robin: dry for years"))
    found = judge(replace(frame("a"), place=place), minutes(60), heard(a=steady(60)))
    assert said(found, "suitability") == (verdict, evidence)


def test_the_default_uncertainty_is_the_makers():
    sensor = frame("a").sensors["a"]
    assert (sensor.uncertainty[TEMPERATURE], sensor.uncertainty[HUMIDITY]) == (1.0, 5.0)


# --- checks of instruments ---


def test_the_temperature_needs_a_side_by_side_check_at_most():
    fr = frame("a")
    salt = [check for check in checked("salt") if check.quantity is HUMIDITY]
    fr = replace(
        fr,
        sensors={"a": fr.sensors["a"]._replace(checks=tuple(salt))},
        profile=PROFILE._replace(readiness=ReadinessRule("salt", 3 / 1.8)),
    )
    assert said(judge(fr, minutes(60), heard(a=steady(60))), "instrument check") == (
        "fail",
        "the air temperature of a has no check of the level 'side by side'",
    )


def test_a_makers_statement_runs_out_after_a_year():
    fr = frame("a")
    old = fr.sensors["a"]._replace(since=minutes(60 - 365 * DAY))
    assert said(judge(replace(fr, sensors={"a": old}), minutes(60), heard(a=steady(60))), "instrument check") == (
        "fail",
        "nothing backs the air humidity of a any more: its check has run out",
    )
