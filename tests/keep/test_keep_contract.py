"""What every store does, on SQLite and on PostgreSQL: readings, quarantine and sensors."""

from __future__ import annotations

import json
import math
from collections import Counter
from itertools import count

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from monitor.basis.errors import RecordError, StoreError
from monitor.basis.values import BACK_FILL, LIVE, Origin, OriginKind, Quantity, Reading, Refused, empty_series
from monitor.keep.rows import Dirty, Heard, Kept, Quarantined
from monitor.keep.schema import reading as reading_table
from monitor.keep.sensors import Newest

T = 1_767_600_000_000  # 2026-01-05T08:00Z [ms]
HUMIDITY, TEMPERATURE = Quantity.AIR_HUMIDITY, Quantity.AIR_TEMPERATURE


def said(value=45.0, t=T, *, stream="home/hall", quantity=HUMIDITY, unit="%", arrival=T, origin=LIVE) -> Reading:
    return Reading(stream, quantity, t, value, unit, arrival, origin)


def rows_of(store, stream="home/hall", quantity=HUMIDITY):
    series = store.series(stream, quantity)
    return [
        (int(t), float(value), series.units[unit], series.origins[origin])
        for t, value, unit, origin in zip(series.t, series.value, series.unit, series.origin, strict=True)
    ]


# --- keeping


def test_a_batch_is_kept_as_it_was_sent(store):
    a_file = Origin(OriginKind.FILE, "ab" * 32)
    assert store.keep_readings([said(45.5, T + 5), said(0.1 + 0.2, T, origin=a_file)]) == Kept(2, 0, 0)
    assert rows_of(store) == [(T, 0.1 + 0.2, "%", a_file), (T + 5, 45.5, "%", LIVE)]


def test_a_sensor_that_is_known_and_one_that_is_new_speak_of_more(open_at, url):
    with_ids = [said(stream=f"home/{n}") for n in range(3)]
    open_at(url).keep_readings(with_ids)
    later = [said(t=T + 1, stream=f"home/{n}", quantity=q) for n in range(5) for q in (HUMIDITY, TEMPERATURE)]
    again = open_at(url)  # which knows no ids yet
    assert again.keep_readings(later) == Kept(10, 0, 0)
    assert [len(rows_of(again, f"home/{n}")) for n in range(5)] == [2, 2, 2, 1, 1]
    assert {one.stream: one.readings for one in again.heard()} == {f"home/{n}": 3 if n < 3 else 2 for n in range(5)}


def test_nothing_offered_is_nothing_kept(store):
    assert store.keep_readings([]) == Kept(0, 0, 0)
    assert store.heard() == []
    assert store.dirty() == []


def test_an_equal_reading_is_a_duplicate_and_dropped(store):
    store.keep_readings([said()])
    assert store.keep_readings([said(arrival=T + 9, origin=BACK_FILL)]) == Kept(0, 1, 0)
    assert rows_of(store) == [(T, 45.0, "%", LIVE)]
    assert store.quarantine() == []


def test_another_value_is_a_conflict_and_the_first_stays(store):
    store.keep_readings([said(45.0)])
    assert store.keep_readings([said(46.0, arrival=T + 9, origin=BACK_FILL)]) == Kept(0, 0, 1)
    assert rows_of(store) == [(T, 45.0, "%", LIVE)]
    (row,) = store.quarantine()
    raw = {
        "stream": "home/hall", "quantity": "air_humidity", "t": T, "value": 46.0, "unit": "%", "arrival": T + 9,
        "origin": "back-fill", "origin_detail": "",
    }  # fmt: skip
    assert json.loads(row.raw) == raw
    assert row == Quarantined(
        row.id, "home/hall", HUMIDITY, T, "conflict", "kept 45.0 %, offered 46.0 %", row.raw, 1, T + 9, T + 9
    )


def test_the_same_value_in_another_unit_is_a_conflict(store):
    store.keep_readings([said(0.45, unit="1")])
    assert store.keep_readings([said(0.45, unit="%")]) == Kept(0, 0, 1)
    assert store.quarantine()[0].detail == "kept 0.45 1, offered 0.45 %"


def test_the_same_conflict_again_only_raises_its_count(store):
    store.keep_readings([said(45.0)])
    store.keep_readings([said(46.0, arrival=T + 1)])
    assert store.keep_readings([said(46.0, arrival=T + 2, origin=BACK_FILL), said(47.0)]) == Kept(0, 0, 2)
    assert {(row.detail, row.count) for row in store.quarantine()} == {
        ("kept 45.0 %, offered 46.0 %", 2),
        ("kept 45.0 %, offered 47.0 %", 1),
    }


def test_in_one_batch_the_first_reading_of_a_time_wins(store):
    assert store.keep_readings([said(45.0), said(46.0), said(45.0)]) == Kept(1, 1, 1)
    assert rows_of(store) == [(T, 45.0, "%", LIVE)]


def test_a_repeat_in_a_batch_is_compared_with_what_the_store_has(store):
    store.keep_readings([said(45.0)])
    assert store.keep_readings([said(46.0), said(45.0), said(46.0), said(50.0, T + 1)]) == Kept(1, 1, 2)
    assert [(row.detail, row.count) for row in store.quarantine()] == [("kept 45.0 %, offered 46.0 %", 2)]


def test_a_batch_of_thousands_half_of_them_known_is_counted_exactly(store):
    store.keep_readings([said(t=T + i) for i in range(0, 3000, 2)])
    assert store.keep_readings([said(t=T + i) for i in range(3000)]) == Kept(1500, 1500, 0)
    assert len(store.series("home/hall", HUMIDITY)) == 3000


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_value_that_is_no_number_is_refused_and_so_is_its_batch(store, value):
    with pytest.raises(StoreError) as error:
        store.keep_readings([said(t=T - 1), said(value)])
    assert str(error.value) == (
        f"home/hall air_humidity: a reading of {value!r} is no number and is not kept. "
        "Refuse it where the message is read"
    )
    assert store.heard() == []


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_the_table_itself_takes_no_value_that_is_no_number(store, value):
    store.keep_readings([said()])
    row = {"channel_id": 1, "t": 0, "value": value, "unit_id": 1, "arrival": 0, "origin_id": 1}
    with pytest.raises(StoreError, match="the database refused: "), store._writing() as conn:
        conn.execute(reading_table.insert(), row)


def test_a_reading_of_a_sensor_that_was_rolled_back_is_kept_at_the_next_try(store):
    with pytest.raises(StoreError, match="is no number"):
        store.keep_readings([said(stream="home/new", unit="1", origin=BACK_FILL), said(math.nan)])
    assert store.keep_readings([said(stream="home/new", unit="1", origin=BACK_FILL)]) == Kept(1, 0, 0)
    assert rows_of(store, "home/new") == [(T, 45.0, "1", BACK_FILL)]


def test_two_stores_that_hear_the_same_new_sensor_make_one(store, open_at, url):
    other = open_at(url)
    assert store.keep_readings([said()]) == Kept(1, 0, 0)
    assert other.keep_readings([said(t=T + 1), said(20.0, quantity=TEMPERATURE, unit="degC")]) == Kept(2, 0, 0)
    assert [one.stream for one in store.heard()] == ["home/hall"]


_examples = count()
_channels = st.tuples(st.sampled_from(["a", "b"]), st.sampled_from([HUMIDITY, TEMPERATURE]))
_values = st.tuples(st.floats(-1e6, 1e6), st.sampled_from(["%", "1", "degC"]))


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.dictionaries(st.tuples(_channels, st.integers(T, T + 20)), _values, min_size=1, max_size=12),
    st.data(),
)
def test_order_and_batches_change_nothing_in_what_is_kept(store, truth, data):
    prefix = f"example{next(_examples)}/"
    once = [
        said(value, t, stream=prefix + stream, quantity=quantity, unit=unit)
        for ((stream, quantity), t), (value, unit) in truth.items()
    ]
    again = data.draw(st.lists(st.sampled_from(once), max_size=12))
    offered = data.draw(st.permutations(once + again))
    cuts = sorted(data.draw(st.lists(st.integers(0, len(offered)), max_size=4)))
    parts = [offered[a:b] for a, b in zip([0, *cuts], [*cuts, len(offered)], strict=True)]
    results = [store.keep_readings(part) for part in parts]
    assert [sum(column) for column in zip(*results, strict=True)] == [len(once), len(again), 0]
    for stream, quantity in {(one.stream, one.quantity) for one in once}:
        mine = sorted(one for one in once if (one.stream, one.quantity) == (stream, quantity))
        assert rows_of(store, stream, quantity) == [(one.t, one.value, one.unit, LIVE) for one in mine]


# --- reading back


def test_a_channel_never_heard_is_an_empty_series(store):
    store.keep_readings([said()])
    series, empty = store.series("home/hall", TEMPERATURE), empty_series()
    assert len(series) == 0
    for name in ("t", "value", "unit", "origin"):
        assert getattr(series, name).dtype == getattr(empty, name).dtype
    assert (series.units, series.origins) == ((), ())
    assert store.bounds("home/hall", TEMPERATURE) is None


def test_a_series_takes_its_start_in_and_leaves_its_end_out(store):
    store.keep_readings([said(t=T + i) for i in range(5)])
    assert store.series("home/hall", HUMIDITY, T + 1, T + 3).t.tolist() == [T + 1, T + 2]
    assert store.series("home/hall", HUMIDITY, T + 3).t.tolist() == [T + 3, T + 4]
    assert store.series("home/hall", HUMIDITY, end=T + 1).t.tolist() == [T]
    assert len(store.series("home/hall", HUMIDITY, T + 1, T + 1)) == 0


def test_a_long_series_comes_back_whole_and_in_order(store):
    times = T + 7 * np.random.default_rng(5).permutation(12_000)
    store.keep_readings([said(float(t % 97), int(t)) for t in times])
    series = store.series("home/hall", HUMIDITY)
    assert np.array_equal(series.t, np.sort(times))
    assert np.array_equal(series.value, np.sort(times) % 97)


def test_the_names_of_a_series_are_those_it_uses_in_an_order_of_their_own(store):
    store.keep_readings([said(20.0, quantity=TEMPERATURE, unit="degF"), said(unit="1", origin=BACK_FILL)])
    store.keep_readings([said(t=T + 1, unit="%", origin=LIVE)])
    series = store.series("home/hall", HUMIDITY)
    assert (series.units, series.unit.tolist()) == (("%", "1"), [1, 0])
    assert (series.origins, series.origin.tolist()) == ((BACK_FILL, LIVE), [0, 1])


def test_bounds_and_newest_arrival_need_no_order(store):
    assert store.newest_arrival() is None
    store.keep_readings([said(t=T + 5, arrival=T + 9)])
    store.keep_readings([said(t=T - 5, arrival=T + 7), said(t=T, arrival=T + 8)])
    assert store.bounds("home/hall", HUMIDITY) == (T - 5, T + 5)
    assert store.newest_arrival() == T + 9


def test_arrivals_stand_in_the_order_of_the_readings(store):
    store.keep_readings([said(t=T + 2, arrival=T + 7), said(t=T + 1, arrival=T + 8), said(t=T + 3, arrival=T + 9)])
    arrivals = store.arrivals("home/hall", HUMIDITY, T + 1, T + 3)
    assert (arrivals.dtype, arrivals.tolist()) == (np.int64, [T + 8, T + 7])


# --- marks of what is new


def test_a_batch_marks_each_stream_once_from_its_first_to_its_last_new_reading(store):
    store.keep_readings([said(t=T + 9)])
    store.keep_readings(
        [
            said(t=T + 9), said(t=T + 3), said(20.0, T + 5, quantity=TEMPERATURE, unit="degC"),
            said(t=T + 4, stream="home/attic"), said(t=T + 8, stream="home/attic"),
        ]
    )  # fmt: skip
    assert [(mark.stream, mark.first_t, mark.last_t) for mark in store.dirty()] == [
        ("home/hall", T + 9, T + 9), ("home/hall", T + 3, T + 5), ("home/attic", T + 4, T + 8),
    ]  # fmt: skip


def test_duplicates_conflicts_and_refusals_mark_nothing(store):
    store.keep_readings([said()])
    (mark,) = store.dirty()
    assert mark == Dirty(mark.id, "home/hall", T, T)
    store.settle_dirty([mark.id], [])
    store.keep_readings([said(), said(46.0)], [Refused("home/hall", "unreadable", "no number", b"x", T)])
    assert store.dirty() == []


# --- quarantine


def test_refused_bytes_are_kept_with_reason_detail_and_bytes(store):
    assert store.keep_readings([], [Refused("home/hall", "unreadable", "no number", b"\x00\xff", T)]) == Kept(0, 0, 0)
    (row,) = store.quarantine()
    assert row == Quarantined(row.id, "home/hall", None, None, "unreadable", "no number", b"\x00\xff", 1, T, T)
    assert store.heard() == []


def test_the_same_bytes_refused_again_are_counted(store):
    for arrival, raw in ((T, b"x"), (T + 1, b"x"), (T + 2, b"y")):
        store.keep_readings([], [Refused("home/hall", "unreadable", "no number", raw, arrival)])
    store.keep_readings([], [Refused("home/hall", "time-unknown", "retained", b"x", T + 3)])
    found = [(row.reason, row.raw, row.count, row.first_arrival, row.last_arrival) for row in store.quarantine()]
    assert found == [
        ("time-unknown", b"x", 1, T + 3, T + 3), ("unreadable", b"y", 1, T + 2, T + 2),
        ("unreadable", b"x", 2, T, T + 1),
    ]  # fmt: skip
    assert store.quarantine_counts() == {("home/hall", "unreadable"): 3, ("home/hall", "time-unknown"): 1}
    assert [row.reason for row in store.quarantine(limit=1)] == ["time-unknown"]


def test_a_topic_and_a_payload_of_any_length_and_letters_go_to_quarantine(store):
    odd = Refused("a\0b\ud800" + "x" * 60_000, "unreadable", "byte \0", bytes(range(256)) * 400, T)
    store.keep_readings([], [odd, odd])
    (row,) = store.quarantine()
    assert row.topic.startswith("a\\x00b\\ud800xxx")
    assert (row.raw, row.detail, row.count) == (odd.raw, "byte \\x00", 2)


def test_conflicts_are_counted_by_stream_and_time_each_once_however_often_it_comes(store):
    store.keep_readings([said(t=T + i) for i in range(3)] + [said(stream="home/attic")])
    store.keep_readings(
        [said(9.0, T), said(9.0, T), said(9.0, T + 1), said(9.0, T + 2), said(9.0, stream="home/attic")]
    )
    store.keep_readings([], [Refused("home/hall", "unreadable", "no number", b"x", T)])
    assert store.conflicts(["home/hall"], T, T + 2) == 2
    assert store.conflicts(["home/hall", "home/attic"], T, T + 1) == 2
    assert store.conflicts(["home/hall"], T + 1, T + 1) == 0
    assert store.conflicts([], T, T + 9) == 0


def test_readings_and_refusals_of_one_call_are_kept_together_or_not_at_all(store):
    with pytest.raises(StoreError, match="is no number"):
        store.keep_readings([said(math.nan)], [Refused("home/hall", "unreadable", "no number", b"x", T)])
    assert store.quarantine() == []
    mixed = store.keep_readings([said()], [Refused("home/hall", "unreadable", "no number", b"x", T)])
    assert (mixed, Counter(row.reason for row in store.quarantine())) == (Kept(1, 0, 0), {"unreadable": 1})


# --- sensors


def test_heard_sums_up_every_sensor(store):
    store.keep_readings([said(t=T + i, arrival=T + 9 + i) for i in range(3)])
    store.keep_readings([said(20.0, T - 5, quantity=TEMPERATURE, unit="degC"), said(stream="home/attic")])
    store.keep_readings([said(), said(46.0)])
    store.name_sensor("file:logger", "logger")
    assert store.heard() == [
        Heard("file:logger", "logger", (), None, None, None, 0),
        Heard("home/attic", None, (HUMIDITY,), T, T, T, 1),
        Heard("home/hall", None, (HUMIDITY, TEMPERATURE), T - 5, T + 2, T + 11, 4),
    ]


def test_a_sensor_is_found_by_its_name_before_and_after_it_is_heard(store):
    assert store.stream_of("hall") is None
    store.name_sensor("home/hall", "hall")
    store.name_sensor("home/hall", "hall")
    store.keep_readings([said()])
    assert store.stream_of("hall") == "home/hall"
    assert [(one.stream, one.name, one.readings) for one in store.heard()] == [("home/hall", "hall", 1)]


def test_a_name_belongs_to_one_sensor(store):
    store.name_sensor("home/hall", "hall")
    with pytest.raises(RecordError) as error:
        store.name_sensor("home/attic", "hall")
    assert str(error.value) == "sensor hall: the name is taken by 'home/hall'. Choose another name"
    assert [one.stream for one in store.heard()] == ["home/hall"]


def test_a_sensor_has_one_name(store):
    store.name_sensor("home/hall", "hall")
    with pytest.raises(RecordError) as error:
        store.name_sensor("home/hall", "lounge")
    assert str(error.value) == "sensor lounge: 'home/hall' is called 'hall' already. Use the name 'hall'"
    assert store.stream_of("lounge") is None


# --- for those who watch over the daemon


def test_the_newest_reading_of_each_channel_of_a_named_sensor_is_as_it_was_sent(store):
    store.keep_readings(
        [
            Reading(stream, quantity, T + minute, value + minute, unit, T + 9, LIVE)
            for stream in ("site/shelf", "site/stranger")
            for quantity, value, unit in ((HUMIDITY, 0.0, "1"), (TEMPERATURE, 68.0, "degF"))
            for minute in (1, 3, 2)
        ]
    )
    assert store.newest() == []
    store.name_sensor("site/shelf", "shelf")
    store.name_sensor("site/later", "later")
    assert store.newest() == [
        Newest("shelf", HUMIDITY, T + 3, 3.0, "1"),
        Newest("shelf", TEMPERATURE, T + 3, 71.0, "degF"),
    ]


def test_the_daemons_since_a_time_are_those_that_were_there_then(store, clock):
    first, at = store.wake(), clock.at_ms
    store.stay_awake(first, {"version": "1"})
    clock.move(10)
    second = store.wake()
    store.stay_awake(second, {"stopped": True})
    assert [(one.started, one.last, dict(one.state)) for one in store.daemons(at)] == [
        (at, at, {"version": "1"}),
        (at + 10, at + 10, {"stopped": True}),
    ]
    assert [one.started for one in store.daemons(at + 1)] == [at + 10]


def test_trying_to_write_writes_nothing(store):
    before = store.daemons(0), store.heard()
    store.try_writing()
    assert (store.daemons(0), store.heard()) == before
