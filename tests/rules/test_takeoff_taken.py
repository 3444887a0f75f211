"""The take-off in the log: what an entry says is what is read back, and the last one stands."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.basis.units import FOOT, INCH
from monitor.basis.values import Entry, Kind
from monitor.config.profile import load_profile
from monitor.rules.frame import frame_of
from monitor.rules.install.rows import Plank, Stagger
from monitor.rules.install.takenoff import body_of, full_json, size_condition, taken_off
from monitor.rules.install.takeoff import rule_of, take_off
from monitor.rules.install.wall import Opening, WallShape, rectangle

PROFILE = load_profile("laminate-planks")
RULE = rule_of(PROFILE)
METRIC = RULE._replace(edge_gap=0.005, stagger=Stagger(0.2, INCH), kerf=0.003)
METRE = Plank(0.2, (1.0,) * 6)
GABLE = ((0.0, 0.0), (4.0, 0.0), (4.0, 2.0), (2.0, 3.0), (0.0, 2.0))
SIDES = st.floats(0.3, 9.0)


def entry(number, body, kind=Kind.TAKE_OFF, at=0):
    return Entry("den", number, kind, at, 0, "robin", json.loads(json.dumps(body)), None, b"", b"")


def metric(shape, **more):
    return take_off(shape, METRE, METRIC, **more)


def test_an_entry_of_the_metric_wall_says_what_was_worked_by_hand():
    # 3.0 m x 2.4 m: tests/rules/test_takeoff.py works it by hand
    assert body_of(metric(rectangle(3.0, 2.4)), split=False, profile="ab") == {
        "length_m": 3.0,
        "height_m": 2.4,
        "openings": [],
        "lay": "horizontal",
        "gross_m2": pytest.approx(7.2),
        "net_m2": pytest.approx(7.2),
        "split": False,
        "splits_along_m": [],
        "splits_up_m": [],
        "rows": [12],
        "planks": [{"length_m": 1.0, "count": 36}],
        "boxes_needed": 7,
        "boxes_for_repairs": 1,
        "boxes_to_order": 8,
        "profile_sha256": "ab",
    }


@settings(max_examples=40)
@given(length=SIDES, height=SIDES, lay=st.sampled_from(["horizontal", "vertical"]), split=st.booleans())
def test_what_is_written_is_read_back(length, height, lay, split):
    openings = [Opening("window", length / 4, height / 4, (length / 3, height / 3)), Opening("hatch", 0.1, 0.2)]
    result = metric(rectangle(length, height, openings), direction=lay)
    taken = taken_off([entry(3, body_of(result, split=split, profile="ab"))])
    assert taken is not None
    assert (taken.shape, taken.lay, taken.split) == (result.shape, lay, split)
    assert (taken.splits_along, taken.splits_up) == (result.splits_along, result.splits_up)
    assert (taken.order, taken.profile) == (result.boxes.order, "ab")


def test_a_wall_that_is_no_rectangle_keeps_its_corners():
    shape = WallShape(GABLE, (Opening("window", 1.0, 1.0, (1.0, 0.5)),))
    taken = taken_off([entry(3, body_of(metric(shape), split=False, profile="ab"))])
    assert taken is not None
    assert taken.shape == shape


def test_the_last_take_off_stands_whatever_their_order():
    small, large = (body_of(metric(rectangle(n, 2.4)), split=False, profile="ab") for n in (2.0, 4.0))
    taken = taken_off([entry(5, large), entry(3, small), entry(4, {"text": "x"}, Kind.NOTE)])
    assert taken is not None
    assert taken.shape.length == 4.0
    assert taken_off([entry(4, {"text": "x"}, Kind.NOTE)]) is None


def test_without_a_cut_list_no_planks_are_counted():
    result = take_off(rectangle(1.3, 2.4), Plank(0.2, (1.2,) * 5), METRIC._replace(stagger=Stagger(0.5, INCH)))
    found = full_json(result, split=False, profile="ab")
    assert (found["planks"], found["pieces"], found["saw_cuts_m"], found["scrap_m"]) == (None, [], None, None)
    assert (found["boxes_by_cut_list"], found["boxes_to_order"]) == (None, 4)
    assert found["stagger"]["verdict"] == "fail"


def test_pieces_and_saw_cuts_and_scrap_for_machines_are_the_planks():
    # by hand: 44 pieces 35.88 m + 60 mm of dust + 60 mm of scrap = 36 planks of 1 m
    found = full_json(metric(rectangle(3.0, 2.4)), split=False, profile="ab")
    pieces = sum(piece["length_m"] for piece in found["pieces"])
    assert (len(found["pieces"]), pieces) == (44, pytest.approx(35.88))
    assert (found["saw_cuts_m"], found["scrap_m"]) == (pytest.approx(0.06), pytest.approx(0.06))
    assert found["pieces"][4] == {
        "part": 1,
        "row": 2,
        "width_m": 0.2,
        "start_m": pytest.approx(0.795),
        "length_m": 1.0,
        "cut_from_m": 1.0,
        "off_cut": False,
    }
    assert found["supplies"] == {
        "adhesive_cartridges": 1,
        "fasteners": 152,
        "trim_m": pytest.approx(10.8),
        "trim_sticks": 5,
        "transition_m": 0.0,
        "transition_sticks": 0,
    }
    assert found["row_widths_m"] == [[*[0.2] * 11, pytest.approx(0.19)]]


# --- in the frame of a job --------------------------------------------------------------------------------------------


def opened(at=1000):
    job = {
        "zone": "UTC",
        "length_m": 3.0,
        "height_m": 2.4,
        "units": "si",
        "boxes_place": "den",
        "wall_place": "den",
    }
    body = body_of(metric(rectangle(3.0, 2.4)), split=False, profile="ab")
    return [entry(1, job, Kind.JOB, at), entry(3, body, at=at)]


def test_what_was_said_at_the_opening_holds_for_all_time():
    log = [*opened(), entry(4, {"indoors": True}, Kind.SUITABILITY, 1000)]
    early = frame_of(log, [], PROFILE, 10)
    assert early.take_off is not None
    assert early.place.answers == {"indoors": True}


def test_what_was_said_later_holds_from_then_on():
    later = body_of(metric(rectangle(4.0, 2.4)), split=False, profile="ab")
    log = [*opened(), entry(4, later, at=2000), entry(5, {"indoors": True}, Kind.SUITABILITY, 2000)]
    before, after = (frame_of(log, [], PROFILE, at) for at in (1999, 2000))
    assert [one.take_off and one.take_off.shape.length for one in (before, after)] == [3.0, 4.0]
    assert [one.place.answers for one in (before, after)] == [{}, {"indoors": True}]


def test_a_job_of_old_has_neither_take_off_nor_place():
    old = frame_of(opened()[:1], [], PROFILE, 2000)
    assert (old.take_off, old.place.answers) == (None, {})


# --- the wall's size --------------------------------------------------------------------------------------------------


def test_a_wall_without_a_take_off_is_measured_as_the_job_says_and_its_split_proposed():
    found = size_condition(50 * FOOT, 12 * FOOT, None, PROFILE.wall, "us")
    assert (found.verdict, found.evidence) == (
        "fail",
        "too long and high for one unbroken run; split it with a transition profile at 25 ft from the left end "
        "and at 6 ft from the floor",
    )


def test_a_wall_split_both_ways_names_both():
    result = take_off(rectangle(50 * FOOT, 12 * FOOT), METRE, RULE)
    taken = taken_off([entry(3, body_of(result, split=True, profile="ab"))])
    found = size_condition(50 * FOOT, 12 * FOOT, taken, PROFILE.wall, "us")
    assert (found.verdict, found.evidence) == (
        "pass",
        "split with a transition profile at 25 ft from the left end and at 6 ft from the floor, "
        "each part inside the limits",
    )


def test_parts_of_exactly_the_longest_run_are_inside():
    # 80 ft in two parts: half of it is 40 ft to the last digit or not
    result = take_off(rectangle(80 * FOOT, 8 * FOOT), METRE, RULE)
    taken = taken_off([entry(3, body_of(result, split=True, profile="ab"))])
    assert size_condition(80 * FOOT, 8 * FOOT, taken, PROFILE.wall, "us").verdict == "pass"
