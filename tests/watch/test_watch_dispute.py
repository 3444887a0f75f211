"""Two spans side by side: how they are told, which bundle goes with them, and what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest
from desks import DAY, HOUR, T0, furnish, hear, opening, steady

from monitor.basis.errors import RecordError, ReportError, WallclimeError
from monitor.watch.bundling import write_bundle
from monitor.watch.desk import Desk
from monitor.watch.dispute import bundle_of, spans_told, write_dispute
from monitor.watch.jobs import open_job

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
