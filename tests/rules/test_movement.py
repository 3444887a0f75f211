"""How far rows move and whether their gaps have room: worked by hand from published figures, and laws for any row."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from rooms import PROFILE, STILL, UNTOLD, frame, minutes

from monitor.climate import wood
from monitor.climate.wood import Range
from monitor.config.profile import Band, Profile
from monitor.rules.board.boards import SPREADS
from monitor.rules.board.estimates import DAYS, BoardReading, Bounds, Extreme
from monitor.rules.board.movement import (
    Movement,
    Row,
    closing_rh,
    gaps_of,
    grown_mm,
    movements,
    outlook,
    outlook_by_warmth,
    rows_of,
    rows_planned,
    worst,
)
from monitor.rules.install.takenoff import TakenOff
from monitor.rules.install.wall import rectangle

GAP = PROFILE.wall.edge_gap
NO_DAYS = np.zeros(0, DAYS)
# EWPAA, Facts about Particleboard and MDF, p. 37: at 30, 45 and 65 %RH a panel holds 6-8, 7-9 and 9-11 % of moisture,
# and 1 m of it grows 1 mm from 9 to 12 % and 1 mm from 12 to 16 %: 0.25 to 0.33 mm per m and 1 %.
PUBLISHED = PROFILE._replace(
    board=PROFILE.board._replace(came_at=45.0, lengths=(1.0,), face_width=0.2),
    life=Band((30.0, 65.0), (10.0, 30.0)),
)


def row(length: float = 4.0, gaps: tuple[float, float] = (0.005, 0.005), joints: int = 3, across: bool = False) -> Row:
    return Row(across, length, gaps, joints)


def of_core(core: str) -> Profile:
    return PUBLISHED._replace(board=PUBLISHED.board._replace(core=core))  # type: ignore[arg-type]


def reading(gained: Bounds, sensor: float = 0.0, **more: Extreme) -> BoardReading:
    came = Bounds(7.0, 8.0, 9.0)
    now = Bounds(came.low + gained.low, came.central + gained.central, came.high + gained.high)
    return BoardReading(minutes(0), came, now, gained, measured=False, sensor=sensor, **more)


def pushed(growth: Range[float], **more: object) -> Movement:
    return Movement(row(**more), "now", growth)  # type: ignore[arg-type]


# --- by hand ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("gained", "least", "most"), [(12 - 9, 0.75, 0.99), (16 - 12, 1.0, 1.32)])
def test_a_metre_of_panel_grows_the_published_millimetre(gained, least, most):
    # EWPAA p. 37: 1 mm from 9 to 12 % and 1 mm from 12 to 16 %; 0.25 x 3 = 0.75 to 0.33 x 3 = 0.99, and of 4 % 1.0 to
    # 1.32. 0.01: the printed millimetre of the first is 1/3 and not 0.33.
    found = grown_mm(PROFILE.board, row(1.0), Bounds(gained, gained, gained))
    assert found == pytest.approx((least, most))
    assert found.low <= 1.0 <= found.high + 0.01


def test_a_row_moves_by_length_times_coefficient_times_what_its_boards_gained():
    # 4 m x 0.25 x 1 % = 1.0 mm at least, 4 m x 0.33 x 2 % = 2.64 mm at most
    assert grown_mm(PROFILE.board, row(), Bounds(1.0, 1.5, 2.0)) == pytest.approx((1.0, 2.64))
    # dried: -4 x 0.33 x 2 = -2.64, -4 x 0.25 x 1 = -1.0
    assert grown_mm(PROFILE.board, row(), Bounds(-2.0, -1.5, -1.0)) == pytest.approx((-2.64, -1.0))
    # some boards dried by 1 %, others gained 1 %: 4 x 0.33 either way
    assert grown_mm(PROFILE.board, row(), Bounds(-1.0, 0.0, 1.0)) == pytest.approx((-1.32, 1.32))


def test_what_the_sensors_leave_open_widens_the_movement_both_ways():
    # 1.5 to 2.0 % gained and 0.5 % open: 4 x 0.25 x 1.0 to 4 x 0.33 x 2.5
    assert grown_mm(PROFILE.board, row(), Bounds(1.5, 1.8, 2.0), 0.5) == pytest.approx((1.0, 3.3))


def test_across_the_planks_solid_wood_moves_by_the_figures_across_the_grain():
    # Wood Handbook table 4-3, from memory: 0.7 to 4.2 mm per m and 1 %; along the grain 0.03 to 0.13
    board = of_core("solid wood").board
    gained = Bounds(1.0, 1.0, 1.0)
    assert grown_mm(board, row(2.4, across=True), gained) == pytest.approx((2.4 * 0.7, 2.4 * 4.2))
    assert grown_mm(board, row(2.4), gained) == pytest.approx((2.4 * 0.03, 2.4 * 0.13))


def test_now_and_the_edges_of_the_band_and_the_records_extremes_in_this_order():
    dry, damp = Extreme(minutes(0), Bounds(-2, -1, -1)), Extreme(minutes(0), Bounds(2, 2, 3))
    board = reading(Bounds(1.0, 1.0, 1.0), 0.5, driest=dry, dampest=damp)
    told = movements(frame("a", profile=PUBLISHED), (row(), row(2.0)), board, NO_DAYS)
    whens = [
        "now", "at the dry edge of the band", "at the damp edge of the band", "driest so far", "dampest so far",
    ]  # fmt: skip
    assert [one.when for one in told] == whens * 2
    assert [one.row.length for one in told] == [4.0] * 5 + [2.0] * 5
    by_hand = {
        "now": (4 * 0.25 * 0.5, 4 * 0.33 * 1.5),
        # from 45 to 30 % every published edge loses 1 %, to 65 % it gains 2 %: no sensor is asked
        "at the dry edge of the band": (-4 * 0.33, -4 * 0.25),
        "at the damp edge of the band": (4 * 0.25 * 2, 4 * 0.33 * 2),
        "driest so far": (-4 * 0.33 * 2.5, -4 * 0.25 * 0.5),
        "dampest so far": (4 * 0.25 * 1.5, 4 * 0.33 * 3.5),
    }
    assert {one.when: one.growth for one in told[:5]} == {k: pytest.approx(v) for k, v in by_hand.items()}


def test_before_the_installation_only_the_edges_of_the_band_can_be_told():
    told = movements(frame("a", profile=PUBLISHED), (row(), row(2.0)), None, NO_DAYS)
    assert [one.when for one in told[:2]] == ["at the dry edge of the band", "at the damp edge of the band"]
    assert worst(told) is None


def test_boards_that_were_measured_start_from_that_whatever_the_isotherm():
    # 8 % measured; at 65 % they settle at 9 to 11: 4 x 0.25 x 1 to 4 x 0.33 x 3
    fr = frame("a", profile=PUBLISHED, stack=UNTOLD._replace(moisture=8.0))
    damp = movements(fr, (row(), row(2.0)), None, NO_DAYS)[1]
    assert damp.growth == pytest.approx((1.0, 3.96))


def test_no_board_moves_at_equal_moisture():
    assert grown_mm(PROFILE.board, row(), Bounds(0.0, 0.0, 0.0)) == (0.0, 0.0)
    told = movements(frame("a", profile=PUBLISHED), (row(), row(2.0)), reading(Bounds(0.0, 0.0, 0.0)), NO_DAYS)
    assert told[0].growth == (0.0, 0.0)


@pytest.mark.parametrize("core", ["HDF", "plywood", "solid wood"])
def test_a_band_that_is_one_humidity_moves_no_board_that_came_from_it(core):
    profile = of_core(core)._replace(life=Band((45.0, 45.0), (10.0, 30.0)))
    found = outlook(profile, row())
    assert (found.growth, found.shrinkage) == ((0.0, 0.0), (0.0, 0.0))
    assert (found.gap, found.length) == (0.0, float("inf"))


# --- gaps -------------------------------------------------------------------------------------------------------------


def test_a_free_row_has_both_gaps_and_a_pinned_one_the_smaller():
    one = row(gaps=(0.005, 0.003))
    assert (one.room_mm("free"), one.room_mm("pinned")) == pytest.approx((8.0, 3.0))


@pytest.mark.parametrize(
    ("growth", "pinned", "free"),
    [
        ((1.0, 3.0), "fits", "fits"),
        ((1.0, 3.001), "may close", "fits"),
        ((3.0, 8.0), "may close", "fits"),
        ((3.001, 8.001), "closes", "may close"),
        ((8.001, 9.0), "closes", "closes"),
        ((-9.0, -1.0), "fits", "fits"),
        ((3.0 + 1e-10, 8.0 + 1e-10), "may close", "fits"),
        ((0.0, 3.0 + 1e-10), "fits", "fits"),
    ],
)
def test_exactly_the_gap_fits_and_only_growth_that_is_sure_closes_it(growth, pinned, free):
    moved = pushed(Range(*growth), gaps=(0.005, 0.003))
    assert (moved.fit("pinned"), moved.fit("free")) == (pinned, free)


@given(
    st.floats(-50, 50), st.floats(0, 50), st.floats(0, 0.05), st.floats(0, 0.05),
)  # fmt: skip
@example(low=0.0, width=5.0, left=0.005, right=0.0)
def test_pinned_is_never_better_than_free(low, width, left, right):
    moved = pushed(Range(low, low + width), gaps=(left, right))
    order = ["fits", "may close", "closes"]
    assert order.index(moved.fit("pinned")) >= order.index(moved.fit("free"))


def test_trim_covers_the_wider_gap_and_the_most_that_the_row_shrinks():
    assert pushed(Range(-2.5, 1.0), gaps=(0.005, 0.003)).to_cover == pytest.approx(7.5)
    assert pushed(Range(0.5, 1.0), gaps=(0.005, 0.003)).to_cover == pytest.approx(5.0)


def test_joints_share_the_least_that_a_row_shrinks_or_one_takes_the_most():
    assert pushed(Range(-3.0, -1.5), joints=3).opening == pytest.approx((0.5, 3.0))
    assert pushed(Range(-3.0, 1.0), joints=3).opening == (0.0, 3.0)
    assert pushed(Range(1.0, 2.0), joints=3).opening == (0.0, 0.0)


def test_the_worst_row_is_the_one_nearest_to_closing_its_gap_when_pinned():
    wide, tight = pushed(Range(0.0, 4.0), gaps=(0.010, 0.010)), pushed(Range(0.0, 1.0), gaps=(0.002, 0.002))
    later = Movement(row(gaps=(0.0, 0.0)), "dampest so far", Range(0.0, 9.0))
    assert worst((wide, tight, later)) is tight
    assert worst((wide, tight, later), "dampest so far") is later
    assert worst(()) is None


def installs(*gaps: dict[str, float] | None) -> list[SimpleNamespace]:
    return [SimpleNamespace(body={} if one is None else {"gaps_m": one}) for one in gaps]


def test_of_gaps_at_one_edge_the_last_that_was_recorded_stands():
    assert gaps_of(installs({"left": 0.004, "top": 0.01}, None, {"left": 0.006})) == {"left": 0.006, "top": 0.01}


# --- rows -------------------------------------------------------------------------------------------------------------


def taken(lay: str = "horizontal", split: bool = False, along=(), up=()) -> TakenOff:
    return TakenOff(rectangle(14.0, 2.4), lay, split, tuple(along), tuple(up), 9, "")  # type: ignore[arg-type]


def rows(taken_off: TakenOff | None, gaps: dict[str, float] | None = None) -> tuple[Row, Row]:
    return rows_of(replace(frame("a", profile=PUBLISHED), take_off=taken_off), gaps or {})


def test_without_a_take_off_the_rows_are_those_of_the_job():
    # the job of these tests is 4 m long and 2.4 m high; planks of 1 m x 0.2 m: 4 pieces and 12 rows
    assert rows(None) == (Row(False, 4.0, (GAP, GAP), 3), Row(True, 2.4, (GAP, GAP), 11))


def test_gaps_that_were_recorded_outrank_the_profiles():
    along, across = rows(taken(), {"left": 0.003, "right": 0.006, "top": 0.010})
    assert along == Row(False, 14.0, (0.003, 0.006), 13)
    assert across == Row(True, 2.4, (GAP, 0.010), 11)


def test_planks_that_stand_run_up_the_wall_and_lie_side_by_side_along_it():
    along, across = rows(taken("vertical"), {"left": 0.003, "bottom": 0.007})
    assert along == Row(False, 2.4, (0.007, GAP), 2)
    assert across == Row(True, 14.0, (0.003, GAP), 69)


def test_lines_that_split_the_wall_shorten_its_rows_and_the_longest_is_told():
    along, across = rows(taken(split=True, along=(4.0, 9.0), up=(1.5,)), {"left": 0.001, "bottom": 0.008})
    assert along == Row(False, 5.0, (GAP, GAP), 4)  # 4, 5 and 5 m; at a transition profile the profile's gap
    assert across == Row(True, 1.5, (0.008, GAP), 7)


def test_of_two_equal_stretches_the_one_with_the_tighter_gap_is_told():
    along, _ = rows(taken(split=True, along=(7.0,)), {"left": 0.010, "right": 0.002})
    assert along.gaps == (GAP, 0.002)


def test_lines_of_a_take_off_that_is_not_to_be_split_are_no_lines():
    assert rows(taken(along=(7.0,)))[0].length == 14.0


@pytest.mark.parametrize(("length", "longest"), [(12.192, 12.192), (12.2, 6.1), (24.384, 12.192), (30.0, 10.0)])
def test_a_wall_planned_beyond_the_limit_is_split_evenly(length, longest):
    assert rows_planned(PROFILE, length, 2.4)[0].length == pytest.approx(longest)  # the limit is 40 ft, 12.192 m


def test_a_wall_planned_of_standing_planks_has_its_rows_upwards():
    along, across = rows_planned(PROFILE, 6.0, 2.4, upright=True)
    assert (along.length, along.across, across.length, across.across) == (2.4, False, 6.0, True)


# --- warmth -----------------------------------------------------------------------------------------------------------

VINYL = of_core("PVC or mineral")


def air(*days: tuple[float, float, float], first: int = 0) -> np.ndarray:
    found = np.zeros(len(days), DAYS)
    for name in ("t_low", "t_mean", "t_high"):
        found[name] = np.nan
    found["day"] = minutes(0) // 86_400_000 + first + np.arange(len(days))
    for number, day in enumerate(days):
        found["t_low"][number], found["t_mean"][number], found["t_high"][number] = day
    return found


def test_a_core_of_pvc_or_mineral_is_moved_by_warmth_from_the_day_it_went_up():
    # 0.010 (cement) to 0.081 mm/(m K) (4.5e-5 per degF, a PVC board's data sheet), 5 m: 0.05 to 0.405 mm a kelvin
    days = air((14.0, 15.0, 16.0), (18.0, 20.0, 22.0), (12.0, 24.0, 30.0), (20.0, 22.0, 23.0))
    fr = frame("a", profile=VINYL, start=1440)
    told = {one.when: one.growth for one in movements(fr, (row(5.0), row(1.0)), None, days)[:5]}
    assert told == {
        "now": pytest.approx((2 * 0.05, 2 * 0.405)),  # from 20 on the day of the start to 22 degC
        "at the cold edge of the band": pytest.approx((-10 * 0.405, -10 * 0.05)),
        "at the warm edge of the band": pytest.approx((10 * 0.05, 10 * 0.405)),
        "coldest so far": pytest.approx((-8 * 0.405, -8 * 0.05)),
        "warmest so far": pytest.approx((10 * 0.05, 10 * 0.405)),
    }


def test_before_it_went_up_it_starts_in_the_middle_of_the_band():
    told = movements(frame("a", profile=VINYL), (row(5.0), row(1.0)), None, air((14.0, 15.0, 16.0)))
    assert [(one.when, one.growth) for one in told[:2]] == [
        ("at the cold edge of the band", pytest.approx((-10 * 0.405, -10 * 0.05))),
        ("at the warm edge of the band", pytest.approx((10 * 0.05, 10 * 0.405))),
    ]
    assert outlook_by_warmth(VINYL, row(5.0)) == told[:2]


def test_a_day_of_which_no_temperature_is_known_moves_nothing():
    days = air((np.nan, np.nan, np.nan), (18.0, 20.0, 22.0), (np.nan, np.nan, np.nan))
    told = movements(frame("a", profile=VINYL, start=0), (row(5.0), row(1.0)), None, days)
    assert (told[0].when, told[0].growth) == ("now", (0.0, 0.0))


def test_moisture_says_nothing_of_such_a_core():
    assert outlook(VINYL, row()) is None


# --- while it can still be acted on -----------------------------------------------------------------------------------


def test_the_outlook_of_a_row_by_hand():
    found = outlook(PUBLISHED, row(8.0, (0.005, 0.005)))
    assert found.growth == pytest.approx((8 * 0.25 * 2, 8 * 0.33 * 2))  # from 45 to 65 %: 4.0 to 5.28 mm
    assert found.shrinkage == pytest.approx((8 * 0.25 * 1, 8 * 0.33 * 1))  # to 30 %
    assert (found.fits("pinned"), found.fits("free")) == (False, True)
    assert found.gap == pytest.approx(0.00528)
    assert found.length == pytest.approx(5.0 / (0.33 * 2))
    assert found.from_rh == 45.0


def test_an_outlook_from_the_rooms_own_humidity_starts_there():
    found = outlook(PUBLISHED, row(8.0), 65.0)
    assert (found.from_rh, found.growth) == (65.0, (0.0, 0.0))
    assert found.shrinkage == pytest.approx((8 * 0.25 * 3, 8 * 0.33 * 3))


FEW = settings(max_examples=25, deadline=None)
WALLS = st.tuples(
    st.sampled_from(["HDF", "plywood", "solid wood"]),
    st.floats(0.5, 60.0),
    st.tuples(st.floats(0.0005, 0.02), st.floats(0.0005, 0.02)),
    st.booleans(),
    st.floats(30.0, 60.0),
    st.floats(30.0, 65.0),
)


def planned(wall) -> tuple[Profile, Row, float]:
    core, length, gaps, across, low, start = wall
    profile = of_core(core)._replace(life=Band((low, 65.0), (15.0, 30.0)))
    return profile, row(length, gaps, across=across), start


@FEW
@given(WALLS)
def test_the_gap_of_an_outlook_really_fits_and_a_hair_less_does_not(wall):
    profile, one, start = planned(wall)
    found = outlook(profile, one, start)
    assert outlook(profile, one._replace(gaps=(found.gap, found.gap)), start).fits("pinned")
    less = found.gap - 1e-6
    assert found.gap < 1e-6 or not outlook(profile, one._replace(gaps=(less, less)), start).fits("pinned")


@FEW
@given(WALLS)
def test_the_length_of_an_outlook_really_fits_and_a_hair_more_does_not(wall):
    profile, one, start = planned(wall)
    found = outlook(profile, one, start)
    if found.length < 1e6:
        assert outlook(profile, one._replace(length=found.length), start).fits("pinned")
        assert not outlook(profile, one._replace(length=found.length * 1.0001 + 1e-6), start).fits("pinned")


@FEW
@given(WALLS)
def test_the_least_humidity_of_an_outlook_really_fits_and_a_percent_less_does_not(wall):
    profile, one, start = planned(wall)
    least = outlook(profile, one, start).least_rh
    lowest = np.ceil(profile.life.humidity[0])
    if least is None:
        assert not outlook(profile, one, 65.0).fits("pinned")
    else:
        assert outlook(profile, one, least).fits("pinned")
        assert least == lowest or not outlook(profile, one, least - 1).fits("pinned")


@FEW
@given(WALLS, st.sampled_from(["pinned", "free"]))
def test_at_the_humidity_that_closes_a_gap_a_row_grows_by_as_much_as_the_gap(wall, kind):
    profile, one, start = planned(wall)
    low, high = outlook(profile, one, start).closing[kind]
    room = one.room_mm(kind)

    def settled_at(rh: float) -> Range[float]:
        return outlook(profile._replace(life=Band((start, rh), profile.life.temperature)), one, start).growth

    if low <= 100:
        assert settled_at(low).high == pytest.approx(room, rel=1e-6, abs=1e-6)
    else:
        assert settled_at(100.0).high < room
    if high <= 100:
        assert settled_at(high).low == pytest.approx(room, rel=1e-6, abs=1e-6)


@FEW
@given(WALLS)
def test_the_humidities_that_close_are_those_of_the_models_own_inverse(wall):
    # wood.closing_rh_pct goes from the humidity at the start, not from the moisture: another way to the same
    profile, one, start = planned(wall)
    found = outlook(profile, one, start)
    middle = sum(profile.life.temperature) / 2
    for kind, gap in (("pinned", min(one.gaps)), ("free", sum(one.gaps) / 2)):
        again = wood.closing_rh_pct(profile.board.core, one.length, gap, middle, start, kind, across=one.across)
        assert found.closing[kind] == pytest.approx(again, abs=1e-6)


def test_boards_that_were_measured_damp_close_their_gap_sooner():
    dry, damp = (closing_rh(PUBLISHED, row(8.0), [(came,) * len(SPREADS)])["pinned"] for came in (7.0, 10.0))
    assert damp.low > dry.low
    assert damp.high > dry.high


def test_a_wall_longer_than_any_row_has_an_outlook_all_the_same():
    assert outlook(STILL, row(400.0)).growth.high == pytest.approx(100 * outlook(STILL, row(4.0)).growth.high)
