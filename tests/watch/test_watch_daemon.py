"""What the daemon writes down of the jobs: whoever settled what was heard, what time alone completes, what failed."""

from unittest import mock

from desks import NOW, T0, furnish, hear, steady

from monitor.basis.errors import StoreError
from monitor.basis.times import HOUR, MINUTE
from monitor.basis.values import Kind
from monitor.watch import daemon
from monitor.watch.judging import assess, settle


def completions(desk):
    return [entry.at for entry in desk.book.log("den") if entry.kind is Kind.COMPLETION]


def test_what_another_process_has_settled_is_written_down_all_the_same(desk):
    furnish(desk)
    looked = {}
    daemon.judge_what_was_heard(desk, looked)
    hear(desk, steady(T0, 50))
    settle(desk)  # as a status does
    daemon.judge_what_was_heard(desk, looked)
    assert completions(desk) == [T0 + 48 * HOUR]


def test_a_completion_that_time_alone_brings_is_written_down(desk):
    furnish(desk)
    hear(desk, steady(T0, 48))  # the last reading at 47:50 speaks for 30 min
    looked = {}
    desk.clock.move(T0 + 48 * HOUR - 5 * MINUTE - desk.clock.now())
    daemon.judge_what_was_heard(desk, looked)
    assert completions(desk) == []
    desk.clock.move(6 * MINUTE)
    daemon.judge_what_was_heard(desk, looked)
    assert completions(desk) == [T0 + 48 * HOUR]


def test_a_job_that_can_not_be_judged_is_tried_again_the_next_time(desk):
    furnish(desk)
    hear(desk, steady(T0, 50))
    looked = {}
    away = StoreError("away", where="store", mend="wait")
    with mock.patch("monitor.watch.daemon.note_completions", side_effect=away):
        daemon.judge_what_was_heard(desk, looked)
    assert (completions(desk), looked) == ([], {})
    daemon.judge_what_was_heard(desk, looked)
    assert completions(desk) == [T0 + 48 * HOUR]


def test_a_job_that_heard_nothing_new_is_not_judged_again(desk):
    furnish(desk)
    hear(desk, steady(T0, 50))
    looked = {}
    daemon.judge_what_was_heard(desk, looked)
    with mock.patch("monitor.watch.daemon.note_completions") as judged:
        daemon.judge_what_was_heard(desk, looked)
    assert not judged.called
    assert assess(desk, "den").as_of == NOW
