"""Alarms on SQLite and on PostgreSQL: one commit with their entries and messages, all of it or nothing."""

from __future__ import annotations

import threading

import pytest
from sqlalchemy import text

from monitor.basis.alarm import HOUSE, Alarm, Message, Priority, Standing
from monitor.basis.errors import RecordError, StoreError
from monitor.basis.times import DAY, MINUTE
from monitor.basis.values import SENSORS_CHAIN, Draft, Kind
from monitor.keep.connect import PATIENCE
from monitor.seal.chain import faults

T = 1_767_600_000_000  # 2026-01-05T08:00Z, as the clock of these tests stands [ms]


def alarm(id_: str = "a", job: str = "hall", *, raised: int = T, **more) -> Alarm:
    said = {"since": raised - MINUTE, "standing": Standing.UNACKNOWLEDGED, "priority": Priority.HIGH, **more}
    return Alarm(id=id_, what="too dry", job=job, where=job, raised=raised, **said)


def message(id_: str = "m", *, alarms: tuple[str, ...] = ("a",), jobs: tuple[str, ...] = ("hall",)) -> Message:
    return Message(id_, "ada", "alarm", "too dry", "the hall is too dry", {"value": 31.5}, T, T, None, alarms, jobs)


def draft(number: int = 1) -> Draft:
    return Draft(Kind.ALARM, T, "wallclime", {"number": number})


@pytest.fixture(autouse=True)
def hall(store):
    store.append("hall", [Draft(Kind.JOB, T, "Ada")], new=True)


def written(store) -> tuple[int, list[str], list[str]]:
    """How many entries of alarms there are, the ids of alarms and of messages that wait."""
    entries = [one for chain in store.chains() for one in store.entries(chain) if one.kind is Kind.ALARM]
    waiting = store.outbox_due(T, 100)
    return len(entries), [one.id for one in store.alarms()], [one.message.id for one in waiting]


def test_entries_alarms_and_messages_are_written_together(store):
    added = store.record_alarms([("hall", draft(1))], [alarm()], [message()])
    assert store.entries("hall")[1:] == added
    assert store.alarms() == [alarm()]
    [waiting] = store.outbox_due(T, 9)
    assert waiting.message == message()


def test_an_alarm_comes_back_as_it_was(store):
    full = alarm(
        facts={"peak": 31.5, "sensors": ["shelf", "déjà"], "open": None}, notice=True, told=T, escalated=T + 1,
        acknowledged_at=T + 2, acknowledged_by="Ada", returned=T + 3, shelved_until=T + 4, shelved_by="Ben",
        shelved_reason="the window is being mended",
    )  # fmt: skip
    store.record_alarms([], [full], [])
    assert store.alarms() == [full]


def test_entries_of_several_chains_come_back_in_the_order_given(store):
    store.append("attic", [Draft(Kind.JOB, T, "Ada")], new=True)
    chains = ["hall", SENSORS_CHAIN, "attic", "hall"]
    added = store.record_alarms([(chain, draft(i)) for i, chain in enumerate(chains)], [], [])
    assert [(one.chain, one.body["number"]) for one in added] == [(chain, i) for i, chain in enumerate(chains)]
    assert [faults(store.entries(chain)) for chain in ("hall", "attic", SENSORS_CHAIN)] == [[], [], []]


@pytest.mark.parametrize("table", ["alarm", "outbox", "entry"])
def test_when_one_can_not_be_written_nothing_is(store, table):
    with store._writing() as conn:
        conn.execute(text(f"ALTER TABLE {table} RENAME TO away"))
    with pytest.raises(StoreError, match="the database refused"):
        store.record_alarms([("hall", draft())], [alarm()], [message()])
    with store._writing() as conn:
        conn.execute(text(f"ALTER TABLE away RENAME TO {table}"))
    assert written(store) == (0, [], [])


def test_an_entry_of_a_job_that_there_is_not_stops_all_of_it(store):
    with pytest.raises(RecordError) as error:
        store.record_alarms([("hall", draft()), ("den", draft())], [alarm()], [message()])
    assert str(error.value) == "job den: there is no job 'den'. wallclime job list shows the jobs there are"
    assert written(store) == (0, [], [])


def test_who_checks_sees_the_alarms_that_stand_and_may_stop_it(store):
    store.record_alarms([], [alarm(), alarm("b", standing=Standing.NORMAL)], [])

    def refuse(standing: list[Alarm]) -> None:
        assert standing == [alarm()]
        raise ValueError("another was quicker")

    with pytest.raises(ValueError, match="another was quicker"):
        store.record_alarms([("hall", draft())], [alarm("c")], [message()], check=refuse)
    assert written(store) == (0, ["a"], [])


def test_an_alarm_of_the_same_id_is_written_over(store):
    store.record_alarms([], [alarm()], [])
    seen = alarm(standing=Standing.ACKNOWLEDGED, acknowledged_by="Ada", acknowledged_at=T + MINUTE)
    store.record_alarms([], [seen], [])
    assert store.alarms() == [seen]


def test_a_message_of_the_same_id_is_kept_once_as_it_was_first(store):
    store.record_alarms([], [], [message()])
    store.outbox_sent("m", T)
    store.record_alarms([], [], [message()._replace(text="otherwise"), message("n")])
    assert [one.message.id for one in store.outbox_due(T, 9)] == ["n"]


def test_an_alarm_that_is_over_is_asked_for(store):
    over = alarm("b", raised=T - 1, standing=Standing.NORMAL)
    returned = alarm("c", standing=Standing.RETURNED)
    store.record_alarms([], [returned, alarm(), over], [])
    assert (store.alarms(), store.alarms(over=True)) == ([alarm(), returned], [over, alarm(), returned])


def test_the_history_is_of_a_job_and_from_when_an_alarm_was_written_last(store, clock):
    old, other = alarm("a", standing=Standing.NORMAL), alarm("b", HOUSE)
    store.record_alarms([], [old, other], [])
    clock.move(DAY)
    store.record_alarms([], [alarm("c")], [])
    assert store.alarm_history() == [old, other, alarm("c")]
    assert store.alarm_history("hall") == [old, alarm("c")]
    assert store.alarm_history(HOUSE) == [other]
    assert store.alarm_history("hall", since=T + 1) == [alarm("c")]


def test_of_two_evaluators_at_once_the_second_sees_what_the_first_has_written(open_at, url):
    first, second = open_at(url), open_at(url)
    inside, seen = threading.Event(), []

    def slowly(_standing: list[Alarm]) -> None:
        inside.set()
        waits.join(0.2)  # the other is at the door by then, or comes later: either way it waits

    def late() -> None:
        inside.wait(20)
        second.record_alarms([], [alarm("b", HOUSE)], [], check=seen.extend)

    waits = threading.Thread(target=late)
    waits.start()
    first.record_alarms([], [alarm()], [message()], check=slowly)
    waits.join(2 * PATIENCE / 1000)
    assert (seen, first.alarms()) == ([alarm()], [alarm(), alarm("b", HOUSE)])


# --- what is let go


def test_only_what_is_over_and_old_is_let_go_and_no_more_at_a_time_than_is_said(store, clock):
    over = [alarm(f"over {i}", standing=Standing.NORMAL) for i in range(5)]
    stands = [alarm(one.value, standing=one) for one in Standing if one is not Standing.NORMAL]
    store.record_alarms([], [*over, *stands], [])
    clock.move(DAY)
    store.record_alarms([], [alarm("young", standing=Standing.NORMAL)], [])
    assert [store.prune_alarms(T + 1, 3) for _ in range(3)] == [3, 2, 0]
    assert {one.id for one in store.alarms(over=True)} == {"young", *(one.id for one in stands)}


def test_of_messages_only_what_was_told_or_given_up_long_ago_is_let_go(store):
    names = ("waits", "dead", "dead now", "told", "told too", "told now")
    store.record_alarms([], [], [message(name) for name in names])
    store.outbox_failed("dead", T, "no", None)
    store.outbox_failed("dead now", T + DAY, "no", None)
    for name, at in (("told", T), ("told too", T + 1), ("told now", T + DAY)):
        store.outbox_sent(name, at)
    assert [store.prune_outbox(T + DAY, 2) for _ in range(3)] == [2, 1, 0]
    assert [one.message.id for one in store.outbox_due(T + 9 * DAY, 9)] == ["waits"]
    assert [one.message.id for one in store.dead_letters()] == ["dead now"]
    assert store.outbox_counts() == {"waiting": 1, "sent": 1, "dead": 1}
