"""What the log says, read once and kept while nobody adds to it."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence
from dataclasses import replace

from monitor.basis.errors import RecordError
from monitor.basis.times import rfc3339
from monitor.basis.units import System
from monitor.basis.values import SENSORS_CHAIN, Draft, Entry, Kind
from monitor.config.profile import Profile, profile_from_text
from monitor.keep.store import Store
from monitor.rules.building import building_of
from monitor.rules.frame import (
    Frame,
    Job,
    ProfileText,
    Sensor,
    Stay,
    effective,
    frame_of,
    job_of,
    profiles_of,
    sensors_of,
    stays_of,
)
from monitor.seal.chain import Withheld


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


def _lean(entry: Entry) -> Entry:
    """The entry, with a profile's text shared by all that say the same: of a thousand jobs most have one of a few."""
    if entry.kind is not Kind.PROFILE:
        return entry
    return replace(entry, body={**entry.body, "text": sys.intern(entry.body["text"])})


class Book:
    """The chains of the store, each read again only when it has grown.

    `units`: those in which jobs are shown, instead of each job's own; for commands that write nothing.
    """

    def __init__(self, store: Store, units: System | None = None) -> None:
        self._store, self._units = store, units
        self._read: dict[str, list[Entry]] = {}
        self._profiles: dict[str, Profile] = {}

    def entries(self, chain: str) -> Sequence[Entry]:
        """All entries of one chain."""
        number, _ = self._store.head(chain)
        known = self._read.get(chain, [])
        if len(known) != number:
            known = self._read[chain] = [_lean(entry) for entry in self._store.entries(chain)]
        return known

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
        return building_of(self.log(job))

    def job(self, name: str) -> Job:
        """What the job is."""
        return self._shown(job_of(self.log(name)))

    def _shown(self, job: Job) -> Job:
        return job if self._units is None else replace(job, units=self._units)

    def sensors(self) -> dict[str, Sensor]:
        """Every named sensor."""
        return sensors_of(self.entries(SENSORS_CHAIN))

    def stays(self) -> tuple[Stay, ...]:
        """Where every sensor was and is."""
        return stays_of(effective(self.entries(SENSORS_CHAIN)))

    def profiles(self, job: str) -> tuple[ProfileText, ...]:
        """Every profile the job has had."""
        return profiles_of(self.log(job))

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
        found = frame_of(self.log(job), self.entries(SENSORS_CHAIN), profile, as_of)
        return replace(found, job=self._shown(found.job))

    def jobs_of(self) -> dict[str, list[str]]:
        """Which jobs hang on each stream; a job that can't be read may hang on any, and stops no other."""
        sensors, stays = self.sensors(), self.stays()
        at: dict[str, set[str]] = {}
        for stay in stays:
            at.setdefault(stay.place, set()).add(sensors[stay.sensor].stream)
        found: dict[str, list[str]] = {}
        for name in self.names():
            for stream in sorted({stream for place in self._places_or(name, at) for stream in at.get(place, ())}):
                found.setdefault(stream, []).append(name)
        return found

    def _places_or(self, name: str, every: Iterable[str]) -> set[str]:
        try:
            return self.places(name)
        except Exception:  # whatever it is: whoever judges that job is told of it
            return set(every)

    def places(self, name: str) -> set[str]:
        """Every place that a job has to do with."""
        job = self.job(name)
        lots = {entry.body["place"] for entry in effective(self.log(name)) if entry.kind is Kind.DELIVER}
        outdoors = () if job.outdoor_place is None else (job.outdoor_place,)
        return {job.boxes_place, job.wall_place, *outdoors, *lots}
