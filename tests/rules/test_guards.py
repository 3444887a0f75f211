"""Frost in the pipes, boxes colder than the dew point, damp at a cold outside wall."""

import pytest
from advised_rooms import room

from monitor.rules.guards import Guard, boxes, frost, guards, surface


def test_all_three_are_asked_the_most_pressing_first():
    assert [guard.what for guard in guards(room(20.0, 50.0))] == ["frost", "boxes", "surface"]


# --- frost: 5 degC, common practice, no published source ------------------------------------------------


def test_below_five_degrees_pipes_can_freeze():
    mend = "Bring the heating back, or have the water shut off and the pipes drained."
    assert frost(room(3.0, 50.0)) == Guard(
        "frost", "fail", f"At 3.0 degC the room is below 5.0 degC: pipes can freeze. {mend}"
    )
    assert frost(room(3.0, None), "us") == Guard(
        "frost", "fail", f"At 37.4 degF the room is below 41.0 degF: pipes can freeze. {mend}"
    )


def test_exactly_five_degrees_is_not_below_in_any_unit():
    told = "At 5.0 degC the room is not below 5.0 degC: pipes are not at risk."
    assert frost(room(5.0, 50.0)) == Guard("frost", "pass", told)
    assert frost(room((41 - 32) / 1.8, 50.0)).verdict == "pass"


def test_a_little_below_is_said_with_as_many_digits_as_it_takes():
    assert frost(room(4.996, 50.0)).sentence.startswith("At 4.996 degC the room is below 5.0 degC:")


def test_a_room_not_heard_is_unknown():
    told = "Whether pipes can freeze is not known: the room's temperature is not."
    assert frost(room(None, 50.0)) == Guard("frost", "unknown", told)


# --- boxes: 20 degC and 50 % have their dew point at 9.3 degC (DIN 4108, as published by window makers) ------


def test_boxes_colder_than_the_dew_point_stay_shut():
    told = "Boxes, at 6.0 degC to 9.0 degC, are colder than the room's dew point of 9.3 degC."
    mend = "Do not open them, water would condense on the boards: let them warm up closed."
    assert boxes(room(20.0, 50.0, boxes_c=(6.0, 9.0))) == Guard("boxes", "fail", f"{told} {mend}")


def test_boxes_that_may_be_colder_stay_shut_too():
    told = "Boxes, at 42.8 degF to 51.8 degF, may be colder than the room's dew point of 48.7 degF."
    found = boxes(room(20.0, 50.0, boxes_c=(6.0, 11.0)), "us")
    assert found.verdict == "fail"
    assert found.sentence.startswith(told)


def test_boxes_above_the_dew_point_pass():
    told = "Boxes, at 9.5 degC, are not colder than the room's dew point of 9.3 degC."
    assert boxes(room(20.0, 50.0, boxes_c=(9.5, 9.5))) == Guard("boxes", "pass", told)


def test_below_zero_frost_settles_before_dew():
    # -5 degC and 88 % over water: vapour 0.88 x 422.2 = 371.5 Pa (Magnus over water, WMO-No. 8); that saturates over
    # ice, 611.2 exp(22.46 t / (272.62 + t)), at -5.9, over water at -6.7 degC: boxes at -6.3 degC meet frost, not dew.
    found = boxes(room(-5.0, 88.0, boxes_c=(-6.3, -6.3)))
    assert found.verdict == "fail"
    assert found.sentence.startswith("Boxes, at -6.3 degC, are colder than the room's frost point of -5.9 degC.")


@pytest.mark.parametrize("known", [(20.0, 50.0, None), (None, 50.0, (6.0, 9.0)), (20.0, None, (6.0, 9.0))])
def test_boxes_are_unknown_unless_box_and_air_are_known(known):
    told = "Whether boxes are colder than the room's dew point is not known."
    assert boxes(room(known[0], known[1], boxes_c=known[2])) == Guard("boxes", "unknown", told)


def test_air_without_vapour_has_no_dew_point():
    assert boxes(room(20.0, 0.0, boxes_c=(6.0, 9.0))).verdict == "unknown"


# --- surface: 20 degC and 50 % reach 80 % at 12.6 degC (DIN 4108-2), which at -5 degC outdoors is a factor of
# --- (12.6 + 5) / (20 + 5) = 0.704 -----------------------------------------------------------------------


def test_a_surface_over_80_percent_fails_where_the_factor_is_known():
    # tsi = -5 + 0.70 x 25 = 12.5 degC; 50 x psat(20) / psat(12.5) by ISO 13788 Annex E = 50 x 2337.0 / 1448.7 = 80.7
    told = "A cold outside wall has 80.7 % at its surface of 12.5 degC (temperature factor 0.70)"
    mend = "over 80 % mould can grow. Warm the room, let air reach that wall, dry the air but not below the band."
    assert surface(room(20.0, 50.0, outdoor_c=-5.0, f_rsi=0.70)) == Guard("surface", "fail", f"{told}: {mend}")


def test_a_surface_at_a_hundred_percent_is_wet():
    found = surface(room(20.0, 80.0, outdoor_c=-5.0, f_rsi=0.70))
    told = (
        "A cold outside wall has 100.0 % at its surface of 12.5 degC (temperature factor 0.70): water condenses there."
    )
    assert found.verdict == "fail"
    assert found.sentence.startswith(told)


def test_a_surface_not_over_80_percent_passes():
    # tsi = -5 + 0.71 x 25 = 12.75 degC; 50 x 2337.0 / 1472.7 = 79.3
    told = "A cold outside wall has 79.3 % at its surface of 12.8 degC (temperature factor 0.71), not over 80 %."
    assert surface(room(20.0, 50.0, outdoor_c=-5.0, f_rsi=0.71)) == Guard("surface", "pass", told)


def test_an_assumed_factor_can_pass_but_not_condemn():
    # tsi = -5 + 0.60 x 25 = 10 degC; 55 x 2337.0 / 1227.3 = 104.7, 45 x 2337.0 / 1227.3 = 85.7, 35 x = 66.6
    found = surface(room(20.0, 45.0, outdoor_c=-5.0))
    told = "A cold outside wall may have 85.7 % at its surface of 10.0 degC (temperature factor 0.60, assumed)"
    assert found == Guard("surface", "unknown", f"{told}: over 80 % mould can grow. Look there.")
    assert surface(room(20.0, 35.0, outdoor_c=-5.0)).verdict == "pass"
    assert "100.0 % at its surface" in surface(room(20.0, 55.0, outdoor_c=-5.0)).sentence


@pytest.mark.parametrize("known", [(None, 50.0, -5.0), (20.0, None, -5.0), (20.0, 50.0, None)])
def test_a_surface_is_unknown_unless_room_and_outdoors_are_known(known):
    told = "How damp a cold outside wall is at its surface is not known."
    assert surface(room(known[0], known[1], outdoor_c=known[2], f_rsi=0.7)) == Guard("surface", "unknown", told)
