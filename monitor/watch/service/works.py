"""What the daemon does on schedule, each piece a work of its own (see schedule)."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple

import monitor
from monitor.basis.errors import Fault, StoreError, WallclimeError
from monitor.basis.times import DAY, HOUR, SECOND
from monitor.basis.values import SENSORS_CHAIN
from monitor.config.alarms import Backup
from monitor.config.brokers import Broker
from monitor.config.settings import Settings
from monitor.intake.mqtt import Listener
from monitor.keep.rows import Scheduled
from monitor.rules.assessment import Assessment
from monitor.watch.desk import Desk
from monitor.watch.evidence.sealing import close_due
from monitor.watch.judging import assess_in_round, judge_and_note, settle
from monitor.watch.service import digest
from monitor.watch.service.alarming import Memory, look, states_of
from monitor.watch.service.compacting import Differing, compact_and_tell
from monitor.watch.service.journal import log
from monitor.watch.service.pulse import named
from monitor.watch.service.schedule import Each, Every, Work
from monitor.watch.service.thrift import give_back
from monitor.watch.service.vitals import JUDGE, LOOK
from monitor.watch.upkeep import SCHEDULED, backup, copies_in, stamp

STAY_AWAKE = 3 * SECOND  # how often the daemon says that it is there [ms]
STRANGERS = 50  # how many sensors without a name are shown with their last payload
TIDY = 60 * SECOND  # how often it tidies up [ms]
SEAL = 300 * SECOND  # how often it looks whether a day is due to be closed [ms]
COMPACT = HOUR  # how often it looks for days that are kept twice and need not be [ms]
QUARANTINE_BYTES = 256 * 2**20  # what the quarantine may hold; ours, no published source [bytes]
KEPT_FOR = 400 * DAY  # what was refused, told, or is over; ours, no published source [ms]
LULL, NAP = 30.0, 0.05  # how long judging and sealing let the hearing go first, in all and at a time; ours [s]
AT_ONCE = 1_000  # how many messages, and alarms, are let go at a time


class Look(NamedTuple):
    """How a job stood when it was judged last: its generation, when time alone would complete it, and its figures. [ms]

    `in_band`: the room was known to be in band then.
    """

    generation: int
    due: int | None
    as_of: int
    ready: bool
    in_band: bool
    counted: int
    required: int


Looked = dict[str, Look]  # by job
Announce = Callable[[Mapping[str, Mapping[str, Any]]], object]


def works_of(
    desk: Desk,
    beat: Callable[[], object],
    looked: Looked,
    announce: Announce = lambda _: None,
    draining: Callable[[], bool] = lambda: False,
) -> tuple[Work, ...]:
    """Everything that the daemon of a desk does on schedule; `beat` says that it is there, `announce` how jobs are.

    While `draining` what was missed the judging waits, and the sealing of the days that it is of, but not for long.
    """
    memory, one_at_a_time = Memory(), threading.Lock()  # the look takes what was judged just before it
    differing: Differing = {}

    def judge() -> None:
        with one_at_a_time:
            judge_what_was_heard(desk, looked, memory, draining)

    def seal() -> None:
        _let_by(draining, LULL)
        seal_days(desk)

    def see() -> None:
        with one_at_a_time:
            look_and_announce(desk, memory, announce)

    return (
        Work("stay awake", Every(STAY_AWAKE), lambda _: beat(), everywhere=True),
        Work(JUDGE, Every(desk.settings.service.judge_every), lambda _: judge()),
        Work("tidy", Every(TIDY), lambda _: tidy(desk)),
        Work("seal", Every(SEAL, soon=True), lambda _: seal()),
        Work("compact", Every(COMPACT), lambda _: compact_and_tell(desk, differing)),
        Work(LOOK, Every(desk.settings.service.judge_every), lambda _: see()),
        *digest.works(desk),
        *_asked_for(desk, desk.settings),
    )


def look_and_announce(desk: Desk, memory: Memory, announce: Announce) -> None:
    """Look at everything, record what is new, and let the broker know how each job stands; it ends a round of judging.

    What a round over all jobs took, and left free in pieces, goes back to the computer.
    """
    look(desk, memory)
    announce(states_of(desk, memory))
    give_back()


def _asked_for(desk: Desk, settings: Settings) -> Iterable[Work]:
    """What is done only where the settings ask for it."""
    if settings.backup is not None:
        yield Work("backup", Each(settings.backup.every), partial(back_up, desk, settings.backup))
    if settings.board is not None:
        every = Every(settings.board.every, soon=True)
        yield Work("board", every, partial(_write_boards, desk, settings.board.to))


def stay_awake(
    desk: Desk,
    listening: Sequence[tuple[Broker, Listener]],
    number: int,
    runs: Callable[[], Sequence[Scheduled]],
    said: Callable[[], Mapping[str, Any]] = dict,
) -> None:
    """Note that the daemon is there, how its connections and its works stand, for the commands to show.

    `said` answers what else it says of itself, JSON-safe.
    """
    links = [
        {**one.status._asdict(), "broker": broker.host, "named": named(broker), "client_id": broker.client_id}
        for broker, one in listening
    ]
    known = {heard.stream for heard in desk.store.heard() if heard.name is not None}
    strange = {
        stream: [topic, payload.decode("utf-8", "backslashreplace")]
        for _, listener in listening
        for stream, (topic, payload) in list(listener.latest.items())
        if stream not in known
    }
    shown = dict(list(strange.items())[:STRANGERS])
    state = {"version": monitor.__version__, "links": links, "latest": shown, **said()}
    desk.store.stay_awake(number, state, runs())


def tidy(desk: Desk) -> None:
    """Keep quarantine, outbox, alarms and memory within bounds, and the ballast for a full disk in its place."""
    store, now = desk.store, desk.clock.now()
    lost = store.prune_quarantine(QUARANTINE_BYTES, KEPT_FOR)
    if lost:
        log("warning", "quarantine pruned", lost=lost)
    if late := store.outbox_expire(now):
        log("warning", "messages expired", count=late)
    store.prune_outbox(now - KEPT_FOR, AT_ONCE)
    store.prune_alarms(now - KEPT_FOR, AT_ONCE)
    store.keep_ballast()
    give_back()


def seal_days(desk: Desk) -> None:
    """Close the days that are over by the time that the settings leave for late readings."""
    for signed in close_due(desk):
        head = signed.head
        log("info", "sealed", head=head.number, hash=signed.hash, closes=head.closes, leaves=head.size)


def judge_what_was_heard(
    desk: Desk, looked: Looked, memory: Memory | None = None, draining: Callable[[], bool] = lambda: False
) -> None:
    """Write down what is new of the jobs that heard something since the last look, or are due to be complete.

    `looked` is brought up to date, and `memory` is handed what was judged. A job that can't be judged stops no other
    and is tried again the next time; then WallclimeError is raised with the faults of all.
    """
    patience = _let_by(draining, LULL)
    settle(desk)
    now, generations = desk.clock.now(), desk.store.generations()
    due = {job: of for job, of in generations.items() if _is_due(looked.get(job), of, now)}
    judge_each(desk, due, looked, Memory() if memory is None else memory, draining, patience)


def judge_each(
    desk: Desk,
    generations: Mapping[str, int],
    looked: Looked,
    memory: Memory,
    draining: Callable[[], bool] = lambda: False,
    patience: float = LULL,
) -> None:
    """Write down what is new of these jobs, each of the generation given; see `judge_what_was_heard`."""
    faults: list[Fault] = []
    now, desk = desk.clock.now(), desk.still(every=True)
    lately = memory.begin(desk, generations, now)
    for job, generation in sorted(generations.items()):
        patience = _let_by(draining, patience)
        try:
            sensors, length = len(desk.book.entries(SENSORS_CHAIN)), len(desk.book.log(job))
            found, entries = judge_and_note(desk, job, lambda at, one: assess_in_round(at, one, now, lately))
            for entry in entries:
                log("info", entry.kind.value, job=job, entry=entry.number)
            looked[job] = _look(generation, found)
            memory.judged[job] = (generation, length + len(entries), sensors), found
        except WallclimeError as exc:
            log("error", "a job can't be judged", job=job, error=str(exc))
            faults += exc.faults
        except Exception as exc:  # whatever it is, the other walls are not to suffer from it
            log("error", "a job can't be judged", job=job, error=repr(exc))
            faults.append(Fault(f"a fault of wallclime: {exc!r}", f"job {job}", "Report it, with the daemon's log"))
    if faults:
        raise WallclimeError.of(faults)


def _let_by(draining: Callable[[], bool], patience: float) -> float:
    """Wait while `draining`, as far as there is patience; what is left of it. [s]"""
    while patience > 0.0 and draining():
        time.sleep(NAP)
        patience -= NAP
    return patience


def _is_due(last: Look | None, generation: int, now: int) -> bool:
    return last is None or last.generation != generation or (last.due is not None and last.due <= now)


def _look(generation: int, found: Assessment) -> Look:
    clock = found.lot.clock
    in_band = found.now.state == "in"
    return Look(generation, clock.projected_at, found.as_of, found.ready, in_band, clock.counted, clock.required)


# --- where the settings ask for it ------------------------------------------------------------------------------------


def back_up(desk: Desk, wanted: Backup, _period: str = "") -> Path:
    """Copy the store into the folder of the settings and check the copy; the oldest copies beyond their number go.

    Raises StoreError.
    """
    folder = wanted.to
    if not folder.is_dir():
        mend = "Make it, or see that its disk is there; [backup] to in wallclime.toml names it"
        raise StoreError("there is no such folder", where=str(folder), mend=mend)
    copy = folder / SCHEDULED.format(stamp(desk.clock.now()))
    begun = copy.with_suffix(".part")
    try:
        for left in folder.glob("wallclime-scheduled-*.part*"):  # by one that was killed
            left.unlink()
        backup(desk, begun)
        begun.rename(copy)
        for old in _too_many(folder, wanted.keep, copy):
            old.unlink()
    except OSError as exc:
        mend = "Let this user write the folder"
        raise StoreError(f"it can't be written ({exc.strerror})", where=str(folder), mend=mend) from exc
    log("info", "backed up", file=copy.name)
    return copy


def _too_many(folder: Path, keep: int, newest: Path) -> list[Path]:
    """The copies beyond the newest `keep`. One that is dated after the newest was made by a clock that was wrong."""
    copies = sorted(copies_in(folder), key=lambda path: (path.name <= newest.name, path.name))
    return copies[: max(len(copies) - keep, 0)]


def _write_boards(desk: Desk, folder: Path, _period: str) -> None:
    from monitor.watch.papers.walls import write_boards

    written = write_boards(desk, folder)
    if written.failed:
        log("warning", "reports of the board not written", count=written.failed)
