"""The core of boxes follows the room: against conduction worked by finite differences, by hand, and what is said."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rooms import PROFILE, STILL, Room, Row, Shelf, frame, minutes
from slabs import bar_core, slab

from monitor.basis.times import DAY, HOUR
from monitor.basis.values import Quantity
from monitor.climate.stack import BOARDS, FLOOR_CONTACT_W_M2K, STILL_AIR_W_M2K
from monitor.rules.assessment import Assessment
from monitor.rules.board.cores import box_height, core_verdict, evening_out, held_at
from monitor.rules.board.estimates import CoreReading
from monitor.rules.frame import Delivery, Frame, Keys, Stack
from monitor.rules.judge import judge
from monitor.rules.stays import Stay

BOX = Quantity.BOX_TEMPERATURE
DAY_M = 1440
LIMIT = 3 / 1.8  # of the profile [K]
LOW = Stack(height=0.2)


def on_the_hour(temperature: list[float], start: float = 0) -> list[Row]:
    return [(start + 60 * k, t, 50.0) for k, t in enumerate(temperature)]


def hall(temperature: list[float], start: float = 0) -> Room:
    room = Room()
    room.hear("a", on_the_hour(temperature, start))
    return room


def judged(temperature: list[float] | Room, until: float, stack: Stack = LOW, **more: object) -> Assessment:
    """A room heard on the hour; nothing in it is taken for stuck."""
    room = temperature if isinstance(temperature, Room) else hall(temperature)
    fr = frame("a", **{"hold": 60, "profile": STILL, "stack": stack, **more})  # type: ignore[arg-type]
    return judge(fr, minutes(until), room)


def core(*what: object, **more: object) -> CoreReading:
    found = judged(*what, **more).lot.core  # type: ignore[arg-type]
    assert found is not None
    return found


def boxed(temperature: list[float], inside: list[tuple[float, float]]) -> Room:
    room = hall(temperature)
    room.say("b", BOX, inside)
    return room


def with_a_sensor_in_the_boxes(**more: object) -> Frame:
    stays = [Stay("a", "hall", minutes(0), None), Stay("b", "hall", minutes(0), None, "box")]
    return frame("a", "b", **{"hold": 60, "profile": STILL, "stays": stays, **more})  # type: ignore[arg-type]


# --- against conduction by finite differences


def air(days: int) -> list[float]:
    """A cold room that is heated by day."""
    hours = np.arange(days * 24)
    return (17 + 4 * np.sin(hours / 24 * 2 * np.pi) + 3 * np.sin(hours / 60)).tolist()


def solved(stack: Stack, drive: np.ndarray, step: float) -> list[np.ndarray]:
    """The core after each step: of the slow, the central and the fast board."""
    found = []
    for name in ("slow", "central", "fast"):
        board = BOARDS[name]
        capacity = board.density * board.heat
        front = STILL_AIR_W_M2K / capacity
        if stack.floor_c is not None:
            cells = slab(
                stack.height, board.diffusivity, front, drive, step, stack.box_c,
                behind=FLOOR_CONTACT_W_M2K / capacity, behind_at=stack.floor_c,
            )  # fmt: skip
            found.append(cells[:, 29:31].mean(axis=1))
            continue
        depth = 0.064 / 2 if stack.spacers else stack.height  # eight planks of 8 mm in a box
        cells = slab(depth, board.diffusivity, front, drive, step, stack.box_c)
        found.append(cells[:, 0] + (cells[:, 0] - cells[:, 1]) / 8)  # half a cell on to where the slope is zero
    return found


@pytest.mark.parametrize(
    "stack",
    [
        Stack(height=0.25, box_c=3.0),
        Stack(height=0.6, box_c=30.0),
        Stack(spacers=True, box_c=3.0),
        Stack(height=0.3, floor_c=9.0, box_c=3.0),
        Stack(height=0.12, floor_c=12.0, box_c=25.0),
    ],
)
@pytest.mark.parametrize("until", [12 * 60, 36 * 60, 6 * DAY_M])
def test_a_core_follows_as_conduction_by_finite_differences(stack, until):
    # 0.05 K: six modes leave out up to 0.4 % of the 14 K that the boxes came with, for a short while
    room, came = air(6), 100
    drive = np.repeat(room, 12)[came // 5 : until // 5]
    ends = [one[-1] for one in solved(stack, drive, 300.0)]
    found = core(room, until, stack, delivered=came)
    assert (found.low, found.high) == (pytest.approx(min(ends), abs=0.05), pytest.approx(max(ends), abs=0.05))
    assert found.measured is None


@pytest.mark.parametrize("until", [24, 72])
def test_sides_in_the_air_count_as_in_a_bar_by_finite_differences(until):
    # 0.1 K: cells of 1.5 to 2.5 cm, eight modes of a product
    room, stack = air(3), Stack(height=0.4, width=0.5, box_c=5.0)
    ends = []
    for name in ("slow", "central", "fast"):
        board = BOARDS[name]
        front = STILL_AIR_W_M2K / (board.density * board.heat)
        ends.append(bar_core(0.4, 0.5, board.diffusivity, front, np.array(room[:until]), 5.0)[-1])
    found = core(room, until * 60, stack)
    assert (found.low, found.high) == (pytest.approx(min(ends), abs=0.1), pytest.approx(max(ends), abs=0.1))


def test_a_box_is_as_high_as_its_planks_on_each_other():
    assert box_height(PROFILE.board) == pytest.approx(8 * 0.008)


def test_on_spacers_each_box_stands_in_the_air_however_high_they_are_stacked():
    room = air(1)
    assert core(room, DAY_M, Stack(1.2, 0.8, spacers=True)) == core(room, DAY_M, Stack(spacers=True))


# --- where nobody measured how warm they came


@settings(max_examples=20, deadline=None)
@given(
    st.floats(0, 40), st.integers(1, 90),
    st.sampled_from([Stack(height=0.2), Stack(spacers=True), Stack(height=0.3, floor_c=8.0), Stack(0.3, 0.4)]),
)  # fmt: skip
def test_any_start_between_0_and_40_degc_is_within_the_bounds(came, hours, stack):
    room = air(4)
    wide, told = core(room, hours * 60, stack), core(room, hours * 60, stack._replace(box_c=came))
    assert wide.low <= told.low + 1e-9
    assert told.high <= wide.high + 1e-9


def test_the_bounds_are_those_of_boxes_that_came_at_0_and_at_40_degc():
    room = air(2)
    wide = core(room, DAY_M, LOW)
    cold, hot = (core(room, DAY_M, LOW._replace(box_c=came)) for came in (0.0, 40.0))
    assert (wide.low, wide.high) == (pytest.approx(cold.low, abs=1e-9), pytest.approx(hot.high, abs=1e-9))
    assert wide.high - wide.low > 5


def test_a_room_as_warm_as_the_boxes_leaves_them_as_they_came():
    for stack in (Stack(0.3, box_c=20.0), Stack(0.3, 0.4, box_c=20.0), Stack(0.3, box_c=20.0, floor_c=20.0)):
        found = core([20.0] * 60, 60 * 60, stack)
        assert (found.low, found.high) == (pytest.approx(20.0, abs=1e-9), pytest.approx(20.0, abs=1e-9))


def test_boxes_wait_as_they_came_until_the_room_is_first_heard():
    found = core(hall([20.0] * 10, start=DAY_M), DAY_M + 60, Stack(0.3, box_c=5.0), delivered=0)
    same = core([20.0], 60, Stack(0.3, box_c=5.0), delivered=0)
    assert (found.low, found.high) == (same.low, same.high)


def test_in_silence_the_room_is_taken_to_stay_as_it_was():
    found = core([20.0] * 24, 4 * DAY_M, Stack(0.2, box_c=5.0))
    heard = core([20.0] * 96, 4 * DAY_M, Stack(0.2, box_c=5.0))
    assert (found.low, found.high) == (pytest.approx(heard.low, abs=1e-9), pytest.approx(heard.high, abs=1e-9))
    assert found.room is None


# --- the room's trailing mean


def test_the_rooms_mean_is_that_of_the_24_clock_hours_to_now():
    # 10 h at 20, 30 h at 23; at 12, 24 and 34 h: (10 x 20 + 2 x 23) / 12; (10 x 20 + 14 x 23) / 24; 23
    room = [20.0] * 10 + [23.0] * 30
    assert core(room, 12 * 60).room == pytest.approx(246 / 12, abs=1e-9)
    assert core(room, 24 * 60).room == pytest.approx(522 / 24, abs=1e-9)
    assert core(room, 33 * 60).room == pytest.approx((20 + 23 * 23) / 24, abs=1e-9)
    assert core(room, 34 * 60).room == pytest.approx(23.0, abs=1e-9)


def test_the_hour_under_way_counts_by_its_minutes():
    # 23 whole hours and 30 min: 00:00 to 23:30 at 20, but for 23:00 to 23:30 at 25
    assert core([20.0] * 23 + [25.0], 23 * 60 + 30).room == pytest.approx((23 * 20 + 25 / 2) / 23.5, abs=1e-9)
    # a day later: of the day before the hours from 00:00 to 00:30 are no longer among the 24
    assert core([20.0] * 24 + [24.0], 24 * 60 + 30).room == pytest.approx((23 * 20 + 24 / 2) / 23.5, abs=1e-9)


def test_twelve_known_hours_are_enough_for_a_mean():
    assert core([20.0] * 12, 12 * 60).room == pytest.approx(20.0)
    assert core([20.0] * 12, 12 * 60 - 1).room is None
    # heard until 24:00, 12 and 13 hours ago
    assert core([20.0] * 24, 36 * 60).room == pytest.approx(20.0)
    assert core([20.0] * 24, 37 * 60).room is None


def test_the_mean_reaches_back_over_checkpoints():
    room, shelf, fr = hall([float(n) for n in range(72)]), Shelf(), frame("a", hold=60, profile=STILL, stack=LOW)
    for hour in range(1, 73):
        found = judge(fr, minutes(hour * 60), room, shelf).lot.core
        last = range(max(hour - 24, 0), hour)
        assert found.room == (pytest.approx(np.mean(last), abs=1e-9) if hour >= 12 else None)


# --- since when it is near


def test_within_since_the_end_of_the_first_hour_in_which_it_was_near():
    # measured: 30 until 20:00, then 20 + the limit: on it is within
    at = [(60 * hour, 30.0 if hour < 20 else 20.0 + LIMIT) for hour in range(30)]
    room, fr = boxed([20.0] * 30, at), with_a_sensor_in_the_boxes()
    assert judge(fr, minutes(20 * 60), room).lot.core.within is None
    assert judge(fr, minutes(21 * 60), room).lot.core.within == minutes(21 * 60)
    assert judge(fr, minutes(30 * 60), room).lot.core.within == minutes(21 * 60)


def test_a_hair_beyond_the_limit_is_not_within():
    room = boxed([20.0] * 30, [(60 * hour, 20.0 - LIMIT - 1e-6) for hour in range(30)])
    assert judge(with_a_sensor_in_the_boxes(), minutes(30 * 60), room).lot.core.within is None


def test_near_the_room_from_the_start_is_within_as_soon_as_the_rooms_mean_is_known():
    room = boxed([20.0] * 30, [(60 * hour, 20.5) for hour in range(30)])
    for until in (20, 30):
        assert judge(with_a_sensor_in_the_boxes(), minutes(until * 60), room).lot.core.within == minutes(12 * 60)


def test_when_the_room_jumps_it_is_lost_and_then_found_again():
    # the mean after n hours at 30 is 20 + 10 n / 24: with 4 h at the limit of 1.667 K, with 5 beyond;
    # back at 20 from 36:00 on, 6 of the 24 hours are warm until 54:00, then 5, and 4 at 56:00
    room = boxed([20.0] * 30 + [30.0] * 6 + [20.0] * 30, [(60 * hour, 20.0) for hour in range(66)])
    found = [judge(with_a_sensor_in_the_boxes(), minutes(60 * hour), room).lot.core.within for hour in (34, 35, 55, 56)]
    assert found == [minutes(12 * 60), None, None, minutes(56 * 60)]
    assert judge(with_a_sensor_in_the_boxes(), minutes(60 * 66), room).lot.core.within == minutes(56 * 60)


def test_within_lost_and_found_inside_one_day_counts_from_the_later_hour():
    inside = [(60 * hour, 20.0 if hour != 15 else 25.0) for hour in range(24)]
    room = boxed([20.0] * 24, inside)
    assert judge(with_a_sensor_in_the_boxes(), minutes(DAY_M), room).lot.core.within == minutes(17 * 60)


def test_an_estimate_is_within_when_both_its_bounds_are():
    # spread of 20 +- x about the room's 20: until the wider bound is within 1.667 K it is not
    room = [20.0] * 24 * 12
    found = [core(room, 60 * hour, LOW) for hour in range(24, 24 * 12, 12)]
    near = [max(abs(one.low - 20.0), abs(one.high - 20.0)) <= LIMIT for one in found]
    assert [one.within is not None for one in found] == near
    assert any(near)
    assert not near[0]
    first = found[near.index(True)].within
    assert all(one.within == first for one in found[near.index(True) :])
    before, after = (core(room, (first - minutes(0)) / 60_000 + by, LOW) for by in (-60, 0))
    assert (before.within, after.within) == (None, first)


@pytest.mark.parametrize(("came", "bound"), [(8.0, "low"), (32.0, "high")])
def test_the_bound_that_is_further_off_decides(came, bound):
    found = core([20.0] * 60, 60 * 60, Stack(0.2, box_c=came))
    far = getattr(found, bound)
    assert (found.within is None) == (abs(far - 20.0) > LIMIT)
    other = found.high if bound == "low" else found.low
    assert abs(other - 20.0) < abs(far - 20.0)


# --- sensors in the boxes


def test_a_sensor_in_the_boxes_outranks_the_estimate():
    room = boxed([20.0] * 24, [(60 * hour, 20.0) for hour in range(24)])
    found = judge(with_a_sensor_in_the_boxes(stack=Stack(0.5, box_c=5.0)), minutes(DAY_M), room).lot.core
    assert found.high < 20.0 - LIMIT, "the estimate alone would not do"
    assert (found.measured, found.within) == (20.0, minutes(12 * 60))


def test_where_the_sensor_falls_silent_the_estimate_stands():
    room = boxed([20.0] * 24, [(60 * hour, 20.0) for hour in range(20)])
    found = judge(with_a_sensor_in_the_boxes(stack=Stack(0.5, box_c=5.0)), minutes(DAY_M), room).lot.core
    assert (found.measured, found.within) == (None, None)
    alone = judge(with_a_sensor_in_the_boxes(), minutes(DAY_M), room)
    assert (alone.lot.core.low, alone.lot.core.measured) == (None, None)


def test_a_sensor_in_the_boxes_that_only_says_air_temperature_says_how_warm_they_are():
    room = hall([20.0] * 24)
    room.hear("b", on_the_hour([15.0] * 24))
    assert judge(with_a_sensor_in_the_boxes(), minutes(DAY_M), room).lot.core.measured == 15.0


def test_a_sensor_of_the_room_with_a_probe_in_the_boxes_says_both():
    room = hall([20.0] * 24)
    room.say("a", BOX, [(60 * hour, 16.0) for hour in range(24)])
    found = judged(room, DAY_M).lot.core
    assert (found.measured, found.room) == (16.0, pytest.approx(20.0))


def test_a_probe_that_is_silent_is_not_replaced_by_the_air_about_its_sensor():
    # b has a probe, heard only on the first day: on the second its air temperature is no box's, however it is judged
    room = boxed([20.0] * 48, [(60 * hour, 15.0) for hour in range(24)])
    room.hear("b", on_the_hour([19.0] * 48))
    shelf, fr = Shelf(), with_a_sensor_in_the_boxes(stack=LOW)
    for day in (1, 2):
        found = judge(fr, minutes(day * DAY_M), room, shelf)
        assert found.lot.core == judge(fr, minutes(day * DAY_M), room).lot.core
    assert found.lot.core.measured is None


def test_what_a_sensor_said_of_the_room_before_it_was_put_into_the_boxes_is_not_of_them():
    room, moved = hall([20.0] * 24), 15 * 60
    room.hear("b", on_the_hour([20.0] * 24))
    stays = [
        Stay("a", "hall", minutes(0), None),
        Stay("b", "hall", minutes(0), minutes(moved)),
        Stay("b", "hall", minutes(moved), None, "box"),
    ]
    fr = frame("a", "b", hold=60, profile=STILL, stack=Stack(0.5, box_c=5.0), stays=stays)
    assert judge(fr, minutes(moved), room).lot.core.measured is None
    found = judge(fr, minutes(DAY_M), room).lot.core
    assert (found.measured, found.within) == (20.0, minutes(16 * 60)), "not since 12:00, as the room's mean is known"


def test_a_sensor_in_the_boxes_has_no_say_in_the_room():
    room = hall([20.0] * 24)
    room.hear("b", [(60 * hour, 15.0, 90.0) for hour in range(24)])
    found = judge(with_a_sensor_in_the_boxes(), minutes(DAY_M), room)
    assert found.lot.core.room == pytest.approx(20.0)
    assert found.span.in_band == DAY


# --- places and times


def test_boxes_elsewhere_follow_the_room_that_they_lie_in():
    room = hall([20.0] * 48)
    room.hear("s", on_the_hour([10.0] * 48))
    room.say("b", BOX, [(60 * hour, 10.5) for hour in range(48)])
    stays = [
        Stay("a", "hall", minutes(0), None), Stay("b", "shed", minutes(0), None, "box"),
        Stay("s", "shed", minutes(0), None),
    ]  # fmt: skip
    stack = Stack(0.2, box_c=10.0)
    lots = (Delivery("here", "hall", minutes(0), 4, stack), Delivery("there", "shed", minutes(0), 4, stack))
    fr = replace(frame("a", "b", "s", hold=60, profile=STILL, stays=stays), deliveries=lots)
    here, there = (lot.core for lot in judge(fr, minutes(2 * DAY_M), room).lots)
    assert (here.room, there.room) == (pytest.approx(20.0), pytest.approx(10.0))
    assert (here.measured, there.measured) == (None, 10.5)
    assert here.low > 10.5
    assert (there.low, there.high) == (pytest.approx(10.0), pytest.approx(10.0))


def test_each_delivery_has_boxes_of_its_own():
    lots = (
        Delivery("cold", "hall", minutes(0), 4, Stack(0.2, box_c=5.0)),
        Delivery("late", "hall", minutes(20 * 60), 4, Stack(0.2, box_c=5.0)),
        Delivery("untold", "hall", minutes(0), 4),
    )
    fr = replace(frame("a", hold=60, profile=STILL), deliveries=lots)
    cold, late, untold = (lot.core for lot in judge(fr, minutes(30 * 60), hall([20.0] * 30)).lots)
    alone = core([20.0] * 10, 10 * 60, Stack(0.2, box_c=5.0))
    assert (late.low, late.high) == (pytest.approx(alone.low, abs=1e-9), pytest.approx(alone.high, abs=1e-9))
    assert late.high < cold.low
    assert late.room == cold.room == pytest.approx(20.0)
    assert untold is None


@pytest.mark.parametrize(
    ("put", "spoken_for"),
    [
        (-60, (True, False)),  # before the first lot: it was meant for that one
        (0, (True, False)),
        (60, (True, False)),
        (20 * 60, (True, True)),
        (25 * 60, (True, True)),
    ],
)
def test_a_sensor_speaks_for_the_boxes_that_lay_there_when_it_was_put_in(put, spoken_for):
    lots = tuple(Delivery(name, "hall", minutes(at), 4, LOW) for name, at in (("first", 0), ("second", 20 * 60)))
    stays = (Stay("a", "hall", minutes(0), None), Stay("b", "hall", minutes(put), None, "box"))
    fr = replace(frame("a", "b", hold=60, profile=STILL, stays=stays), deliveries=lots)
    room = boxed([20.0] * 30, [(60 * hour + 1, 15.0) for hour in range(30)])
    found = [lot.core.measured for lot in judge(fr, minutes(30 * 60), room).lots]
    assert found == [15.0 if heard else None for heard in spoken_for]


def test_at_the_installation_the_core_stays_as_it_was():
    room, stack = [20.0] * 30 + [40.0] * 30, Stack(0.2, box_c=10.0)
    start = 30 * 60 + 20
    at = core(room, start, stack)
    for until in (start, start + 20, 45 * 60, 60 * 60):
        assert core(room, until, stack, start=start) == at


def test_an_hour_that_the_installation_cuts_counts_to_its_start():
    # the room warms at 30:00; the boxes are opened at 30:20
    opened = core([20.0] * 30 + [40.0] * 3, 33 * 60, Stack(0.05, box_c=20.0), start=30 * 60 + 20)
    unheated = core([20.0] * 30, 30 * 60, Stack(0.05, box_c=20.0))
    whole = core([20.0] * 30 + [40.0], 31 * 60, Stack(0.05, box_c=20.0))
    assert unheated.high < opened.high < whole.low


def test_of_boxes_that_nobody_told_of_nothing_is_said():
    assert judged([20.0] * 24, DAY_M, Stack()).lot.core is None
    assert judged([20.0] * 24, DAY_M, Stack(), delivered=None).lot.core is None
    assert judged([20.0] * 24, DAY_M, Stack(width=0.3, box_c=5.0)).lot.core is None


def test_of_a_room_never_heard_since_the_delivery_the_core_is_not_known_but_asked_for():
    found = judged(hall([20.0] * 4), DAY_M, LOW, delivered=300)
    assert found.lot.core == CoreReading(None, None, None, None, None)
    said = next(one for one in found.readiness if one.name == "box core")
    assert (said.verdict, said.evidence) == ("unknown", "too little is known of the room since the boxes came")


# --- how long it takes


@pytest.mark.parametrize("stack", [Stack(0.2), Stack(spacers=True), Stack(0.3, 0.4)])
def test_after_the_time_to_even_out_the_core_is_on_the_limit(stack):
    # 12 K apart; each speed by finite differences above: here that the three times are those of the three boards
    times = evening_out(stack, PROFILE.board, limit=2.0, apart=12.0)
    hours = int(times.slow / HOUR) + 2
    found = [core([20.0] * hours, at / 60_000, stack._replace(box_c=8.0)) for at in times]
    assert times.fast <= times.central <= times.slow
    assert found[0].high == pytest.approx(18.0, abs=0.02), "the fast one is there"
    assert found[2].low == pytest.approx(18.0, abs=0.02), "and now the slow one"


def test_where_nobody_said_how_far_apart_nine_tenths_of_the_way_count():
    assert evening_out(Stack(0.2), PROFILE.board, limit=1.0) == evening_out(
        Stack(0.2), PROFILE.board, limit=1.0, apart=10.0
    )
    assert evening_out(Stack(), PROFILE.board, limit=1.0) is None
    assert evening_out(Stack(0.2), PROFILE.board, limit=1.0, apart=0.0) == (0, 0, 0)
    assert evening_out(Stack(0.2), PROFILE.board, limit=1.0, apart=0.5) == (0, 0, 0)


# --- what is said


NOON = minutes(720)


@pytest.mark.parametrize(
    ("reading", "units", "verdict", "evidence"),
    [
        (None, "si", "unknown", "nobody said how the boxes lie, and no sensor is in them"),
        (
            CoreReading(None, None, None, None, None), "si", "unknown",
            "too little is known of the room since the boxes came",
        ),
        (
            CoreReading(None, None, None, 21.0, None), "us", "unknown",
            "nothing is heard from the sensor in the boxes, and nobody said how they lie",
        ),
        (
            CoreReading(10.0, 12.0, None, None, None), "si", "unknown",
            "estimated 10.0 degC to 12.0 degC, but too little is known of the room's last 24 h",
        ),
        (
            CoreReading(None, None, 15.0, None, None), "us", "unknown",
            "measured 59.0 degF, but too little is known of the room's last 24 h",
        ),
        (
            CoreReading(19.5, 20.5, None, 20.0, NOON), "si", "pass",
            "within 1.7 K of the room's 24 h mean, 20.0 degC, since 2026-01-05T12:00:00Z:"
            " estimated 19.5 degC to 20.5 degC",
        ),
        (
            CoreReading(19.5, 20.5, 20.0, 20.0, NOON), "us", "pass",
            "within 3.0 degF of the room's 24 h mean, 68.0 degF, since 2026-01-05T12:00:00Z: measured 68.0 degF",
        ),
        (
            CoreReading(18.97, 19.03, None, 20.0, NOON), "si", "pass",
            "within 1.7 K of the room's 24 h mean, 20.0 degC, since 2026-01-05T12:00:00Z: estimated 19.0 degC",
        ),
        (
            CoreReading(17.0, 18.0, None, 20.0, None), "si", "fail",
            "not within 1.7 K of the room's 24 h mean, 20.0 degC: estimated 17.0 degC to 18.0 degC",
        ),
        (
            CoreReading(22.0, 23.0, None, 20.0, None), "us", "fail",
            "not within 3.0 degF of the room's 24 h mean, 68.0 degF: estimated 71.6 degF to 73.4 degF",
        ),
        (
            CoreReading(17.0, 20.0, None, 20.0, None), "si", "unknown",
            "not yet surely within 1.7 K of the room's 24 h mean, 20.0 degC: estimated 17.0 degC to 20.0 degC",
        ),
        (
            CoreReading(20.0, 24.0, None, 20.0, None), "us", "unknown",
            "not yet surely within 3.0 degF of the room's 24 h mean, 68.0 degF: estimated 68.0 degF to 75.2 degF",
        ),
        (
            CoreReading(None, None, 17.0, 20.0, None), "si", "fail",
            "not within 1.7 K of the room's 24 h mean, 20.0 degC: measured 17.0 degC",
        ),
        (
            CoreReading(19.0, 20.0, 16.5, 20.0, None), "si", "fail",
            "not within 1.7 K of the room's 24 h mean, 20.0 degC:"
            " measured 16.5 degC, 2.5 K beyond the estimated 19.0 degC to 20.0 degC",
        ),
        (
            CoreReading(10.0, 15.0, 20.0, 20.0, NOON), "us", "pass",
            "within 3.0 degF of the room's 24 h mean, 68.0 degF, since 2026-01-05T12:00:00Z:"
            " measured 68.0 degF, 9.0 degF beyond the estimated 50.0 degF to 59.0 degF",
        ),
    ],
)  # fmt: skip
def test_core_verdict(reading, units, verdict, evidence):
    assert core_verdict(reading, LIMIT, units) == (verdict, evidence)


@pytest.mark.parametrize(
    ("measured", "apart"), [(16.0, 0.0), (15.75, 2.25), (18.0, 0.0), (20.0, 0.0), (22.0, 0.0), (22.25, 2.25)]
)
def test_a_sensor_more_than_2_k_outside_the_estimate_disagrees(measured, apart):
    reading = CoreReading(18.0, 20.0, measured, 20.0, None)
    assert reading.disagree == apart
    assert reading.to_json()["disagree_k"] == apart


def test_the_reading_as_json():
    assert CoreReading(18.0, 20.0, 17.0, 19.0, NOON).to_json() == {
        "estimated": [18.0, 20.0],
        "measured": 17.0,
        "room_24h_mean": 19.0,
        "within_since": "2026-01-05T12:00:00Z",
        "disagree_k": 0.0,
    }
    nothing = CoreReading(None, None, None, None, None).to_json()
    assert nothing == dict.fromkeys(("estimated", "measured", "room_24h_mean", "within_since")) | {"disagree_k": 0.0}


def test_the_lot_that_is_worst_off_decides():
    # two lots used: one passes, of the other nobody told
    lots = (
        Delivery("one", "hall", minutes(0), 4, Stack(spacers=True, box_c=20.0)),
        Delivery("two", "hall", minutes(0), 4),
    )
    fr = replace(frame("a", hold=60, profile=STILL), deliveries=lots)
    found = judge(fr, minutes(DAY_M), hall([20.0] * 24))
    said = next(one for one in found.readiness if one.name == "box core")
    assert (said.verdict, said.evidence) == (
        "unknown", "two: nobody said how the boxes lie, and no sensor is in them",
    )  # fmt: skip
    used = judge(replace(fr, lots_used=("one",)), minutes(DAY_M), hall([20.0] * 24))
    said = next(one for one in used.readiness if one.name == "box core")
    assert (said.verdict, said.evidence) == (
        "pass",
        "within 1.7 K of the room's 24 h mean, 20.0 degC, since 2026-01-05T12:00:00Z: estimated 20.0 degC",
    )


# --- on a cold floor

COLD = Stack(0.5, floor_c=10.0, box_c=5.0)


def test_a_core_on_a_cold_floor_stays_between_the_floor_and_the_room():
    # by hand, resistances in a row from room to floor: 1/h + H/k + 1/h_floor; half way up 1/h + H/2k are passed
    stays = held_at(COLD, PROFILE.board, limit=LIMIT, room_c=20.0)
    above, below = (1 / h + 0.25 / BOARDS["central"].conductivity for h in (STILL_AIR_W_M2K, FLOOR_CONTACT_W_M2K))
    assert stays == pytest.approx(20.0 - 10.0 * above / (above + below))
    assert evening_out(COLD, PROFILE.board, limit=LIMIT, apart=15.0, room_c=20.0) is None
    came_warm = COLD._replace(box_c=19.5)
    assert evening_out(came_warm, PROFILE.board, limit=LIMIT, apart=0.5, room_c=20.0) is None


@pytest.mark.parametrize(
    ("stack", "room_c"),
    [
        (COLD, None), (COLD._replace(floor_c=None), 20.0), (COLD._replace(height=None), 20.0),
        (COLD._replace(spacers=True), 20.0), (COLD._replace(floor_c=18.0), 20.0),
    ],
)  # fmt: skip
def test_of_what_is_not_known_or_comes_near_no_temperature_is_said_at_which_it_stays(stack, room_c):
    assert held_at(stack, PROFILE.board, limit=LIMIT, room_c=room_c) is None


@pytest.mark.parametrize("came", [5.0, 30.0])
def test_a_core_on_a_cool_floor_is_on_the_limit_after_the_time_to_even_out(came):
    # followed through the readings by another way
    stack = Stack(0.3, floor_c=18.0, box_c=came)
    times = evening_out(stack, PROFILE.board, limit=LIMIT, apart=abs(20.0 - came), room_c=20.0)
    assert 0 < times.fast <= times.central <= times.slow
    hours = int(times.slow / HOUR) + 2
    found = [core([20.0] * hours, at / 60_000, stack) for at in times]
    on = 20.0 - LIMIT if came < 20.0 else 20.0 + LIMIT
    assert (found[0].high if came < 20.0 else found[0].low) == pytest.approx(on, abs=0.05)
    assert (found[2].low if came < 20.0 else found[2].high) == pytest.approx(on, abs=0.05)


def test_boxes_as_warm_as_the_room_on_a_floor_that_hardly_cools_them_stay_near():
    stack = Stack(0.3, floor_c=18.0, box_c=20.0)
    assert evening_out(stack, PROFILE.board, limit=LIMIT, apart=0.0, room_c=20.0) == (0, 0, 0)


def test_readiness_says_to_put_boxes_on_spacers_where_the_floor_keeps_them_cold():
    # by hand: 20 - 10 x (0.130 + 0.667) / (0.130 + 2 x 0.667 + 0.040) = 14.7
    found = judged([20.0] * 24, DAY_M, COLD._replace(height=0.2))
    said = next(one for one in found.readiness if one.name == "box core")
    assert said.verdict == "fail"
    assert said.evidence.endswith("; on this floor the core stays at about 14.7 degC: put the boxes on spacers")


# --- several lots, one sensor


def two_lots(inside: float, came: float = 5.0, put: float = 0) -> list[tuple[str, str]]:
    """Lots "warm" and "cold" came at once, the sensor was put in at `put`; the box core of each lot alone."""
    lots = (
        Delivery("warm", "hall", minutes(0), 4, Stack(0.5, box_c=20.0)),
        Delivery("cold", "hall", minutes(0), 4, Stack(0.5, box_c=came)),
    )
    stays = [Stay("a", "hall", minutes(0), None), Stay("b", "hall", minutes(put), None, "box")]
    fr = replace(with_a_sensor_in_the_boxes(stays=stays), deliveries=lots)
    room = boxed([20.0] * 24, [(60 * hour, inside) for hour in range(24)])
    return [core_verdict(lot.core, LIMIT, "si") for lot in judge(fr, minutes(DAY_M), room).lots]


def test_a_sensor_that_contradicts_one_of_several_lots_does_not_speak_for_it():
    (warm, _), (cold, said) = two_lots(20.0)
    assert (warm, cold) == ("pass", "fail")
    assert "measured 20.0 degC" in said
    assert said.endswith("; several lots lie there, and the sensor may be in another's boxes")


def test_a_sensor_that_contradicts_an_estimate_near_the_room_leaves_it_open():
    (warm, _), (cold, _) = two_lots(6.0)
    assert (warm, cold) == ("unknown", "fail")


def test_a_sensor_put_in_before_the_boxes_came_speaks_for_them_all_the_same():
    # it was meant for the first to come
    assert [verdict for verdict, _ in two_lots(20.0, put=-60)] == ["pass", "pass"]


def test_what_was_said_of_opened_boxes_voids_no_checkpoint():
    fr = frame("a")
    said = replace(fr, deliveries=tuple(one._replace(said=("opened",)) for one in fr.deliveries))
    assert Keys(fr, {"a": ()}).at(minutes(DAY_M)) == Keys(said, {"a": ()}).at(minutes(DAY_M))
