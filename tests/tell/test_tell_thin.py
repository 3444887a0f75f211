from itertools import pairwise

import invented_den as den
import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from monitor.basis.times import DAY, HOUR, MINUTE, zone_of
from monitor.basis.values import Quantity
from monitor.tell.drawn.chart import chart_of, clock_changes, days
from monitor.tell.drawn.thin import line_starts, merged, thin
from monitor.tell.words import Display

NEW_YORK = zone_of("America/New_York")
US, SI = Display(NEW_YORK, "us"), Display(NEW_YORK, "si")


@given(st.lists(st.tuples(st.integers(1, 10**6), st.floats(-50, 150)), min_size=1, max_size=200), st.integers(4, 60))
def test_thinning_keeps_lowest_and_highest_first_and_last(steps, most):
    t = np.cumsum([step for step, _ in steps], dtype=np.int64)
    value = np.array([value for _, value in steps])
    kept = thin(t, value, most)
    assert len(kept) <= max(most, min(len(t), most))
    assert (np.diff(kept) > 0).all()
    assert value[kept].min() == value.min()
    assert value[kept].max() == value.max()
    assert kept[0] == 0
    assert kept[-1] == len(t) - 1


def test_a_short_series_is_drawn_whole():
    t = np.arange(10, dtype=np.int64)
    assert thin(t, np.zeros(10), 10).tolist() == list(range(10))


def test_one_reading_among_half_a_million_is_not_lost():
    t = np.arange(525_600, dtype=np.int64) * MINUTE
    value = np.full(len(t), 45.0)
    value[123_456] = 91.0
    kept = thin(t, value, 4_000)
    assert len(kept) <= 4_000
    assert 123_456 in kept


@given(st.lists(st.integers(1, 50), min_size=2, max_size=60), st.integers(0, 60))
def test_merged_intervals_cover_all_that_they_were_made_of(lengths, nearer_than):
    edges = np.cumsum(lengths).tolist()
    intervals = list(zip(edges[::2], edges[1::2], strict=False))
    found = merged(intervals, nearer_than)
    assert all(any(a <= start and end <= b for a, b in found) for start, end in intervals)
    assert all(after - before >= nearer_than for (_, before), (after, _) in pairwise(found))


def test_merging_nothing_near_changes_nothing():
    assert merged([(0, 5), (10, 12)], 5) == ((0, 5), (10, 12))
    assert merged([(0, 5), (10, 12)], 6) == ((0, 12),)


def test_a_line_starts_anew_after_a_silence_longer_than_the_hold_even_when_thinned():
    t = np.array([0, 10, 20, 51, 60, 70], np.int64)
    kept = np.array([0, 2, 4, 5])
    assert line_starts(t, kept, 31).tolist() == [True, False, False, False]
    assert line_starts(t, kept, 30).tolist() == [True, False, True, False]


def test_a_reading_alone_between_silences_carries_its_sign():
    lonely = den.page().channels[1]._replace(t=np.array([0, 1, 2]) * HOUR + den.DELIVERED, value=np.array([45.0] * 3))
    lonely = lonely._replace(flat=np.zeros(3, np.bool_))
    chart = chart_of(den.page(channels=(lonely,)), US, 100)
    assert chart.panels[0].lines[0].marks.all()


def test_a_chart_holds_the_extremes_of_the_record_in_the_jobs_units():
    page = den.page()
    for display, factor, zero in ((US, 1.8, 32.0), (SI, 1.0, 0.0)):
        chart = chart_of(page, display, 400)
        temperature = [channel.value for channel in page.channels if channel.quantity is Quantity.AIR_TEMPERATURE]
        drawn = np.concatenate([line.value for line in chart.panels[1].lines])
        assert abs(drawn.max() - (max(v.max() for v in temperature) * factor + zero)) < 1e-9
        assert abs(drawn.min() - (min(v.min() for v in temperature) * factor + zero)) < 1e-9
    assert chart.drawn < chart.total == sum(len(channel.t) for channel in page.channels)


def test_nothing_heard_and_no_delivery_is_no_chart():
    silent = den.page(assessment=den.ASSESSMENT._replace(begin=None), channels=())
    assert chart_of(silent, US, 400) is None


def test_the_band_of_a_chart_changes_when_the_wall_is_finished():
    finish = den.DELIVERED + 60 * HOUR
    facts = den.FACTS._replace(install_start=finish - HOUR, install_finish=finish)
    life = den.PROFILE.band._replace(humidity=(30.0, 60.0))
    chart = chart_of(den.page(facts=facts, profile=den.PROFILE._replace(life=life)), US, 400)
    limits = [(limit.start, limit.end, limit.low, limit.high) for limit in chart.panels[0].limits]
    assert limits == [(den.DELIVERED, finish, 35.0, 65.0), (finish, den.AS_OF, 30.0, 60.0)]


def test_clock_changes_are_found_to_the_minute():
    # From memory: 8 March 2026 02:00 EST (07:00Z) forward, 1 November 2026 02:00 EDT (06:00Z) back.
    spring, autumn = 1_772_953_200_000, 1_793_512_800_000
    assert clock_changes(NEW_YORK, den.DELIVERED, den.DELIVERED + 365 * DAY) == [(spring, HOUR), (autumn, -HOUR)]
    assert clock_changes(NEW_YORK, spring, spring + DAY) == []
    assert clock_changes(zone_of("UTC"), den.DELIVERED, den.DELIVERED + 365 * DAY) == []


def test_the_moments_of_a_job_are_lettered_in_order_of_time():
    facts = den.FACTS._replace(install_start=den.DELIVERED + 100 * HOUR, closed_at=den.AS_OF)
    chart = chart_of(den.page(facts=facts), US, 400)
    assert [(event.letter, event.text) for event in chart.events] == [
        ("A", "delivery of A"),
        ("B", "the clock went back to zero: out of band for more than 1 h"),
        ("C", "the clock went back to zero: not proven in band for more than 2 h"),
        ("D", "the installation started"),
        ("E", "the job was closed"),
    ]


def test_the_table_behind_the_chart_has_a_row_a_local_day():
    page = den.page()
    rows = days(page.channels, NEW_YORK)
    assert [(start - den.DELIVERED) / HOUR for start, _ in rows] == [-8 - 40 / 60 + 24 * k for k in range(5)]
    humidity = [channel for channel in page.channels if channel.quantity is Quantity.AIR_HUMIDITY]
    assert sum(row[Quantity.AIR_HUMIDITY][2] for _, row in rows) == sum(len(channel.t) for channel in humidity)
    assert max(row[Quantity.AIR_HUMIDITY][1] for _, row in rows) == max(channel.value.max() for channel in humidity)


def test_a_day_of_a_clock_change_has_23_hours():
    # 7 March 2026 00:00 EST, and on: the midnight after 8 March comes 23 hours after the one before it.
    t = 1_772_859_600_000 + np.arange(0, 3 * DAY, HOUR, dtype=np.int64)
    line = den.page().channels[1]._replace(t=t, value=np.full(len(t), 45.0), flat=np.zeros(len(t), np.bool_))
    assert [row[Quantity.AIR_HUMIDITY][2] for _, row in days((line,), NEW_YORK)] == [24, 23, 24, 1]


def test_the_table_of_a_long_record_has_a_row_a_week():
    assert len(days(den.page(63 * DAY).channels, NEW_YORK)) in (9, 10)
