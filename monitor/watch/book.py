"""What the log says, read once and kept while nobody adds to it; and what sensors said of late."""

from __future__ import annotations

import bisect
import copy
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import replace
from typing import NamedTuple, TypeVar

from monitor.basis.errors import RecordError
from monitor.basis.times import rfc3339
from monitor.basis.units import System
from monitor.basis.values import SENSORS_CHAIN, Draft, Entry, Kind
from monitor.config.profile import Profile, profile_from_text
from monitor.keep.store import Store
from monitor.rules.alarm.building import building_of
from monitor.rules.frame import (
    Frame,
    Job,
    ProfileText,
    Sensor,
    SensorsLog,
    effective,
    frame_of,
    job_of,
    moments_of,
    profiles_of,
)
from monitor.rules.stays import Stay
from monitor.seal.chain import Withheld
from monitor.watch.service.lately import Lent

FEW = 20  # places of which is asked whose log names them

_T = TypeVar("_T")


def as_if(entries: Sequence[Entry], chain: str, drafts: Sequence[Draft]) -> list[Entry]:
    """What would stand, corrections applied, in a chain of `entries` once `drafts` were added."""
    added = [
        Entry(chain, number, one.kind, one.at, one.at, one.who, one.body, one.corrects, b"", b"")
        for number, one in enumerate(drafts, len(entries) + 1)
    ]
    return effective([*entries, *added])


def _forgotten(log: Sequence[Entry]) -> RecordError:
    tombstone = log[log[0].body["by"] - 1]
    return RecordError(
        f"it was forgotten {rfc3339(tombstone.at)}: {tombstone.body['reason']}",
        where=f"job {tombstone.chain}",
        mend="Nothing but the links of its log is left; wallclime job list shows the jobs there are",
    )


def linked(entries: Sequence[Entry]) -> list[Entry | Withheld]:
    """Entries as the links of their chain bind them: one that was erased by the hash of what it said."""
    return [
        Withheld(one.chain, one.number, one.entered, bytes.fromhex(one.body["body_hash"]), one.link)
        if one.kind is Kind.ERASED
        else one
        for one in entries
    ]


class _Asked(NamedTuple):
    """What was asked of a log of so many entries: how long chains are, and which jobs name which places."""

    size: int
    heads: dict[str, int]
    naming: dict[frozenset[str], list[str]]
    every: bool = False


class Book:
    """The chains of the store, each read again only when it has grown.

    `units`: those in which jobs are shown, instead of each job's own; for commands that write nothing.
    """

    def __init__(self, store: Store, units: System | None = None) -> None:
        self._store, self._units = store, units
        self._read: dict[str, list[Entry]] = {}
        self._told: dict[tuple[str, Callable[..., object]], tuple[Sequence[Entry], object]] = {}
        self._profiles: dict[str, Profile] = {}
        self._frames: dict[tuple[str, str], tuple[Sequence[Entry], SensorsLog, tuple[int, int], Frame]] = {}
        self._asked = _Asked(-1, {}, {})
        self._still = False
        self.lately = Lent(store)  # what the sensors of the job that was judged last said

    def still(self, *, every: bool = False) -> Book:
        """This book as it lies open now: no chain is asked twice whether it has grown, nor after the last time if
        nothing was entered since. `every`: all are asked at once, for a round over all jobs.
        """
        if self._still:
            return self
        size = self._store.log_size()
        if self._asked.size != size:
            self._asked = _Asked(size, {}, {})
        if every and not self._asked.every:
            heads = {chain: number for chain, (number, _) in self._store.chain_heads().items()}
            self._asked = _Asked(size, heads, self._asked.naming, every=True)
        lying = copy.copy(self)
        lying._still = True
        return lying

    def anew(self) -> Book:
        """This book, in which every chain is asked again."""
        asking = copy.copy(self)
        asking._still = False
        return asking

    def entries(self, chain: str) -> Sequence[Entry]:
        """All entries of one chain."""
        known = self._read.get(chain, [])
        if len(known) < self._length(chain):
            known = self._read[chain] = self._store.entries(chain)
        return known

    def _length(self, chain: str) -> int:
        heads = self._asked.heads if self._still else {}
        if chain not in heads:
            heads[chain] = self._store.head(chain)[0]
        return heads[chain]

    def told(self, job: str, how: Callable[[Sequence[Entry]], _T]) -> _T:
        """What `how` makes of the log of a job, made again only when it has grown. Raises RecordError: no such job."""
        return self._made(job, self.log(job), how)

    def _sensors_log(self) -> SensorsLog:
        """The sensors' log, put in order once for all jobs."""
        return self._made(SENSORS_CHAIN, self.entries(SENSORS_CHAIN), SensorsLog)

    def _made(self, chain: str, entries: Sequence[Entry], how: Callable[[Sequence[Entry]], _T]) -> _T:
        known = self._told.get((chain, how))
        if known is None or known[0] is not entries:
            known = self._told[chain, how] = entries, how(entries)
        return known[1]  # type: ignore[return-value]

    def names(self) -> list[str]:
        """The jobs that are not forgotten, in order of name."""
        out = {SENSORS_CHAIN, *self._store.forgotten()}
        return [name for name in self._store.chains() if name not in out]

    def log(self, job: str) -> Sequence[Entry]:
        """The entries of a job; of one that was erased nothing but its kind. Raises RecordError: no such job."""
        found = self.entries(job) if job != SENSORS_CHAIN else ()
        if not found:
            raise RecordError(
                f"there is no job {job!r}", where=f"job {job}", mend="wallclime job list shows the jobs there are"
            )
        if found[0].kind is Kind.ERASED:
            raise _forgotten(found)
        return found

    def building(self, job: str) -> str:
        """The building that the job's wall is said to be in, "" where nobody named one."""
        return self.told(job, building_of)

    def job(self, name: str) -> Job:
        """What the job is. Raises RecordError: no such job."""
        return self._shown(self.told(name, job_of))

    def _shown(self, job: Job) -> Job:
        return job if self._units is None else job._replace(units=self._units)

    def sensors(self) -> dict[str, Sensor]:
        """Every named sensor."""
        return self._sensors_log().sensors

    def stays(self) -> tuple[Stay, ...]:
        """Where every sensor was and is."""
        return self._sensors_log().every_stay

    def profiles(self, job: str) -> tuple[ProfileText, ...]:
        """Every profile the job has had."""
        return self.told(job, profiles_of)

    def profile(self, job: str, at: int) -> ProfileText:
        """The profile in force at `at`: the last one that came into force by then, else the first."""
        every = self.profiles(job)
        return next((one for one in reversed(every) if one.since <= at), every[0])

    def parsed(self, text: str, job: str) -> Profile:
        """A profile that was frozen into a job."""
        if text not in self._profiles:
            self._profiles[text] = profile_from_text(text, where=f"the profile of {job}")
        return self._profiles[text]

    def profile_at(self, job: str, at: int) -> Profile:
        """The profile in force at `at`, checked. [ms]"""
        return self.parsed(self.profile(job, at).text, job)

    def frame_at(self, job: str, at: int) -> Frame:
        """The frame as of `at`, under the profile in force then. [ms]"""
        return self.frame(job, self.profile_at(job, at), at)

    def frame(self, job: str, profile: Profile, as_of: int) -> Frame:
        """The frame in which the job's readings are judged."""
        log, sensors = self.log(job), self._sensors_log()
        happened = bisect.bisect_right(self.told(job, moments_of), as_of), sensors.happened(as_of)
        known = self._frames.get((job, profile.text))
        if known is None or known[0] is not log or known[1] is not sensors or known[2] != happened:
            found = frame_of(log, sensors, profile, as_of)
            shown = replace(found, job=self._shown(found.job))
            known = self._frames[job, profile.text] = log, sensors, happened, shown
        return known[3]

    def jobs_of(self, streams: Collection[str] | None = None) -> dict[str, list[str]]:
        """Which jobs hang on each stream, or on each of `streams`: where these are few, few logs are read for it.

        A job that can't be read may hang on any, and stops no other.
        """
        stood = self._sensors_log().stood_at
        at: dict[str, set[str]] = {}
        for stream in stood if streams is None else streams:
            for place in stood.get(stream, ()):
                at.setdefault(place, set()).add(stream)
        names = self._naming(frozenset(at)) if len(at) <= FEW else self.names()
        found: dict[str, list[str]] = {}
        for name in names:
            for stream in sorted({stream for place in self._places_or(name, at) for stream in at.get(place, ())}):
                found.setdefault(stream, []).append(name)
        return found

    def _naming(self, places: frozenset[str]) -> list[str]:
        """Jobs whose log may name one of few places."""
        known = self._asked.naming if self._still else {}
        if places not in known:
            saying = self._store.chains_saying(places)
            known[places] = [name for name in self.names() if name in saying]
        return known[places]

    def _places_or(self, name: str, every: Iterable[str]) -> set[str]:
        try:
            return self.places(name)
        except Exception:  # whatever it is: whoever judges that job is told of it
            return set(every)

    def places(self, name: str) -> set[str]:
        """Every place that a job has to do with."""
        return self.told(name, _places)


def _places(log: Sequence[Entry]) -> set[str]:
    job = job_of(log)
    lots = {entry.body["place"] for entry in effective(log) if entry.kind is Kind.DELIVER}
    outdoors = () if job.outdoor_place is None else (job.outdoor_place,)
    return {job.boxes_place, job.wall_place, *outdoors, *lots}
