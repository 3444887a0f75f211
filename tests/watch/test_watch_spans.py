"""Which part of a record a report shows, and what is said where there is none such."""

from __future__ import annotations

import pytest
from desks import T0, furnish, hear, steady

from monitor.basis.errors import ReportError
from monitor.basis.times import DAY, HOUR
from monitor.tell.pages import cut
from monitor.tell.pages.report import render_report
from monitor.tell.pages.views import Cut
from monitor.watch.desk import Desk
from monitor.watch.job.installing import Installing, install
from monitor.watch.papers.pages import report_page

START, FINISH, AS_OF = T0 + 60 * HOUR, T0 + 70 * HOUR, T0 + 100 * HOUR


@pytest.fixture
def lived(desk: Desk) -> Desk:
    """The den over five days, installed on the third."""
    furnish(desk)
    rows = [row for row in steady(T0, 120) if not 40 * HOUR <= row.t - T0 < 46 * HOUR]
    hear(desk, [row._replace(humidity=80.0) if 10 * HOUR <= row.t - T0 < 12 * HOUR else row for row in rows])
    install(desk, "den", Installing(START, finish=FINISH, not_ready=True, reason="guests"), who="robin")
    return desk


@pytest.mark.parametrize(
    ("span", "phase", "shown"),
    [
        (None, None, None),
        ((None, None), None, None),
        ((T0 + HOUR, T0 + 9 * HOUR), None, Cut(T0 + HOUR, T0 + 9 * HOUR)),
        ((None, T0 + 9 * HOUR), None, Cut(T0, T0 + 9 * HOUR)),
        ((T0 - DAY, None), None, Cut(T0, AS_OF)),
        (None, "before", Cut(T0, START, "before")),
        (None, "during", Cut(START, FINISH, "during")),
        (None, "after", Cut(FINISH, AS_OF, "after")),
        ((T0 + 65 * HOUR, T0 + 99 * HOUR), "during", Cut(T0 + 65 * HOUR, FINISH, "during")),
    ],
)
def test_a_report_shows_the_part_that_was_asked_for(lived: Desk, span, phase, shown):
    page = report_page(lived, "den", at=AS_OF, span=span, phase=phase)
    assert page.cut == shown
    start, end = (T0, AS_OF) if shown is None else (shown.start, shown.end)
    for line in page.channels:
        assert start <= line.t[0]
        assert line.t[-1] < end


def test_the_phases_of_a_record_add_up_to_its_coverage(lived: Desk):
    whole = report_page(lived, "den", at=AS_OF)
    found = whole.assessment
    for phase, covered in (("before", found.before), ("during", found.during), ("after", found.after)):
        page = report_page(lived, "den", at=AS_OF, phase=phase)  # type: ignore[arg-type]
        assert page.cut is not None
        assert cut.coverage(page, page.cut.start, page.cut.end) == covered
    assert cut.coverage(whole, T0, AS_OF) == found.span


def test_a_page_of_a_phase_is_written(lived: Desk):
    html = render_report(report_page(lived, "den", at=AS_OF, phase="after"))
    assert "after the installation, the room was in band in 100.0 % of known time" in html.replace("\u00a0", " ")


@pytest.mark.parametrize(
    ("span", "phase", "told"),
    [
        (
            (T0 + HOUR, T0 + HOUR),
            None,
            "job den: the span ends at 2026-01-05T01:00:00Z, not after its start 2026-01-05T01:00:00Z. "
            "Give the earlier time first",
        ),
        (
            (None, T0 - HOUR),
            None,
            "job den: the record goes from 2026-01-05T00:00:00Z to 2026-01-09T04:00:00Z: nothing of it lies in the "
            "span. Give a span that overlaps it",
        ),
        (
            (T0, T0 + HOUR),
            "during",
            "job den: the record during the installation goes from 2026-01-07T12:00:00Z to 2026-01-07T22:00:00Z: "
            "nothing of it lies in the span. Give a span that overlaps it",
        ),
    ],
)
def test_a_part_that_is_not_there_is_refused(lived: Desk, span, phase, told):
    with pytest.raises(ReportError) as refused:
        report_page(lived, "den", at=AS_OF, span=span, phase=phase)
    assert str(refused.value) == told


def test_a_phase_that_has_not_come_is_refused(desk: Desk):
    furnish(desk)
    hear(desk, steady(T0, 10))
    with pytest.raises(ReportError) as refused:
        report_page(desk, "den", phase="after")
    assert str(refused.value) == (
        "job den: the record has no time after the installation. "
        "Leave out the phase, or enter what is missing: wallclime log install"
    )


def test_a_job_that_nobody_has_heard_has_no_part(desk: Desk):
    furnish(desk, at=T0 + 12 * DAY)
    with pytest.raises(ReportError) as refused:
        report_page(desk, "den", phase="before")
    assert str(refused.value) == "job den: nothing has been judged yet. Leave out the span and the phase"
