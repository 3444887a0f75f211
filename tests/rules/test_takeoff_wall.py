"""The wall as a shape. Every figure is worked by hand beside it."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.basis.errors import QuantityError
from monitor.basis.units import FOOT, INCH, SQUARE_FOOT, format_area
from monitor.rules.install.wall import (
    Opening,
    WallShape,
    areas,
    rectangle,
    runs,
    size,
    split_lines,
    transposed,
    trim_length,
)

LIMIT = 10 * SQUARE_FOOT
GABLE = WallShape(((0.0, 0.0), (4.0, 0.0), (4.0, 2.0), (2.0, 3.0), (0.0, 2.0)))
STAIR = WallShape(((0.0, 0.0), (6.0, 0.0), (6.0, 2.4), (3.0, 2.4), (3.0, 1.2), (0.0, 1.2)))


# --- area -------------------------------------------------------------------------------------------------------------


def test_a_gable_has_the_area_of_its_rectangle_and_its_triangle():
    assert GABLE.area == pytest.approx(4 * 2 + 4 * 1 / 2)
    assert (GABLE.length, GABLE.height) == (4.0, 3.0)


def test_the_corners_may_be_given_either_way_round_and_anywhere():
    moved = WallShape(tuple((x - 7.5, y + 3.25) for x, y in reversed(GABLE.outline)))
    assert moved.area == pytest.approx(10.0)


def test_an_opening_of_exactly_10_square_feet_is_not_taken_off():
    exactly, above = Opening("window", 2 * FOOT, 5 * FOOT), Opening("hatch", 2 * FOOT, 5 * FOOT + INCH)
    found = areas(rectangle(16 * FOOT, 8 * FOOT, [exactly, above]), LIMIT)
    assert (found.deducted, found.kept) == ((above,), (exactly,))
    assert found.net / SQUARE_FOOT == pytest.approx(128 - 2 * (5 + 1 / 12))


def test_of_two_equal_openings_both_are_taken_off():
    window = Opening("window", 1.2, 1.0)
    assert areas(rectangle(5.0, 2.6, [window, window]), LIMIT).net == pytest.approx(13.0 - 2.4)


sizes = st.floats(0.2, 1.4)


@given(sides=st.lists(st.tuples(sizes, sizes), max_size=4))
def test_net_area_falls_with_every_opening_and_by_no_more_than_its_size(sides):
    openings = [Opening(f"opening {k}", width, height) for k, (width, height) in enumerate(sides)]
    net = [areas(rectangle(5.0, 2.5, openings[:k]), LIMIT).net for k in range(len(openings) + 1)]
    for before, after, opening in zip(net[:-1], net[1:], openings, strict=True):
        taken = opening.area if opening.area > LIMIT * (1 + 1e-9) else 0.0
        assert before - after == pytest.approx(taken, abs=1e-9)


# --- runs -------------------------------------------------------------------------------------------------------------


def test_a_row_runs_from_gap_to_gap():
    assert runs(rectangle(4.0, 2.4), (0.0, 0.2), (0.0, 4.0), 0.005) == (pytest.approx((0.005, 3.995)),)


def test_a_row_under_a_slope_is_as_long_as_its_longer_edge():
    # the gable's sides go in 2 m over 1 m of height: at 2.5 m by 1 m, so the lower edge runs from 1 m to 3 m
    assert runs(GABLE, (2.5, 2.7), (0.0, 4.0), 0.0) == (pytest.approx((1.0, 3.0)),)


def test_a_row_across_a_corner_is_as_long_as_the_widest_of_it():
    assert runs(GABLE, (1.9, 2.1), (0.0, 4.0), 0.0) == (pytest.approx((0.0, 4.0)),)


def test_a_row_above_a_step_runs_over_the_higher_part_only():
    assert runs(STAIR, (1.2, 1.4), (0.0, 6.0), 0.01) == (pytest.approx((3.01, 5.99)),)
    assert runs(STAIR, (1.1, 1.3), (0.0, 6.0), 0.01) == (pytest.approx((0.01, 5.99)),)


def test_a_row_across_a_shoulder_is_as_long_as_its_wider_part():
    shoulders = WallShape(((0, 0), (4, 0), (4, 2), (3, 2), (3, 3), (1, 3), (1, 2), (0, 2)))
    assert runs(shoulders, (1.9, 2.1), (0.0, 4.0), 0.0) == (pytest.approx((0.0, 4.0)),)


def test_a_row_beside_a_door_is_two_runs_and_one_that_it_only_notches_is_one():
    door = rectangle(5.0, 2.6, [Opening("door", 0.9, 2.1, (1.0, 0.0))])
    beside = (pytest.approx((0.005, 0.995)), pytest.approx((1.905, 4.995)))
    assert runs(door, (0.005, 0.205), (0.0, 5.0), 0.005) == beside
    assert runs(door, (2.005, 2.205), (0.0, 5.0), 0.005) == (pytest.approx((0.005, 4.995)),)


def test_a_strip_narrower_than_the_gap_above_a_door_is_no_row():
    # the row's upper edge stands 2.104 m high, 4 mm above the door: less than its gap of 5 mm
    door = rectangle(5.0, 2.6, [Opening("door", 0.9, 2.1, (1.0, 0.0))])
    assert len(runs(door, (1.9, 2.104), (0.0, 5.0), 0.005)) == 2
    assert len(runs(door, (1.9, 2.105 + 1e-9), (0.0, 5.0), 0.005)) == 2
    assert len(runs(door, (1.9, 2.106), (0.0, 5.0), 0.005)) == 1


def test_an_opening_without_a_place_takes_nothing_from_a_row():
    assert len(runs(rectangle(5.0, 2.6, [Opening("door", 0.9, 2.1)]), (0.1, 0.3), (0.0, 5.0), 0.0)) == 1


def test_a_window_along_the_wall_cuts_a_row_off_with_a_gap_of_its_own():
    assert runs(rectangle(10.0, 2.4), (0.0, 0.2), (5.0, 10.0), 0.01) == (pytest.approx((5.01, 9.99)),)


def test_a_row_where_the_wall_is_all_opening_has_no_run():
    wide = rectangle(3.0, 2.4, [Opening("glass", 3.0, 2.0, (0.0, 0.0))])
    assert runs(wide, (0.0, 0.2), (0.0, 3.0), 0.005) == ()


def test_standing_planks_see_the_wall_turned():
    turned = transposed(rectangle(5.0, 2.6, [Opening("door", 0.9, 2.1, (1.0, 0.0)), Opening("hatch", 0.5, 0.4)]))
    assert (turned.length, turned.height) == (2.6, 5.0)
    assert turned.openings == (Opening("door", 2.1, 0.9, (0.0, 1.0)), Opening("hatch", 0.4, 0.5))


# --- trim and splits --------------------------------------------------------------------------------------------------


def test_trim_goes_round_the_wall_and_round_a_window():
    assert trim_length(rectangle(5.0, 2.6, [Opening("window", 1.2, 1.0, (1.0, 1.0))])) == pytest.approx(15.2 + 4.4)


def test_a_door_has_no_trim_at_the_floor():
    # round the wall less the door, two sides and the head of the door
    wall = rectangle(5.0, 2.6, [Opening("door", 0.9, 2.1, (1.0, 0.0))])
    assert trim_length(wall) == pytest.approx(15.2 - 0.9 + 2 * 2.1 + 0.9)


def test_a_door_in_the_corner_has_trim_on_one_side_only():
    wall = rectangle(5.0, 2.6, [Opening("door", 0.9, 2.1, (4.1, 0.0))])
    assert trim_length(wall) == pytest.approx(15.2 - 0.9 - 2.1 + 2.1 + 0.9)


def test_a_slope_is_trimmed_along_the_slope():
    assert trim_length(GABLE) == pytest.approx(4 + 2 + 2 + 2 * math.hypot(2, 1))


def test_a_wall_of_exactly_the_longest_run_is_not_split():
    assert split_lines(40 * FOOT, 40 * FOOT) == ()
    assert split_lines(10 * 12 * INCH, 10 * FOOT) == ()


@pytest.mark.parametrize(
    ("extent", "places"),
    [(40 + 1 / 12, [20 + 1 / 24]), (80, [40]), (81, [27, 54])],
    ids=["an inch over", "two", "three"],
)
def test_a_longer_wall_is_split_into_equal_parts(extent, places):
    assert split_lines(extent * FOOT, 40 * FOOT) == pytest.approx([place * FOOT for place in places])


# --- words and refusals -----------------------------------------------------------------------------------------------


def test_an_area_is_read_in_the_units_of_the_job():
    assert format_area(128 * SQUARE_FOOT, "us") == "128.0 sq ft"
    assert format_area(11.891, "si") == "11.89 m2"


def test_a_wall_is_named_by_its_sides_or_its_corners():
    assert size(rectangle(16 * FOOT, 8 * FOOT), "us") == "16 ft x 8 ft"
    assert size(GABLE, "si") == "outline of 5 corners"


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: rectangle(0.0, 2.4), "wall: it has no area. Give a length and a height of more than 0"),
        (lambda: rectangle(4.0, -2.4), "wall: it has no area. Give a length and a height of more than 0"),
        (
            lambda: WallShape(((0.0, 0.0), (1.0, 1.0), (2.0, 2.0))),
            "wall: it has no area. Give a length and a height of more than 0",
        ),
        (
            lambda: WallShape(((0.0, 0.0), (4.0, 0.0))),
            "wall: it needs three corners or more. Give each as x, y in order",
        ),
        (
            lambda: WallShape(((0.0, 0.0), (math.inf, 0.0), (4.0, 2.0))),
            "wall: it needs three corners or more. Give each as x, y in order",
        ),
        (
            lambda: WallShape(((0.0, 0.0), (4.0, 2.4), (4.0, 0.0), (0.0, 2.0))),
            "wall: its outline crosses itself. Give the corners in order round the wall",
        ),
        (lambda: Opening("door", 0.9, 0.0), "opening door: the height is 0 m. Measure it again; it is more than 0"),
        (lambda: Opening("door", -0.9, 2.0), "opening door: the width is -0.9 m. Measure it again; it is more than 0"),
        (
            lambda: rectangle(4.0, 2.4, [Opening("door", 0.9, 2.1, (3.2, 0.0))]),
            "opening door: it is not wholly inside the wall. "
            "Measure its lower left corner from the wall's left end and the floor",
        ),
        (
            lambda: WallShape(GABLE.outline, (Opening("window", 1.0, 1.0, (0.2, 1.5)),)),
            "opening window: it is not wholly inside the wall. "
            "Measure its lower left corner from the wall's left end and the floor",
        ),
        (
            lambda: WallShape(GABLE.outline, (Opening("window", 1.0, 1.0, (2.8, 1.5)),)),
            "opening window: it is not wholly inside the wall. "
            "Measure its lower left corner from the wall's left end and the floor",
        ),
        (
            lambda: WallShape(STAIR.outline, (Opening("window", 1.0, 1.1, (2.5, 0.5)),)),
            "opening window: it is not wholly inside the wall. "
            "Measure its lower left corner from the wall's left end and the floor",
        ),
        (
            lambda: rectangle(5.0, 3.4, [Opening("a", 1.0, 1.0, (1.0, 1.0)), Opening("b", 1.0, 1.0, (1.9, 1.9))]),
            "opening a: it overlaps the opening b. Check the places, or give them as one opening",
        ),
        (
            lambda: rectangle(2.0, 2.0, [Opening("a", 1.9, 1.9), Opening("b", 1.0, 1.0)]),
            "wall: its openings are larger than it is. Check the units of the openings",
        ),
    ],
)
def test_an_impossible_wall_is_refused_with_the_mend(make, message):
    with pytest.raises(QuantityError) as refused:
        make()
    assert str(refused.value) == message


def test_openings_that_touch_each_other_and_the_outline_are_taken():
    door, light = Opening("door", 1.0, 2.4, (1.0, 0.0)), Opening("side light", 0.5, 2.4, (2.0, 0.0))
    assert rectangle(5.0, 2.4, [door, light]).openings == (door, light)
