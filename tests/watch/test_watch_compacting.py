"""Compaction of a home that was lived in: what is told, judged, proven and handed out stays the same."""

from __future__ import annotations

import logging
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from desks import HUMIDITY, T0, furnish, hear, readings, steady
from sqlalchemy import text

from monitor.basis.clock import SetClock
from monitor.basis.segment import encode
from monitor.basis.times import DAY, HOUR
from monitor.basis.values import BACK_FILL, Draft, Kind
from monitor.keep.packed import AGE
from monitor.watch.desk import Desk, open_desk
from monitor.watch.evidence import sealing
from monitor.watch.evidence.bundling import write_bundle
from monitor.watch.evidence.sealcheck import check_leaves
from monitor.watch.evidence.thinning import thin
from monitor.watch.evidence.verifying import check
from monitor.watch.job.entering import add
from monitor.watch.judging import assess
from monitor.watch.service import compacting
from monitor.watch.service.compacting import compact, compact_and_tell
from monitor.watch.service.works import works_of
from monitor.watch.upkeep import backup, restore

SHELF = "site/shelf/climate"
FINISH = T0 + 4 * DAY
NOW = T0 + 150 * DAY
OLD = FINISH + 40 * DAY  # a day on which nothing of the job's record rests


@pytest.fixture(scope="module")
def lived_in(tmp_path_factory) -> Path:
    """A wall finished long ago: five days around the work, two days long after, all sealed; two days ago some more."""
    home = tmp_path_factory.mktemp("lived in") / "home"
    with open_desk(home, environ={}, clock=SetClock(NOW)) as desk:
        furnish(desk)
        hear(desk, steady(T0, 100, step=30))
        add(desk, "den", Draft(Kind.INSTALL, T0 + 3 * DAY, "robin", {"finish": FINISH, "lots": [], "not_ready": []}))
        hear(desk, steady(OLD, 48, step=5))
        hear(desk, steady(NOW - 2 * DAY, 20, step=30))
        sealing.close_due(desk)
    return home


@pytest.fixture
def den(lived_in, tmp_path) -> Iterator[Desk]:
    """A desk over a copy of that home."""
    shutil.copytree(lived_in, tmp_path / "den")
    with open_desk(tmp_path / "den", environ={}, clock=SetClock(NOW)) as desk:
        yield desk


def rows(desk: Desk) -> int:
    with desk.store._reading() as conn:
        return conn.scalar(text("SELECT count(*) FROM reading"))


def change(desk: Desk, sql: str) -> None:
    with desk.store._writing() as conn:
        conn.execute(text(sql))


OF_OLD = 2 * (200 + 2 * 288)  # readings of the seven old days
OF_LATE = 2 * 40


def test_what_is_old_and_sealed_goes_and_the_verdict_stays(den):
    before = assess(den, "den", recompute=True).to_json()
    assert compact(den) == (OF_OLD, {})
    assert rows(den) == OF_LATE
    assert assess(den, "den", recompute=True).to_json() == before
    assert compact(den) == (0, {})


def test_nothing_younger_than_35_days_goes(den):
    den.clock.move(OLD + 2 * DAY + AGE - 1 - NOW)
    assert compact(den).rows == OF_OLD - 2 * 288
    den.clock.move(1)
    assert compact(den).rows == 2 * 288


def test_the_record_is_whole_before_and_after(den):
    assert list(check_leaves(den)) == []
    compact(den)
    assert list(check_leaves(den)) == []


def test_a_changed_leaf_of_a_compacted_day_is_found(den):
    compact(den)
    leaf = den.store.leaves("sensor", SHELF, day=OLD)[0].number
    change(den, f"UPDATE sealed SET bytes = (SELECT bytes FROM sealed WHERE leaf = {leaf} - 1) WHERE leaf = {leaf}")
    assert f"what leaf {leaf} keeps of 2026-02-18 of {SHELF} is not what was sealed" in list(check_leaves(den))


def test_a_day_that_is_not_as_it_was_sealed_is_left_alone_and_told(den, caplog):
    caplog.set_level(logging.INFO, "wallclime")
    change(den, f"UPDATE reading SET value = value + 1 WHERE t = {OLD}")
    known: dict[tuple[str, int], int] = {}
    for _ in range(2):
        compact_and_tell(den, known)
    assert rows(den) == OF_LATE + 2 * 288
    told = [(record.getMessage(), record.fields) for record in caplog.records]
    assert told == [
        ("compacted", {"readings": OF_OLD - 2 * 288}),
        ("sealed days are not as they are kept", {"days": 1, "first": f"2026-02-18 of {SHELF}"}),
    ]


def test_a_run_is_bounded_and_the_next_goes_on(den, monkeypatch):
    monkeypatch.setattr(compacting, "MOST", 3)
    done = [compact(den).rows for _ in range(4)]
    assert (done[0], sum(done), done[3]) == (3 * 96, OF_OLD, 0)


def test_days_that_differ_stop_no_others(den, monkeypatch):
    monkeypatch.setattr(compacting, "MOST", 1)
    change(den, f"UPDATE reading SET value = value + 1 WHERE t = {OLD}")
    known: dict[tuple[str, int], int] = {}
    for _ in range(9):
        compact_and_tell(den, known)
    assert rows(den) == OF_LATE + 2 * 288
    assert list(known) == [(SHELF, OLD)]


def test_what_comes_late_of_a_compacted_day_is_sealed_as_an_amendment_and_compacted_too(den):
    compact(den)
    late = readings(SHELF, steady(OLD + HOUR + 60_000, 1, step=30), BACK_FILL)
    assert den.store.keep_readings([one._replace(arrival=NOW) for one in late]).new == 4
    sealing.seal_now(den, "late")
    assert [leaf.record for leaf in den.store.leaves("sensor", SHELF, day=OLD)] == ["segment", "amendment"]
    assert compact(den) == (4, {})
    assert list(check_leaves(den)) == []
    assert len(den.store.series(SHELF, HUMIDITY, OLD, OLD + DAY)) == 290


def test_the_work_is_one_of_the_daemons(den):
    [work] = [one for one in works_of(den, lambda: None, {}) if one.name == "compact"]
    work.run("")
    assert rows(den) == OF_LATE


def test_a_compacted_day_is_thinned_as_one_of_rows_is(lived_in, tmp_path):
    left = []
    for compacted in (False, True):
        home = tmp_path / f"{compacted}"
        shutil.copytree(lived_in, home)
        with open_desk(home, environ={}, clock=SetClock(NOW)) as desk:
            if compacted:
                compact(desk)
            done = thin(desk, "shelf", before=OLD + 2 * DAY, each=DAY, reason="long over", who="ada")
            days = [encode(desk.store.day_segment(SHELF, OLD + k * DAY)) for k in range(-1, 3)]
            [heard] = desk.store.heard()
            left.append((done.readings, done.left, days, heard.readings, list(check_leaves(desk))))
            assert compact(desk).differing == {}
            assert [encode(desk.store.day_segment(SHELF, OLD + k * DAY)) for k in range(-1, 3)] == days
    assert left[0] == left[1]
    assert left[0][-1] == []


def test_a_backup_of_compacted_days_is_restored_whole(den, tmp_path):
    compact(den)
    before = assess(den, "den", recompute=True).to_json()
    copied = backup(den, tmp_path / "copy.db").path
    den.store.close()
    restore(den.settings.home, copied, who="ben", replace=True, environ={}, clock=den.clock)
    with open_desk(den.settings.home, environ={}, clock=SetClock(NOW)) as again:
        assert rows(again) == OF_LATE
        assert assess(again, "den", recompute=True).to_json() == before
        assert list(check_leaves(again)) == []


def test_a_bundle_of_compacted_days_is_whole(den, tmp_path, monkeypatch):
    monkeypatch.setattr("monitor.tell.pages.page._packed", lambda _program: "")  # packing it takes a second
    compact(den)
    write_bundle(den, "den", tmp_path / "b")
    found = check(tmp_path / "b")
    assert (found.found.whole, found.faults) == (True, ())
