"""The wall's skin: by a sensor on it or from outdoors, its damp hours by hand, its mould index hour by hour."""

import math
import random
from dataclasses import replace

import numpy as np
import pytest
from rooms import HUMIDITY, PROFILE, STILL, TEMPERATURE, Room, Row, Shelf, frame, minutes

from monitor.basis.times import DAY, HOUR
from monitor.basis.values import Quantity
from monitor.climate.mould import MouldState, mould_index
from monitor.config.profile import Surface
from monitor.rules.assessment import Assessment
from monitor.rules.board.estimates import SkinReading
from monitor.rules.board.hours import Hours
from monitor.rules.board.skin import follow_surface
from monitor.rules.frame import Frame
from monitor.rules.install.suitability import Place
from monitor.rules.judge import judge
from monitor.rules.stays import Stay

SURFACE = Quantity.SURFACE_TEMPERATURE
DAY_M = 1440


def saturation(t: float) -> float:
    """ISO 13788:2012 eq. E.7, over water. [Pa]"""
    return 610.5 * math.exp(17.269 * t / (237.3 + t))


def on_the_hour(temperature: list[float], humidity: list[float] | None = None, start: float = 0) -> list[Row]:
    said = humidity or [None] * len(temperature)
    return [(start + 60 * k, t, h) for k, (t, h) in enumerate(zip(temperature, said, strict=True))]


def home(*stays: tuple[str, str, str], **more: object) -> Frame:
    """Sensors (name, place, role) that never leave; heard on the hour, none is taken for stuck."""
    there = [Stay(name, place, minutes(0), None, role) for name, place, role in stays]  # type: ignore[arg-type]
    names = [name for name, _, _ in stays]
    return frame(*names, **{"hold": 60, "profile": STILL, "stays": there, "outdoors": "yard", **more})  # type: ignore[arg-type]


def room_of(temperature: list[float], humidity: list[float], start: float = 0, **said: list[float]) -> Room:
    """`a` in the room, `out` outdoors, and what others say of the surface, from 00:00 on."""
    room = Room()
    room.hear("a", on_the_hour(temperature, humidity, start))
    for name, values in said.items():
        if name == "out":
            room.hear(name, on_the_hour(values))
        else:
            room.say(name, SURFACE, [(60 * hour, value) for hour, value in enumerate(values)])
    return room


A, OUT, SKIN = ("a", "hall", "air"), ("out", "yard", "air"), ("skin", "hall", "surface")


def skin(found: Assessment) -> SkinReading:
    assert found.skin is not None
    return found.skin


# --- how warm, how humid


def test_a_sensor_on_the_wall_says_how_warm_it_is():
    # vapour of 20 degC, 50 %: 50 x ps(20) / ps(14)
    room = room_of([20.0] * 24, [50.0] * 24, skin=[14.0] * 23 + [13.0])
    found = judge(home(A, SKIN), minutes(DAY_M), room)
    humid = [50.0 * saturation(20) / saturation(t) for t in (14, 13)]
    assert skin(found).coldest == pytest.approx(13.0)
    assert skin(found).humid == pytest.approx((23 * humid[0] + humid[1]) / 24, rel=1e-6)


def test_from_outdoors_it_is_by_the_temperature_factor():
    # fRsi 0.7: -5 + 0.7 x 25 = 12.5
    room = room_of([20.0] * 24, [50.0] * 24, out=[-5.0] * 24)
    found = judge(home(A, OUT), minutes(DAY_M), room)
    assert skin(found).coldest == pytest.approx(12.5, rel=1e-6)
    assert skin(found).humid == pytest.approx(50.0 * saturation(20) / saturation(12.5), rel=1e-6)


def test_the_sensor_outranks_outdoors_while_it_speaks():
    room = room_of([20.0] * 24, [50.0] * 24, out=[-5.0] * 24, skin=[16.0] * 12)
    found = judge(home(A, OUT, SKIN), minutes(12 * 60), room)
    assert skin(found).coldest == pytest.approx(16.0)
    found = judge(home(A, OUT, SKIN), minutes(DAY_M), room)
    assert skin(found).coldest == pytest.approx(12.5)
    both = (50.0 * saturation(20) / saturation(16) + 50.0 * saturation(20) / saturation(12.5)) / 2
    assert skin(found).humid == pytest.approx(both, rel=1e-6)


def test_an_outdoor_sensor_counts_only_where_the_job_names_its_place():
    room = room_of([20.0] * 24, [50.0] * 24, out=[-5.0] * 24)
    assert judge(home(A, OUT, outdoors=None), minutes(DAY_M), room).skin is None
    assert judge(home(A, OUT, outdoors="roof"), minutes(DAY_M), room).skin is None


def test_what_the_models_do_not_cover_is_taken_at_their_edge():
    start = minutes(0) + HOUR * np.arange(3)
    air = {TEMPERATURE: np.array([20.0, 90.0, 20.0]), HUMIDITY: np.full(3, 50.0)}
    hours = Hours(start, start + HOUR, air, dict.fromkeys(air, np.full(3, HOUR)))
    measured = np.array([-41.0, np.nan, np.nan])
    found, _ = follow_surface(PROFILE.surface, MouldState(), hours, measured, np.array([0.0, 0.0, -60.0]))
    assert found.t_c.tolist() == pytest.approx([-40.0, 0.7 * 85.0, -40.0 + 0.7 * 60.0])


# --- who speaks for the wall


def test_a_sensor_on_the_wall_that_only_says_air_temperature_says_how_warm_it_is():
    room = room_of([20.0] * 24, [50.0] * 24)
    room.hear("skin", on_the_hour([15.0] * 24))
    found = judge(home(A, SKIN), minutes(DAY_M), room)
    assert skin(found).coldest == pytest.approx(15.0)
    assert found.span.in_band == DAY


def test_a_sensor_of_the_room_with_a_probe_on_the_wall_says_both():
    room = room_of([20.0] * 24, [50.0] * 24, a=[15.5] * 24)
    assert skin(judge(home(A), minutes(DAY_M), room)).coldest == pytest.approx(15.5)


def test_a_probe_that_is_silent_is_not_replaced_by_the_air_about_its_sensor_however_it_is_judged():
    room = room_of([20.0] * 72, [50.0] * 72, skin=[15.0] * 24)
    room.hear("skin", on_the_hour([19.0] * 72))
    shelf, fr = Shelf(), home(A, SKIN)
    for day in (1, 2, 3):
        found = judge(fr, minutes(day * DAY_M), room, shelf)
        assert found.skin == judge(fr, minutes(day * DAY_M), room).skin
    assert (skin(found).coldest, skin(found).humid, skin(found).unknown_h) == (None, None, 48)


def test_once_a_sensor_has_a_probe_what_its_air_said_of_the_wall_before_is_taken_back():
    # for two days only its air temperature is heard, and judged by; then the probe speaks for the first time
    room, shelf, fr = room_of([20.0] * 72, [50.0] * 72), Shelf(), home(A, SKIN)
    room.hear("skin", on_the_hour([15.0] * 48))
    for day in (1, 2):
        assert skin(judge(fr, minutes(day * DAY_M), room, shelf)).unknown_h == 0
    shelf.touch("skin", room.say("skin", SURFACE, [(60 * hour, 14.0) for hour in range(48, 72)]))
    found = judge(fr, minutes(3 * DAY_M), room, shelf)
    assert found.skin == judge(fr, minutes(3 * DAY_M), room).skin
    assert (skin(found).coldest, skin(found).unknown_h) == (14.0, 48)


def test_a_sensor_that_only_ever_spoke_of_a_surface_is_not_missed_in_the_room():
    room = room_of([20.0] * 24, [50.0] * 24, probe=[15.0] * 24)
    found = judge(home(A, ("probe", "hall", "air")), minutes(DAY_M), room)
    fresh = next(one for one in found.readiness if one.name == "sensors fresh")
    assert (fresh.verdict, fresh.evidence) == ("pass", "heard from a")
    assert skin(found).coldest == 15.0


def test_two_probes_are_taken_together():
    room = room_of([20.0] * 24, [50.0] * 24, skin=[14.0] * 24, a=[15.0] * 24)
    assert skin(judge(home(A, SKIN), minutes(DAY_M), room)).coldest == pytest.approx(14.5)


def test_hours_before_the_first_sensor_came_are_unknown_however_it_is_judged():
    room, shelf = room_of([20.0] * 72, [50.0] * 72), Shelf()
    fr = replace(
        home(A, SKIN),
        stays=(Stay("a", "hall", minutes(0), None), Stay("skin", "hall", minutes(2 * DAY_M + 30), None, "surface")),
    )
    room.say("skin", SURFACE, [(60 * hour, 15.0) for hour in range(49, 72)])
    for day in (1, 2, 3):
        judge(fr, minutes(day * DAY_M), room, shelf)
    found = judge(fr, minutes(3 * DAY_M), room, shelf)
    assert found.skin == judge(fr, minutes(3 * DAY_M), room).skin
    assert skin(found).unknown_h == 49


# --- places apart


def test_while_the_boxes_lie_in_another_room_nothing_is_known_of_the_walls_skin():
    # until the installation at 12:00 it is the hall that is heard; the wall is in the den
    room = room_of([25.0] * 24, [60.0] * 24, skin=[5.0] * 24, out=[0.0] * 24)
    room.hear("b", on_the_hour([20.0] * 24, [50.0] * 24))
    fr = home(A, ("b", "den", "air"), ("skin", "den", "surface"), OUT, wall="den")
    assert judge(fr, minutes(12 * 60), room).skin is None
    found = judge(replace(fr, start=minutes(12 * 60)), minutes(DAY_M), room)
    assert skin(found).humid == pytest.approx(50.0 * saturation(20) / saturation(5), rel=1e-6)
    assert (skin(found).damp_h, skin(found).unknown_h) == (12, 12)
    assert found.days["damp"].tolist() == [12]


def test_from_outdoors_too_the_walls_skin_is_known_from_the_installation_on():
    room = room_of([25.0] * 24, [60.0] * 24, out=[0.0] * 24)
    room.hear("b", on_the_hour([20.0] * 24, [50.0] * 24))
    fr = home(A, ("b", "den", "air"), OUT, wall="den", start=12 * 60)
    assert judge(replace(fr, start=None), minutes(12 * 60), room).skin is None
    found = judge(fr, minutes(DAY_M), room)
    assert skin(found).humid == pytest.approx(50.0 * saturation(20) / saturation(14), rel=1e-6)
    assert skin(found).unknown_h == 12


def test_a_sensor_on_a_wall_of_the_boxes_room_is_not_on_the_jobs_wall():
    room = room_of([25.0] * 24, [60.0] * 24, skin=[5.0] * 24)
    room.hear("b", on_the_hour([20.0] * 24, [50.0] * 24))
    fr = home(A, ("b", "den", "air"), SKIN, wall="den", start=60)
    assert judge(fr, minutes(DAY_M), room).skin is None


def test_in_one_room_the_skin_is_known_from_the_delivery_on():
    room = room_of([20.0] * 24, [50.0] * 24, skin=[14.0] * 24)
    assert skin(judge(home(A, SKIN, delivered=120), minutes(DAY_M), room)).unknown_h == 0


# --- damp hours


def test_above_80_is_damp_and_100_is_wet():
    # at a wall as warm as the room the humidity is the room's: 80 is not damp, 100 is both
    humidity = [80.0, 80.5, 99.9, 100.0, 79.0, 60.0]
    found = judge(home(A, SKIN), minutes(6 * 60), room_of([20.0] * 6, humidity, skin=[20.0] * 6))
    assert (skin(found).damp_h, skin(found).wet_h) == (3, 1)


def test_hours_of_condensation_by_hand():
    # 20 degC, 60 %: the dew point is 12.0; 80 % at the skin where it is 15.4
    assert 60.0 * saturation(20) / saturation(12.1) < 100 < 60.0 * saturation(20) / saturation(11.9)
    assert 60.0 * saturation(20) / saturation(15.6) < 80 < 60.0 * saturation(20) / saturation(15.4)
    wall = [16.0] * 4 + [15.6] * 3 + [15.4] * 5 + [12.1] * 2 + [11.9] * 7 + [5.0] * 3
    found = judge(home(A, SKIN), minutes(DAY_M), room_of([20.0] * 24, [60.0] * 24, skin=wall))
    assert (skin(found).damp_h, skin(found).wet_h) == (5 + 2 + 7 + 3, 7 + 3)


def test_damp_hours_add_up_over_days_and_are_each_days_own():
    room = room_of([20.0] * 60, [60.0] * 60, skin=[16.0] * 20 + [10.0] * 10 + [16.0] * 25 + [10.0] * 5)
    found = judge(home(A, SKIN), minutes(60 * 60), room)
    assert found.days["damp"].tolist() == [4, 6, 5]
    assert found.days["wet"].tolist() == [4, 6, 5]
    assert (skin(found).damp_h, skin(found).wet_h) == (15, 15)


def test_of_an_hour_cut_short_nothing_is_counted():
    # from 00:20 to 03:40: two whole hours
    room = room_of([20.0] * 4, [60.0] * 4, skin=[10.0] * 4, start=0)
    found = judge(home(A, SKIN, delivered=20), minutes(220), room)
    assert (skin(found).damp_h, skin(found).wet_h, skin(found).unknown_h) == (2, 2, 0)
    _, state = mould_index(np.full(2, 10.0), np.full(2, 100.0), decline=0.5)
    assert skin(found).mould == state.level


# --- mould


@pytest.mark.parametrize("surface", [PROFILE.surface, Surface(0.7, "very sensitive", 1.0)])
def test_the_mould_index_is_that_of_the_model_over_the_same_hours(surface):
    rng, days = random.Random(8), 60
    wall = [14.0 + 3 * math.sin(hour / 300) + rng.gauss(0, 0.3) for hour in range(days * 24)]
    indoors, humid = [21.0 + rng.gauss(0, 0.2) for _ in wall], [65.0 + rng.gauss(0, 2) for _ in wall]
    room = room_of(indoors, humid, skin=wall[: 50 * 24])
    profile = STILL._replace(surface=surface)
    found = judge(home(A, SKIN, profile=profile, delivered=30), minutes(days * DAY_M), room, Shelf())
    vapour = [rh * saturation(t) for t, rh in zip(indoors, humid, strict=True)]
    at_wall = [v / saturation(t) for v, t in zip(vapour, wall, strict=True)][1 : 50 * 24]
    index, state = mould_index(
        np.array(wall[1 : 50 * 24]), np.array(at_wall), sensitivity=surface.sensitivity, decline=surface.decline
    )
    assert state.level > 0.1
    assert skin(found).mould == pytest.approx(state.level, rel=1e-9)
    assert skin(found).unknown_h == 10 * 24
    assert found.days["mould"][:50] == pytest.approx(index[22::24], rel=1e-6)
    assert np.isnan(found.days["mould"][50:]).all()


def test_a_silent_air_leaves_the_index_as_it_is():
    room = room_of([20.0] * 24, [99.0] * 24, skin=[19.0] * 48)
    found = judge(home(A, SKIN), minutes(2 * DAY_M), room)
    assert skin(found).mould == skin(judge(home(A, SKIN), minutes(DAY_M), room)).mould > 0
    assert skin(found).unknown_h == 24
    assert (skin(found).coldest, skin(found).humid) == (None, None)


def test_where_the_humidity_alone_is_silent_the_wall_is_known_to_be_warm_and_no_more():
    room = room_of([20.0] * 24, [60.0] * 24, skin=[15.0] * 48)
    room.hear("a", on_the_hour([20.0] * 24, None, start=DAY_M))
    found = judge(home(A, SKIN), minutes(2 * DAY_M), room)
    assert found.days["skin_t_low"].tolist() == pytest.approx([15.0, 15.0])
    assert np.isnan(found.days["skin_rh_mean"]).tolist() == [False, True]
    assert skin(found).unknown_h == 24


# --- the reading


def test_of_a_wall_never_known_nothing_is_said():
    assert judge(home(A, SKIN), minutes(DAY_M), room_of([20.0] * 24, [50.0] * 24)).skin is None
    assert judge(home(A, SKIN), minutes(0), room_of([20.0], [50.0])).skin is None


def test_the_month_is_the_mean_of_the_last_30_days_of_which_half_are_known():
    wall = [20.0] * 24 * 10 + [16.0] * 24 * 14 + [14.0] * 24 * 20
    room = room_of([20.0] * len(wall), [50.0] * len(wall), skin=wall)
    fr = home(A, SKIN)
    assert skin(judge(fr, minutes(14 * DAY_M), room)).month is None
    at_16, at_14 = (50.0 * saturation(20) / saturation(t) for t in (16, 14))
    assert skin(judge(fr, minutes(15 * DAY_M), room)).month == pytest.approx((10 * 50 + 5 * at_16) / 15, rel=1e-6)
    # as of the 44th day: 10 of the 30 days at 16 degC, 20 at 14
    assert skin(judge(fr, minutes(44 * DAY_M), room)).month == pytest.approx((10 * at_16 + 20 * at_14) / 30, rel=1e-6)


def test_days_of_which_nothing_is_known_are_not_in_the_month():
    wall = [20.0] * 24 * 20
    room = room_of([20.0] * 24 * 50, [50.0] * 24 * 50, skin=wall)
    fr = home(A, SKIN)
    assert skin(judge(fr, minutes(35 * DAY_M), room)).month == pytest.approx(50.0)
    assert skin(judge(fr, minutes(36 * DAY_M), room)).month is None


def test_the_reading_as_json():
    assert SkinReading(12.0, 70.0, None, 5, 2, 0.25, 7).to_json() == {
        "coldest_last_day": 12.0,
        "humidity_last_day": 70.0,
        "humidity_30_days": None,
        "above_80_h": 5,
        "condensing_h": 2,
        "mould_index": 0.25,
        "unknown_h": 7,
    }


@pytest.mark.parametrize(
    ("kind", "follows"),
    [(None, True), ("outside", True), ("masonry", True), ("partition", False), ("below-grade", False)],
)
def test_only_a_wall_that_faces_outdoors_follows_the_weather(kind, follows):
    said = {} if kind is None else {"kind": kind}
    fr = replace(home(A, OUT), place=Place(said, dict.fromkeys(said, "accepted by Robin: x")))
    found = judge(fr, minutes(1440), room_of([20.0] * 24, [50.0] * 24, out=[-10.0] * 24))
    assert (found.skin is not None) is follows


def test_a_sensor_on_a_partition_is_heard_all_the_same():
    fr = replace(home(A, OUT, SKIN), place=Place({"kind": "partition"}))
    found = judge(fr, minutes(1440), room_of([20.0] * 24, [50.0] * 24, out=[-10.0] * 24, skin=[15.0] * 24))
    assert skin(found).coldest == 15.0


def test_what_kind_of_wall_it_is_is_part_of_what_a_checkpoint_stands_on():
    room, shelf = room_of([20.0] * 72, [50.0] * 72, out=[-10.0] * 72), Shelf()
    judge(home(A, OUT), minutes(3 * 1440), room, shelf)
    fr = replace(home(A, OUT), place=Place({"kind": "partition"}))
    assert judge(fr, minutes(3 * 1440), room, shelf).skin is None
