"""The installation: what its first entry takes from the record, and its page for signature."""

from __future__ import annotations

from pathlib import Path

import pytest
from desks import T0, furnish, hear, opening, steady

from monitor.basis.errors import RecordError, ReportError
from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import SIMULATED
from monitor.rules.assessment import Condition
from monitor.watch.desk import Desk
from monitor.watch.job import installing
from monitor.watch.job.delivery import deliver
from monitor.watch.job.installing import Installing, install
from monitor.watch.job.jobs import open_job
from monitor.watch.job.life import care
from monitor.watch.judging import assess
from monitor.watch.papers.sheets import write_handover, write_not_ready

WHY = {"not_ready": True, "reason": "guests"}


@pytest.fixture
def den(desk: Desk) -> Desk:
    """The den, one lot delivered and 60 h heard."""
    furnish(desk)
    hear(desk, steady(T0, 60))
    return desk


def all_pass(desk: Desk, job: str, **more):

    found = assess(desk, job, **more)
    return found._replace(readiness=(Condition("air in band now", "pass", "in band"),))


def test_a_start_with_every_condition_met_has_the_conditions_of_that_minute_and_nothing_to_sign(den: Desk, monkeypatch):
    monkeypatch.setattr(installing, "assess", all_pass)
    entry = install(den, "den", Installing(T0 + 50 * HOUR), who="robin")
    assert entry.body["conditions"] == {
        "at": T0 + 50 * HOUR,
        "room": "in",
        "since": T0,
        # row 299, of 49 h 50 min: 299 mod 7 = 5, 299 mod 5 = 4
        "heard": {"shelf": {"air_temperature": 21.5, "air_humidity": 50.8}},
        "lot": "lot 1",
        "counted_ms": 48 * HOUR,
        "required_ms": 48 * HOUR,
        "complete": T0 + 48 * HOUR,
        "boards": {"came_with_pct": pytest.approx([7.4, 8.4, 9.4], abs=0.5), "came_with_measured": False},
        "open": [],
    }
    assert "not_ready" not in entry.body
    assert write_not_ready(den, "den", None) is None


def test_the_moisture_that_boards_came_with_is_written_down_with_whether_it_was_measured(den: Desk):
    for lot, moisture in (("B7", 6.0), ("B8", 9.0)):
        facts = {"moisture": moisture}
        deliver(den, "den", at=T0, lot=lot, place=None, boxes=None, facts=facts, who="robin")
    boards = install(den, "den", Installing(T0 + 50 * HOUR, **WHY), who="robin").body["conditions"]["boards"]
    assert (boards["condition"], boards["came_with_measured"]) == ("box core", True)
    low, central, high = boards["came_with_pct"]
    assert (low, central) == (6.0, 7.5)
    assert high > 9.0  # of the first lot nobody measured any


def test_of_boards_that_moisture_does_not_move_none_is_written_down(desk: Desk, tmp_path: Path):
    profile = tmp_path / "vinyl.toml"
    profile.write_text('name = "invented vinyl planks"\n[board]\ncore = "PVC or mineral"\n')
    open_job(desk, opening("den", profile=str(profile)), who="robin")
    deliver(desk, "den", at=T0, lot=None, place=None, boxes=None, facts={}, who="robin")
    boards = install(desk, "den", Installing(T0 + DAY, **WHY), who="robin").body["conditions"]["boards"]
    assert sorted(boards) == ["condition", "evidence", "verdict"]


def test_a_room_that_says_nothing_is_written_down_as_not_known(den: Desk):
    entry = install(den, "den", Installing(T0 + 70 * HOUR, **WHY), who="robin")
    said = entry.body["conditions"]
    assert (said["room"], said["since"], said["heard"]) == ("unknown", T0 + 59 * HOUR + 50 * MINUTE + 30 * MINUTE, {})
    assert said["open"] == [one["condition"] for one in entry.body["not_ready"]]


def test_what_is_told_again_is_answered_with_the_first_entry_where_that_is_asked_for(den: Desk):
    first = install(den, "den", Installing(T0 + 50 * HOUR, **WHY), who="robin")
    again = Installing(T0 + 50 * HOUR)
    assert install(den, "den", again, who="robin", again=True).number == first.number
    with pytest.raises(RecordError, match="the log says so already"):
        install(den, "den", again, who="robin")


def test_the_page_of_a_simulated_room_says_that_it_proves_nothing(den: Desk, tmp_path: Path):
    hear(den, steady(T0 + 61 * HOUR, 2), origin=SIMULATED)
    install(den, "den", Installing(T0 + 62 * HOUR, **WHY), who="robin")
    page = write_not_ready(den, "den", tmp_path / "sign.html")
    assert page is not None
    assert "TRAINING JOB" in page.read_text(encoding="utf-8")


def test_a_name_that_no_file_may_have_becomes_one_that_it_may(desk: Desk):
    furnish(desk, job="../den / north")
    install(desk, "../den / north", Installing(T0 + DAY, **WHY), who="robin")
    page = write_not_ready(desk, "../den / north", None)
    assert page is not None
    assert page.parent == desk.settings.home / "pages"
    assert page.name.startswith("den-north-not-ready-")


def test_the_sheet_of_a_finished_wall_tells_what_the_log_says_of_it(den: Desk, tmp_path: Path):
    facts = {"who_installed": "two fitters", "offcut": "behind the boiler"}
    install(den, "den", Installing(T0 + 50 * HOUR, T0 + 58 * HOUR, facts=facts, **WHY), who="robin")
    care(den, "den", "dust", "", at=None, who="kim")
    sheet = tmp_path / "sheet.html"
    write_handover(den, "den", sheet)
    text = sheet.read_text(encoding="utf-8")
    for said in ("two fitters", "behind the boiler", "shelf in den", "by robin; kim"):
        assert said in text.replace("<time>", "").replace("</time>", "")


def test_a_sheet_of_a_wall_that_is_not_finished_or_of_no_page_is_refused(den: Desk, tmp_path: Path):
    with pytest.raises(ReportError) as no_page:
        write_handover(den, "den", tmp_path / "sheet.txt")
    assert str(no_page.value) == (
        f"{tmp_path / 'sheet.txt'}: .txt is no page that can be written. Name a .html or .pdf file"
    )
    with pytest.raises(RecordError) as not_finished:
        write_handover(den, "den", tmp_path / "sheet.html")
    assert str(not_finished.value).startswith("job den: the wall is not finished by the log.")
    assert list(tmp_path.glob("sheet*")) == []
