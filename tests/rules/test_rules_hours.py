"""Hour means: over the time in which somebody spoke and was not stuck, worked by hand."""

import itertools
import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rooms import HUMIDITY, PROFILE, TEMPERATURE, Room, Row, frame, heard, minutes, steady

from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import AIR, Quantity
from monitor.rules.board.hours import Hours, hours_heard, hours_of
from monitor.rules.channel import Channel, Window, plain
from monitor.rules.frame import Frame
from monitor.rules.timeline import Timeline, newest, put_in, spans_of, timeline


def channels(room: Room, fr: Frame) -> dict[tuple[str, Quantity], Channel]:
    found = {}
    for name, sensor in fr.sensors.items():
        series = {q: room.series(name, q) for q in AIR if room.bounds(name, q)}
        for quantity, channel in Window(name, series, sensor.hold, PROFILE.quality).channels().items():
            found[name, quantity] = channel
    return found


def line_of(room: Room, fr: Frame, start: float, end: float, cuts: tuple[float, ...] = ()) -> Timeline:
    window = (minutes(start), minutes(end))
    return timeline(spans_of(fr, "hall", window, window), channels(room, fr), window, [minutes(cut) for cut in cuts])


def hours(start: float, end: float, hold: int = 60, **rows: list[Row]) -> Hours:
    room, fr = heard(**rows), frame(*rows, hold=hold)
    return hours_of(line_of(room, fr, start, end))


def test_an_hours_mean_is_weighed_by_how_long_each_value_spoke():
    # 20 degC for 15 min, 24 for 45: (20 x 15 + 24 x 45) / 60 = 23
    found = hours(0, 60, a=[(0, 20.0, None), (15, 24.0, None)])
    assert found.mean[TEMPERATURE].tolist() == [23.0]
    assert found.known[TEMPERATURE].tolist() == [HOUR]
    assert (found.start.tolist(), found.end.tolist()) == ([minutes(0)], [minutes(60)])


def test_those_who_speak_at_once_count_alike():
    # a 20 all the hour; b 26 from 00:30 on: (20 x 30 + 23 x 30) / 60 = 21.5
    found = hours(0, 60, a=[(0, 20.0, None)], b=[(30, 26.0, None)])
    assert found.mean[TEMPERATURE].tolist() == [21.5]


def test_a_hole_is_left_out_of_the_mean_and_of_what_it_stands_on():
    # each reading speaks 10 min: 20 from 00:00, 30 from 00:40; nothing from 00:10 to 00:40 and from 00:50 on
    found = hours(0, 180, hold=10, a=[(0, 20.0, 40.0), (40, 30.0, 60.0), (120, 25.0, None)])
    assert found.mean[TEMPERATURE].tolist() == [25.0, pytest.approx(np.nan, nan_ok=True), 25.0]
    assert found.known[TEMPERATURE].tolist() == [20 * MINUTE, 0, 10 * MINUTE]
    assert found.mean[HUMIDITY].tolist() == [50.0, *[pytest.approx(np.nan, nan_ok=True)] * 2]
    assert found.known[HUMIDITY].tolist() == [20 * MINUTE, 0, 0]


def test_a_stuck_sensor_has_no_say():
    # b says 30 degC and 50 % unchanged for nine hours: left out; a's hours stand alone
    stuck: list[Row] = [(m, 30.0, 50.0) for m in range(0, 541, 30)]
    found = hours(0, 540, hold=30, a=[(m, 20.0 + m // 60, 40.0) for m in range(0, 540, 30)], b=stuck)
    assert found.mean[TEMPERATURE].tolist() == [20.0 + hour for hour in range(9)]
    alone = hours(0, 540, hold=30, b=stuck)
    assert np.isnan(alone.mean[TEMPERATURE]).all()
    assert alone.known[HUMIDITY].tolist() == [0] * 9


def test_the_first_and_the_last_hour_may_be_cut():
    # 00:20 to 02:15: hours of 40, 60 and 15 minutes
    found = hours(20, 135, hold=200, a=[(20, 20.0, None), (60, 21.0, None), (130, 27.0, None)])
    assert found.start.tolist() == [minutes(20), minutes(60), minutes(120)]
    assert found.end.tolist() == [minutes(60), minutes(120), minutes(135)]
    assert found.mean[TEMPERATURE].tolist() == [20.0, 21.0, (21.0 * 10 + 27.0 * 5) / 15]
    assert found.known[TEMPERATURE].tolist() == [40 * MINUTE, 60 * MINUTE, 15 * MINUTE]


def test_a_span_inside_one_hour_is_one_hour_cut_on_both_sides():
    found = hours(70, 80, a=[(70, 20.0, None)])
    assert (found.start.tolist(), found.end.tolist()) == ([minutes(70)], [minutes(80)])


def test_a_span_from_hour_to_hour_has_no_empty_one_at_its_ends():
    found = hours(60, 180, a=[(60, 20.0, None)])
    assert found.start.tolist() == [minutes(60), minutes(120)]
    assert found.end.tolist() == [minutes(120), minutes(180)]


def test_an_hour_with_a_cut_in_it_counts_as_two():
    room, fr = heard(a=[(0, 20.0, None), (80, 26.0, None)]), frame("a", hold=200)
    line = line_of(room, fr, 0, 180)
    found = hours_of(line, minutes(90))
    assert found.start.tolist() == [minutes(at) for at in (0, 60, 90, 120)]
    assert found.end.tolist() == [minutes(at) for at in (60, 90, 120, 180)]
    assert found.mean[TEMPERATURE].tolist() == [20.0, 22.0, 26.0, 26.0]
    assert found.known[TEMPERATURE].tolist() == [60 * MINUTE, 30 * MINUTE, 30 * MINUTE, 60 * MINUTE]
    for cut in (-1, 0, 60, 180, 181):
        assert hours_of(line, minutes(cut)).start.tolist() == [minutes(0), minutes(60), minutes(120)]


def test_days_begin_with_the_hours_of_their_midnights():
    found = hours(1380, 2 * 1440 + 30, a=steady(2 * 1440 + 30))
    assert found.days().tolist() == [0, 1, 25]
    assert hours(0, 60, a=steady(60)).days().tolist() == [0]


def test_of_what_nobody_speaks_nothing_is_known():
    fr, window = frame("a"), (minutes(0), minutes(120))
    found = hours_heard(spans_of(fr, "hall", window, window), {}, window, Quantity.SURFACE_TEMPERATURE)
    assert np.isnan(found).tolist() == [True, True]
    assert np.isnan(hours_heard([], {}, window, Quantity.SURFACE_TEMPERATURE)).tolist() == [True, True]


def test_a_channel_beside_the_air_is_heard_by_the_hour():
    room, fr, window = Room(), frame("a", hold=60), (minutes(0), minutes(120))
    room.say("a", Quantity.SURFACE_TEMPERATURE, [(0, 12.0), (30, 16.0), (60, 13.0)])
    said = plain(room.series("a", Quantity.SURFACE_TEMPERATURE), Quantity.SURFACE_TEMPERATURE)
    spans = spans_of(fr, "hall", window, window)
    found = hours_heard(spans, {("a", Quantity.SURFACE_TEMPERATURE): said}, window, Quantity.SURFACE_TEMPERATURE)
    assert found.tolist() == [14.0, 13.0]


def test_a_day_of_one_interval_has_the_mean_that_it_has_among_others():
    # ten sensors, each of which speaks all day: the order in which they are added up must not hang on the day's length
    rng = random.Random(3)
    for _ in range(20):
        rows: dict[str, list[Row]] = {name: [(0, rng.uniform(15, 25), None)] for name in "abcdefghij"}
        room, fr = heard(**rows), frame(*rows, hold=3 * 1440)
        one, three = line_of(room, fr, 60, 120), line_of(room, fr, 0, 180, (60, 120))
        assert (len(one.edges), len(three.edges)) == (2, 4)
        assert hours_of(one).mean[TEMPERATURE][0] == hours_of(three).mean[TEMPERATURE][1]


@given(
    st.integers(0, 10**9), st.sets(st.integers(1, 4), min_size=1), st.sampled_from((7, 45, 200)), st.integers(0, 5000)
)
def test_however_a_line_is_cut_at_midnights_its_hours_are_the_same_to_the_last_bit(seed, midnights, hold, start):
    rng = random.Random(seed)
    rows = {
        name: [(m / 10, rng.gauss(20, 3), rng.gauss(50, 9)) for m in sorted(rng.sample(range(70_000), 400))]
        for name in ("a", "b", "c")
    }
    room, fr = heard(**rows), frame("a", "b", "c", hold=hold)
    inside = sorted(day * 1440 for day in midnights if start < day * 1440 < 7000)
    whole = hours_of(line_of(room, fr, start, 7000))
    parts = [hours_of(line_of(room, fr, a, b)) for a, b in itertools.pairwise((start, *inside, 7000))]
    assert np.concatenate([part.start for part in parts]).tobytes() == whole.start.tobytes()
    assert np.concatenate([part.end for part in parts]).tobytes() == whole.end.tobytes()
    for quantity in AIR:
        assert np.concatenate([part.mean[quantity] for part in parts]).tobytes() == whole.mean[quantity].tobytes()
        assert np.concatenate([part.known[quantity] for part in parts]).tobytes() == whole.known[quantity].tobytes()
    assert (whole.start[whole.days()][1:] % DAY == 0).all()


@given(st.integers(0, 10**9), st.floats(60, 7000))
def test_a_cut_anywhere_else_leaves_the_hours_means(seed, cut):
    rng = random.Random(seed)
    rows = [(m / 10, rng.gauss(20, 3), rng.gauss(50, 9)) for m in sorted(rng.sample(range(70_000), 400))]
    room, fr = heard(a=rows), frame("a", hold=45)
    whole, again = (hours_of(line_of(room, fr, 0, 7000, cuts)) for cuts in ((), (cut,)))
    for quantity in AIR:
        np.testing.assert_allclose(again.mean[quantity], whole.mean[quantity], rtol=1e-12)
        assert again.known[quantity].tolist() == whole.known[quantity].tolist()


def test_a_sensor_that_was_moved_speaks_in_order_of_time_whatever_order_its_stays_come_in():
    # as one that lay in the room, then in the boxes there: the hours follow each other
    room, fr, window = heard(a=[(m, m / 60, None) for m in range(0, 600, 10)]), frame("a"), (minutes(0), minutes(600))
    (span,) = spans_of(fr, "hall", window, window)
    early = span._replace(end=minutes(300), seen_to=minutes(300))
    late = span._replace(start=minutes(300), seen_from=minutes(300))
    for spans in ([span], [early, late], [late, early]):
        means = hours_heard(spans, channels(room, fr), window, TEMPERATURE)
        assert means == pytest.approx(np.arange(10) + 25 / 60)  # 0, 10 ... 50 min past the hour


def test_a_time_is_put_in_once_and_the_newest_at_each_is_told():
    # 15 twice and 20, which is there: 15 once; before the first there is none, so -1
    edges, at = put_in(np.array([10, 20, 30]), np.array([15, 5, 20, 15, 35]))
    assert edges.tolist() == [5, 10, 15, 20, 30, 35]
    assert newest(3, at).tolist() == [-1, 0, 0, 1, 2, 2]
    edges, at = put_in(np.array([10, 20]), np.array([20]))
    assert (edges.tolist(), newest(2, at).tolist()) == ([10, 20], [0, 1])
    edges, at = put_in(np.array([], np.int64), np.array([7]))
    assert (edges.tolist(), newest(0, at).tolist()) == ([7], [-1])


@given(st.integers(0, 10**9), st.sampled_from((7, 45, 200)))
def test_who_speaks_when_is_what_the_definition_says(seed, hold):
    rng = random.Random(seed)
    kept = sorted(rng.sample(range(3000), 60))
    others: list[Row] = [(m, 1.0, 2.0) for m in sorted(rng.sample(range(3000), 9))]
    room, fr = heard(a=[(m, m / 100, None) for m in kept], b=others), frame("a", "b", hold=hold)
    window = (minutes(rng.randrange(1500)), minutes(rng.randrange(1501, 3500)))
    line = timeline(spans_of(fr, "hall", window, window), channels(room, fr), window, [minutes(1600)])
    said = line.voices[TEMPERATURE].value[[sensor.name for sensor in line.sensors].index("a")]
    assert (line.edges[0], line.edges[-1]) == window
    for at, value in zip(line.edges[:-1].tolist(), said.tolist(), strict=True):
        before = [m for m in kept if minutes(m) <= at]
        speaks = bool(before) and at < minutes(before[-1] + hold)
        assert value == before[-1] / 100 if speaks else np.isnan(value)
