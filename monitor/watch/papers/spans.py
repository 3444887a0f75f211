"""The part of a record that a report is asked for: a span, a phase, or both."""

from __future__ import annotations

from monitor.basis.errors import ReportError
from monitor.basis.times import rfc3339
from monitor.rules.assessment import Assessment, Phase
from monitor.rules.frame import Frame
from monitor.tell.pages.views import Cut

Span = tuple[int | None, int | None]


def judged_span(found: Assessment, frame: Frame) -> tuple[int, int] | None:
    """[begin, as_of), or to the job's close; None where there is no time in it. [ms]"""
    end = found.as_of if frame.close is None else min(found.as_of, frame.close)
    return None if found.begin is None or found.begin >= end else (found.begin, end)


def cut_of(found: Assessment, frame: Frame, span: Span | None, phase: Phase | None) -> Cut | None:
    """What of the judged span a report with these wishes shows; None where it was asked for the whole.

    An end that is not given (None) is the judged span's own, one beyond it is drawn in. Raises ReportError. [ms]
    """
    if phase is None and (span is None or span == (None, None)):
        return None
    where = f"job {found.job}"
    judged = judged_span(found, frame)
    if judged is None:
        raise ReportError("nothing has been judged yet", where=where, mend="Leave out the span and the phase")
    first, last = span or (None, None)
    if first is not None and last is not None and first >= last:
        raise ReportError(
            f"the span ends at {rfc3339(last)}, not after its start {rfc3339(first)}",
            where=where,
            mend="Give the earlier time first",
        )
    low, high = judged if phase is None else _phase(found, frame, judged, phase)
    start, end = max(low, first or low), min(high, high if last is None else last)
    if start >= end:
        what = "the record" if phase is None else f"the record {phase} the installation"
        raise ReportError(
            f"{what} goes from {rfc3339(low)} to {rfc3339(high)}: nothing of it lies in the span",
            where=where,
            mend="Give a span that overlaps it",
        )
    return Cut(start, end, phase)


def _phase(found: Assessment, frame: Frame, judged: tuple[int, int], phase: Phase) -> tuple[int, int]:
    begin, end = judged
    start = end if frame.start is None else frame.start
    finish = end if frame.finish is None else frame.finish
    low, high = {"before": (begin, start), "during": (start, finish), "after": (finish, end)}[phase]
    low, high = max(low, begin), min(high, end)
    if low >= high:
        raise ReportError(
            f"the record has no time {phase} the installation",
            where=f"job {found.job}",
            mend="Leave out the phase, or enter what is missing: wallclime log install",
        )
    return low, high
