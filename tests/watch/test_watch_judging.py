"""Judging from the store: what new readings touch, two evaluators at once, completions told once."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from typing import Any

import pytest
from desks import NOW, T0, Row, furnish, hear, kinds, opening, readings, steady

from monitor.basis.errors import RecordError
from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import BACK_FILL, SIMULATED, Entry, Kind, Origin, OriginKind
from monitor.rules.replay import Checkpoint
from monitor.watch import judging
from monitor.watch.desk import Desk
from monitor.watch.job.delivery import deliver
from monitor.watch.job.diary import correct, note
from monitor.watch.job.jobs import open_job
from monitor.watch.judging import Shelf, assess, note_all_completions, note_completions, settle

SHELF = "site/shelf/climate"


def midnights(desk: Desk, job: str = "den", *, stale: bool) -> list[int]:
    """The days after T0 at whose midnights the checkpoints of a job stand that are, or are not, out of date."""
    variant = desk.book.parsed(desk.book.profile(job, NOW).text, job).sha256
    heads = desk.store.checkpoint_heads(job, variant)
    return [(head.midnight - T0) // DAY for head in heads if head.stale is stale]


# --- settle -----------------------------------------------------------------------------------------------------------


@pytest.fixture
def judged(desk: Desk) -> Desk:
    """The den after ten days of readings, all of them judged."""
    furnish(desk)
    hear(desk, steady(T0, 240))
    assess(desk, "den")
    return desk


def test_what_was_judged_once_stands_at_every_midnight(judged: Desk):
    assert midnights(judged, stale=False) == list(range(1, 13))  # the last one is now
    assert judged.store.dirty() == []
    assert settle(judged) == set()


@pytest.mark.parametrize(
    ("at", "touched"),
    [
        (5 * DAY + 12 * HOUR + 5 * MINUTE, [6]),  # noon of the sixth day, which ends at the sixth midnight
        (5 * DAY + 5 * MINUTE, [5, 6]),  # the last reading of the fifth day spoke over midnight, up to this one
        (6 * DAY - 5 * MINUTE, [6, 7]),  # and this one speaks into the seventh
    ],
)
def test_a_late_reading_touches_the_days_it_bears_on_and_no_other(judged: Desk, at, touched):
    hear(judged, [Row(T0 + at, 21.05, 50.1)])
    assert settle(judged) == {"den"}
    assert midnights(judged, stale=True) == touched
    assert judged.store.dirty() == []
    assert assess(judged, "den") == assess(judged, "den", recompute=True)
    assert midnights(judged, stale=True) == []


def test_readings_of_a_sensor_that_is_elsewhere_touch_nothing(judged: Desk):
    hear(judged, steady(T0, 24), stream="site/attic/climate")
    assert settle(judged) == set()
    assert judged.store.dirty() == []
    assert midnights(judged, stale=True) == []


def test_each_job_of_a_sensor_is_named_and_touched(judged: Desk):
    open_job(judged, opening("other wall", boxes_place="den"), who="robin")
    assess(judged, "other wall")
    hear(judged, [Row(T0 + 3 * DAY + 5 * MINUTE, 21.0, 50.0)])
    assert settle(judged) == {"den", "other wall"}
    assert midnights(judged, stale=True) == midnights(judged, "other wall", stale=True) == [3, 4]


def test_an_assessment_settles_first(judged: Desk):
    damp = [row._replace(humidity=80.0) for row in steady(T0 + 3 * DAY + 5 * MINUTE, 2)]
    hear(judged, damp)
    assert len(assess(judged, "den").excursions) > 1
    assert judged.store.dirty() == []


# --- two evaluators at once -------------------------------------------------------------------------------------------


def test_checkpoints_made_before_other_readings_came_are_not_kept(judged: Desk):
    shelf = Shelf(judged.store, "den", "some variant")
    row = Checkpoint(shelf_head(judged), b"state", b"product")
    hear(judged, [Row(T0 + HOUR + 5 * MINUTE, 21.0, 50.0)])
    settle(judged)
    shelf.put([row])
    assert judged.store.checkpoint_heads("den", "some variant") == []
    Shelf(judged.store, "den", "some variant").put([row])
    assert len(judged.store.checkpoint_heads("den", "some variant")) == 1


def shelf_head(desk: Desk) -> Any:
    variant = desk.book.parsed(desk.book.profile("den", NOW).text, "den").sha256
    return Shelf(desk.store, "den", variant).heads()[0]


def test_an_assessment_begun_before_another_evaluator_settled_is_made_again(sit_down: Callable[[], Desk], monkeypatch):
    here, there = sit_down(), sit_down()
    furnish(here)
    hear(here, steady(T0, 100))
    assess(here, "den")
    judge, calls = judging.judge, []

    def overtaken(*args: Any, **more: Any) -> Any:
        calls.append(1)
        if len(calls) == 1:
            hear(there, [row._replace(humidity=90.0) for row in steady(T0 + DAY + 5 * MINUTE, 3)])
            settle(there)
        return judge(*args, **more)

    with monkeypatch.context() as patched:
        patched.setattr(judging, "judge", overtaken)
        found = assess(here, "den")
    assert len(calls) == 2
    assert found == assess(there, "den", recompute=True)
    assert len(found.excursions) > 0


def test_two_evaluators_tell_a_completion_once(sit_down: Callable[[], Desk], monkeypatch):
    here, there = sit_down(), sit_down()
    furnish(here)
    hear(here, steady(T0, 60))
    first = judging.assess
    told: list[Sequence[Entry]] = []

    def overtaken(desk: Desk, job: str, **more: Any) -> Any:
        found = first(desk, job, **more)
        if desk is here and not told:
            told.append(())
            told.append(note_completions(there, job))
        return found

    monkeypatch.setattr(judging, "assess", overtaken)
    assert note_completions(here, "den") == []
    assert [entry.kind for entry in told[1]] == [Kind.COMPLETION]
    assert kinds(here) == ["job", "profile", "take-off", "deliver", "completion"]


def test_a_completion_is_told_though_somebody_else_writes_in_between(sit_down: Callable[[], Desk], monkeypatch):
    here, there = sit_down(), sit_down()
    furnish(here)
    hear(here, steady(T0, 60))
    first, notes = judging.assess, []

    def interrupted(desk: Desk, job: str, **more: Any) -> Any:
        found = first(desk, job, **more)
        if not notes:
            notes.append(note(there, job, "heater on", at=None, who="kim"))
        return found

    monkeypatch.setattr(judging, "assess", interrupted)
    assert [entry.number for entry in note_completions(here, "den")] == [6]
    assert kinds(here) == ["job", "profile", "take-off", "deliver", "note", "completion"]


def test_evaluators_in_threads_tell_a_completion_once_and_agree(sit_down: Callable[[], Desk]):
    desks = [sit_down() for _ in range(3)]
    furnish(desks[0])
    hear(desks[0], steady(T0, 60))
    start, faults, found = threading.Barrier(len(desks)), [], []

    def evaluate(desk: Desk) -> None:
        try:
            start.wait(10)
            note_completions(desk, "den")
            found.append(assess(desk, "den").to_json())
        except Exception as exc:
            faults.append(exc)

    threads = [threading.Thread(target=evaluate, args=(desk,)) for desk in desks]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    assert faults == []
    assert found == [found[0]] * len(desks)
    assert kinds(desks[0]).count("completion") == 1


# --- completions ------------------------------------------------------------------------------------------------------


def test_what_was_told_is_not_told_again(desk: Desk):
    furnish(desk)
    hear(desk, steady(T0, 60))
    (entry,) = note_completions(desk, "den")
    assert (entry.at, entry.who) == (T0 + 48 * HOUR, "wallclime")
    assert entry.body == {"delivery": 4, "lot": "lot 1", "place": "den", "completed": T0 + 48 * HOUR}
    assert note_completions(desk, "den") == []


def test_nothing_is_told_of_a_job_without_a_delivery(desk: Desk):
    open_job(desk, opening(), who="robin")
    hear(desk, steady(T0, 60))
    assert note_completions(desk, "den") == []


def test_late_readings_that_change_a_completion_are_told_as_a_revision_once(desk: Desk):
    furnish(desk)
    hear(desk, steady(T0, 60))
    note_completions(desk, "den")
    hear(desk, [row._replace(humidity=80.0) for row in steady(T0 + 10 * HOUR + 5 * MINUTE, 0.5)], origin=BACK_FILL)
    (entry,) = note_completions(desk, "den")
    assert (entry.kind, entry.at) == (Kind.COMPLETION_REVISED, NOW)
    assert entry.body["was"] == [T0 + 48 * HOUR]
    assert entry.body["is"] > entry.body["was"]
    assert note_completions(desk, "den") == []


def test_a_completion_that_is_there_again_is_told_again(desk: Desk):
    furnish(desk)
    hear(desk, steady(T0, 60))
    note_completions(desk, "den")
    correct(desk, "den", 4, at=T0 + 20 * HOUR, reason="misread", who="robin")
    correct(desk, "den", 4, at=T0, reason="misread by me", who="robin")
    told = ["completion", "correction", "completion revised", "correction", "completion"]
    assert kinds(desk)[4:] == told


def test_every_job_of_a_stream_is_told_of_its_completion(desk: Desk):
    furnish(desk)
    furnish(desk, job="other wall", sensor=None)
    open_job(desk, opening("third wall", boxes_place="den"), who="robin")
    deliver(desk, "third wall", at=T0, lot=None, place=None, boxes=None, facts={}, who="robin")
    hear(desk, steady(T0, 60))
    note_all_completions(desk, SHELF)
    assert [kinds(desk, job).count("completion") for job in ("den", "other wall", "third wall")] == [1, 0, 1]
    note_all_completions(desk, "site/nobody/climate")


# --- the assessment ---------------------------------------------------------------------------------------------------


def test_the_time_to_come_is_not_assessed(desk: Desk):
    furnish(desk)
    with pytest.raises(RecordError) as refused:
        assess(desk, "den", at=NOW + 1)
    said = "job den: 2026-01-17T00:00:00.001Z is in the future. An Assessment can be had up to now"
    assert str(refused.value) == said


def test_known_time_is_shared_out_by_where_its_readings_come_from(desk: Desk):
    furnish(desk)
    file = Origin(OriginKind.FILE, "ab" * 32)
    for k, origin in enumerate((BACK_FILL, file, SIMULATED)):
        hear(desk, steady(T0 + k * 4 * HOUR, 4), origin=origin)
    hear(desk, steady(T0 + 12 * HOUR, 12))
    found = assess(desk, "den", at=T0 + DAY)
    share = {kind.value: found.origin_share[kind] for kind in found.origin_share}
    assert share == pytest.approx({"back-fill": 1 / 6, "file": 1 / 6, "simulated": 1 / 6, "live": 1 / 2})
    assert found.training


def test_conflicts_are_those_of_the_jobs_sensors_in_the_judged_span(desk: Desk):
    furnish(desk)
    rows = steady(T0 - HOUR, 3)
    hear(desk, rows)
    hear(desk, [row._replace(humidity=40.0) for row in rows])
    hear(desk, rows, stream="site/attic/climate")
    hear(desk, [row._replace(humidity=40.0) for row in rows], stream="site/attic/climate")
    assert assess(desk, "den", at=T0 + HOUR).conflicts == 6  # 0:00 to 0:50, not the hour before and not 1:00


def test_the_answer_is_the_same_with_and_without_what_was_derived(desk: Desk):
    furnish(desk)
    hear(desk, steady(T0, 200))
    for at in (T0, T0 + 1, T0 + DAY, T0 + 3 * DAY + 7 * HOUR, NOW):
        assert assess(desk, "den", at=at) == assess(desk, "den", at=at, recompute=True)


def test_readings_kept_in_any_batches_give_one_answer(desk: Desk):
    furnish(desk)
    whole = readings(SHELF, steady(T0, 80))
    for part in (whole[500:], whole[:300], whole[250:600]):
        desk.store.keep_readings(part)
        assess(desk, "den")
    assert assess(desk, "den") == assess(desk, "den", recompute=True)
