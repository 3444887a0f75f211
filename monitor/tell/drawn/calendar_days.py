"""The calendar of a report: for each local day how long the room was in band, out of it and not known."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from itertools import groupby
from typing import NamedTuple

import numpy as np

from monitor.basis.times import datetime_of
from monitor.tell import spanwords, words
from monitor.tell.drawn.chart import midnights
from monitor.tell.pages import cut
from monitor.tell.pages.table import Row, Table
from monitor.tell.pages.views import ReportPage
from monitor.tell.words import Display

ALL_DAYS = 62  # up to so many the table has a row for each; beyond that for each that was not whole, and each month
ROWS = 200
SIGNS = ("\u00d7", "?")  # out of band, not known
WORTH_A_SIGN = 0.01  # of a day's length: unknown time that the drawing marks


class Day(NamedTuple):
    """A local day, or what of it lies in the span. Lengths in ms; `moment`: something of the log begins or ends it."""

    day: date
    elapsed: int
    known: int
    in_band: int
    out: int
    unknown: int
    moment: bool = False

    @property
    def whole(self) -> bool:
        """In band and known all the time."""
        return self.in_band == self.elapsed

    @property
    def sign(self) -> str:
        """What the drawing writes on it."""
        out, unknown = SIGNS
        return (out if self.out else "") + (unknown if self.unknown > self.elapsed * WORTH_A_SIGN else "")


def days_of(page: ReportPage, display: Display) -> list[Day]:
    """Every local day of the page's span, in order. A day on which the clocks are changed has 23 or 25 hours."""
    span = cut.span_of(page)
    if span is None:
        return []
    edges = np.clip(np.array(midnights(span[0], span[1] - 1, display.zone), np.int64), *span)
    found = cut.lengths(page, edges)
    starts = [datetime_of(int(at), display.zone).date() for at in edges[:-1]]
    moments = {datetime_of(at, display.zone).date() for at in _moments(page)}
    return [
        Day(
            day,
            elapsed=int(found.elapsed[k]),
            known=int(found.known[k]),
            in_band=int(found.in_band[k]),
            out=int(found.out[k]),
            unknown=int(found.unknown[k]),
            moment=day in moments,
        )
        for k, day in enumerate(starts)
    ]


def _moments(page: ReportPage) -> list[int]:
    facts = page.facts
    told = [lot.delivered_at for lot in page.assessment.lots]
    told += [facts.install_start, facts.install_finish, facts.closed_at]
    return [at for at in told if at is not None]


def by_year(days: Sequence[Day]) -> list[tuple[int, list[Day]]]:
    """The days of each calendar year."""
    return [(year, list(found)) for year, found in groupby(days, lambda one: one.day.year)]


def finding(days: Sequence[Day]) -> str:
    """What the calendar shows, in words."""
    runs = [sum(1 for _ in run) for whole, run in groupby(days, lambda one: one.whole) if whole]
    out, unknown = sum(one.out > 0 for one in days), sum(one.unknown > 0 for one in days)
    return spanwords.calendar_finding(len(days), sum(runs), out, unknown, max(runs, default=0))


def tables(days: Sequence[Day]) -> dict[str, Table]:
    """The numbers behind the drawing: a row a day; of a long span a row a month and a row for each day not whole."""
    head = ("day", "elapsed", "known", "in band", "out of band", "not known", "in band of known")
    how = ("", *("computed" for _ in head[1:]))
    if len(days) <= ALL_DAYS:
        rows = [(one.day.isoformat(), *_cells([one])) for one in days]
        return {"calendar_days": Table("calendar-days", head, rows, how=how), "calendar_months": Table("none", (), ())}
    other = [one for one in days if not one.whole]
    listed = sorted(sorted(other, key=lambda one: one.in_band - one.elapsed)[:ROWS], key=lambda one: one.day)
    note = spanwords.calendar_days_note(len(listed), len(days) - len(other), len(other) - len(listed))
    months = [
        (month, str(len(found)), str(sum(one.whole for one in found)), *_cells(found))
        for month, found in _by_month(days)
    ]
    return {
        "calendar_days": Table(
            "calendar-days", head, [(one.day.isoformat(), *_cells([one])) for one in listed], note, how
        ),
        "calendar_months": Table(
            "calendar-months", ("month", "days", "whole days", *head[1:]), months, "", (*how[:1], *how[1:3], *how[1:])
        ),
    }


def _by_month(days: Sequence[Day]) -> list[tuple[str, list[Day]]]:
    return [(month, list(found)) for month, found in groupby(days, lambda one: one.day.isoformat()[:7])]


def _cells(days: Sequence[Day]) -> Row:
    elapsed, known, in_band, out, unknown = (
        sum(getattr(one, name) for one in days) for name in ("elapsed", "known", "in_band", "out", "unknown")
    )
    share = words.share(in_band, known) if known else "-"
    return (*(spanwords.length(ms) for ms in (elapsed, known, in_band, out, unknown)), share)
