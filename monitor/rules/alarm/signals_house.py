"""What sensors and the house itself have to tell: who fell silent, whose battery is low, what did not work."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

from monitor.basis.alarm import HOUSE, Priority, Signal
from monitor.basis.times import DAY, MINUTE
from monitor.config.alarms import Patience
from monitor.rules.alarm import whats
from monitor.rules.alarm.alarms import most_pressing

# All ours.
LINK_AFTER = 5 * MINUTE  # a link that comes back sooner is not told [ms]
CHECK_AHEAD = 14 * DAY  # how long before a check runs out it is asked for [ms]
NEARLY_FULL = 0.25  # of what must be free: then it is high
CLEAR = 1.1  # of the limit: what is not above it by so much is not over


@dataclass(frozen=True, slots=True, kw_only=True)
class Vitals:
    """How one sensor is that should be heard: it stands at `place` since `placed`, and `jobs` hang on it. Times in ms.

    `heard` is its newest reading's time, None where it never spoke there. `alone`: no other sensor speaks for its
    place. `flat_since`: since when it has stood still, if it does. `battery`: the lowest of the last day [%].
    `check_until`: when what backs it runs out. `broker` is the name of the one it is heard at.
    """

    sensor: str
    stream: str
    place: str
    placed: int
    hold: int
    jobs: tuple[str, ...]
    broker: str = ""
    heard: int | None = None
    alone: bool = True
    flat_since: int | None = None
    battery: float | None = None
    check_until: int | None = None

    @property
    def root(self) -> str:
        """The first level of its topic, which sensors behind one gateway mostly share."""
        return self.stream.partition("/")[0]

    @property
    def last_word(self) -> int:
        """When it was heard last, or was put there. [ms]"""
        return self.placed if self.heard is None else max(self.heard, self.placed)


class Link(NamedTuple):
    """The way to one broker: down since when, or up again since when, as far as either is known. [ms]"""

    broker: str
    down_since: int | None = None
    up_since: int | None = None
    error: str = ""


class Failure(NamedTuple):
    """Something that did not work: `name` says what, `since` when it failed first after it last worked. [ms]"""

    name: str
    since: int
    error: str


@dataclass(frozen=True, slots=True, kw_only=True)
class House:
    """How the program itself fares. `free`: of the disk that holds the record [bytes]; `away`: when nobody listened."""

    links: Sequence[Link] = ()
    seals: Sequence[Failure] = ()
    backups: Sequence[Failure] = ()
    works: Sequence[Failure] = ()
    free: int | None = None
    away: Sequence[tuple[int, int]] = ()


def sensors(
    vitals: Sequence[Vitals],
    links: Sequence[Link],
    stakes: Mapping[str, Priority],
    as_of: int,
    patience: Patience,
) -> Iterator[Signal]:
    """Silent, flat, low on battery, or with a check to come. `stakes` has what each job would lose (see `look.stake`).

    What is silent behind a link that is down is inhibited, and while it may still come back by itself. [ms]
    """
    cut_off = {link.broker for link in links if _cuts_off(link, as_of, patience)}
    silent = [one for one in vitals if as_of - one.last_word > _patience_with(one, patience)]
    settled, names = _settled(silent, as_of, patience), {one.sensor for one in silent}
    for one in vitals:
        costs = most_pressing(stakes.get(job, Priority.LOW) for job in one.jobs) if one.alone else Priority.LOW
        if one.sensor in names:
            signal = _of(one, whats.SILENT, one.last_word, costs, {"hold_ms": one.hold, "ever": one.heard is not None})
            yield replace(signal, inhibited=one.broker in cut_off or not settled[_behind(one)])
        elif one.flat_since is not None:
            yield _of(one, whats.FLAT, one.flat_since, costs, {})
        if one.battery is not None and one.battery < CLEAR * patience.battery_below:
            facts = {"battery": one.battery, "limit": patience.battery_below}
            holds = one.battery >= patience.battery_below
            yield replace(_of(one, whats.BATTERY_LOW, as_of, Priority.LOW, facts), holds=holds)
        if one.check_until is not None and as_of >= one.check_until - CHECK_AHEAD:
            out = as_of >= one.check_until
            since = one.check_until if out else one.check_until - CHECK_AHEAD
            facts = {"until": one.check_until, "run_out": out}
            yield replace(_of(one, whats.CHECK_DUE, since, Priority.LOW, facts), notice=True)


def _of(one: Vitals, what: str, since: int, priority: Priority, facts: dict[str, Any]) -> Signal:
    """Of the sensor, not of a job: it may serve several."""
    where = {"place": one.place, "broker": one.broker, "root": one.root, "jobs": list(one.jobs), "alone": one.alone}
    return Signal(what, HOUSE, one.sensor, since, priority, {**where, "last_heard": one.heard, **facts})


def _patience_with(one: Vitals, patience: Patience) -> int:
    return max(patience.silent_after, one.hold)


def _behind(one: Vitals) -> tuple[str, str]:
    return one.broker, one.root


def _settled(silent: Iterable[Vitals], as_of: int, patience: Patience) -> dict[tuple[str, str], bool]:
    """Of each gateway, whether all that fell silent with the first has had the time to show that it is.

    Sensors speak at different times: told at once, forty behind one gateway would make forty messages.
    """
    first: dict[tuple[str, str], int] = {}
    for one in silent:
        overdue = one.last_word + _patience_with(one, patience) + max(patience.group_within, one.hold // 3)
        first[_behind(one)] = min(first.get(_behind(one), overdue), overdue)
    return {behind: as_of >= at for behind, at in first.items()}


def _cuts_off(link: Link, as_of: int, patience: Patience) -> bool:
    """Whether a link is down, or was so lately that what is behind it may not have spoken yet."""
    return link.down_since is not None or (link.up_since is not None and as_of - link.up_since < patience.silent_after)


def house(
    fares: House, stakes: Mapping[str, Priority], as_of: int, patience: Patience, told_from: int
) -> Iterator[Signal]:
    """Of the program itself: the way to a broker, what failed, a disk that fills, and when nobody listened. [ms]"""
    for link in fares.links:
        if link.down_since is not None and as_of - link.down_since >= LINK_AFTER:
            costs = most_pressing((Priority.MEDIUM, *stakes.values()))
            yield Signal(whats.LINK_DOWN, HOUSE, link.broker, link.down_since, costs, {"error": link.error})
    for what, failures, priority in (
        (whats.SEAL_FAILED, fares.seals, Priority.MEDIUM),
        (whats.BACKUP_FAILED, fares.backups, Priority.MEDIUM),
        (whats.WORK_FAILED, fares.works, Priority.LOW),
    ):
        for failure in failures:
            yield Signal(
                what, HOUSE, failure.name, failure.since, priority, {"name": failure.name, "error": failure.error}
            )
    if fares.free is not None and fares.free < CLEAR * patience.disk_below:
        high = fares.free < NEARLY_FULL * patience.disk_below
        facts = {"free": fares.free, "limit": patience.disk_below}
        priority, holds = Priority.HIGH if high else Priority.MEDIUM, fares.free >= patience.disk_below
        yield Signal(whats.STORE_FILLING, HOUSE, "disk", as_of, priority, facts, holds=holds)
    long = [(start, end) for start, end in fares.away if end > told_from and end - start >= patience.silent_after]
    if long:
        start, end = long[-1]
        facts = {"from": start, "to": end}
        yield Signal(whats.AWAY, HOUSE, "daemon", start, Priority.LOW, facts, notice=True)
