"""Boxes come: what can't be is refused, and what is said at once rests on what is known."""

from __future__ import annotations

import pytest
from desks import NOW, T0, Row, furnish, hear, opening, steady

from monitor.basis.errors import RecordError
from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import Entry
from monitor.rules.board.cores import evening_out, held_at
from monitor.rules.frame import Stack
from monitor.watch.desk import Desk
from monitor.watch.job.delivery import Arrival, arrival, deliver
from monitor.watch.job.jobs import open_job
from monitor.watch.sensing.sensors import MAKER, add_sensor, assign_sensor

LIMIT = 3 / 1.8  # of the built-in profile [K]


def bring(desk: Desk, *, at: int | None = None, lot: str | None = None, boxes: int | None = None, **facts) -> Entry:
    """Boxes of the den; `place` among the facts is where they lie."""
    place = facts.pop("place", None)
    return deliver(desk, "den", at=at, lot=lot, place=place, boxes=boxes, facts=facts, who="robin")


def told(desk: Desk, **facts) -> Arrival:
    """What can be said of boxes that come now."""
    return arrival(desk, "den", bring(desk, **facts))


@pytest.fixture
def den(desk: Desk) -> Desk:
    """The den, nothing delivered and nothing heard."""
    open_job(desk, opening("den"), who="robin")
    return desk


@pytest.fixture
def heard(desk: Desk) -> Desk:
    """The den, heard up to now: 21.0 degC to 21.6 degC, in the last row 21.0 + 0.1 x (1727 mod 7) = 21.5."""
    furnish(desk, at=T0)
    hear(desk, steady(T0, 12 * 24))
    return desk


# --- what is written --------------------------------------------------------------------------------------------------


def test_a_lot_left_out_is_numbered_and_a_place_left_out_is_the_jobs(den: Desk):
    assert bring(den).body == {"lot": "lot 1", "place": "den", "boxes": None}
    assert bring(den).body["lot"] == "lot 2"
    assert bring(den, lot="lot 4").body["lot"] == "lot 4"
    assert bring(den).body["lot"] == "lot 3"


def test_what_is_said_of_boxes_stands_in_the_entry_and_what_is_not_is_left_out(den: Desk):
    facts = {
        "unopened": True, "flat": False, "wrapped": True, "spacers": False, "stack_height_m": 0.5, "stack_width_m": 0.4,
        "floor_temperature": 12.0, "box_temperature": 4.0, "moisture": 7.5, "lot_numbers": ["a", "b"],
        "stored_before": "a van",
    }  # fmt: skip
    entry = bring(den, at=T0, boxes=12, place="shed", **facts, unsaid=None)
    assert entry.at == T0
    assert entry.body == {"lot": "lot 1", "place": "shed", "boxes": 12, **facts}


@pytest.mark.parametrize(
    ("facts", "refusal"),
    [
        ({"boxes": 0}, "--boxes: 0 boxes are not delivered. Give 1 to 100000"),
        ({"boxes": 100_001}, "--boxes: 100001 boxes are not delivered. Give 1 to 100000"),
        ({"stack_height_m": 0.009}, "--stack-height: 0.009 m can't be. Measure again: 0.01 to 5 m"),
        ({"stack_height_m": 5.1}, "--stack-height: 5.1 m can't be. Measure again: 0.01 to 5 m"),
        ({"stack_width_m": 0.0}, "--stack-width: 0 m can't be. Measure again: 0.01 to 5 m"),
        ({"box_temperature": 61.0}, "--box-temperature: 61 degC can't be. Measure again: -40 to 60 degC"),
        ({"floor_temperature": -41.0}, "--floor-temperature: -41 degC can't be. Measure again: -40 to 60 degC"),
        ({"moisture": 30.5}, "--moisture: 30.5 % can't be. Measure again: 0 to 30 %"),
        ({"stored_before": " "}, "--stored-before: nothing is said. Write it, or leave it out"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_written(den: Desk, facts, refusal):
    before = len(den.book.log("den"))
    with pytest.raises(RecordError) as refused:
        bring(den, **facts)
    assert str(refused.value) == refusal
    assert len(den.book.log("den")) == before


@pytest.mark.parametrize(
    ("facts", "where"),
    [({"lot": ""}, "--lot"), ({"place": " "}, "--place"), ({"lot_numbers": ["7", ""]}, "--lot-number")],
)
def test_a_name_that_is_none_is_refused_where_it_was_given(den: Desk, facts, where):
    with pytest.raises(RecordError) as refused:
        bring(den, **facts)
    assert str(refused.value).startswith(f"{where}: ")


def test_exactly_the_limits_are_taken(den: Desk):
    entry = bring(den, boxes=100_000, stack_height_m=5.0, stack_width_m=0.01, box_temperature=-40.0, moisture=0.0)
    assert entry.body["stack_height_m"] == 5.0


def test_boxes_do_not_come_in_the_future(den: Desk):
    with pytest.raises(RecordError, match="is in the future"):
        bring(den, at=NOW + HOUR)


# --- what is said at once ---------------------------------------------------------------------------------------------


def test_with_a_box_temperature_and_a_room_the_difference_is_known(heard: Desk):
    found = told(heard, box_temperature=4.0, stack_height_m=0.5)
    assert found.apart == pytest.approx(21.5 - 4.0)
    board = found.profile.board
    assert found.stacked == evening_out(Stack(height=0.5), board, limit=LIMIT, apart=17.5)
    assert found.single == evening_out(Stack(spacers=True), board, limit=LIMIT, apart=17.5)
    assert found.single.central < found.stacked.central


def test_a_box_warmer_than_the_room_is_as_far_apart_as_a_colder_one(heard: Desk):
    assert told(heard, box_temperature=39.0).apart == pytest.approx(17.5)


def test_several_sensors_speak_with_their_mean(heard: Desk):
    add_sensor(heard, "desk", "site/desk/climate", hold=30 * MINUTE, uncertainty=MAKER, who="robin")
    assign_sensor(heard, "desk", "den", at=NOW - HOUR, facts={}, who="robin")
    hear(heard, [Row(NOW - 10 * MINUTE, 23.5, 50.0)], stream="site/desk/climate")
    assert told(heard, box_temperature=4.0).apart == pytest.approx(22.5 - 4.0)


def test_without_a_box_temperature_or_without_a_room_the_difference_is_not_known(heard: Desk):
    found = told(heard, stack_height_m=0.5)
    assert found.apart is None
    assert found.stacked == evening_out(Stack(height=0.5), found.profile.board, limit=LIMIT)


def test_a_room_that_nobody_hears_says_no_difference(den: Desk):
    assert told(den, box_temperature=4.0).apart is None


def test_a_room_that_fell_silent_long_ago_says_no_difference(desk: Desk):
    furnish(desk, at=T0)
    hear(desk, steady(T0, 24))
    assert told(desk, box_temperature=4.0).apart is None


def test_boxes_on_spacers_even_out_as_single_layers(den: Desk):
    found = told(den, spacers=True, stack_height_m=0.5)
    assert found.stacked == found.single


def test_of_boxes_that_nobody_said_how_high_only_single_layers_are_known(den: Desk):
    found = told(den)
    assert found.stacked is None
    assert found.single.central > 0


def test_boxes_are_held_against_the_take_off_over_all_deliveries(den: Desk):
    # 4.0 m x 2.4 m: the take-off at the opening says how many boxes
    asked = den.book.log("den")[2].body["boxes_to_order"]
    assert (told(den, boxes=2).asked, told(den, boxes=1).came) == (asked, 3)


def test_a_delivery_that_nobody_counted_leaves_open_how_many_came(den: Desk):
    bring(den, boxes=2)
    found = told(den)
    assert (found.asked, found.came) == (None, None)


def test_what_came_days_ago_is_told_of_with_the_room_of_then(heard: Desk):
    # the last row before: 21.0 + 0.1 x (1295 mod 7) = 21.0; now it is 21.5
    found = told(heard, at=NOW - 3 * DAY, box_temperature=4.0)
    assert found.apart == pytest.approx(17.0)
    assert found.past


def test_what_came_before_the_room_was_heard_is_told_of_with_the_first_that_was_heard_within_a_day(desk: Desk):
    furnish(desk, at=T0)
    hear(desk, steady(T0 + 2 * DAY, 24))
    assert told(desk, at=T0 + DAY + HOUR, box_temperature=4.0).apart == pytest.approx(17.0)
    found = told(desk, at=T0 + DAY - HOUR, box_temperature=4.0)
    assert (found.apart, found.past) == (None, True)


def test_the_first_boxes_of_a_job_whose_record_begins_with_them_are_told_of_with_it(desk: Desk):
    open_job(desk, opening("den"), who="robin")
    add_sensor(desk, "shelf", "site/shelf/climate", hold=30 * MINUTE, uncertainty=MAKER, who="robin")
    assign_sensor(desk, "shelf", "den", at=T0, facts={}, who="robin")
    hear(desk, steady(T0, 24))
    assert told(desk, at=T0, box_temperature=4.0).apart == pytest.approx(17.0)


def test_boxes_on_a_cold_floor_are_told_of_with_what_they_stay_at(heard: Desk):
    found = told(heard, stack_height_m=0.5, floor_temperature=10.0, box_temperature=21.0)
    stack = Stack(height=0.5, floor_c=10.0, box_c=21.0)
    assert found.stays == held_at(stack, found.profile.board, limit=LIMIT, room_c=21.5)
    assert 15.0 < found.stays < 16.0
    assert found.stacked is None


def test_what_boxes_should_not_be_is_told_of(den: Desk):
    assert told(den, unopened=False, flat=False, wrapped=False).said == ("opened", "on end", "unwrapped")
    found = told(den, unopened=True)
    assert (found.said, found.past) == ((), False)
