"""A row a day: what of it was in band, the air, and how the rows add up to the span."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rooms import STILL, Room, Row, Shelf, frame, heard, minutes, steady

from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.rules.board.days import held_for
from monitor.rules.board.estimates import DAYS, FIGURES, unpacked
from monitor.rules.judge import judge

DAY_M = 1440
AIR = ("t_low", "t_mean", "t_high", "rh_low", "rh_mean", "rh_high")


def days(rows: list[Row], until: float, **more: object) -> np.ndarray:
    room = Room()
    room.hear("a", rows)
    return judge(frame("a", **{"hold": 60, "profile": STILL, **more}), minutes(until), room).days  # type: ignore[arg-type]


def test_a_row_for_each_utc_day_begun():
    # 2026-01-05 is day 20458: 56 years of 365 days, 14 leap days (1972 to 2024) and four
    assert 56 * 365 + 14 + 4 == 20458
    assert days([(0, 20.0, 50.0)], 1)["day"].tolist() == [20458]
    assert days([(0, 20.0, 50.0)], DAY_M)["day"].tolist() == [20458]
    assert days([(0, 20.0, 50.0)], DAY_M + 1)["day"].tolist() == [20458, 20459]
    assert days([(0, 20.0, 50.0)], DAY_M, delivered=DAY_M).tolist() == []


def test_elapsed_known_and_in_band_by_hand():
    # from 06:00; in band to 18:00, too damp to 21:00, silent to 02:00 (each reading speaks an hour), in band to 03:30
    rows: list[Row] = [(60 * h, 20.0, 50.0 if h < 18 else 70.0) for h in range(6, 21)]
    rows += [(DAY_M + 120, 20.0, 50.0), (DAY_M + 180, 20.0, None), (DAY_M + 180, None, 50.0)]
    found = days(rows, DAY_M + 210, delivered=360)
    assert found["elapsed"].tolist() == [18 * HOUR, 210 * MINUTE]
    assert found["known"].tolist() == [15 * HOUR, 90 * MINUTE]
    assert found["in_band"].tolist() == [12 * HOUR, 90 * MINUTE]


def test_runs_are_added_up_by_stretch():
    # intervals of 10, 20, 30, 40 and 50 ms; stretches of three and two; held: 20 + 30 and 40
    edges, held = np.array([0, 10, 30, 60, 100, 150]), np.array([False, True, True, True, False])
    assert [one.tolist() for one in held_for(edges, np.array([0, 3]), held)] == [[50, 40]]
    assert [one.tolist() for one in held_for(edges, np.array([0]), held, ~held)] == [[90], [60]]
    assert [one.tolist() for one in held_for(edges, np.array([0, 1, 4]), ~held)] == [[10, 0, 50]]


def test_lowest_and_highest_are_hours_means_and_the_mean_is_over_the_time_known():
    # 00:00 20 degC for 30 min, then 26 to 01:00: an hour of 23; 01:00 21 for 60; 05:00 30 for 15 min until as_of 05:15
    rows: list[Row] = [(0, 20.0, 40.0), (30, 26.0, 42.0), (60, 21.0, 50.0), (300, 30.0, 60.0)]
    found = days(rows, 315)[0]
    assert [found[name] for name in AIR] == pytest.approx(
        [21.0, (23 * 60 + 21 * 60 + 30 * 15) / 135, 30.0, 41.0, (41 * 60 + 50 * 60 + 60 * 15) / 135, 60.0], rel=1e-6
    )


def test_of_a_day_that_nobody_heard_nothing_is_known():
    found = days([*steady(DAY_M), (2 * DAY_M, 20.0, None)], 3 * DAY_M)
    assert found["known"].tolist() == [DAY, 50 * MINUTE, 0]
    assert found["elapsed"].tolist() == [DAY] * 3
    assert np.isnan(found["t_mean"]).tolist() == [False, False, False]
    assert np.isnan(found["rh_mean"]).tolist() == [False, False, True]
    silent = days([(0, 20.0, 50.0), (3 * DAY_M, 20.0, 50.0)], 4 * DAY_M)
    for name in AIR:
        assert np.isnan(silent[name]).tolist() == [False, True, True, False]


def test_a_days_own_hours_make_its_figures():
    rows: list[Row] = [(60 * h, 20.0 + h // 24 + (h % 24) / 100, 40.0 + h // 24) for h in range(72)]
    found = days(rows, 3 * DAY_M)
    assert found["t_low"] == pytest.approx([20.0, 21.0, 22.0])
    assert found["t_high"] == pytest.approx([20.23, 21.23, 22.23])
    assert found["t_mean"] == pytest.approx([20.115, 21.115, 22.115])
    for name in ("rh_low", "rh_mean", "rh_high"):
        assert found[name] == pytest.approx([40.0, 41.0, 42.0])


def test_without_boards_or_a_known_wall_their_figures_are_unknown_and_their_counts_nothing():
    found = days(steady(DAY_M), DAY_M)[0]
    assert all(np.isnan(found[name]) for name in FIGURES if name not in AIR)
    assert (found["damp"], found["wet"]) == (0, 0)


def test_the_record_ends_with_the_job():
    fr = frame("a", hold=60, profile=STILL)
    room = heard(a=steady(3 * DAY_M))
    found = judge(replace(fr, close=minutes(DAY_M + 90)), minutes(3 * DAY_M), room).days
    assert found["elapsed"].tolist() == [DAY, 90 * MINUTE]


def test_rows_are_packed_without_loss():
    found = judge(frame("a"), minutes(2 * DAY_M), heard(a=steady(2 * DAY_M)))
    assert len(found.packed_days) == 2 * DAYS.itemsize
    assert unpacked(found.packed_days).tobytes() == found.packed_days == found.days.tobytes()


@settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    st.lists(st.tuples(st.integers(0, 6000), st.floats(10, 35), st.floats(25, 75)), min_size=1, max_size=60),
    st.integers(1, 7000), st.sampled_from([0, 400, None]), st.sampled_from([20, 300]),
    st.sampled_from([None, 1700]),
)  # fmt: skip
def test_days_add_up_to_the_span(rows, until, delivered, hold, start):
    room, shelf = heard(a=rows), Shelf()
    fr = frame("a", hold=hold, delivered=delivered, start=start)
    for as_of in (minutes(until // 2), minutes(until)):
        found = judge(fr, as_of, room, shelf)
        sums = [int(found.days[name].sum(dtype=np.int64)) for name in ("elapsed", "known", "in_band")]
        assert sums == [found.span.elapsed, found.span.known, found.span.in_band]
        assert (np.diff(found.days["day"]) == 1).all()
        assert (found.days["elapsed"] <= DAY).all()
