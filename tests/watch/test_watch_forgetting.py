"""Holds and forgetting: what may go, what stays, and that the verdict and the chain do not notice."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

import pytest
from desks import NOW, T0, clock, furnish, hear, kinds, opening, steady
from tiny_pictures import plain_jpeg

from monitor.basis.alarm import Alarm, Message, Priority, Standing
from monitor.basis.errors import RecordError
from monitor.basis.times import DAY, HOUR
from monitor.basis.values import Draft, Kind, Quantity
from monitor.config.alarms import Backup
from monitor.rules.frame import effective
from monitor.seal import chain
from monitor.tell import diary as told
from monitor.tell.upkeep import forgotten, numbered
from monitor.tell.words import Display
from monitor.watch.alarm_acts import shelve_alarm
from monitor.watch.book import linked
from monitor.watch.desk import Desk, open_desk
from monitor.watch.evidence.forgetting import FREE, PERSONAL, forget, held, hold, refuse_held, release
from monitor.watch.job import diary, life
from monitor.watch.job.attach import File, Shown, photos
from monitor.watch.job.entering import add
from monitor.watch.job.jobs import close_job, facts_of, open_job
from monitor.watch.judging import assess, note_completions
from monitor.watch.papers.pages import report_page
from monitor.watch.papers.screens import job_rows
from monitor.watch.papers.sheets import write_handover
from monitor.watch.papers.shown import display
from monitor.watch.service.works import back_up, judge_what_was_heard

WHY = {"reason": "asked to", "who": "ben"}
SECRET = "the tenant has moved out"


@pytest.fixture(scope="module")
def lived_home(tmp_path_factory) -> Path:
    """A finished wall. Entries: 4 deliver, 5 completion, 6 install, 7 note, 8 event, 9 correction of 8, 10 note."""
    home = tmp_path_factory.mktemp("lived") / "home"
    with open_desk(home, environ={}, clock=clock()) as desk:
        furnish(desk)
        hear(desk, steady(T0, 100))
        note_completions(desk, "den")
        body = {"finish": T0 + 4 * DAY, "lots": [], "not_ready": []}
        add(desk, "den", Draft(Kind.INSTALL, T0 + 3 * DAY, "robin", body))
        diary.note(desk, "den", "the key is with the neighbour", at=None, who="robin")
        life.event(desk, "den", "tenant-change", SECRET, start=None, end=None, who="ada")
        diary.correct(desk, "den", 8, instead={"text": f"{SECRET} at last"}, reason="more", who="ada")
        diary.note(desk, "den", "all quiet", at=None, who="robin")
        assert kinds(desk)[3:] == ["deliver", "completion", "install", "note", "event", "correction", "note"]
    return home


@pytest.fixture
def sit_at(lived_home, tmp_path) -> Iterator[Callable[[], Desk]]:
    """Sits down at a copy of that home."""
    shutil.copytree(lived_home, tmp_path / "lived")
    with ExitStack() as opened:
        yield lambda: opened.enter_context(open_desk(tmp_path / "lived", environ={}, clock=clock()))


@pytest.fixture
def lived(sit_at) -> Desk:
    return sit_at()


def refusal(do, *args, **options) -> str:
    with pytest.raises(RecordError) as error:
        do(*args, **{**WHY, **options})
    return str(error.value)


def texts(desk: Desk) -> str:
    return repr(desk.store.entries("den"))


# --- holds


def test_a_held_job_is_not_forgotten_until_it_is_released(lived):
    close_job(lived, "den", at=None, **WHY)
    entry = hold(lived, "den", reason="the court wants it", who="ada")
    assert (entry.kind, entry.body) == (Kind.HOLD, {"held": True, "reason": "the court wants it"})
    for options in ({}, {"personal": True}, {"numbers": [7]}):
        assert refusal(forget, lived, "den", **options) == (
            "job den: it is held since entry 12: the court wants it. "
            "Release it first: wallclime job release den --reason TEXT"
        )
    release(lived, "den", **WHY)
    forget(lived, "den", numbers=[7], **WHY)


def test_who_thins_can_ask_whether_a_job_is_held(lived):
    refuse_held("den", lived.book.log("den"))
    hold(lived, "den", **WHY)
    assert refusal(lambda **_: refuse_held("den", lived.book.log("den"))).startswith(
        "job den: it is held since entry 11"
    )
    release(lived, "den", **WHY)
    assert held(lived.book.log("den")) is None


def test_what_is_held_is_not_held_again_and_what_is_not_held_not_released(lived):
    assert refusal(release, lived, "den") == "job den: it is not held. Nothing needs to be done"
    hold(lived, "den", **WHY)
    assert refusal(hold, lived, "den") == "job den: it is held since entry 11: asked to. Nothing needs to be done"


def test_a_hold_a_release_and_a_forgetting_want_a_reason(lived):
    for do, what in ((hold, "job hold"), (release, "job release"), (forget, "job forget")):
        assert refusal(do, lived, "den", reason=" ") == f"{what}: no reason is given. Add --reason TEXT"


def test_a_hold_can_not_be_corrected_away(lived):
    hold(lived, "den", **WHY)
    assert refusal(diary.correct, lived, "den", 11, withdraw=True) == (
        "log of den: entry 11 (hold) can't be corrected. Write a note instead: wallclime log note"
    )


# --- chosen entries


def test_chosen_entries_go_with_their_corrections_and_leave_one_that_says_so(lived):
    before = [chain.withheld(entry) for entry in lived.store.entries("den")]
    done = forget(lived, "den", numbers=[8], reason="she asked to", who="ben")
    assert done.numbers == (8, 9)
    assert (done.entry.kind, done.entry.who, done.entry.at, done.entry.number) == (Kind.FORGOTTEN, "ben", NOW, 11)
    assert done.entry.body == {
        "reason": "she asked to", "entries": [8, 9], "kinds": {"correction": 1, "event": 1}, "whole": False,
    }  # fmt: skip
    assert (SECRET in texts(lived), "the key" in texts(lived)) == (False, True)
    log = linked(lived.book.log("den"))
    assert (chain.faults(log), log[7:9]) == ([], before[7:9])


def test_the_verdict_does_not_notice(lived):
    before = assess(lived, "den", recompute=True)
    forget(lived, "den", personal=True, **WHY)
    assert assess(lived, "den", recompute=True) == before


def test_what_was_erased_is_shown_as_erased(lived):
    forget(lived, "den", numbers=[7], **WHY)
    shown = display(lived, "den")
    assert [told.body(entry, shown) for entry in lived.book.log("den")[6::4]] == [
        "see entry 11",
        "entry 7 (1 note): asked to",
    ]
    assert [entry.kind.value for entry in report_page(lived, "den").entries][6] == "erased"


def test_the_sheet_for_the_people_of_the_house_stands_what_was_erased(lived, tmp_path):
    forget(lived, "den", personal=True, **WHY)
    write_handover(lived, "den", tmp_path / "sheet.html")
    assert SECRET not in (tmp_path / "sheet.html").read_text(encoding="utf-8")


def test_what_was_erased_can_not_be_corrected(lived):
    forget(lived, "den", numbers=[7], **WHY)
    assert refusal(diary.correct, lived, "den", 7, instead={"text": "no"}) == (
        "log of den: entry 7 (erased) can't be corrected. Write a note instead: wallclime log note"
    )


@pytest.mark.parametrize(
    ("number", "kind"), [(1, "job"), (2, "profile"), (3, "take-off"), (4, "deliver"), (6, "install")]
)
def test_what_a_verdict_rests_on_stays(lived, number, kind):
    before = lived.store.entries("den")
    assert refusal(forget, lived, "den", numbers=[7, number]) == (
        f"log of den: the record rests on entry {number} ({kind}). "
        "Leave it, or forget the whole job: wallclime job forget den --reason TEXT"
    )
    assert lived.store.entries("den") == before


def test_a_correction_goes_only_with_what_it_corrects(lived):
    assert refusal(forget, lived, "den", numbers=[9]) == (
        "log of den: entry 9 only corrects entry 8. Give that one; its corrections go with it"
    )


def test_an_entry_that_is_not_there_is_not_forgotten(lived):
    for number in (0, 11):
        assert refusal(forget, lived, "den", numbers=[number]) == (
            f"log of den: there is no entry {number}. See wallclime log list den"
        )


def test_chosen_and_personal_are_two_things(lived):
    assert refusal(forget, lived, "den", numbers=[7], personal=True) == (
        "job forget: it is not clear what is to go. Give --entries or --personal"
    )


def test_what_was_erased_before_is_cleaned_out_once_more_and_nothing_is_written(lived):
    forget(lived, "den", numbers=[7, 8], **WHY)
    before = lived.store.entries("den")
    assert forget(lived, "den", numbers=[7], **WHY).entry is None
    assert lived.store.entries("den") == before


def test_of_what_is_chosen_again_only_the_rest_is_counted(lived):
    forget(lived, "den", numbers=[7], **WHY)
    done = forget(lived, "den", numbers=[7, 10], **WHY)
    assert (done.entry.body["kinds"], done.numbers) == ({"note": 1}, (7, 10))


# --- what is personal


def test_photos_go_with_their_bytes_unless_another_entry_names_them(lived):
    here, there = plain_jpeg(), plain_jpeg(1)
    photos(lived, "den", [File("a.jpg", here), File("b.jpg", there)], Shown(), at=None, who="robin")
    [*_, one, other] = lived.book.log("den")
    add(lived, "den", Draft(Kind.DOCUMENT, NOW, "robin", {"sha256": other.body["sha256"], "file": "b.jpg"}))
    done = forget(lived, "den", personal=True, **WHY)
    assert (done.numbers, done.files) == ((7, 8, 9, 10, 11, 12), 1)
    assert lived.store.attachment(one.body["sha256"]) is None
    assert lived.store.attachment(other.body["sha256"]).content == there


def test_who_is_still_named_is_told(lived):
    done = forget(lived, "den", personal=True, **WHY)
    assert done.names == {"robin": [1, 2, 3, 4, 6]}
    assert list(forgotten(done.entry, done.numbers, done.files, done.names, done.older)) == [
        "entry 11: erased entries 7 to 10",
        "stays: the readings, which hold no name and are sealed by sensor and day for every job of the place",
        "stays: the name robin in entries 1 to 4, 6, on which the record rests",
        "mind: copies made before still say it: backups, bundles, reports, what was sent",
    ]


def test_older_stores_that_were_kept_beside_are_named(lived):
    home = lived.settings.home
    names = ("wallclime.before-0002-1.db", "wallclime.replaced-20260101T000000Z.db")
    for name in (*names, "other.before-0002-1.db"):
        (home / name).write_bytes(b"")
    done = forget(lived, "den", numbers=[7], **WHY)
    assert done.older == tuple(home / name for name in names)
    assert list(forgotten(done.entry, done.numbers, done.files, done.names, done.older))[:2] == [
        f"mind: an older store still says it, until you remove it: {home / name}" for name in names
    ]
    assert forget(lived, "den", numbers=[7], **WHY).older == done.older


def test_copies_that_the_daemon_made_are_named_too(lived, tmp_path):
    asking = lived._replace(settings=replace(lived.settings, backup=Backup(tmp_path)))
    copy = back_up(asking, asking.settings.backup)
    assert forget(asking, "den", numbers=[7], **WHY).older == (copy,)


def test_with_the_whole_job_go_its_alarms_and_what_was_to_be_told_of_it(lived):
    alarm = Alarm("a", "too dry", "den", "den", NOW, NOW, Standing.UNACKNOWLEDGED, Priority.HIGH, {"who": SECRET})
    lived.store.record_alarms([], [alarm], [Message("m", "ada", "alarm", "s", SECRET, {}, NOW, NOW, jobs=("den",))])
    close_job(lived, "den", at=None, reason="done", who="ada")
    forget(lived, "den", **WHY)
    assert (lived.store.alarms(over=True), lived.store.outbox_due(NOW, 9)) == ([], [])


def shelved(desk: Desk) -> int:
    """Shelve an alarm of the den for a reason that is nobody's business; the entry's number."""
    alarm = Alarm("a", "too dry", "den", "den", NOW, NOW, Standing.UNACKNOWLEDGED, Priority.HIGH)
    desk.store.record_alarms([], [alarm], [])
    shelve_alarm(desk, "a", NOW + HOUR, SECRET, "ada")
    return len(desk.store.entries("den"))


def test_why_an_alarm_was_shelved_is_personal(lived):
    number = shelved(lived)
    assert number in forget(lived, "den", personal=True, **WHY).numbers
    assert SECRET not in texts(lived)
    assert [one.shelved_reason for one in lived.store.alarms()] == [""]


def test_why_an_alarm_was_shelved_can_go_alone(lived):
    number = shelved(lived)
    assert forget(lived, "den", numbers=[number], **WHY).numbers == (number,)


def test_no_verdict_rests_on_what_can_go_alone():
    assert set(PERSONAL) < set(FREE)
    rest = {Kind.JOB, Kind.PROFILE, Kind.DELIVER, Kind.INSTALL, Kind.CLOSE, Kind.SUITABILITY, Kind.TAKE_OFF,
            Kind.SITE_CHECK, Kind.WALL_MOISTURE, Kind.IMPORT, Kind.COMPLETION, Kind.COMPLETION_REVISED,
            Kind.CORRECTION, Kind.HOLD, Kind.FORGOTTEN}  # fmt: skip
    assert rest & set(FREE) == set()


# --- the whole job


def test_an_open_job_is_not_forgotten(desk):
    furnish(desk)
    for options in ({}, {"personal": True}, {"numbers": [4]}):
        assert refusal(forget, desk, "den", **options) == (
            "job den: it is still open. Close it first: wallclime job close den --reason TEXT"
        )


def test_a_finished_wall_is_forgotten_in_part_only_while_it_is_open(lived):
    assert refusal(forget, lived, "den") == (
        "job den: it is still open. Close it first: wallclime job close den --reason TEXT"
    )


def test_of_a_whole_job_nothing_is_left_but_its_links_and_who_asked(lived):
    close_job(lived, "den", at=None, **WHY)
    forget(lived, "den", numbers=[7], **WHY)
    before = linked(lived.store.entries("den"))
    done = forget(lived, "den", reason="the contract says so", who="ben")
    assert (done.numbers, done.names) == (tuple(range(1, 13)), {})
    *erased, last = lived.store.entries("den")
    assert {(entry.kind, entry.body["by"], entry.who) for entry in erased} == {(Kind.ERASED, 13, "ben")}
    assert last.body["reason"] == "the contract says so"
    log = linked(lived.store.entries("den"))
    assert chain.faults(log) == []
    assert [entry.link for entry in log[:12]] == [entry.link for entry in before]
    assert "stays: the job's name, when its entries were written, and the sensors' log" in forgotten(
        done.entry, done.numbers, done.files, done.names, done.older
    )


def test_a_job_that_is_forgotten_is_no_job_any_more_and_says_why(lived):
    open_job(lived, opening("attic"), who="ben")
    close_job(lived, "den", at=None, **WHY)
    forget(lived, "den", **WHY)
    assert [row.assessment.job for row in job_rows(lived)] == ["attic"]
    assert lived.book.jobs_of() == {}
    judge_what_was_heard(lived, looked := {})
    assert looked == {}
    for do in (facts_of, assess, report_page, diary.entries):
        with pytest.raises(RecordError) as error:
            do(lived, "den")
        assert str(error.value) == (
            "job den: it was forgotten 2026-01-17T00:00:00Z: asked to. "
            "Nothing but the links of its log is left; wallclime job list shows the jobs there are"
        )


def test_a_job_that_is_forgotten_is_cleaned_out_once_more(lived):
    close_job(lived, "den", at=None, **WHY)
    forget(lived, "den", **WHY)
    before = lived.store.entries("den")
    assert forget(lived, "den", **WHY).entry is None
    assert lived.store.entries("den") == before


def test_the_readings_stay(lived):
    close_job(lived, "den", at=None, **WHY)
    before = lived.store.series("site/shelf/climate", Quantity.AIR_HUMIDITY)
    forget(lived, "den", **WHY)
    assert len(lived.store.series("site/shelf/climate", Quantity.AIR_HUMIDITY)) == len(before) > 0


def test_another_desk_sees_at_once_what_was_forgotten(lived, sit_at):
    other = sit_at()
    assert len(other.book.log("den")) == 10
    forget(lived, "den", numbers=[7], **WHY)
    assert other.book.log("den")[6].kind is Kind.ERASED


# --- words


@pytest.mark.parametrize(
    ("numbers", "text"),
    [([7], "entry 7"), ([1, 2, 3, 7], "entries 1 to 3, 7"), ([3, 5, 6], "entries 3, 5 to 6"), ([2, 4], "entries 2, 4")],
)
def test_numbers_are_told_in_runs(numbers, text):
    assert numbered(numbers) == text


def test_what_a_job_was_held_for_is_told(lived):
    shown: Display = display(lived, "den")
    entries = [hold(lived, "den", **WHY), release(lived, "den", reason="settled", who="ben")]
    assert [told.body(entry, shown) for entry in entries] == [
        "nothing of it may be thinned or forgotten: asked to", "released: settled",
    ]  # fmt: skip


def test_a_hold_is_no_part_of_the_verdict(lived):
    before = assess(lived, "den", recompute=True)
    hold(lived, "den", **WHY)
    assert assess(lived, "den", recompute=True) == before
    assert len(effective(lived.book.log("den"))) == 10
