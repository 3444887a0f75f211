"""Messages on their way, on SQLite and on PostgreSQL: due, told, tried in vain, given up."""

from __future__ import annotations

import pytest

from monitor.basis.alarm import Message
from monitor.keep.rows import Outgoing, Post

T = 1_767_600_000_000  # 2026-01-05T08:00Z [ms]


def message(id_: str, *, made: int = T, not_before: int = T, expires: int | None = None) -> Message:
    return Message(id_, "ada", "alarm", "too dry", "déjà\nvu", {"value": 31.5}, made, not_before, expires, ("a",))


def post(store, *messages: Message) -> None:
    store.record_alarms([], [], messages)


def due(store, now: int = T, limit: int = 9) -> list[str]:
    return [one.message.id for one in store.outbox_due(now, limit)]


def test_a_message_comes_back_as_it_was_made(store):
    full = Message("m", "ada", "digest", "s", "t", {"a": [1, None, {"b": 0.1}]}, T, T, T + 9, ("a", "b"), ("hall", "é"))
    post(store, full)
    assert store.outbox_due(T, 9) == [Outgoing(full, Post.WAITING, T, 0, None)]


def test_the_oldest_are_due_first_and_no_more_than_is_asked_for(store):
    post(store, message("c", made=T + 1), message("b"), message("a", made=T + 2))
    assert (due(store), due(store, limit=2)) == (["b", "c", "a"], ["b", "c"])


@pytest.mark.parametrize("name", ["ben", 'b"en', "b%n", "b_n", "bén"])
def test_a_heap_of_messages_to_one_contact_hides_nobody_elses(store, name):
    heap = [message(f"heap {number}") for number in range(5)]
    like = [message(other)._replace(contact=other, made=T + 1) for other in ("ben", 'b"en', "b%n", "b_n", "bén", "bxn")]
    post(store, *heap, *like)
    assert [one.message.id for one in store.outbox_due(T, 2, name)] == [name]


def test_a_message_is_due_from_its_time_on_and_not_any_more_when_it_expires(store):
    post(store, message("m", not_before=T + 5, expires=T + 8))
    assert [due(store, T + at) for at in (4, 5, 7, 8)] == [[], ["m"], ["m"], []]


def test_what_was_told_is_not_due_again(store):
    post(store, message("m"))
    store.outbox_sent("m", T + 1)
    assert (due(store, T + 9), store.outbox_counts()) == ([], {Post.WAITING: 0, Post.SENT: 1, Post.DEAD: 0})


def test_what_failed_is_tried_again_at_the_time_given_and_counted(store):
    post(store, message("m"))
    store.outbox_failed("m", T, "no answer", T + 60)
    assert due(store, T + 59) == []
    store.outbox_failed("m", T + 60, "answer 500", T + 120)
    assert store.outbox_due(T + 120, 9) == [Outgoing(message("m"), Post.WAITING, T + 120, 2, "answer 500")]


def test_what_is_given_up_is_a_dead_letter_with_the_reason(store):
    post(store, message("m"), message("n"))
    store.outbox_failed("m", T, "no answer", T + 60)
    store.outbox_failed("m", T + 60, "no such address", None)
    store.outbox_failed("n", T + 61, "no", None)
    assert due(store, T + 999) == []
    assert store.dead_letters() == [
        Outgoing(message("n"), Post.DEAD, T + 61, 1, "no"),
        Outgoing(message("m"), Post.DEAD, T + 60, 2, "no such address"),
    ]
    assert [one.message.id for one in store.dead_letters(limit=1)] == ["n"]


@pytest.mark.parametrize("again", [None, T + 60])
def test_what_was_told_or_given_up_does_not_wait_again(store, again):
    post(store, message("told"), message("dead"))
    store.outbox_sent("told", T)
    store.outbox_failed("dead", T, "no", None)
    store.outbox_failed("told", T + 1, "late", again)
    store.outbox_sent("dead", T + 1)
    assert store.outbox_counts() == {Post.WAITING: 0, Post.SENT: 1, Post.DEAD: 1}
    assert [(one.message.id, one.tries) for one in store.dead_letters()] == [("dead", 1)]


def test_what_expired_is_given_up_and_counted(store):
    post(store, message("late", expires=T + 5), message("in time", expires=T + 6), message("any time"))
    assert [store.outbox_expire(at) for at in (T + 4, T + 5, T + 5)] == [0, 1, 0]
    assert [(one.message.id, one.at, one.error) for one in store.dead_letters()] == [
        ("late", T + 5, "it came too late to be told")
    ]


def test_all_that_waits_is_given_up_at_once_for_one_reason(store):
    post(store, message("a"), message("b", not_before=T + 60), message("told"))
    store.outbox_sent("told", T)
    assert store.outbox_give_up(T + 1, "the store was restored") == 2
    assert {(one.message.id, one.at, one.error) for one in store.dead_letters()} == {
        ("a", T + 1, "the store was restored"), ("b", T + 1, "the store was restored"),
    }  # fmt: skip
    assert store.outbox_counts() == {Post.WAITING: 0, Post.SENT: 1, Post.DEAD: 2}


def test_a_number_that_json_can_not_hold_is_refused_before_anything_is_written(store):
    with pytest.raises(ValueError, match="not JSON compliant"):
        post(store, message("a"), Message("b", "ada", "alarm", "s", "t", {"value": float("nan")}, T, T))
    assert due(store) == []


def test_when_messages_were_made_is_told_by_contact(store):
    post(store, message("a"), message("b", made=T + 2), message("c", made=T + 1), message("d", made=T + 3))
    store.outbox_sent("c", T + 9)
    assert store.outbox_made(T) == {"ada": [T + 1, T + 2, T + 3]}
    assert store.outbox_made(T + 3) == {}


# --- claimed, hurried, tried in vain


def test_a_message_is_claimed_by_one_until_its_claim_is_over(store):
    post(store, message("m"))
    assert [store.outbox_claim("m", T, T + 10) for _ in range(2)] == [True, False]
    assert [due(store, T + at) for at in (9, 10)] == [[], ["m"]]
    store.outbox_sent("m", T + 5)
    assert not store.outbox_claim("m", T + 99, T + 100)


def test_what_was_tried_in_vain_may_be_hurried_and_nothing_else(store):
    post(store, message("tried"), message("quiet", not_before=T + 50), message("other"))
    for id_ in ("tried", "other"):
        store.outbox_failed(id_, T, "no", T + 40)
    store.outbox_hurry(["tried", "quiet", "unknown"], T + 1)
    assert due(store, T + 1) == ["tried"]
    assert [(one.message.id, one.tries) for one in store.outbox_failing()] == [("other", 1), ("tried", 1)]


def test_what_waits_for_a_later_time_can_be_withdrawn_and_nothing_else(store):
    late = [message(id_, not_before=T + 5) for id_ in ("later", "sent")]
    post(store, message("now"), message("tried"), message("claimed"), *late)
    store.outbox_failed("tried", T, "it does not answer", T + 9)
    assert store.outbox_claim("claimed", T, T + 9)
    store.outbox_sent("sent", T)
    assert [one.id for one in store.outbox_held(T)] == ["later"]
    store.record_alarms([], [], [], withdrawn=["later", "sent", "none"])
    assert store.outbox_held(T) == []
    assert store.outbox_counts() == {Post.WAITING: 3, Post.SENT: 1, Post.DEAD: 0}
