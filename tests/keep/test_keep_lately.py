"""What is asked of many channels at once, on SQLite and on PostgreSQL, and in how many queries it is asked."""

from __future__ import annotations

import pytest
from sqlalchemy import event

from monitor.basis.values import LIVE, Quantity, Reading
from monitor.keep.connect import LISTED, listed

T = 1_767_600_000_000  # 2026-01-05T08:00Z [ms]
HUMIDITY = Quantity.AIR_HUMIDITY
MANY = 300  # more than are asked at once


def hear(store, streams, t=T) -> None:
    store.keep_readings([Reading(stream, HUMIDITY, t, float(k), "%", t, LIVE) for k, stream in enumerate(streams)])


def streams_of(count: int) -> list[str]:
    return [f"site/{k}" for k in range(count)]


@pytest.mark.parametrize("count", [0, 1, 2, 3, LISTED - 1, LISTED, LISTED + 3])
def test_a_list_is_asked_for_in_parts_of_few_lengths_and_whole(count):
    parts = list(listed(range(count)))
    assert [one for part in parts for one in dict.fromkeys(part)] == list(range(count))
    assert {len(part) for part in parts} <= {2**n for n in range(9)}


def test_the_sums_of_more_streams_than_are_asked_for_at_once(store):
    streams = streams_of(MANY)
    hear(store, [*streams, "site/other"])
    found = store.sums(streams)
    assert set(found) == set(streams)
    assert {sums[HUMIDITY][1:] for sums in found.values()} == {(T, T, 1)}


def test_no_streams_have_no_sums(store):
    hear(store, ["site/0"])
    assert store.sums([]) == {}


@pytest.mark.parametrize("count", [1, 50, 51, MANY])
def test_what_came_since_is_told_of_each_channel_in_the_order_of_asking(store, count):
    streams = streams_of(count)
    for t in (T, T + 1):
        hear(store, streams, t)
    sums = store.sums(streams)
    found = store.since([(sums[stream][HUMIDITY].id, T + 1) for stream in reversed(streams)])
    expected = [([T + 1], [float(k)]) for k in reversed(range(count))]
    assert [(one.t.tolist(), one.value.tolist()) for one in found] == expected
    assert {(one.units, one.origins) for one in found} == {(("%",), (LIVE,))}


def test_channels_that_said_nothing_since_are_told_as_silent(store):
    hear(store, ["site/0"])
    [found] = store.since([(store.sums(["site/0"])["site/0"][HUMIDITY].id, T + 1)])
    assert len(found) == 0
    assert store.since([]) == []


def test_rounds_over_ever_other_numbers_of_sensors_ask_few_different_queries(store):
    """Each connection keeps its queries prepared, those with long lists in a tenth of a megabyte each."""
    streams, asked = streams_of(MANY), set()
    event.listen(store._engine, "before_cursor_execute", lambda *args: asked.add(args[2]))
    for count in range(200, MANY, 4):
        hear(store, streams[:count], T + count)
        store.settle_dirty([mark.id for mark in store.dirty()], [])
        store.since([(sums[HUMIDITY].id, T) for sums in store.sums(streams[:count]).values()])
    with_lists = [text for text in asked if " IN (" in text or "UNION ALL" in text]
    assert len(with_lists) < 25, sorted(text[:40] for text in with_lists)
