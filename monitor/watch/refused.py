"""The quarantine: what was refused, shown, and tried again once the settings are mended."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.basis.errors import PayloadError, RecordError
from monitor.basis.values import Reading
from monitor.intake.payload import decode
from monitor.intake.topics import compile_topic
from monitor.keep.quarantine import CONFLICT
from monitor.keep.rows import Quarantined
from monitor.watch.desk import Desk
from monitor.watch.judging import note_all_completions


@dataclass(frozen=True, slots=True)
class Retried:
    """What became of refused messages that were read again."""

    kept: int
    still_refused: int
    why: str  # of the last one that is refused still


def listed(desk: Desk, *, reason: str | None, limit: int) -> list[Quarantined]:
    """What was refused last, newest first."""
    return desk.store.quarantine(limit, reason)


def shown(desk: Desk, number: int) -> Quarantined:
    """One thing that was refused. Raises RecordError when there is none of that number."""
    return desk.store.quarantined(number)


def retry(desk: Desk, numbers: Sequence[int], *, reason: str | None, limit: int) -> Retried:
    """Read refused messages again by the settings of now: those of `numbers`, else of `reason`.

    Only a message that carries its own time can be read again: when an unstamped one was live is not known any more.
    What becomes a reading leaves the quarantine. Raises RecordError for a reading in conflict, which stays one.
    """
    rows = [desk.store.quarantined(number) for number in numbers] or desk.store.quarantine(limit, reason)
    kept, why = 0, ""
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
        desk.store.keep_readings(readings)
        desk.store.drop_quarantined([row.id])
        for stream in {reading.stream for reading in readings}:
            note_all_completions(desk, stream)
        kept += 1
    return Retried(kept, len(rows) - kept, why)


def _read(desk: Desk, row: Quarantined) -> list[Reading]:
    """The readings of a refused message by the first source that hears its topic. Raises PayloadError."""
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


def trouble(desk: Desk) -> list[str]:
    """What people should know of the quarantine: the topics that end up there, worst first."""
    counts = [(count, topic, reason) for (topic, reason), count in desk.store.quarantine_counts().items()]
    told = [
        f"{topic}: {count} messages were refused ({reason}); see wallclime quarantine list"
        for count, topic, reason in sorted(counts, reverse=True)
        if reason != CONFLICT
    ]
    lost = sum(desk.store.quarantine_loss().values())
    return [*told[:3], *([f"{lost} refused messages were let go for want of room"] if lost else [])]
