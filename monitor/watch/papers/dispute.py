"""Two spans of a job's record side by side, put together for people who differ."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path

from monitor.basis.errors import RecordError, ReportError
from monitor.basis.times import parse_time, zone_of
from monitor.basis.values import SENSORS_CHAIN, Kind
from monitor.seal import bag
from monitor.tell.pages.dispute import Bundle, DisputePage, render_dispute
from monitor.watch.desk import Desk
from monitor.watch.job.jobs import checked_name
from monitor.watch.papers.pages import report_page
from monitor.watch.papers.printing import page_file, write_page

NAMES = ("the first span", "the second span")


def spans_told(desk: Desk, job: str, texts: Sequence[str]) -> list[tuple[int, int]]:
    """ "2026-01-06..2026-01-09T12:00" of each, in the job's zone where no offset is said. Raises RecordError. [ms]"""
    zone = zone_of(desk.book.job(job).zone, where=f"job {job}")
    if len(texts) != len(NAMES):
        mend = 'Give --span "FROM..TO" twice, like --span "2026-01-06..2026-01-09T12:00"'
        raise RecordError(f"there are {len(texts)} spans, not two", where="--span", mend=mend)
    found = []
    for text in texts:
        first, mark, last = text.partition("..")
        if not mark:
            mend = 'Write it like "2026-01-06..2026-01-09T12:00"'
            raise RecordError(f"{text!r} is no span", where="--span", mend=mend)
        found.append((parse_time(first, zone, where="--span"), parse_time(last, zone, where="--span")))
    return found


def write_dispute(
    desk: Desk,
    job: str,
    path: Path,
    spans: Sequence[tuple[int, int]],
    *,
    names: Sequence[str] = (),
    bundle: Path | None = None,
    at: int | None = None,
) -> None:
    """Write the page as HTML or PDF. Raises RecordError, ReportError where nothing of a span was judged. [ms]"""
    page_file(path)
    if len(names) not in (0, len(NAMES)):
        raise RecordError(f"there are {len(names)} names for two spans", where="--name", mend="Give two, or none")
    called = [checked_name(name, "--name") for name in names] or NAMES
    first, second = (report_page(desk, job, at=at, span=span) for span in spans)
    steps = tuple(one for one in desk.book.entries(SENSORS_CHAIN) if one.kind is Kind.CLOCK)
    named = None if bundle is None else bundle_of(bundle)
    page = DisputePage(((called[0], first), (called[1], second)), steps, named)
    write_page(path, render_dispute(page), first.facts.units)


def bundle_of(folder: Path) -> Bundle:
    """The name and the digest of a bundle, as it was told when it was written. Raises ReportError."""
    manifest = folder / bag.TAG_MANIFEST
    try:
        content = manifest.read_bytes()
    except OSError as exc:
        raise ReportError(
            f"it can't be read ({exc.strerror})", where=str(manifest), mend="Give the folder of a bundle: --bundle DIR"
        ) from exc
    return Bundle(folder.resolve().name, hashlib.sha256(content).hexdigest())
