"""What the daemon does on schedule: judges whoever settled what was heard, tidies up, seals, copies the store."""

from unittest import mock

import pytest
from desks import NOW, T0, furnish, hear, steady

from monitor.basis.errors import StoreError, WallclimeError
from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import Kind, Refused
from monitor.watch import works
from monitor.watch.judging import assess, settle


def completions(desk):
    return [entry.at for entry in desk.book.log("den") if entry.kind is Kind.COMPLETION]


def test_what_another_process_has_settled_is_written_down_all_the_same(desk):
    furnish(desk)
    looked = {}
    works.judge_what_was_heard(desk, looked)
    hear(desk, steady(T0, 50))
    settle(desk)  # as a status does
    works.judge_what_was_heard(desk, looked)
    assert completions(desk) == [T0 + 48 * HOUR]


def test_a_completion_that_time_alone_brings_is_written_down(desk):
    furnish(desk)
    hear(desk, steady(T0, 48))  # the last reading at 47:50 speaks for 30 min
    looked = {}
    desk.clock.move(T0 + 48 * HOUR - 5 * MINUTE - desk.clock.now())
    works.judge_what_was_heard(desk, looked)
    assert completions(desk) == []
    desk.clock.move(6 * MINUTE)
    works.judge_what_was_heard(desk, looked)
    assert completions(desk) == [T0 + 48 * HOUR]


def test_a_job_that_can_not_be_judged_is_tried_again_the_next_time(desk):
    furnish(desk)
    hear(desk, steady(T0, 50))
    looked = {}
    away = StoreError("away", where="store", mend="wait")
    with (
        mock.patch("monitor.watch.works.note_completions", side_effect=away),
        pytest.raises(WallclimeError, match=r"^store: away\. wait$"),
    ):
        works.judge_what_was_heard(desk, looked)
    assert (completions(desk), looked) == ([], {})
    works.judge_what_was_heard(desk, looked)
    assert completions(desk) == [T0 + 48 * HOUR]


def test_a_job_that_heard_nothing_new_is_not_judged_again(desk):
    furnish(desk)
    hear(desk, steady(T0, 50))
    looked = {}
    works.judge_what_was_heard(desk, looked)
    with mock.patch("monitor.watch.works.note_completions") as judged:
        works.judge_what_was_heard(desk, looked)
    assert not judged.called
    assert assess(desk, "den").as_of == NOW


def test_the_quarantine_is_kept_within_bounds_and_what_goes_is_counted(desk):
    desk.store.keep_readings([], [Refused("t", "unreadable", "no", b"x", NOW - 500 * DAY)])
    works.tidy(desk)
    assert desk.store.quarantine() == []
    assert desk.store.quarantine_loss() == {"unreadable": 1}


def test_a_day_that_is_due_is_closed_and_said(desk, caplog):
    hear(desk, steady(T0, 24))
    desk.clock.at_ms = T0 + DAY + 2 * HOUR
    with caplog.at_level("INFO", "wallclime"):
        works.seal_days(desk)
        works.seal_days(desk)
    [head] = desk.store.heads()
    [said] = [record for record in caplog.records if record.getMessage() == "sealed"]
    assert (said.fields["closes"], said.fields["head"], said.fields["leaves"]) == ("2026-01-05", 1, head.size)
