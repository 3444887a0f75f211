"""Where a sensor hangs. Distances are common practice, no published source."""

from hypothesis import given
from hypothesis import strategies as st

from monitor.rules.placement import Placement, concerns, described, unsaid

GOOD = Placement(0.3, 0.5, 3.0, 2.0, 2.5, 1.5, False, "hall.jpg")


def test_beside_the_boxes_and_away_from_everything_nothing_speaks_against_it():
    assert (concerns(GOOD), unsaid(GOOD)) == ([], [])


def test_what_was_not_said_is_asked_for():
    assert unsaid(Placement(height=0.3, in_sun=False)) == [
        "the distance to the boxes",
        "the distance to the nearest heater",
        "the distance to the nearest air vent",
        "the distance to the nearest window",
        "the distance to the nearest outside wall",
        "a photo",
    ]
    assert concerns(Placement()) == []


def test_each_concern_is_said_in_the_units_of_the_job():
    assert concerns(GOOD._replace(height=2.2)) == [
        "it hangs 2.200 m above the floor, not at the height of the stack (200.0 mm to 1.500 m)"
    ]
    assert concerns(GOOD._replace(to_boxes=4.0)) == ["it is 4.000 m from the boxes: their air may be another"]
    assert concerns(GOOD._replace(to_heater=0.3048), "us") == ["a heater is 1 ft away, nearer than 3 ft 3 3/8 in"]
    assert concerns(GOOD._replace(to_vent=0.5)) == ["an air vent is 500.0 mm away, nearer than 1.000 m"]
    assert concerns(GOOD._replace(to_window=0.5)) == ["a window is 500.0 mm away, nearer than 1.000 m"]
    assert concerns(GOOD._replace(to_outside_wall=0.5)) == ["an outside wall is 500.0 mm away, nearer than 1.000 m"]
    assert concerns(GOOD._replace(in_sun=True)) == ["the sun reaches it"]


def test_exactly_one_metre_is_far_enough():
    assert concerns(GOOD._replace(to_heater=1.0, to_outside_wall=1.0)) == []


def test_a_place_is_described_in_a_few_words():
    assert described(GOOD._replace(to_vent=None, to_window=None)) == (
        "height 300.0 mm; to boxes 500.0 mm; to heater 3.000 m; to outside wall 1.500 m; never in the sun; "
        "photo hall.jpg"
    )
    assert described(Placement()) == ""


lengths = st.none() | st.floats(0, 20)


@given(st.builds(Placement, lengths, lengths, lengths, lengths, lengths, lengths, st.none() | st.booleans(), st.none()))
def test_what_is_written_down_is_read_again(placement):
    assert Placement.from_json(placement.to_json()) == placement
