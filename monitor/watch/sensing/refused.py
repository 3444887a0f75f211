"""The quarantine: what was refused, shown, and tried again once the settings are mended."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from monitor.basis.errors import PayloadError, RecordError
from monitor.basis.values import Reading
from monitor.intake.refusal import Reason
from monitor.intake.topics import compile_topic, stream_of_topic
from monitor.keep.quarantine import CONFLICT
from monitor.keep.rows import Kept, Quarantined
from monitor.watch.desk import Desk
from monitor.watch.judging import note_all_completions
from monitor.watch.service.awake import latest


class Retried(NamedTuple):
    """What became of refused messages that were read again: `kept` those of which a reading is new."""

    kept: int
    still_refused: int
    why: str  # of the last one that is refused still
    readings: Kept


@dataclass(frozen=True, slots=True)
class Unheard:
    """A topic of which nothing became a reading: how often it was refused for `reason`, and the last time why."""

    topic: str
    reason: str
    count: int
    payload: str
    detail: str


def listed(desk: Desk, *, reason: str | None, limit: int) -> list[Quarantined]:
    """What was refused last, newest first."""
    return desk.store.quarantine(limit, reason)


def shown(desk: Desk, number: int) -> Quarantined:
    """One thing that was refused. Raises RecordError when there is none of that number."""
    return desk.store.quarantined(number)


def retry(desk: Desk, numbers: Sequence[int], *, reason: str | None, limit: int) -> Retried:
    """Read refused messages again by the settings of now: those of `numbers`, else of `reason`.

    Only a message that carries its own time can be read again: when an unstamped one was live is not known any more.
    What becomes a reading leaves the quarantine; a reading that says otherwise than one kept comes back to it as a
    conflict. Raises RecordError for a reading in conflict, which stays one.
    """
    rows = [desk.store.quarantined(number) for number in numbers] or desk.store.quarantine(limit, reason)
    kept, settled, why = 0, 0, ""
    total = Kept(0, 0, 0)
    for row in rows:
        if row.reason == CONFLICT:
            if numbers:
                raise RecordError(
                    "it says otherwise than a reading that is kept, and a kept reading is never changed",
                    where=f"quarantine {row.id}",
                    mend="If the kept one is wrong, write a note: wallclime log note",
                )
            continue
        try:
            readings = _read(desk, row)
        except PayloadError as exc:
            why = str(exc)
            continue
        found = desk.store.keep_readings(readings)
        desk.store.drop_quarantined([row.id])
        for stream in {reading.stream for reading in readings}:
            note_all_completions(desk, stream)
        total = Kept(*(sum(pair) for pair in zip(total, found, strict=True)))
        kept += found.new > 0
        settled += 1
    return Retried(kept, len(rows) - settled, why, total)


def _read(desk: Desk, row: Quarantined) -> list[Reading]:
    """The readings of a refused message by the first source that hears its topic. Raises PayloadError."""
    from monitor.intake.payload import decode  # what a status tells of the quarantine asks for no reader

    for source in desk.settings.sources:
        if compile_topic(source.topic).match(row.topic) is not None:
            return decode(
                source,
                row.topic,
                row.raw,
                arrival=row.first_arrival,
                trusted_live=False,
                retained=False,
                now=desk.clock.now(),
                back_fill=desk.settings.service.back_fill,
                newest=None,
            )
    raise PayloadError(
        "no source in wallclime.toml hears this topic",
        where=row.topic,
        mend="Add a [[source]] for it",
        reason=row.reason,
    )


def unheard(desk: Desk) -> list[Unheard]:
    """The topics that are refused only, newest first: nothing was heard on them, and nobody gave them a name."""
    streams = {heard.stream for heard in desk.store.heard()}
    topics = streams | {topic for stream, (topic, _) in latest(desk).items() if stream in streams}
    counts = desk.store.quarantine_counts()
    return [
        Unheard(
            row.topic, row.reason, counts[row.topic, row.reason], row.raw.decode(errors="backslashreplace"), row.detail
        )
        for row in desk.store.newest_refused()
        if row.topic not in topics and stream_of_topic(desk.settings.sources, row.topic) not in streams
    ]


def trouble(desk: Desk) -> list[str]:
    """What people should know of the quarantine: the topics and the sensors that end up there, worst first."""
    counts = [(count, topic, reason) for (topic, reason), count in desk.store.quarantine_counts().items()]
    worst = sorted(counts, reverse=True)
    refused = [_refused_words(*each) for each in worst if each[2] != CONFLICT]
    conflicts = [(count, stream) for count, stream, reason in worst if reason == CONFLICT]
    lost = sum(desk.store.quarantine_loss().values())
    gone = [f"{_counted(lost, 'refused message was', 'refused messages were')} let go for want of room"] if lost else []
    return [*refused[:3], *_conflict_words(desk, conflicts[:3]), *gone]


_MENDS: dict[str, str] = {
    Reason.TIME_AHEAD: ": its clock is ahead; set its hour, zone and summer time",
    Reason.TIME_BEFORE_2000: ": its clock is not set; set it",
}


def _counted(count: int, one: str, more: str) -> str:
    return f"{count} {one if count == 1 else more}"


def _refused_words(count: int, topic: str, reason: str) -> str:
    said = _counted(count, "message was", "messages were")
    return f"{topic}: {said} refused ({reason}{_MENDS.get(reason, '')}); see wallclime quarantine list"


def _conflict_words(desk: Desk, counts: Sequence[tuple[int, str]]) -> Iterator[str]:
    names = {heard.stream: heard.name for heard in desk.store.heard()} if counts else {}
    for count, stream in counts:
        said = _counted(count, "reading says otherwise than the one", "readings say otherwise than the ones")
        yield f"{names.get(stream) or stream}: {said} kept; see wallclime quarantine list --reason conflict"
