"""The part of the judged span that a page shows: what of excursions, episodes, gaps and coverage lies in it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Generic, NamedTuple, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from monitor.basis.values import Quantity
from monitor.rules.assessment import Assessment, Coverage, Excursion, Phase, State
from monitor.tell.pages.views import ReportPage

Times = NDArray[np.int64]
Interval = tuple[int, int]


class _Lasting(Protocol):
    @property
    def start(self) -> int: ...
    @property
    def end(self) -> int | None: ...


T = TypeVar("T", bound=_Lasting)


@dataclass(frozen=True, slots=True)
class Part(Generic[T]):
    """What of a thing of the record lies in the span: [start, end), None while it is open; `number` from 1. [ms]"""

    number: int
    whole: T
    start: int
    end: int | None

    @property
    def cut(self) -> bool:
        """Whether the whole began before the span or lasted beyond it."""
        return (self.start, self.end) != (self.whole.start, self.whole.end)


def judged(page: ReportPage) -> Interval | None:
    """The judged span as of the page's time; None where there is no time in it. [ms]"""
    begin = page.assessment.begin
    end = min(at for at in (page.assessment.as_of, page.facts.closed_at) if at is not None)
    return None if begin is None or begin >= end else (begin, end)


def span_of(page: ReportPage) -> Interval | None:
    """The span that the page shows. [ms]"""
    return judged(page) if page.cut is None else (page.cut.start, page.cut.end)


def narrowed(page: ReportPage) -> ReportPage:
    """The page with the readings of its span alone."""
    if page.cut is None:
        return page
    lines = []
    for one in page.channels:
        here = slice(*np.searchsorted(one.t, (page.cut.start, page.cut.end)).tolist())
        lines.append(one._replace(t=one.t[here], value=one.value[here], flat=one.flat[here]))
    return page._replace(channels=tuple(one for one in lines if len(one.t)))


def parts(page: ReportPage, things: Iterable[T]) -> list[Part[T]]:
    """Those of the record's things, which are numbered in order, that last into the page's span."""
    if page.cut is None:
        return [Part(number, one, one.start, one.end) for number, one in enumerate(things, 1)]
    start, end = page.cut.start, page.cut.end
    whole = judged(page)
    to_the_end = None if whole is not None and end == whole[1] else end  # of what is still open
    return [
        Part(number, one, max(one.start, start), to_the_end if one.end is None else min(one.end, end))
        for number, one in enumerate(things, 1)
        if one.start < end and (one.end is None or one.end > start)
    ]


def extremes(page: ReportPage, quantity: Quantity) -> tuple[float, float] | None:
    """The lowest and the highest reading of the page's channels; None where there is none. [degC or %RH]"""
    values = [one.value for one in page.channels if one.quantity is quantity and len(one.value)]
    return (min(float(v.min()) for v in values), max(float(v.max()) for v in values)) if values else None


def assessed(page: ReportPage) -> Assessment:
    """The Assessment with what of its excursions lies in the page's span alone, for sentences about that."""
    if page.cut is None:
        return page.assessment
    here = tuple(p.whole._replace(start=p.start, end=p.end) for p in parts(page, page.assessment.excursions))
    return page.assessment._replace(excursions=here)


def partial(page: ReportPage) -> list[Excursion]:
    """Those of `assessed` that last beyond the page's span."""
    found = parts(page, page.assessment.excursions)
    return [part.whole._replace(start=part.start, end=part.end) for part in found if part.cut]


def intervals(page: ReportPage, state: State) -> list[Interval]:
    """When the room was in `state`, inside the page's span, in order. [ms]"""
    span = span_of(page)
    if span is None:
        return []
    cut = [(max(start, span[0]), min(end, span[1])) for start, end, was in page.runs if was == state]
    return [(start, end) for start, end in cut if start < end]


def within(found: Sequence[Interval], edges: Times) -> Times:
    """How much of each [edges[k], edges[k+1]) the intervals, in order and apart, cover. [ms]"""
    if not found:
        return np.zeros(len(edges) - 1, np.int64)
    start, end = np.array(found, np.int64).T
    total = np.concatenate(([0], np.cumsum(end - start)))
    k = np.searchsorted(start, edges, "right")
    last = np.maximum(k - 1, 0)
    before = total[k] - np.where(k > 0, np.maximum(end[last] - edges, 0), 0)
    return np.diff(before)


class Lengths(NamedTuple):
    """Of adjoining stretches of time: how long each is, and how long the room was known, in band, out of it. [ms]

    Out of band is not all known: of the other quantity nothing may have been heard.
    """

    elapsed: Times
    known: Times
    in_band: Times
    out: Times
    unknown: Times


def lengths(page: ReportPage, edges: Times) -> Lengths:
    """Of each [edges[k], edges[k+1]), which lie in the page's span. [ms]"""
    in_band, out, unknown = (within(intervals(page, state), edges) for state in ("in", "out", "unknown"))
    return Lengths(np.diff(edges), in_band + out - within(page.half_known, edges), in_band, out, unknown)


def coverage(page: ReportPage, start: int, end: int) -> Coverage:
    """Of [start, end), which lies in the page's span. [ms]"""
    found = lengths(page, np.array([start, end], np.int64))
    return Coverage(end - start, int(found.known[0]), int(found.in_band[0]))


def phases(page: ReportPage) -> list[tuple[Phase, int, int]]:
    """The phases that the page's span holds some of, each with its part. [ms]"""
    span = span_of(page)
    if span is None:
        return []
    start, finish = page.facts.install_start, page.facts.install_finish
    first = span[1] if start is None else start
    last = span[1] if start is None or finish is None else finish
    turns: list[tuple[Phase, int, int]] = [
        ("before", span[0], first), ("during", max(first, span[0]), last), ("after", max(last, span[0]), span[1])
    ]  # fmt: skip
    return [(name, low, min(high, span[1])) for name, low, high in turns if low < min(high, span[1])]
