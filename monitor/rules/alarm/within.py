"""A part of the judged span: how long the room was in band, out of it or not known, and what left the band then."""

from __future__ import annotations

from collections.abc import Iterable

from monitor.rules.assessment import Assessment, Coverage, Excursion


def judged(found: Assessment, start: int, end: int) -> tuple[int, int] | None:
    """[start, end) cut to what was judged; None where nothing of it was. [ms]"""
    if found.begin is None:
        return None
    a, b = max(start, found.begin), min(end, found.begin + found.span.elapsed)
    return (a, b) if a < b else None


def coverage_within(found: Assessment, start: int, end: int) -> Coverage:
    """Elapsed, known and in-band time of the judged part of [start, end).

    Known is time in band or out of it: where one quantity was out while the other was silent the room was out. [ms]
    """
    part = judged(found, start, end)
    if part is None:
        return Coverage()
    gaps = [(gap.start, gap.end) for gap in found.gaps]
    outside = [(one.start, part[1] if one.end is None else one.end) for one in found.excursions]
    elapsed = part[1] - part[0]
    return Coverage(elapsed, elapsed - _length(gaps, *part), elapsed - _length([*gaps, *outside], *part))


def excursions_within(found: Assessment, start: int, end: int) -> tuple[Excursion, ...]:
    """The excursions that lasted into [start, end), each as a whole. [ms]"""
    return tuple(one for one in found.excursions if one.start < end and (one.end is None or one.end > start))


def _length(pieces: Iterable[tuple[int, int]], start: int, end: int) -> int:
    """How much of [start, end) at least one of the pieces covers."""
    total, reached = 0, start
    for a, b in sorted(pieces):
        a, b = max(a, reached), min(b, end)
        if a < b:
            total += b - a
            reached = b
    return total
