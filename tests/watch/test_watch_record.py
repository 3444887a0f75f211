"""The record of conditions: as of when it is, what it gathers, and that the job is sealed as it is written."""

from __future__ import annotations

from pathlib import Path

from desks import DAY, HOUR, NOW, T0, furnish, hear, steady

from monitor.watch.desk import Desk
from monitor.watch.evidence.sealing import signed_of
from monitor.watch.job.installing import Installing, install
from monitor.watch.job.site import site_check, wall_moisture
from monitor.watch.papers.record import RECORD, write_record


def page(desk: Desk, folder: Path, **more: int) -> str:
    path = folder / "record.html"
    write_record(desk, "den", path, **more)
    return path.read_text(encoding="utf-8")


def test_the_job_is_sealed_and_what_to_send_is_told(desk: Desk, tmp_path: Path):
    furnish(desk)
    hear(desk, steady(T0, 288))
    told = write_record(desk, "den", tmp_path / "record.html")
    (row,) = desk.store.heads()
    head = signed_of(row)
    assert (row.job, head.head.reason) == ("den", RECORD)
    assert told[0].startswith("sealed: head 1, code ")
    html = (tmp_path / "record.html").read_text(encoding="utf-8")
    assert " ".join(head.hash[at : at + 4] for at in range(0, 64, 4)) in html.replace("\u00a0", " ")


def test_before_the_start_it_is_as_of_now_and_later_as_of_the_start(desk: Desk, tmp_path: Path):
    furnish(desk)
    hear(desk, steady(T0, 288))
    assert "as of <time>2026-01-17 00:00 +00:00</time>" in page(desk, tmp_path)
    install(desk, "den", Installing(T0 + 4 * DAY, not_ready=True, reason="a test"), who="robin")
    html = page(desk, tmp_path)
    assert "as of <time>2026-01-09 00:00 +00:00</time>" in html
    assert "the installation was begun" not in html


def test_as_of_a_later_time_it_says_that_the_wall_was_begun_before(desk: Desk, tmp_path: Path):
    furnish(desk)
    hear(desk, steady(T0, 288))
    install(desk, "den", Installing(T0 + 4 * DAY, not_ready=True, reason="a test"), who="robin")
    html = page(desk, tmp_path, at=T0 + 5 * DAY)
    assert "the installation was begun <time>2026-01-09 00:00 +00:00</time>" in html


def test_who_looked_at_the_wall_and_what_backs_the_sensor_are_told(desk: Desk, tmp_path: Path):
    furnish(desk)
    hear(desk, steady(T0, 288))
    site_check(desk, "den", {"secure": True}, at=NOW - HOUR, who="O. Example")
    facts = {"meter": "a pin meter", "scale": "gypsum", "material": "drywall", "points": [{"where": "l", "value": 0.4}]}
    wall_moisture(desk, "den", facts, at=NOW - 2 * HOUR, who="P. Example")
    html = page(desk, tmp_path)
    assert "<td><time>2026-01-16 23:00 +00:00</time> by O. Example: " in html
    assert "<td><time>2026-01-16 22:00 +00:00</time> by P. Example: " in html
    assert "shelf: humidity and temperature backed by the maker&#39;s statement only" in html
