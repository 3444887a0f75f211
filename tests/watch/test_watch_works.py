"""What the daemon does on schedule: judges whoever settled what was heard, tidies up, seals, copies the store."""

from dataclasses import replace
from itertools import chain, repeat
from pathlib import Path
from unittest import mock

import pytest
from desks import NOW, T0, furnish, hear, opening, steady

from monitor.basis.alarm import Alarm, Message, Priority, Standing
from monitor.basis.errors import StoreError, WallclimeError
from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import Kind, Refused
from monitor.config.alarms import Backup, Boards
from monitor.keep.rows import Doing
from monitor.keep.store import open_copy
from monitor.rules.judge import judge as evaluate
from monitor.seal.chain import link
from monitor.watch.job.jobs import open_job
from monitor.watch.judging import assess, settle
from monitor.watch.service import works
from monitor.watch.service.schedule import Every, Schedule
from monitor.watch.upkeep import backup, examine, goes_on


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
        mock.patch("monitor.watch.service.works.judge_and_note", side_effect=away),
        pytest.raises(WallclimeError, match=r"^store: away\. wait$"),
    ):
        works.judge_what_was_heard(desk, looked)
    assert (completions(desk), looked) == ([], {})
    works.judge_what_was_heard(desk, looked)
    assert completions(desk) == [T0 + 48 * HOUR]


def test_a_fault_of_ours_in_one_job_is_told_as_that_jobs_and_stops_no_other(desk):
    furnish(desk)
    open_job(desk, opening("attic", boxes_place="den"), who="robin")
    hear(desk, steady(T0, 50))
    looked, judge = {}, works.judge_and_note

    def judged(desk, job, *how):
        return 1 // 0 if job == "attic" else judge(desk, job, *how)

    what = "^job attic: a fault of wallclime: ZeroDivisionError"
    with (
        mock.patch("monitor.watch.service.works.judge_and_note", side_effect=judged),
        pytest.raises(WallclimeError, match=what),
    ):
        works.judge_what_was_heard(desk, looked)
    assert (completions(desk), list(looked)) == ([T0 + 48 * HOUR], ["den"])


def test_a_job_that_heard_nothing_new_is_not_judged_again(desk):
    furnish(desk)
    hear(desk, steady(T0, 50))
    looked = {}
    works.judge_what_was_heard(desk, looked)
    with mock.patch("monitor.watch.service.works.judge_and_note") as judged:
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


def test_what_was_told_or_is_over_for_more_than_400_days_is_let_go(desk):
    def alarm(id_: str, standing: Standing) -> Alarm:
        return Alarm(id_, "too dry", "", "", NOW, NOW, standing, Priority.LOW)

    stands = alarm("stands", Standing.UNACKNOWLEDGED)
    messages = [Message(name, "ada", "alarm", "s", "t", {}, NOW, NOW) for name in ("told", "waits")]
    desk.store.record_alarms([], [stands, alarm("over", Standing.NORMAL)], messages)
    desk.store.outbox_sent("told", NOW)
    for length, left in ((400 * DAY, 2), (1, 1)):
        desk.clock.move(length)
        works.tidy(desk)
        assert len(desk.store.alarms(over=True)) == left
        assert desk.store.outbox_counts() == {"waiting": 1, "sent": left - 1, "dead": 0}
    assert desk.store.alarms() == [stands]


def test_what_came_too_late_to_be_told_is_said(desk, caplog):
    desk.store.record_alarms([], [], [Message("m", "ada", "digest", "s", "t", {}, NOW, NOW, NOW + MINUTE)])
    desk.clock.move(MINUTE)
    works.tidy(desk)
    assert [(one.getMessage(), one.fields) for one in caplog.records] == [("messages expired", {"count": 1})]


# --- copies of the store ---


def scheduled(desk, **asked):
    """A daemon whose settings ask for something."""
    schedule = Schedule(desk)
    schedule.take(works.works_of(desk._replace(settings=replace(desk.settings, **asked)), lambda: None, {}))
    return schedule


def test_days_are_closed_at_each_start_at_once(desk):
    """A daemon that is killed within minutes, again and again, would else never seal."""
    [seal] = [one for one in works.works_of(desk, lambda: None, {}) if one.name == "seal"]
    assert seal.trigger == Every(works.SEAL, soon=True)


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


@pytest.fixture
def away(tmp_path) -> Path:
    """The folder that copies go to."""
    (tmp_path / "away").mkdir()
    return tmp_path / "away"


def test_once_a_day_the_store_is_copied_and_the_newest_copies_stay(desk, away):
    for day in range(4):
        daemon = scheduled(desk, backup=Backup(away, DAY, 2))
        for _ in range(2):
            daemon.turn("backup")
        assert len(names(away)) == min(day + 1, 2)
        desk.clock.move(DAY)
    assert names(away) == ["wallclime-scheduled-20260119T000000Z.db", "wallclime-scheduled-20260120T000000Z.db"]


def test_a_copy_is_whole_and_of_this_store(desk, away):
    furnish(desk)
    copy = works.back_up(desk, Backup(away))
    with open_copy(copy, clock=desk.clock, link=link) as store:
        assert goes_on(examine(store, "copy"), desk.store)
    assert copy.stat().st_mode & 0o777 == 0o600


def test_a_backup_that_somebody_made_themselves_is_never_removed(desk, away):
    own = backup(desk, away).path
    for _ in range(3):
        copy = works.back_up(desk, Backup(away, keep=1))
        desk.clock.move(DAY)
    assert names(away) == sorted([own.name, copy.name])


def test_a_copy_dated_by_a_clock_that_ran_ahead_does_not_drive_out_those_that_follow(desk, away):
    desk.clock.move(900 * DAY)
    works.back_up(desk, Backup(away, keep=2))
    desk.clock.move(-900 * DAY)
    made = []
    for _ in range(2):
        made.append(works.back_up(desk, Backup(away, keep=2)).name)
        desk.clock.move(DAY)
    assert names(away) == made


def test_what_a_killed_daemon_has_left_of_a_copy_is_removed(desk, away):
    for ending in ("part", "part-journal"):
        (away / f"wallclime-scheduled-20260101T000000Z.{ending}").write_bytes(b"half of it")
    copy = works.back_up(desk, Backup(away))
    assert names(away) == [copy.name]


def test_a_folder_that_is_not_there_is_a_failed_work_and_the_next_try_may_go_well(desk, tmp_path, caplog):
    daemon = scheduled(desk, backup=Backup(tmp_path / "disk"))
    daemon.turn("backup")
    run = next(run for run in daemon.runs() if run.name == "backup")
    assert (run.state, run.error) == (
        Doing.FAILED,
        f"{tmp_path}/disk: there is no such folder. Make it, or see that its disk is there; "
        "[backup] to in wallclime.toml names it",
    )
    assert [one.getMessage() for one in caplog.records] == ["scheduled work failed"]
    (tmp_path / "disk").mkdir()
    desk.clock.move(10 * MINUTE)
    daemon.turn("backup")
    assert len(names(tmp_path / "disk")) == 1


def test_a_folder_that_takes_no_file_is_told(desk, away):
    refused = OSError(30, "Read-only file system")
    with mock.patch.object(Path, "rename", side_effect=refused), pytest.raises(StoreError) as error:
        works.back_up(desk, Backup(away))
    assert str(error.value) == (f"{away}: it can't be written (Read-only file system). Let this user write the folder")


# --- the board ---


def test_the_board_is_written_into_the_folder_that_is_asked_for(desk, tmp_path):
    furnish(desk)
    hear(desk, steady(T0, 24))
    daemon = scheduled(desk, board=Boards(tmp_path / "board"))
    daemon.turn("board")
    assert "den" in (tmp_path / "board" / "index.html").read_text(encoding="utf-8")


def test_reports_of_the_board_that_can_not_be_written_are_said(desk, tmp_path, caplog):
    with mock.patch("monitor.watch.papers.walls.write_boards", return_value=mock.Mock(failed=2)):
        scheduled(desk, board=Boards(tmp_path)).turn("board")
    assert [(one.getMessage(), one.fields) for one in caplog.records] == [
        ("reports of the board not written", {"count": 2})
    ]


def test_without_being_asked_for_nothing_is_copied_nor_drawn(desk):
    assert {"backup", "board"}.isdisjoint(run.name for run in scheduled(desk).runs())


def test_the_judging_lets_what_was_missed_be_drained_first(desk):
    furnish(desk)
    hear(desk, steady(T0, 50))
    waits = chain([True, True], repeat(False))
    with mock.patch("monitor.watch.service.works.time.sleep") as slept:
        works.judge_what_was_heard(desk, {}, draining=lambda: next(waits))
    assert slept.call_count == 2
    assert completions(desk) == [T0 + 48 * HOUR]


def test_the_judging_does_not_wait_for_ever_for_what_is_drained(desk):
    furnish(desk)
    hear(desk, steady(T0, 50))
    with mock.patch("monitor.watch.service.works.time.sleep") as slept:
        works.judge_what_was_heard(desk, {}, draining=lambda: True)
    assert sum(call.args[0] for call in slept.call_args_list) == pytest.approx(works.LULL, abs=works.NAP)
    assert completions(desk) == [T0 + 48 * HOUR]


def test_the_sealing_lets_what_was_missed_be_drained_first(desk):
    furnish(desk)
    hear(desk, steady(T0, 50))
    waits = chain([True, True], repeat(False))
    every = works.works_of(desk, lambda: None, {}, draining=lambda: next(waits))
    [seal] = [one for one in every if one.name == "seal"]
    with mock.patch("monitor.watch.service.works.time.sleep") as slept:
        seal.run("")
    assert slept.call_count == 2
    assert desk.store.last_closed() is not None


def test_what_was_judged_is_looked_at_without_being_judged_again(desk):
    furnish(desk)
    hear(desk, steady(T0, 50))
    judge, look = (one for one in works.works_of(desk, lambda: None, {}) if one.name in ("judge", "look"))
    with mock.patch("monitor.watch.judging.judge", wraps=evaluate) as judged:
        judge.run("")
        look.run("")
        assert judged.call_count == 1
        desk.clock.move(5 * MINUTE)  # what was judged longer ago is not looked at any more
        look.run("")
        assert judged.call_count == 2


def test_what_a_round_left_free_goes_back_to_the_computer(desk):
    furnish(desk)
    [look] = (one for one in works.works_of(desk, lambda: None, {}) if one.name == "look")
    with mock.patch("monitor.watch.service.works.give_back") as given:
        look.run("")
    assert given.call_count == 1
