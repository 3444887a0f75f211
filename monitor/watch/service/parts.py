"""The parts of several daemons over one store: who hears which topics, who judges, and the one who does the rest.

`intake` hears, keeps and acknowledges. `judge` judges the jobs that changed and writes down their completions; several
divide the jobs among them. `schedule` does what is done once for all: alarms and their delivery, seals, digests, the
board, the dead-man's URL, tidying up; of several one does it and the others stand by. `all` does all of it.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from enum import StrEnum
from typing import NamedTuple

from monitor.basis.errors import Fault, SettingsError, StoreError, WallclimeError
from monitor.basis.times import SECOND
from monitor.config.brokers import Broker
from monitor.config.settings import Settings
from monitor.config.shares import Share, broker_of, narrowed
from monitor.config.tables import nearest
from monitor.intake.topics import filters_of_stream
from monitor.keep.rows import Part
from monitor.rules.assessment import RULES_VERSION
from monitor.watch.desk import Desk
from monitor.watch.judging import settle
from monitor.watch.service.alarming import note_settings
from monitor.watch.service.journal import log
from monitor.watch.service.schedule import Every, Schedule, Work
from monitor.watch.service.sight import Memory
from monitor.watch.service.vitals import JUDGE
from monitor.watch.service.works import Looked, judge_each

LEAD = 5 * SECOND  # how often whoever stands by looks whether nobody leads [ms]
NOBODY = "no share hears it"
HANDFUL = 20  # how many jobs a judge takes upon itself at a time


class Role(StrEnum):
    """What a daemon does."""

    ALL = "all"
    INTAKE = "intake"
    JUDGE = "judge"
    SCHEDULE = "schedule"

    @property
    def hears(self) -> bool:
        """Whether it hears the brokers."""
        return self in (Role.ALL, Role.INTAKE)

    @property
    def judges(self) -> bool:
        """Whether it judges jobs."""
        return self in (Role.ALL, Role.JUDGE)

    @property
    def may_lead(self) -> bool:
        """Whether it may do what only one does."""
        return self in (Role.ALL, Role.SCHEDULE)


# --- what is heard ----------------------------------------------------------------------------------------------------


class Ear(NamedTuple):
    """A broker as one daemon reaches it, and the topic filters that it hears there."""

    broker: Broker
    filters: tuple[str, ...]


def checked_share(settings: Settings, role: Role, share: str | None, *, shared: bool) -> Share | None:
    """The share of that name. Raises SettingsError for a role or a share that can't be."""
    if not shared and (role is not Role.ALL or share is not None):
        option = f"--role {role}" if share is None else f"--share {share}"
        mend = "Leave --role and --share out; several daemons need a PostgreSQL, see [store] url in wallclime.toml"
        raise SettingsError("an SQLite store has one daemon, which does all", where=f"serve {option}", mend=mend)
    if share is None:
        return None
    if not role.hears:
        what = f"a daemon of the role {role} hears nothing"
        raise SettingsError(what, where=f"serve --share {share}", mend="Leave --share out")
    found = [one for one in settings.shares if one.name == share]
    if not found:
        names = [one.name for one in settings.shares]
        mend = nearest(share, names) if names else "Add a [[share]] of that name to wallclime.toml"
        raise SettingsError(f"there is no share {share!r}", where=f"serve --share {share}", mend=mend)
    return found[0]


def ears_of(settings: Settings, role: Role, share: Share | None) -> list[Ear]:
    """What a daemon hears, a broker each; of a share only those brokers that it hears something at."""
    if not role.hears:
        return []
    ears = [Ear(broker, tuple(one.filter for one in settings.sources_at(broker))) for broker in settings.brokers]
    if share is None:
        return ears
    of_share = [Ear(broker_of(broker, share.name), narrowed(share.topics, filters)) for broker, filters in ears]
    return [ear for ear in of_share if ear.filters]


def part_of(role: Role, share: Share | None, ears: Sequence[Ear]) -> Part | None:
    """How the store knows it; None for one that does all and hears all."""
    if role is Role.ALL and share is None:
        return None
    return Part(role, None if share is None else share.name, tuple(filters_of(ears)))


def filters_of(ears: Sequence[Ear]) -> list[str]:
    """All that is heard, at whichever broker."""
    return list(dict.fromkeys(one for ear in ears for one in ear.filters))


def heard_before(desk: Desk, share: str | None) -> set[str]:
    """The filters that daemons of a share, or without one, have ever heard: its session may hear them still."""
    found: set[str] = set()
    for one in desk.store.daemons():
        if one.part is None and share is None:
            found.update(one.state.get("hears", ()))
        elif one.part is not None and one.part.share == share:
            found.update(one.part.hears)
    return found


def is_heard(settings: Settings, ears: Sequence[Ear], stream: str) -> bool:
    """Whether a daemon with these ears hears the sensor of an address, or may do so: no source may make it any more."""
    of_stream = filters_of_stream(settings.sources, stream)
    return not of_stream or any(narrowed(ear.filters, of_stream) for ear in ears)


def unheard(settings: Settings) -> dict[str, str]:
    """Of each source's topic that no share hears wholly, what is said of it; nothing where there are no shares."""
    every, said = [topic for share in settings.shares for topic in share.topics], {}
    for source in settings.sources if settings.shares else ():
        heard = narrowed(every, [source.filter])
        if source.filter not in heard:
            said[source.topic] = f"the shares hear {', '.join(heard)} of it, and nothing else" if heard else NOBODY
    return said


# --- who does what ----------------------------------------------------------------------------------------------------


def works_of_role(desk: Desk, role: Role, works: Sequence[Work], looked: Looked) -> Iterator[Work]:
    """Those of `works` that a daemon of that role does; over a shared store judges divide the jobs."""
    memory = Memory()
    for work in works:
        if work.name == JUDGE and role.judges:
            shared = work._replace(run=lambda _: judge_a_share(desk, looked, memory), everywhere=True)
            yield shared if desk.store.is_shared else work
        elif work.everywhere or (role.may_lead and work.name != JUDGE):
            yield work


def judge_a_share(desk: Desk, looked: Looked, memory: Memory) -> None:
    """As `judge_what_was_heard`, where others do the same: a handful of jobs at a time, until none is left.

    What a judge that died had in hand is judged by another two minutes later; one that can't be judged, too.
    """
    faults: list[Fault] = []
    settle(desk)
    while taken := desk.store.take_jobs(desk.clock.now(), RULES_VERSION, HANDFUL):
        try:
            judge_each(desk, taken, looked, memory)
        except WallclimeError as exc:
            faults += exc.faults
        memory.judged.clear()  # whoever looks is another thread, or another daemon
        done = {job: looked[job] for job, number in taken.items() if job in looked and looked[job].generation == number}
        desk.store.put_judged({job: (one.generation, one.due) for job, one in done.items()}, RULES_VERSION)
    if faults:
        raise WallclimeError.of(faults)


class Lead:
    """Whether this daemon does what only one does, asked of the store again and again.

    One that led and lost it to another ends with an error, to be started anew by whoever looks after it: so nothing
    that it had begun goes on beside the other's.
    """

    def __init__(self, desk: Desk, role: Role, stop: threading.Event) -> None:
        self._desk, self._may, self._stop = desk, role.may_lead, stop
        self._has = self._led = self._lost = False

    def __call__(self) -> bool:
        """Whether it leads, as far as it knows."""
        return self._has

    def take(self) -> bool:
        """Lead if nobody else does; whether that is new. Raises StoreError; until it is asked again nothing is led."""
        had = self._has
        self._led = self._led or had
        try:
            self._has = self._may and self._desk.store.lead()
        except StoreError:
            self._has = False
            raise
        if self._led and not self._has:
            self._lost = True
            self._stop.set()
        if self._has and not had and self._desk.store.is_shared:
            log("info", "leads")
        return self._has and not had

    def check(self) -> None:
        """Raises StoreError if it was lost to another."""
        if self._lost:
            what, mend = "another daemon has taken the lead", "Nothing to do: started anew it stands by"
            raise StoreError(what, where="serve", mend=mend)

    def works(self, schedule: Schedule) -> Iterator[Work]:
        """What is to be done so that it leads when nobody else does."""

        def look(_period: str) -> None:
            if self.take():
                note_settings(self._desk)
                schedule.take_up()
                schedule.stepped()

        if self._may and self._desk.store.is_shared:
            yield Work("lead", Every(LEAD), look, everywhere=True)
