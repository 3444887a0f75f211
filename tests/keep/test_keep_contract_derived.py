"""What every store does with derived rows, on SQLite and on PostgreSQL."""

from __future__ import annotations

import pytest

from monitor.basis.errors import StoreError
from monitor.basis.times import DAY
from monitor.basis.values import LIVE, Quantity, Reading
from monitor.keep.rows import Checkpoint, CheckpointHead, Stale

T = 1_767_571_200_000  # 2026-01-05T00:00Z [ms]


def checkpoint(day: int, *, state: bytes = b"state", product: bytes = b"", reach: int = 0, waits_for=()) -> Checkpoint:
    """One of the midnight that ends day number `day`, resting on it, `reach` more and what `waits_for` names."""
    midnight = T + day * DAY
    depends_until = midnight - 1 + reach
    return Checkpoint(
        midnight, midnight - DAY, depends_until, tuple(waits_for), 1, b"frame", b"b4", b"after", state, product
    )


def news(first_t: int, last_t: int, *, job="hall", stream="room") -> Stale:
    return Stale(job, stream, first_t, last_t)


def stale_days(store, job="hall", variant="own"):
    return [(head.midnight - T) // DAY for head in store.checkpoint_heads(job, variant) if head.stale]


def put(store, *rows, job="hall", variant="own", drop=()):
    return store.put_checkpoints(job, variant, rows, drop=drop, generation=store.generation(job))


def test_checkpoints_come_back_in_order_with_their_states_and_products(store):
    rows = [
        checkpoint(2, state=b"two", product=b"P2"),
        checkpoint(1, state=b"one", product=b"P1", waits_for=["a", "b"]),
        checkpoint(3),
    ]
    assert put(store, *rows) is True
    assert store.checkpoint_heads("hall", "own") == [
        CheckpointHead(
            T + day * DAY, T + (day - 1) * DAY, T + day * DAY - 1, streams, 1, b"frame", b"b4", b"after", False, product
        )
        for day, streams, product in ((1, ("a", "b"), b"P1"), (2, (), b"P2"), (3, (), b""))
    ]
    assert store.checkpoint_state("hall", "own", T + 2 * DAY) == b"two"


def test_jobs_and_variants_do_not_mix(store):
    put(store, checkpoint(1))
    put(store, checkpoint(2), variant="strict")
    put(store, checkpoint(3), job="loft")
    assert [head.midnight for head in store.checkpoint_heads("hall", "own")] == [T + DAY]
    store.forget_checkpoints("hall")
    assert store.checkpoint_heads("hall", "strict") == []
    assert len(store.checkpoint_heads("loft", "own")) == 1


def test_a_checkpoint_of_the_same_midnight_is_replaced_and_dropped_ones_go(store):
    put(store, checkpoint(1, state=b"old"), checkpoint(2), checkpoint(3))
    assert put(store, checkpoint(1, state=b"new"), drop=[T + 3 * DAY]) is True
    assert [(head.midnight - T) // DAY for head in store.checkpoint_heads("hall", "own")] == [1, 2]
    assert store.checkpoint_state("hall", "own", T + DAY) == b"new"


def test_a_missing_checkpoint_says_which(store):
    with pytest.raises(StoreError) as error:
        store.checkpoint_state("hall", "own", T)
    assert str(error.value) == (
        "job hall: there is no checkpoint of 2026-01-05T00:00:00Z (own). It was made anew meanwhile: try again"
    )


def test_settling_makes_what_rests_on_the_new_times_stale_and_nothing_else(store):
    put(store, checkpoint(1), checkpoint(2, reach=5), checkpoint(3), checkpoint(4))
    put(store, checkpoint(3), variant="strict")
    put(store, checkpoint(3), job="loft")
    store.settle_dirty([], [news(T + 2 * DAY + 4, T + 2 * DAY + 9)])
    assert (stale_days(store), stale_days(store, variant="strict"), stale_days(store, "loft")) == ([2, 3], [3], [])


def test_the_first_and_last_time_of_a_checkpoint_are_its_own(store):
    put(store, checkpoint(2))
    store.settle_dirty([], [news(T, T + DAY - 1), news(T + 2 * DAY, T + 3 * DAY)])
    assert stale_days(store) == []
    store.settle_dirty([], [news(T, T + DAY)])
    assert stale_days(store) == [2]
    put(store, checkpoint(2))
    store.settle_dirty([], [news(T + 2 * DAY - 1, T + 2 * DAY - 1)])
    assert stale_days(store) == [2]


def test_a_checkpoint_that_waits_for_a_stream_is_stale_at_its_next_reading_however_late(store):
    put(store, checkpoint(1, waits_for=["room"]), checkpoint(2), checkpoint(3, waits_for=["room"]))
    store.settle_dirty([], [news(T + 9 * DAY, T + 9 * DAY, stream="attic")])
    assert stale_days(store) == []
    store.settle_dirty([], [news(T + DAY + 5, T + DAY + 5)])
    assert stale_days(store) == [1, 2]
    store.settle_dirty([], [news(T + 9 * DAY, T + 9 * DAY)])
    assert stale_days(store) == [1, 2, 3]


def test_a_stale_checkpoint_that_is_put_again_is_fresh(store):
    put(store, checkpoint(1))
    store.settle_dirty([], [news(T, T)])
    put(store, checkpoint(1))
    assert stale_days(store) == []


def test_settling_deletes_the_marks_it_names_and_raises_each_job_once(store):
    for i in range(3):
        store.keep_readings([Reading("room", Quantity.AIR_HUMIDITY, T + i, 45.0, "%", T, LIVE)])
    marks = store.dirty()
    store.settle_dirty([mark.id for mark in marks[:2]], [news(T, T), news(T + 1, T + 1), news(T, T, job="loft")])
    assert store.dirty() == marks[2:]
    assert [store.generation(job) for job in ("hall", "loft", "attic")] == [1, 1, 0]


def test_a_settled_id_never_comes_back(store):
    """A second evaluator that read the same mark must not settle a younger one by it."""
    store.keep_readings([Reading("room", Quantity.AIR_HUMIDITY, T, 45.0, "%", T, LIVE)])
    (mark,) = store.dirty()
    store.settle_dirty([mark.id], [])
    store.keep_readings([Reading("room", Quantity.AIR_HUMIDITY, T + 1, 45.0, "%", T, LIVE)])
    store.settle_dirty([mark.id], [])
    assert [left.first_t for left in store.dirty()] == [T + 1]


def test_checkpoints_of_an_older_generation_are_not_written(store):
    put(store, checkpoint(1, state=b"old"))
    before = store.generation("hall")
    store.settle_dirty([], [news(T, T)])
    rows = [checkpoint(1, state=b"late"), checkpoint(2)]
    assert store.put_checkpoints("hall", "own", rows, drop=[T + DAY], generation=before) is False
    assert store.checkpoint_state("hall", "own", T + DAY) == b"old"
    assert stale_days(store) == [1]


def test_forgetting_raises_the_generation_so_that_nothing_computed_before_is_put_back(store):
    put(store, checkpoint(1))
    before = store.generation("hall")
    store.forget_checkpoints("hall")
    assert store.put_checkpoints("hall", "own", [checkpoint(1)], generation=before) is False
    assert store.checkpoint_heads("hall", "own") == []
