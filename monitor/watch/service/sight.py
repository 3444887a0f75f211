"""What a look sees: every open job as it was judged, and what is to be told of it; what is remembered of it."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import NamedTuple, TypeVar
from zlib import crc32

from monitor.basis.alarm import Alarm, Priority, Signal
from monitor.basis.times import DAY, MINUTE
from monitor.basis.values import SENSORS_CHAIN, Kind
from monitor.rules.alarm import whats
from monitor.rules.alarm.look import Look
from monitor.rules.alarm.signals import signals_of
from monitor.rules.alarm.spells import said_here
from monitor.rules.assessment import Assessment
from monitor.rules.frame import Frame
from monitor.rules.hand import Drift
from monitor.rules.install.care import Item
from monitor.rules.replay import heard
from monitor.watch.desk import Desk
from monitor.watch.job.jobs import closed_at
from monitor.watch.job.life import items_of
from monitor.watch.judging import assess_in_round, settle
from monitor.watch.sensing.beside import drifts
from monitor.watch.service.journal import log
from monitor.watch.service.lately import Lately
from monitor.watch.service.vitals import stuck_since

STANDS = 5 * MINUTE  # how long a job that heard nothing new need not be judged again [ms]
DRIFTS = DAY  # how often neighbours are compared over the weeks, each job's at a time of its own [ms]

_T = TypeVar("_T")
_O = TypeVar("_O")

Marks = tuple[int, int, int]  # what a job's signals hang on: its generation, its log's and the sensors' log's length


class Seen(NamedTuple):
    """What was looked at of a job, its sensors that stand still and since when [ms], and what both hang on.

    `signals` are what was to be told of it from `told_from` on; `look` is kept without what the sensors said of late.
    """

    look: Look
    stuck: Mapping[str, int]
    marks: Marks
    signals: tuple[Signal, ...] = ()
    told_from: int = 0


@dataclass
class Memory:
    """What one process remembers from look to look, to judge less. Without it the look comes to the same.

    `judged`: what was judged since, by job, and the marks that it hangs on, to be looked at.
    """

    seen: dict[str, Seen] = field(default_factory=dict)
    judged: dict[str, tuple[Marks, Assessment]] = field(default_factory=dict)
    drifts: dict[str, tuple[int, tuple[Drift, ...]]] = field(default_factory=dict)
    last: int | None = None  # when it looked [ms]
    lately: Lately | None = None

    def begin(self, desk: Desk, jobs: Mapping[str, int], at: int) -> Lately:
        """Begin a round over these jobs, of which the generations are known, and see what their sensors said. [ms]"""
        self.lately = Lately(desk.store) if self.lately is None else self.lately
        streams = {stream for job in jobs for stream in readable(partial(_streams, desk, at), job, ())}
        self.lately.begin(at, streams, jobs)
        return self.lately

    def keep(self, jobs: Collection[str]) -> None:
        """Forget all jobs but these."""
        for job in self.seen.keys() - set(jobs):
            gone = self.seen.pop(job)
            self.drifts.pop(job, None)
            if self.lately is not None:
                self.lately.forget(gone.look.frame.streams)


def _streams(desk: Desk, at: int, job: str) -> list[str]:
    return desk.book.frame_at(job, at).streams


def readable(read: Callable[[str], _T], job: str, otherwise: _O) -> _T | _O:
    """What is read of one job. That it can't be is told when it is looked at: here it is to stop no other."""
    try:
        return read(job)
    except Exception:  # whatever it is, the other walls are not to suffer from it
        return otherwise


class Sight(NamedTuple):
    """Every open job as it is now, what is to be told of them, and a signal of each that can't be judged."""

    looks: list[Look]
    stuck: dict[str, int]
    seen: list[Signal]
    unseen: list[Signal]


def sight_of(desk: Desk, memory: Memory, jobs: Sequence[str], since: int, standing: Sequence[Alarm], now: int) -> Sight:
    """Look at all of them. [ms]"""
    settle(desk)
    generations, sensors = desk.store.generations(), len(desk.book.entries(SENSORS_CHAIN))
    sight = Sight([], {}, [], [])
    memory.keep(jobs)
    marks = {job: (generations.get(job, 0), readable(partial(_length, desk), job, 0), sensors) for job in jobs}
    anew = [job for job in jobs if _known(memory, job, marks[job], now) is None]
    memory.begin(desk, {job: marks[job][0] for job in anew if _handed(memory, job, marks[job], now) is None}, now)
    for job in jobs:
        try:
            known = _looked(desk, memory, job, marks[job], since, now)
        except Exception as exc:  # whatever it is, the other walls are not to suffer from it
            log("error", "a job can't be looked at", job=job, error=str(exc))
            sight.unseen.append(_unjudged(job, exc, standing, now))
        else:
            sight.seen.extend(known.signals)
            sight.looks.append(known.look)
            sight.stuck.update(known.stuck)
    memory.judged.clear()
    return sight


def _length(desk: Desk, job: str) -> int:
    return len(desk.book.log(job))


def _looked(desk: Desk, memory: Memory, job: str, marks: Marks, since: int, now: int) -> Seen:
    """What is known of a job and what is to be told of it; from its Assessment on, nothing has ended in it."""
    known = _known(memory, job, marks, now)
    if known is not None and (not known.signals or known.told_from >= known.look.found.as_of):
        return known
    lately = memory.lately or Lately(desk.store)
    found = known.look.found if known is not None else _judged(desk, memory, lately, job, marks, now)
    frame = desk.book.frame_at(job, found.as_of)
    channels = heard(frame, found.as_of, lately, found.as_of - DAY, found.as_of)
    if known is None:
        stuck = stuck_since(desk, frame, found.as_of, channels)
        known = Seen(_gathered(desk, memory, lately, frame, found), stuck, marks)
    look = known.look
    signals = _marked(look, signals_of(replace(look, told_from=since, said=said_here(frame, found, channels))))
    memory.seen[job] = known._replace(signals=tuple(signals), told_from=since)
    return memory.seen[job]


def _marked(look: Look, seen: Sequence[Signal]) -> list[Signal]:
    """Signals of a training job say that it is one."""
    if not look.found.training:
        return list(seen)
    return [replace(one, facts={**one.facts, "training": True}) for one in seen]


def open_jobs(desk: Desk) -> list[str]:
    """The jobs that are neither closed nor forgotten; one that can't be read is among them."""
    return [job for job in desk.book.names() if readable(partial(closed_at, desk), job, None) is None]


def _known(memory: Memory, job: str, marks: Marks, now: int) -> Seen | None:
    known = memory.seen.get(job)
    if known is None or known.marks != marks or not 0 <= now - known.look.found.as_of < STANDS:
        return None
    return known


def _handed(memory: Memory, job: str, marks: Marks, now: int) -> Assessment | None:
    """As it was judged just now, where nothing has come since."""
    hangs_on, found = memory.judged.get(job, (None, None))
    return found if found is not None and hangs_on == marks and 0 <= now - found.as_of < STANDS else None


def _judged(desk: Desk, memory: Memory, lately: Lately, job: str, marks: Marks, now: int) -> Assessment:
    return _handed(memory, job, marks, now) or assess_in_round(desk, job, now, lately)


def _gathered(desk: Desk, memory: Memory, lately: Lately, frame: Frame, found: Assessment) -> Look:
    """All that a look takes but what the sensors said of late and from when on is told."""
    completed = found.lot.clock.completed_at
    return Look(
        frame=frame,
        found=found,
        patience=desk.settings.patience,
        told_from=0,
        items=_items(desk, frame, found.as_of),
        drifts=_drifts(desk, memory, lately, frame, found.as_of),
        told_ready=completed is not None and _told_ready(desk, found.job, completed),
    )


def _items(desk: Desk, frame: Frame, as_of: int) -> tuple[Item, ...]:
    return () if frame.finish is None else items_of(desk, frame, frame.finish, as_of)


def _drifts(desk: Desk, memory: Memory, lately: Lately, frame: Frame, as_of: int) -> tuple[Drift, ...]:
    """As they were compared in this day of the job, which begins when its name says: not all at one look."""
    job = frame.job.name
    day = (as_of + crc32(job.encode()) % DRIFTS) // DRIFTS
    compared_on, known = memory.drifts.get(job, (None, ()))
    if compared_on != day:
        known = drifts(desk, frame, as_of, lately)
        memory.drifts[job] = day, known
    return known


def _told_ready(desk: Desk, job: str, completed: int) -> bool:
    """Whether it was told that the job is ready, since that completion. [ms]"""
    return any(
        entry.kind is Kind.ALARM and (entry.body["what"], entry.body["since"]) == (whats.READY, completed)
        for entry in desk.book.log(job)
    )


def _unjudged(job: str, exc: Exception, standing: Sequence[Alarm], now: int) -> Signal:
    key = (whats.UNJUDGED, job, "")
    since = next((one.since for one in standing if one.key == key), now)
    return Signal(*key, since, Priority.MEDIUM, {"error": str(exc) or type(exc).__name__})
