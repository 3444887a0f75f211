"""Values for screens and pages: they cover what was judged without a hole; a file is written whole or not at all."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from desks import HUMIDITY, MAKER, NOW, T0, furnish, hear, opening, steady
from hypothesis import example, given
from hypothesis import strategies as st

from monitor.basis.errors import ReportError
from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.watch.desk import Desk
from monitor.watch.job.diary import correct, hand_reading, note
from monitor.watch.job.installing import Installing, install
from monitor.watch.job.jobs import close_job, open_job
from monitor.watch.papers import pages
from monitor.watch.papers.pages import report_page, write_report
from monitor.watch.papers.printing import write_whole
from monitor.watch.papers.screens import job_rows
from monitor.watch.sensing.instruments import check_sensor, salt_point
from monitor.watch.sensing.sensors import add_sensor, assign_sensor, release_sensor
from monitor.watch.service.awake import daemon_trouble

# --- runs -------------------------------------------------------------------------------------------------------------

stretches = st.lists(st.tuples(st.integers(0, 99), st.integers(1, 30)), max_size=6)


def runs_of(
    excursions: list[tuple[int, int | None]],
    gaps: list[tuple[int, int]],
    *,
    begin: int | None = 0,
    close: int | None = None,
) -> Any:
    """The runs of a span of 0 to 100 ms with these excursions (end None: still open) and gaps."""
    found: Any = SimpleNamespace(
        as_of=100,
        begin=begin,
        excursions=[SimpleNamespace(start=start, end=end) for start, end in excursions],
        gaps=[SimpleNamespace(start=start, end=end) for start, end in gaps],
    )
    frame: Any = SimpleNamespace(close=close)
    return pages._runs(found, frame)


@given(stretches, stretches)
@example([(0, 100)], [])
@example([(10, 5), (12, 20)], [(50, 1)])
def test_runs_cover_the_span_in_order_without_a_hole_or_an_overlap(excursions, gaps):
    def cut(stretch):
        return stretch[0], min(sum(stretch), 100)

    runs = runs_of([cut(one) for one in excursions], [cut(one) for one in gaps])
    assert [start for start, _, _ in runs] == [0, *(end for _, end, _ in runs[:-1])]
    assert runs[-1][1] == 100
    assert all(start < end for start, end, _ in runs)


@given(stretches)
def test_the_room_is_out_exactly_while_an_excursion_lasts(excursions):
    outside = {at for start, length in excursions for at in range(start, min(start + length, 100))}
    runs = runs_of([(start, min(start + length, 100)) for start, length in excursions], [])
    assert {at for start, end, state in runs if state == "out" for at in range(start, end)} == outside


def test_what_is_still_open_lasts_to_the_end():
    assert runs_of([(40, None)], [(10, 20)]) == ((0, 10, "in"), (10, 20, "unknown"), (20, 40, "in"), (40, 100, "out"))


def test_the_close_of_a_job_ends_its_runs():
    assert runs_of([], [], close=60) == ((0, 60, "in"),)


@pytest.mark.parametrize("more", [{"begin": None}, {"begin": 100}, {"close": 0}])
def test_a_span_without_length_has_no_runs(more):
    assert runs_of([], [], **more) == ()


@pytest.fixture
def lived(desk: Desk) -> Desk:
    """The den over five days: damp, silent and cold for a while, installed on the fourth day."""
    furnish(desk)
    rows = [row for row in steady(T0, 120) if not 40 * HOUR <= row.t - T0 < 46 * HOUR]
    rows = [row._replace(humidity=80.0) if 10 * HOUR <= row.t - T0 < 12 * HOUR else row for row in rows]
    hear(desk, [row._replace(temperature=5.0) if 70 * HOUR <= row.t - T0 < 71 * HOUR else row for row in rows])
    install(desk, "den", Installing(T0 + 72 * HOUR, not_ready=True, reason="guests"), who="robin")
    return desk


def test_the_runs_of_a_page_are_as_long_as_its_coverage_says(lived: Desk):
    page = report_page(lived, "den", at=T0 + 119 * HOUR)
    length = {state: sum(b - a for a, b, what in page.runs if what == state) for state in ("in", "out", "unknown")}
    span = page.assessment.span
    assert length["in"] == span.in_band
    assert length["unknown"] == span.elapsed - span.known == 6 * HOUR - 20 * MINUTE
    assert length["out"] == span.known - span.in_band == 3 * HOUR


# --- the page ---------------------------------------------------------------------------------------------------------


def test_a_page_holds_what_was_heard_at_the_place_in_the_judged_span_only(lived: Desk):
    release_sensor(lived, "shelf", at=T0 + 100 * HOUR, who="robin")
    page = report_page(lived, "den", at=T0 + 110 * HOUR)
    assert {(line.sensor, line.place) for line in page.channels} == {("shelf", "den")}
    for line in page.channels:
        assert (line.t[0], line.t[-1]) == (T0, T0 + 100 * HOUR - 10 * MINUTE)


def test_a_page_names_each_sensor_with_where_it_was_and_what_was_near(lived: Desk):
    release_sensor(lived, "shelf", at=T0 + 100 * HOUR, who="robin")
    facts = {"height": "5 ft", "near": "heater"}
    assign_sensor(lived, "shelf", "den", at=T0 + 101 * HOUR, facts=facts, who="robin")
    (line,) = report_page(lived, "den").sensors
    assert (line.name, line.stream, line.check) == ("shelf", "site/shelf/climate", "maker")
    assert [(stay.place, stay.end, stay.detail) for stay in line.stays] == [
        ("den", T0 + 100 * HOUR, ""),
        ("den", None, "height: 5 ft; near: heater"),
    ]


def test_a_page_has_the_whole_log_and_its_last_link(lived: Desk):
    note(lived, "den", "heater on", at=None, who="robin")
    page = report_page(lived, "den", at=T0 + HOUR)
    number, link = lived.store.head("den")
    assert [entry.number for entry in page.entries] == list(range(1, number + 1))
    assert (page.head.number, page.head.link) == (number, link.hex())  # type: ignore[union-attr]
    assert page.written_at == NOW


def test_a_page_shows_readings_by_hand_up_to_its_time_and_none_withdrawn(lived: Desk):
    for at in (T0 + HOUR, T0 + 2 * HOUR, T0 + 5 * HOUR):
        hand_reading(lived, "den", {HUMIDITY: 45.0}, at=at, instrument="dial", who="kim")
    first = next(entry.number for entry in lived.book.log("den") if entry.kind.value == "reading")
    correct(lived, "den", first, withdraw=True, reason="misread", who="kim")
    (reading,) = report_page(lived, "den", at=T0 + 2 * HOUR).hand_readings
    assert (reading.at, reading.value, reading.who, reading.instrument) == (T0 + 2 * HOUR, 45.0, "kim", "dial")


def test_jobs_are_listed_by_name_with_their_close(desk: Desk):
    for name in ("loft", "attic"):
        open_job(desk, opening(name), who="robin")
    close_job(desk, "loft", at=None, reason="sold", who="robin")
    assert [(row.assessment.job, row.closed_at) for row in job_rows(desk)] == [("attic", None), ("loft", NOW)]


# --- files ------------------------------------------------------------------------------------------------------------


def refuse(*_args: object, **_more: object) -> None:
    raise OSError(28, "No space left on device")


@pytest.mark.parametrize("step", ["tempfile.mkstemp", "os.fdopen", "os.chmod", "os.replace"])
def test_a_page_that_cant_be_written_leaves_the_old_one_and_nothing_else(tmp_path: Path, monkeypatch, step):
    path = tmp_path / "den.html"
    path.write_text("old", encoding="utf-8")
    opened: list[int] = []
    if step == "os.fdopen":
        monkeypatch.setattr("os.fdopen", lambda handle, *_a, **_m: (opened.append(handle), refuse()))
    else:
        monkeypatch.setattr(step, refuse)
    with pytest.raises(ReportError) as failed:
        write_whole(path, "new")
    monkeypatch.undo()
    for handle in opened:
        os.close(handle)
    said = "it can't be written (No space left on device). Choose another place with -o FILE.html"
    assert str(failed.value) == f"{path}: {said}"
    assert path.read_text(encoding="utf-8") == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_what_breaks_off_a_page_in_another_way_leaves_the_old_one_too(tmp_path: Path):
    path = tmp_path / "den.html"
    path.write_text("old", encoding="utf-8")
    with pytest.raises(UnicodeEncodeError):
        write_whole(path, "a\ud800")
    assert path.read_text(encoding="utf-8") == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_page_is_replaced_and_may_be_read_by_all(tmp_path: Path):
    path = tmp_path / "den.html"
    for text in ("first", "second ∂"):
        write_whole(path, text)
    assert path.read_text(encoding="utf-8") == "second ∂"
    assert os.name != "posix" or path.stat().st_mode & 0o777 == 0o644


@pytest.mark.parametrize(("name", "ending"), [("den.docx", ".docx"), ("den", "no ending"), (".html", "no ending")])
def test_only_a_page_can_be_written(desk: Desk, tmp_path: Path, name, ending):
    furnish(desk)
    with pytest.raises(ReportError) as refused:
        write_report(desk, "den", tmp_path / name)
    assert (
        str(refused.value) == f"{tmp_path / name}: {ending} is no page that can be written. Name a .html or .pdf file"
    )
    assert list(tmp_path.glob("*den*")) == []


# --- the daemon -------------------------------------------------------------------------------------------------------


def daemon(desk: Desk, **link: object) -> None:
    """A daemon that was there now, with one connection."""
    usual = {"broker": "127.0.0.1:1883", "client_id": "wallclime-1", "connected": True, "last_error": None}
    desk.store.stay_awake(desk.store.wake(), {"links": [{**usual, "marker_missing": False, **link}]})


def test_without_a_daemon_there_is_no_trouble(desk: Desk):
    assert daemon_trouble(desk) == []


def test_a_daemon_that_is_connected_is_no_trouble(desk: Desk):
    daemon(desk)
    assert daemon_trouble(desk) == []


@pytest.mark.parametrize(
    ("link", "said"),
    [
        ({"last_error": "refused by x"}, "refused by x"),
        ({"connected": False, "last_error": "refused by x"}, "refused by x"),
        ({"connected": False}, "wallclime serve has no connection to the broker 127.0.0.1:1883"),
        (
            {"marker_missing": True},
            "the daemon may not publish on its own topic: messages without a time are refused. "
            "Let its user write to wallclime/wallclime-1/marker",
        ),
    ],
)
def test_what_ails_a_connection_of_the_daemon_is_said(desk: Desk, link, said):
    daemon(desk, **link)
    assert daemon_trouble(desk) == [said]


def test_a_daemon_that_has_not_been_heard_of_for_long_is_away(desk: Desk):
    daemon(desk)
    desk.clock.move(DAY)  # type: ignore[attr-defined]
    assert daemon_trouble(desk) == ["wallclime serve is not running; it was there last at 2026-01-17 00:00+00:00"]


# --- instruments ------------------------------------------------------------------------------------------------------


def test_a_check_made_after_the_start_is_told_as_later_and_of_a_sensor_that_came_after_it_nothing_is(desk: Desk):
    furnish(desk)
    hear(desk, steady(T0, 288))
    add_sensor(desk, "door", "site/door/climate", hold=30 * MINUTE, uncertainty=MAKER, who="robin")
    assign_sensor(desk, "door", "den", at=T0 + 6 * DAY, facts={}, who="robin")
    install(desk, "den", Installing(T0 + 4 * DAY, not_ready=True, reason="a test"), who="robin")
    then = {line.name: (line.check_then, line.checked_later) for line in report_page(desk, "den").sensors}
    assert then == {"shelf": ("maker", None), "door": (None, None)}
    compared = [salt_point("NaCl", 73.0, 20.0)]
    for name in ("shelf", "door"):
        check_sensor(desk, name, "salt", compared, at=T0 + 7 * DAY, valid=None, adjusted=False, who="robin")
    then = {line.name: (line.check_then, line.checked_later) for line in report_page(desk, "den").sensors}
    assert then == {"shelf": ("salt", T0 + 7 * DAY), "door": (None, None)}


def test_the_checks_of_the_jobs_sensors_are_those_of_the_sensors_log_up_to_its_time(desk: Desk):
    furnish(desk)
    compared = [salt_point("NaCl", 73.0, 20.0)]
    check_sensor(desk, "shelf", "salt", compared, at=T0 + DAY, valid=30 * DAY, adjusted=True, who="O. Example")
    add_sensor(desk, "elsewhere", "site/elsewhere/climate", hold=30 * MINUTE, uncertainty=MAKER, who="robin")
    check_sensor(desk, "elsewhere", "salt", compared, at=T0 + DAY, valid=None, adjusted=True, who="robin")
    (line,) = report_page(desk, "den").checks
    ((read, true, spread),) = line.points
    assert (line.sensor, line.level, line.how) == ("shelf", "salt", "NaCl at 20.0 degC")
    assert (line.at, line.until, line.who) == (T0 + DAY, T0 + 31 * DAY, "O. Example")
    assert (read, line.slope, line.offset) == (73.0, 1.0, pytest.approx(true - 73.0))
    assert 0 < spread < line.uncertainty
    assert report_page(desk, "den", at=T0 + HOUR).checks == ()


def test_what_a_status_is_made_by_loads_neither_what_listens_nor_what_signs():
    names = "papers.pages", "sensing.refused", "service.alarming", "service.awake", "service.undelivered"
    made_by = ", ".join(f"monitor.watch.{name}" for name in names)
    script = f"import sys, {made_by}; print([name for name in ('paho', 'cryptography') if name in sys.modules])"
    run = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"
