"""Planks on the wall follow the room: against diffusion worked by finite differences, and by hand."""

import random
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rooms import HUMIDITY, PROFILE, STILL, TEMPERATURE, UNCERTAINTY, Room, Row, frame, minutes
from slabs import slab

from monitor.basis.times import DAY, HOUR
from monitor.climate import wood
from monitor.climate.stack import MOISTURE_TRANSFER_M_S
from monitor.config.profile import Band, Board, Profile
from monitor.rules.assessment import Assessment
from monitor.rules.board.boards import board_reading, came_with, follow_boards, settles_at
from monitor.rules.board.estimates import Bounds
from monitor.rules.board.hours import Hours
from monitor.rules.frame import Delivery, Stack
from monitor.rules.judge import judge

SPREADS = ("low", "central", "high")
CORES = st.sampled_from(["HDF", "plywood", "solid wood"])
DAY_M = 1440
STEP = 900  # of the solver, and how long a reading speaks at least [s]


def on_the_hour(temperature: list[float], humidity: list[float], start: int = 0) -> list[Row]:
    return [(start + 60 * k, t, h) for k, (t, h) in enumerate(zip(temperature, humidity, strict=True))]


def judged(rows: list[Row], until: float, profile: Profile = PROFILE, **more: object) -> Assessment:
    """A room heard on the hour, each reading speaking for it."""
    room = Room()
    room.hear("a", rows)
    return judge(frame("a", hold=60, profile=profile, **more), minutes(until), room)  # type: ignore[arg-type]


def board(**what: object) -> Profile:
    return STILL._replace(board=STILL.board._replace(**what))  # type: ignore[arg-type]


def seasons(days: int, seed: int) -> tuple[list[float], list[float]]:
    """A room by the hour: weeks of dry and damp, days and nights."""
    rng = random.Random(seed)
    phase, hours = rng.uniform(0, 6), np.arange(days * 24)
    humidity = 50 + 17 * np.sin(hours / 150 + phase) + 4 * np.sin(hours / 24 * 2 * np.pi)
    temperature = 20 + 4 * np.sin(hours / 200) + 2 * np.cos(hours / 24 * 2 * np.pi)
    return (
        [t + rng.gauss(0, 0.5) for t in temperature.tolist()],
        [min(max(h + rng.gauss(0, 1.5), 0.0), 100.0) for h in humidity.tolist()],
    )


def nine(board: Board, air: tuple[list[float], list[float]], came: list[float], skip: int = 0) -> np.ndarray:
    """The mean moisture of the nine boards after each quarter of an hour, by finite differences: (9, quarters)."""
    found = []
    for spread, was in zip(SPREADS, came, strict=True):
        target = np.asarray(wood.equilibrium_pct(board.core, np.array(air[0]), np.array(air[1]), spread))
        drive = np.repeat(target, HOUR // (STEP * 1000))[skip:]
        for diffusivity in board.diffusivity:
            depth = board.thickness / board.open_faces
            found.append(slab(depth, diffusivity, MOISTURE_TRANSFER_M_S, drive, STEP, was).mean(axis=1))
    return np.array(found)


# --- against diffusion by finite differences. The boards move by 2 to 6 % of their dry mass; six modes leave out up to
# 1.6 % of a step for a short while after it, the longer the thicker the board: hence the tolerances. [% of dry mass]


@pytest.mark.parametrize(
    ("profile", "seed", "within"),
    [
        (PROFILE, 1, 4e-3),
        (board(core="solid wood", thickness=0.02), 2, 1e-2),
        (board(core="plywood", thickness=0.012, open_faces=2), 3, 4e-3),
        (board(came_at=30.0, thickness=0.005, diffusivity=(1e-10, 3e-10, 9e-10)), 4, 2e-4),
    ],
)
def test_the_nine_boards_follow_as_diffusion_by_finite_differences(profile, seed, within):
    air, days = seasons(30, seed), 30
    found = judged(on_the_hour(*air), days * DAY_M, profile, start=DAY_M + 30)
    middle = (60 - 32 + 85 - 32) / 1.8 / 2
    came = [
        float(wood.equilibrium_pct(profile.board.core, middle, profile.board.came_at, spread)) for spread in SPREADS
    ]
    solved = nine(profile.board, air, came, skip=24 * 4 + 2)  # from 00:30 on the second day
    midnights = solved[:, DAY // (STEP * 1000) - 2 - 1 :: DAY // (STEP * 1000)]
    assert midnights.shape == (9, 29)
    gained = midnights - np.repeat(came, 3)[:, None]
    now = found.board
    assert now.now.to_json() == pytest.approx(
        [midnights[:, -1].min(), midnights[4, -1], midnights[:, -1].max()], abs=within
    )
    assert now.gained.to_json() == pytest.approx([gained[:, -1].min(), gained[4, -1], gained[:, -1].max()], abs=within)
    assert now.came.to_json() == pytest.approx([min(came), came[1], max(came)], abs=1e-12)
    after = found.days[1:]
    for name, figures in (
        ("board_low", midnights.min(axis=0)), ("board", midnights[4]), ("board_high", midnights.max(axis=0)),
        ("grown_least", gained.min(axis=0)), ("grown", gained[4]), ("grown_most", gained.max(axis=0)),
    ):  # fmt: skip
        np.testing.assert_allclose(after[name], figures, atol=within, err_msg=name)
        assert np.isnan(found.days[0][name]), "not on the wall yet"


def test_a_silent_room_is_taken_to_stay_as_it_was():
    air = seasons(4, 5)
    rows = on_the_hour(*air)[: 2 * 24]
    held = [series[: 2 * 24] + [series[2 * 24 - 1]] * 48 for series in air]
    found = judged(rows, 4 * DAY_M, start=600)
    came = [float(wood.equilibrium_pct("HDF", 20.0, 50.0, spread)) for spread in SPREADS]
    solved = nine(PROFILE.board, (held[0], held[1]), came, skip=40)[:, -1]
    assert found.board.now.to_json() == pytest.approx([solved.min(), solved[4], solved.max()], abs=4e-3)
    assert np.isnan(found.days["too_dry"]).tolist() == [False, False, True, True]


def test_until_the_room_is_first_heard_the_boards_are_as_they_came():
    found = judged(on_the_hour([20.0] * 24, [64.0] * 24, start=3 * DAY_M), 3 * DAY_M, delivered=0, start=60)
    assert found.board.gained == Bounds(0.0, 0.0, 0.0)


# --- properties


@given(CORES, st.sampled_from(SPREADS), st.floats(-20, 60), st.floats(0, 99), st.floats(0.1, 100))
def test_damper_air_settles_boards_at_more(core, spread, t, rh, more):
    dry, damp = settles_at(PROFILE.board._replace(core=core), t, np.array([rh, min(rh + more, 100.0)]), spread)
    assert dry < damp


@settings(max_examples=25, deadline=None)
@given(CORES, st.floats(20, 80), st.integers(1, 60), st.integers(0, 3 * 1440))
def test_a_room_that_stays_in_balance_with_the_boards_moves_them_not_at_all(core, came_at, hours, start):
    profile = board(core=core, came_at=came_at)
    middle = sum(profile.band.temperature) / 2
    found = judged(
        on_the_hour([middle] * (72 + hours), [came_at] * (72 + hours)), (72 + hours) * 60, profile, start=start
    )
    # 1e-9: a mean over the hour may round the humidity's last digit
    assert found.board.gained.to_json() == pytest.approx([0.0, 0.0, 0.0], abs=1e-9)
    assert found.board.now.to_json() == pytest.approx(found.board.came.to_json(), abs=1e-9)
    assert np.nanmax(np.abs(found.days["grown"])) < 1e-9


@given(st.floats(10, 90), st.floats(0.5, 9), st.integers(2, 200))
def test_in_damper_air_than_they_came_from_boards_gain_and_never_more_than_their_balance(came_at, more, hours):
    profile = board(came_at=came_at)
    start = minutes(0)
    times = start + HOUR * np.arange(hours)
    air = {TEMPERATURE: np.full(hours, 20.0), HUMIDITY: np.full(hours, came_at + more)}
    known = dict.fromkeys(air, np.full(hours, HOUR))
    boards: list = []
    found = follow_boards(frame("a", profile=profile, start=0), boards, Hours(times, times + HOUR, air, known))
    came = np.repeat(came_with(frame("a", profile=profile, start=0)), 3)
    balance = np.repeat([float(settles_at(profile.board, 20.0, came_at + more, spread)) for spread in SPREADS], 3)
    gained = (found.moisture - came[:, None]) / (balance - came)[:, None]
    assert (gained > 0).all()
    assert (gained < 1).all()
    by_speed = gained.reshape(3, 3, -1)
    assert (np.diff(by_speed, axis=1) > 0).all(), "slow, central, fast"


# --- what they came with


def came(*stacks: tuple[float, float | None], start: float | None = 1000) -> tuple[float, ...]:
    lots = tuple(Delivery("lot", "hall", minutes(at), 4, Stack(moisture=moisture)) for at, moisture in stacks)
    return came_with(replace(frame("a", start=start), deliveries=lots))


def test_measured_moisture_outranks_the_profiles():
    assert came((0, 6.25), (1000, 6.25), (1001, 12.0)) == (6.25, 6.25, 6.25)


def test_lots_that_were_measured_span_what_boards_came_with():
    assert came((0, 6.25), (1000, 7.25), (1001, 12.0)) == (6.25, 6.75, 7.25)
    assert came((0, 6.25), (5000, 7.25), start=None) == (6.25, 6.75, 7.25)


def test_a_lot_that_nobody_measured_keeps_the_profiles_range_beside_one_that_was():
    low, _, high = came((0, None))
    assert came((0, 6.25), (10, None)) == (6.25, 6.25, high)
    assert came((0, None), (10, 12.0)) == (low, 12.0, 12.0)


def test_two_lots_that_came_apart_widen_moisture_and_gain_to_those_of_each_alone():
    def found(*lots: float):
        one = replace(
            frame("a", start=0), deliveries=tuple(Delivery("lot", "hall", 0, 4, Stack(moisture=m)) for m in lots)
        )
        times = minutes(0) + HOUR * np.arange(240)
        air = {TEMPERATURE: np.full(240, 20.0), HUMIDITY: np.full(240, 50.0)}
        boards: list = []
        follow_boards(one, boards, Hours(times, times + HOUR, air, dict.fromkeys(air, np.full(240, HOUR))))
        return board_reading(one, boards, days, UNCERTAINTY)

    days = judged(on_the_hour([20.0] * 24, [50.0] * 24), DAY_M).days
    damp, dry, both = found(9.0), found(6.0), found(6.0, 9.0)
    assert both.came == Bounds(6.0, 7.5, 9.0)
    assert both.measured
    assert (both.now.low, both.now.high) == pytest.approx((dry.now.low, damp.now.high))
    assert (both.gained.low, both.gained.high) == pytest.approx((damp.gained.low, dry.gained.high))


def test_boards_that_nobody_measured_came_in_balance_with_the_profiles_figure():
    # EWPAA p. 37 has 7 to 9 % at 45 %RH and 9 to 11 at 65
    low, central, high = came((0, None), (2000, 12.0))
    assert 7.0 < low < 9.0 < high < 11.0
    assert low < central < high


def test_it_is_said_whether_the_moisture_was_measured():
    rows = on_the_hour(*seasons(2, 1))
    found = judged(rows, 2 * DAY_M, start=600, stack=Stack(moisture=6.5)).board
    assert (found.measured, found.came) == (True, Bounds(6.5, 6.5, 6.5))
    assert not judged(rows, 2 * DAY_M, start=600).board.measured
    late = judged(rows, 2 * DAY_M, delivered=601, start=600, stack=Stack(moisture=6.5)).board
    assert not late.measured


# --- when they are followed


def test_before_the_installation_no_board_is_on_the_wall():
    rows = on_the_hour(*seasons(2, 1))
    assert judged(rows, 2 * DAY_M).board is None
    assert judged(rows, 2 * DAY_M, start=2 * DAY_M).board is None
    assert judged(rows, 2 * DAY_M, start=2 * DAY_M - 1).board.since == minutes(2 * DAY_M - 1)
    assert np.isnan(judged(rows, 2 * DAY_M).days["board"]).all()


def test_the_day_that_the_installation_starts_has_boards_at_its_end():
    found = judged(on_the_hour(*seasons(3, 1)), 3 * DAY_M, start=DAY_M).days
    assert np.isnan(found["board"]).tolist() == [True, False, False]
    found = judged(on_the_hour(*seasons(3, 1)), 3 * DAY_M, start=DAY_M - 1).days
    assert np.isnan(found["board"]).tolist() == [False, False, False]


def test_a_core_that_does_not_move_with_moisture_is_not_followed():
    found = judged(on_the_hour(*seasons(2, 1)), 2 * DAY_M, board(core="PVC or mineral"), start=600)
    assert found.board is None
    assert np.isnan(found.days["too_damp"]).all()


# --- beyond the band


def emc(rh: float) -> float:
    return float(wood.equilibrium_pct("HDF", 20.0, rh))


def test_how_much_too_damp_and_too_dry_is_the_balances_distance_from_the_limits():
    # 6 h at 70 %RH, 6 h at 30, 12 h within 35 to 65
    humidity = [70.0] * 6 + [30.0] * 6 + [35.0] * 6 + [65.0] * 6
    found = judged(on_the_hour([20.0] * 24, humidity), DAY_M, STILL, start=0).days
    assert found["too_damp"] == pytest.approx([(emc(70) - emc(65)) / 4], rel=1e-6)
    assert found["too_dry"] == pytest.approx([(emc(35) - emc(30)) / 4], rel=1e-6)


def test_only_the_hours_on_the_wall_that_are_known_count():
    # on the wall from 06:00; 6 h at 70, 6 h silent, 6 h at 50
    humidity = [80.0] * 6 + [70.0] * 6 + [0.0] * 6 + [50.0] * 6
    rows = [row for row in on_the_hour([20.0] * 24, humidity) if row[2]]
    found = judged(rows, DAY_M, STILL, start=360).days
    assert found["too_damp"] == pytest.approx([(emc(70) - emc(65)) / 2], rel=1e-6)
    assert found["too_dry"] == pytest.approx([0.0])


def test_the_temperature_alone_does_not_tell_the_balance():
    rows: list[Row] = [(60 * k, 20.0 + k / 10, None) for k in range(24)]
    found = judged(rows, DAY_M, start=0)
    assert np.isnan(found.days["too_damp"]).all()
    assert found.board.gained == Bounds(0.0, 0.0, 0.0)


def test_once_the_wall_is_finished_the_lifes_band_is_asked():
    profile = STILL._replace(life=Band((40.0, 60.0), STILL.life.temperature))
    found = judged(on_the_hour([20.0] * 48, [62.0] * 36 + [38.0] * 12), 2 * DAY_M, profile, start=0, finish=DAY_M).days
    assert found["too_damp"] == pytest.approx([0.0, (emc(62) - emc(60)) / 2], rel=1e-6)
    assert found["too_dry"] == pytest.approx([0.0, (emc(40) - emc(38)) / 2], rel=1e-6)


# --- what is read off


def test_the_driest_and_the_dampest_day_are_those_of_least_and_most_gain():
    humidity = [60.0] * 24 + [20.0] * 5 * 24 + [85.0] * 8 * 24 + [50.0] * 24
    found = judged(on_the_hour([20.0] * len(humidity), humidity), len(humidity) * 60, STILL, start=0)
    driest, dampest, days = found.board.driest, found.board.dampest, found.days
    assert (driest.day, dampest.day) == (minutes(5 * DAY_M), minutes(13 * DAY_M))
    for extreme, row in ((driest, days[5]), (dampest, days[13])):
        assert extreme.gained.to_json() == [row["grown_least"], row["grown"], row["grown_most"]]
    assert driest.gained.low < 0 < dampest.gained.high


@pytest.mark.parametrize(
    ("humidity", "which", "bound"), [((20.0, 22.0), "driest", "least"), ((85.0, 83.0), "dampest", "most")]
)
def test_the_body_that_is_furthest_off_names_the_day(humidity, which, bound):
    # two days at the one, two at the other: the fast board turns back at once, the central one still goes on
    said = [humidity[0]] * 48 + [humidity[1]] * 48
    found = judged(on_the_hour([20.0] * 96, said), 96 * 60, STILL, start=0)
    assert np.abs(found.days["grown"]).argmax() == 3
    assert np.abs(found.days[f"grown_{bound}"]).argmax() == 1
    assert getattr(found.board, which).day == minutes(DAY_M)


def test_as_of_the_start_there_is_no_extreme_but_the_day_under_way():
    found = judged(on_the_hour([20.0] * 48, [60.0] * 48), 25 * 60, STILL, start=DAY_M)
    assert (found.board.driest.day, found.board.dampest.day) == (minutes(DAY_M), minutes(DAY_M))


def test_what_the_sensors_leave_open_is_their_uncertainty_by_the_slope_at_the_last_days_air():
    # 5 %RH x the slope of the HDF balance; the temperature has no part in it. The last day heard is the second.
    rows = on_the_hour([20.0] * 48, [70.0] * 24 + [40.0] * 24)
    found = judged(rows, 3 * DAY_M, STILL, start=0).board
    assert found.sensor == pytest.approx((emc(40.05) - emc(39.95)) / 0.1 * 5.0, rel=1e-6)


def test_the_uncertainty_of_both_channels_counts_in_solid_wood():
    def balance(t: float, rh: float) -> float:
        return float(wood.equilibrium_pct("solid wood", t, rh))

    rows = on_the_hour([12.0] * 24 + [22.0] * 24, [60.0] * 24 + [40.0] * 24)
    found = judged(rows, 2 * DAY_M, board(core="solid wood"), start=0).board
    by_rh = (balance(22.0, 40.05) - balance(22.0, 39.95)) / 0.1 * UNCERTAINTY[HUMIDITY]
    by_t = (balance(22.05, 40.0) - balance(21.95, 40.0)) / 0.1 * UNCERTAINTY[TEMPERATURE]
    assert found.sensor == pytest.approx(np.hypot(by_rh, by_t), rel=1e-6)


def test_a_room_never_heard_leaves_nothing_open():
    assert judged(on_the_hour([20.0] * 4, [50.0] * 4), DAY_M, STILL, delivered=360, start=420).board.sensor == 0.0


def test_a_room_hotter_than_the_model_covers_is_taken_at_its_edge():
    found = judged(on_the_hour([70.0] * 24, [40.0] * 24), DAY_M, board(core="solid wood"), start=0)
    edge = judged(on_the_hour([60.0] * 24, [40.0] * 24), DAY_M, board(core="solid wood"), start=0)
    assert found.board.now == edge.board.now
    assert found.board.sensor == edge.board.sensor


def test_the_reading_as_json():
    found = judged(on_the_hour([20.0] * 24, [60.0] * 24), DAY_M, STILL, start=60, stack=Stack(moisture=6.5)).board
    said = found.to_json()
    assert said["since"] == "2026-01-05T01:00:00Z"
    assert (said["came_with_pct"], said["came_with_measured"]) == ([6.5, 6.5, 6.5], True)
    assert said["now_pct"] == found.now.to_json()
    assert said["gained_pct"] == pytest.approx([x - 6.5 for x in said["now_pct"]])
    assert said["sensor_uncertainty_pct"] == found.sensor
    assert said["driest"] == {"day": "2026-01-05T00:00:00Z", "gained_pct": found.driest.gained.to_json()}
    assert said["dampest"] == {"day": "2026-01-05T00:00:00Z", "gained_pct": found.dampest.gained.to_json()}
