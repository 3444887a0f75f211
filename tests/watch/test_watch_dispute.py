"""Two spans side by side: how they are told, which bundle goes with them, and what is refused."""

from __future__ import annotations

import html
import re
from pathlib import Path

import pytest
from desks import DAY, HOUR, HUMIDITY, MINUTE, NOW, T0, TEMPERATURE, furnish, hear, opening, steady

from monitor.basis.errors import RecordError, ReportError, WallclimeError
from monitor.rules.instrument import Point
from monitor.watch.desk import Desk
from monitor.watch.evidence.bundling import write_bundle
from monitor.watch.job.jobs import open_job
from monitor.watch.papers.dispute import bundle_of, spans_told, write_dispute
from monitor.watch.papers.pages import report_page
from monitor.watch.sensing.instruments import Compared, check_sensor
from monitor.watch.sensing.sensors import MAKER, add_sensor, assign_sensor

SPANS = [(T0, T0 + 2 * DAY), (T0 + 2 * DAY, T0 + 5 * DAY)]


def test_spans_are_in_the_jobs_zone_unless_they_have_an_offset(desk: Desk):
    open_job(desk, opening("loft", zone="America/New_York"), who="robin")
    told = spans_told(desk, "loft", ["2026-01-05..2026-01-06T12:00", "2026-01-05T00:00Z..2026-01-06T00:00Z"])
    assert told == [(T0 + 5 * HOUR, T0 + DAY + 17 * HOUR), (T0, T0 + DAY)]


@pytest.mark.parametrize(
    ("texts", "line"),
    [
        (
            ["2026-01-05..2026-01-06"],
            '--span: there are 1 spans, not two. Give --span "FROM..TO" twice, like '
            '--span "2026-01-06..2026-01-09T12:00"',
        ),
        (
            ["2026-01-05", "2026-01-05..2026-01-06"],
            "--span: '2026-01-05' is no span. Write it like \"2026-01-06..2026-01-09T12:00\"",
        ),
        (
            ["2026-01-05..soon", "2026-01-05..2026-01-06"],
            "--span: 'soon' is not a time. Write it like 2026-01-05T06:40 or 2026-01-05T06:40:00+02:00",
        ),
    ],
)
def test_what_is_no_pair_of_spans_is_refused(desk: Desk, texts: list[str], line: str):
    furnish(desk)
    with pytest.raises(WallclimeError) as refused:
        spans_told(desk, "den", texts)
    assert str(refused.value) == line


def test_a_page_is_written_with_the_bundle_that_goes_with_it(desk: Desk, tmp_path: Path):
    furnish(desk)
    hear(desk, steady(T0, 288))
    written = write_bundle(desk, "den", tmp_path / "den-bundle")
    path = tmp_path / "dispute.html"
    write_dispute(desk, "den", path, SPANS, names=("one", "two"), bundle=tmp_path / "den-bundle")
    told = path.read_text(encoding="utf-8")
    assert "den: one, and two." in told
    assert "den-bundle" in told
    assert written.digest in told
    assert bundle_of(tmp_path / "den-bundle").digest == written.digest


def test_what_is_missing_is_refused_and_nothing_is_written(desk: Desk, tmp_path: Path):
    furnish(desk)
    hear(desk, steady(T0, 288))
    path = tmp_path / "dispute.html"
    with pytest.raises(RecordError) as one_name:
        write_dispute(desk, "den", path, SPANS, names=("one",))
    assert str(one_name.value) == "--name: there are 1 names for two spans. Give two, or none"
    with pytest.raises(ReportError) as no_bundle:
        write_dispute(desk, "den", path, SPANS, bundle=tmp_path)
    assert str(no_bundle.value) == (
        f"{tmp_path / 'tagmanifest-sha256.txt'}: it can't be read (No such file or directory). "
        "Give the folder of a bundle: --bundle DIR"
    )
    with pytest.raises(ReportError) as nothing:
        write_dispute(desk, "den", path, [SPANS[0], (T0 - 9 * DAY, T0 - 8 * DAY)])
    assert "nothing of it lies in the span" in str(nothing.value)
    assert not path.exists()


def test_what_backs_a_sensor_is_known_for_all_time_and_a_check_never_made_has_not_run_out(desk: Desk):
    furnish(desk)  # added at NOW
    hear(desk, steady(T0, 288))
    read = Compared(HUMIDITY, Point(50.0, 51.0, 2.0), "beside another")
    valid = {"at": T0 + 3 * DAY, "valid": 30 * DAY}
    check_sensor(desk, "shelf", "side by side", [read], **valid, adjusted=True, who="robin")
    [line] = report_page(desk, "den").sensors
    left = [each for each in line.backings if each.quantity is HUMIDITY]
    assert [(each.start, each.end, each.level, each.checked) for each in left] == [
        (0, T0 + 3 * DAY, "maker", None),
        (T0 + 3 * DAY, T0 + 33 * DAY, "side by side", T0 + 3 * DAY),
        (T0 + 33 * DAY, NOW + 365 * DAY, "maker", None),
        (NOW + 365 * DAY, None, "run out", None),
    ]
    # U of a comparison in one place: 2.0 of the other, 1.0 that it repeats to, half of the maker's 5.0, as squares
    assert [each.uncertainty for each in left] == pytest.approx([5.0, (4.0 + 1.0 + 6.25) ** 0.5, 5.0, 5.0])
    never = [(each.start, each.level) for each in line.backings if each.quantity is TEMPERATURE]
    assert never == [(0, "maker"), (NOW + 365 * DAY, "never checked")]


def test_a_check_that_holds_within_a_span_is_told_though_it_has_run_out_since(desk: Desk, tmp_path: Path):
    furnish(desk)
    hear(desk, steady(T0, 288))
    read = Compared(HUMIDITY, Point(50.0, 51.0, 2.0), "beside another")
    check_sensor(desk, "shelf", "side by side", [read], at=T0, valid=2 * DAY, adjusted=True, who="robin")
    write_dispute(desk, "den", tmp_path / "dispute.html", SPANS, names=("one", "two"))
    page = html.unescape(re.sub(r"</?time[^>]*>", "", (tmp_path / "dispute.html").read_text(encoding="utf-8")))
    assert (
        "in one humidity 3.4 %RH, backed by a side-by-side check of 2026-01-05, temperature 1.0 K, backed by the "
        "maker's statement only; in two humidity 5.0 %RH, temperature 1.0 K, backed by the maker's statement only."
    ) in " ".join(page.split())


def test_sensors_outdoors_in_boxes_and_on_the_wall_are_known_as_such_on_both_pages(desk: Desk, tmp_path: Path):
    furnish(desk)
    open_job(desk, opening("loft", boxes_place="den", wall_place="den", outdoor_place="porch"), who="robin")
    for name, place, facts in (("eaves", "porch", {}), ("probe", "den", {"role": "box"})):
        add_sensor(desk, name, f"site/{name}/climate", hold=30 * MINUTE, uncertainty=MAKER, who="robin")
        assign_sensor(desk, name, place, at=T0, facts=facts, who="robin")
    page = report_page(desk, "loft")
    assert {one.name: [stay.hears for stay in one.stays] for one in page.sensors} == {
        "eaves": ["outdoors"], "probe": ["box"], "shelf": ["air"]
    }  # fmt: skip
