"""The board as a folder: what is written, what is left as it was, what is removed, and what is never touched."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from browser import Window
from desks import DAY, HOUR, NOW, T0, csv, furnish, hear, opening, readings, steady

from monitor.basis.alarm import HOUSE, Alarm, Priority, Standing, alarm_id
from monitor.basis.errors import RecordError, ReportError
from monitor.basis.values import Quantity
from monitor.intake.loggerguess import Columns
from monitor.rules.alarm import whats
from monitor.tell.pages.walls import tag
from monitor.watch.desk import Desk
from monitor.watch.evidence.forgetting import forget
from monitor.watch.job.installing import Installing, install
from monitor.watch.job.jobs import close_job, open_job
from monitor.watch.judging import assess
from monitor.watch.papers import walls
from monitor.watch.papers.walls import INDEX, LIST, Written, file_of, write_boards
from monitor.watch.sensing.imports import plan_import, run_import
from monitor.watch.sensing.sensors import release_sensor

HUMIDITY = Quantity.AIR_HUMIDITY


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Reports of a line, and the names of those that were written."""
    written: list[str] = []

    def write(_desk: Desk, job: str, path: Path, **_more: bool) -> None:
        written.append(job)
        path.write_text(f"report of {job}", encoding="utf-8")

    monkeypatch.setattr(walls, "write_report", write)
    return written


def damp(start: int, end: int, days: int = 12) -> list:
    return [row._replace(humidity=72.0) if start <= row.t < end else row for row in steady(T0, 24 * days)]


def page(folder: Path) -> str:
    return (folder / INDEX).read_text(encoding="utf-8")


def raised(job: str, what: str, priority: Priority = Priority.HIGH) -> Alarm:
    where = "" if job == HOUSE else job
    return Alarm(alarm_id(what, job, where, T0), what, job, where, T0, T0, Standing.UNACKNOWLEDGED, priority)


def test_a_board_is_a_page_over_all_walls_and_a_report_of_each(desk: Desk, tmp_path: Path):
    furnish(desk)
    hear(desk, steady(T0, 288))
    folder = tmp_path / "deep" / "board"
    assert write_boards(desk, folder) == Written(walls=1, reports=1, left=0, failed=0, removed=0)
    assert sorted(path.name for path in folder.iterdir()) == sorted([LIST, INDEX, file_of("den")])
    assert f'href="{file_of("den")}"' in page(folder)
    assert "1 wall: 1 in band." in page(folder)
    assert "den" in (folder / file_of("den")).read_text(encoding="utf-8")


def test_only_the_report_of_a_wall_that_changed_is_written_anew(desk: Desk, tmp_path: Path, quick: list[str]):
    furnish(desk)
    furnish(desk, job="attic", sensor=None)
    hear(desk, steady(T0, 288))
    write_boards(desk, tmp_path)
    assert quick == ["attic", "den"]
    assert write_boards(desk, tmp_path) == Written(walls=2, reports=0, left=2, failed=0, removed=0)
    close_job(desk, "attic", at=None, reason="given up", who="robin")
    write_boards(desk, tmp_path)
    assert quick == ["attic", "den", "attic"]


def test_the_reports_of_a_board_stand_still_and_are_written_anew_where_they_are_asked_for_in_full(
    desk: Desk, tmp_path: Path
):
    furnish(desk)
    hear(desk, steady(T0, 288))
    report = tmp_path / file_of("den")
    write_boards(desk, tmp_path)
    still = report.read_text(encoding="utf-8")
    assert write_boards(desk, tmp_path).left == 1
    assert write_boards(desk, tmp_path, full=True).reports == 1
    full = report.read_text(encoding="utf-8")
    assert len(still) * 5 < len(full)
    assert ('id="still"' in still, "script-src &#39;none&#39;" in still, 'id="still"' in full) == (True, True, False)


@pytest.mark.parametrize("full", [False, True])
def test_a_report_opens_through_its_link_from_the_board_and_its_charts_are_seen(
    desk: Desk, tmp_path: Path, window: Window, full: bool
):
    furnish(desk, job="Küche & <b>")
    hear(desk, steady(T0, 288))
    write_boards(desk, tmp_path, full=full)
    with window.open(page(tmp_path)) as opened:
        opened.page.unroute("**/*")
        opened.page.goto((tmp_path / INDEX).as_uri())
        opened.page.get_by_role("link", name="Küche & <b>").click()
        opened.page.wait_for_url((tmp_path / file_of("Küche & <b>")).as_uri())
        assert "Küche & <b>" in (opened.page.locator("#verdict").text_content() or "")
        assert opened.drawn() == (2 if full else 0)
        seen = "[...document.querySelectorAll('figure')].every((one) => one.querySelector('svg.chart, .main-svg')"
        assert opened.run(f"{seen}.checkVisibility())")
        assert opened.page.locator(".paper svg").first.is_visible() is not full
        assert opened.console == []


def test_time_that_merely_passes_rewrites_a_report_once_a_day_and_of_a_closed_wall_never(
    desk: Desk, tmp_path: Path, quick: list[str]
):
    furnish(desk)
    furnish(desk, job="attic", sensor=None)
    close_job(desk, "attic", at=None, reason="given up", who="robin")
    hear(desk, steady(T0, 24 * 14))
    write_boards(desk, tmp_path)
    desk.clock.move(HOUR)  # type: ignore[attr-defined]
    write_boards(desk, tmp_path)
    assert quick == ["attic", "den"]
    desk.clock.move(DAY)  # type: ignore[attr-defined]
    write_boards(desk, tmp_path)
    assert quick == ["attic", "den", "den"]


def test_readings_that_leave_the_band_rewrite_the_report_at_once(desk: Desk, tmp_path: Path, quick: list[str]):
    furnish(desk)
    hear(desk, steady(T0, 288))
    write_boards(desk, tmp_path)
    wet = [row._replace(humidity=72.0) for row in steady(NOW, 1)]
    desk.store.keep_readings(readings("site/shelf/climate", wet))
    desk.clock.move(HOUR)  # type: ignore[attr-defined]
    write_boards(desk, tmp_path)
    assert quick == ["den", "den"]
    assert "OUT OF BAND" in page(tmp_path)


def test_a_report_that_somebody_removed_is_written_again(desk: Desk, tmp_path: Path, quick: list[str]):
    furnish(desk)
    write_boards(desk, tmp_path)
    (tmp_path / file_of("den")).unlink()
    write_boards(desk, tmp_path)
    assert quick == ["den", "den"]


def test_the_report_of_a_forgotten_wall_goes_and_what_the_board_did_not_write_stays(
    desk: Desk, tmp_path: Path, quick: list[str]
):
    furnish(desk)
    furnish(desk, job="attic", sensor=None)
    folder = tmp_path / "board"
    folder.mkdir()
    (folder / "notes.html").write_text("mine", encoding="utf-8")
    write_boards(desk, folder)
    close_job(desk, "attic", at=None, reason="given up", who="robin")
    forget(desk, "attic", reason="the owner asked", who="robin")
    assert write_boards(desk, folder).removed == 1
    assert sorted(path.name for path in folder.iterdir()) == sorted([LIST, INDEX, file_of("den"), "notes.html"])
    assert "attic" not in page(folder)
    assert "attic" not in (folder / LIST).read_text(encoding="utf-8")


def test_a_report_that_cant_be_removed_is_named(desk: Desk, tmp_path: Path, quick: list[str]):
    (tmp_path / LIST).write_text(json.dumps({"files": {"attic.html": ""}}), encoding="utf-8")
    (tmp_path / "attic.html").mkdir()  # what no user, root neither, can unlink
    with pytest.raises(ReportError) as refused:
        write_boards(desk, tmp_path)
    assert str(refused.value) == (f"{tmp_path / 'attic.html'}: it can't be removed (Is a directory). Remove it by hand")


def test_a_page_that_no_board_wrote_is_not_overwritten(desk: Desk, tmp_path: Path):
    (tmp_path / INDEX).write_text("mine", encoding="utf-8")
    with pytest.raises(ReportError) as refused:
        write_boards(desk, tmp_path)
    where = tmp_path / INDEX
    assert str(refused.value) == f"{where}: there is a page that no board wrote. Name another folder with -o DIR"
    assert page(tmp_path) == "mine"


def test_a_folder_that_is_a_file_is_refused(desk: Desk, tmp_path: Path):
    (tmp_path / "board").write_text("mine", encoding="utf-8")
    with pytest.raises(ReportError) as refused:
        write_boards(desk, tmp_path / "board")
    assert str(refused.value) == (
        f"{tmp_path / 'board'}: the folder can't be used (File exists). Name another folder with -o DIR"
    )


@pytest.mark.parametrize("text", ["", "[]", '{"files": 1}'])
def test_a_list_that_cant_be_read_is_refused(desk: Desk, tmp_path: Path, text: str):
    (tmp_path / LIST).write_text(text, encoding="utf-8")
    with pytest.raises(ReportError) as refused:
        write_boards(desk, tmp_path)
    assert str(refused.value) == (
        f"{tmp_path / LIST}: the list of what the board wrote can't be read. "
        "Empty the folder, or name another with -o DIR"
    )


def test_a_list_cant_name_a_file_of_another_folder(desk: Desk, tmp_path: Path, quick: list[str]):
    outside = tmp_path / "mine.html"
    outside.write_text("mine", encoding="utf-8")
    folder = tmp_path / "board"
    folder.mkdir()
    (folder / LIST).write_text(json.dumps({"files": {"../mine.html": ""}}), encoding="utf-8")
    assert write_boards(desk, folder).removed == 0
    assert outside.exists()


def test_a_failure_on_the_way_leaves_the_page_as_it_was_and_names_every_file(
    desk: Desk, tmp_path: Path, quick: list[str], monkeypatch: pytest.MonkeyPatch
):
    furnish(desk)
    write_boards(desk, tmp_path)
    before = page(tmp_path)
    furnish(desk, job="loft", sensor=None)

    def dies(_desk: Desk, job: str, path: Path, **_more: bool) -> None:
        path.write_text("half", encoding="utf-8")
        raise KeyboardInterrupt

    monkeypatch.setattr(walls, "write_report", dies)
    with pytest.raises(KeyboardInterrupt):
        write_boards(desk, tmp_path)
    assert page(tmp_path) == before
    assert file_of("loft") in json.loads((tmp_path / LIST).read_text(encoding="utf-8"))["files"]


def test_a_report_that_cant_be_written_and_a_wall_that_cant_be_judged_are_named_and_the_rest_goes_on(
    desk: Desk, tmp_path: Path, quick: list[str], monkeypatch: pytest.MonkeyPatch
):
    for job in ("attic", "den", "loft"):
        furnish(desk, job=job, sensor=None)

    def judged(at_desk: Desk, job: str, **more: int) -> object:
        if job == "attic":
            raise RecordError("the log contradicts itself", where="log of attic", mend="Correct it")
        return assess(at_desk, job, **more)

    def write(_desk: Desk, job: str, path: Path, **_more: bool) -> None:
        raise ReportError("it can't be written (No space left on device)", where=str(path), mend="Make room")

    monkeypatch.setattr(walls, "assess", judged)
    monkeypatch.setattr(walls, "write_report", write)
    assert write_boards(desk, tmp_path) == Written(walls=2, reports=0, left=0, failed=2, removed=0)
    told = page(tmp_path)
    assert "attic can&#39;t be judged: the log contradicts itself" in told
    assert "Its report could not be written: it can&#39;t be written (No space left on device)." in told
    assert "href=" not in told


def test_alarms_that_stand_are_on_the_board_those_of_the_house_on_top(desk: Desk, tmp_path: Path, quick: list[str]):
    furnish(desk)
    hear(desk, steady(T0, 288))
    desk.store.record_alarms([], [raised("den", whats.HUMIDITY_HIGH), raised(HOUSE, whats.BACKUP_FAILED)], [])
    write_boards(desk, tmp_path)
    told = page(tmp_path)
    assert "URGENT: air too damp" in told
    assert told.index("backup failed") < told.index("air too damp")


# --- what is gathered of a wall ---------------------------------------------------------------------------------------


def test_the_days_and_the_week_are_those_of_the_record(desk: Desk):
    furnish(desk)
    hear(desk, damp(T0 + 10 * DAY, T0 + 10 * DAY + HOUR, days=11))
    wall = walls._wall(desk, "den", ())
    # a sensor that speaks every 10 min, 30 min each, heard from day 0 to the end of day 10; day 11 is silent
    assert wall.days == ("in",) * 10 + ("out", "unknown")
    assert (wall.out, wall.unknown) == (HOUR, DAY - 20 * 60_000)
    week = wall.weeks[HUMIDITY]
    # 42 parts of 4 h, from day 5 to day 12: the damp hour is in the first of day 10, the 31st; the last six are silent
    assert np.flatnonzero(week.high > 65).tolist() == [30]
    assert np.flatnonzero(np.isnan(week.low)).tolist() == [36, 37, 38, 39, 40, 41]
    assert week.heard == (50.0, 72.0)
    assert (week.limits, wall.state) == ((35.0, 65.0), "unknown")


def test_a_wall_is_watched_while_a_sensor_is_assigned_to_its_air(desk: Desk):
    furnish(desk)
    open_job(desk, opening("loft"), who="robin")
    assert [walls._wall(desk, job, ()).state for job in ("den", "loft")] == ["unknown", "blind"]


def test_once_it_is_begun_the_air_of_the_wall_counts_not_that_of_the_boxes(desk: Desk):
    open_job(desk, opening("den", boxes_place="hall", wall_place="den"), who="robin")
    furnish(desk, job="hall")
    hear(desk, steady(T0, 288))
    assert walls._wall(desk, "den", ()).ended is None
    install(desk, "den", Installing(T0 + DAY, not_ready=True, reason="a test"), who="robin")
    begun = walls._wall(desk, "den", ())
    assert (begun.state, begun.ended) == ("ended", T0 + DAY)


def test_the_record_of_a_wall_ends_where_its_last_sensor_was_taken_away_and_it_is_not_called_not_watched(desk: Desk):
    furnish(desk)
    hear(desk, steady(T0, 100))
    release_sensor(desk, "shelf", at=T0 + 100 * HOUR, who="robin")
    wall = walls._wall(desk, "den", ())
    assert (wall.watched, wall.ended, wall.state) == (True, T0 + 100 * HOUR, "ended")
    assert tag(wall) == "RECORD ENDED 2026-01-09"


def test_a_wall_that_only_a_logger_heard_is_not_called_not_watched_once_its_file_has_ended(desk: Desk, tmp_path: Path):
    furnish(desk, sensor=None)
    columns, file = Columns(time=("when",), temperature="temp", humidity="rh"), csv(tmp_path / "a.csv", steady(T0, 100))
    plan = plan_import(desk, "den", file, columns, sensor="logger", hold=None, progress=lambda _: None)
    run_import(desk, plan, who="robin", progress=lambda _: None)
    wall = walls._wall(desk, "den", ())
    assert (wall.state, tag(wall)) == ("ended", "RECORD ENDED 2026-01-09")


@pytest.mark.parametrize(
    ("job", "file"),
    [
        ("north wall", "north-wall-"),
        ("../../etc/passwd", "etc-passwd-"),
        ("Wände & <b>", "w-nde-b-"),
        ("壁", "wall-"),
        ("x" * 120, "x" * 40 + "-"),
        ("index", "index-"),
    ],
)
def test_a_file_has_a_name_that_any_system_takes(job: str, file: str):
    assert file_of(job).startswith(file)
    assert len(file_of(job)) == len(file) + 8 + len(".html")


def test_names_that_are_alike_but_for_their_signs_have_files_of_their_own():
    assert len({file_of(job) for job in ("a b", "a-b", "A b", "a  b")}) == 4
