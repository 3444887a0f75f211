"""The look: every open job judged, what is to be told of it stepped, grouped, worded and recorded in one commit.

What was told before stands in the store, not in this process: a restart announces nothing, and of two daemons that look
at once one is sent back to look again. A job that can't be judged stops no other and is itself told.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache, partial
from typing import Any

from monitor.basis.alarm import HOUSE, MQTT, Alarm, Message, Signal, Standing
from monitor.basis.errors import RecordError
from monitor.basis.times import DAY, HOUR, rfc3339, zone_of
from monitor.basis.values import SENSORS_CHAIN, Draft, Entry, Kind
from monitor.config.alarms import Contact
from monitor.keep.rows import Scheduled
from monitor.rules.alarm import whats
from monitor.rules.alarm.alarms import LATE, Change, step, told_from
from monitor.rules.alarm.grouping import Bundle, Told, bundles, jobs_of
from monitor.rules.alarm.signals import signals_beside
from monitor.rules.alarm.signals_house import Vitals
from monitor.tell.alarm import alarms as telling
from monitor.tell.alarm.alarm_log import body_of, event_of, for_the_air, limits_of
from monitor.tell.alarm.alarm_words import OF_A_SENSOR, spot, title
from monitor.tell.words import Display, shared, tag
from monitor.watch.desk import Desk
from monitor.watch.judging import PROGRAM
from monitor.watch.papers.shown import display
from monitor.watch.service.journal import log
from monitor.watch.service.sight import Memory, open_jobs, readable, sight_of
from monitor.watch.service.vitals import LOOK, house_of, vitals_of

TOO_LATE = {"alarm": 7 * DAY, "returned": 2 * DAY, "notice": 2 * DAY, "seen": 2 * DAY}  # to be told at all; ours [ms]
AGAIN = 5  # looks at once, when others record at the same time


class MovedError(Exception):
    """Somebody else has recorded alarms since they were read."""


def look(
    desk: Desk, memory: Memory | None = None, runs: Callable[[], Sequence[Scheduled]] | None = None
) -> list[Change]:
    """Look once at everything, and record what is new; what changed. `runs` says how the scheduled work stands.

    Raises StoreError.
    """
    memory = Memory() if memory is None else memory
    for _ in range(AGAIN):
        try:
            return _look(desk, memory, desk.store.scheduled() if runs is None else runs())
        except MovedError:
            continue
    raise RecordError("others record alarms all the time", where="alarms", mend="Run one wallclime serve on this store")


def _look(desk: Desk, memory: Memory, works: Sequence[Scheduled]) -> list[Change]:
    now, patience = desk.clock.now(), desk.settings.patience
    desk = desk.still(every=True)
    standing, jobs = desk.store.alarms(), open_jobs(desk)
    first = _first_look(desk, now)
    since = told_from(first, _last_look(memory, works, now))
    sight = sight_of(desk, memory, jobs, since, standing, now)
    vitals = vitals_of(desk, sight.looks, sight.stuck, now, memory.lately)
    beside = signals_beside(sight.looks, vitals, house_of(desk, works, now), now, patience, since)
    seen = [replace(one, facts=_plain(one.facts)) for one in (*sight.seen, *beside)]
    away = _away(standing, vitals)
    stepped = _stepped(desk, jobs, standing, seen, sight.unseen, since, now, aside={one.id for one in away})
    changes = [*_closed(standing, jobs, now), *_left(away, sight.unseen, now), *stepped]
    told = _told(desk, [_without_old_care(one, first) for one in changes], now)
    refreshed = _refreshed(standing, [*seen, *sight.unseen], told.changes)
    record(desk, told.changes, told.bundles, standing, PROGRAM, refreshed=refreshed)
    memory.last = now
    return list(told.changes)


def _plain(value: Any) -> Any:
    """As the store gives it back. A number that is not finite is none: it can't be kept, and would stop every alarm."""
    if isinstance(value, Mapping):
        return {str(name): _plain(part) for name, part in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(part) for part in value]
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    return value


def _told(desk: Desk, changes: Sequence[Change], now: int) -> Told:
    """The messages that the changes make, and the changes as a flood leaves them."""
    if not changes:
        return Told((), ())
    patience = desk.settings.patience
    sent = desk.store.outbox_made(now - patience.flood.within)
    return bundles(changes, desk.settings.contacts, now, patience, buildings=buildings(desk), sent=sent)


def _stepped(
    desk: Desk,
    jobs: Sequence[str],
    standing: Sequence[Alarm],
    seen: Sequence[Signal],
    unseen: Sequence[Signal],
    since: int,
    now: int,
    *,
    aside: Collection[str],
) -> Iterator[Change]:
    """What the signals, asked for from `since` on, change; at a wall that can't be judged nothing but that it can't.

    What was over by `since` must still be remembered, or it would be told a second time. `aside` are the ids of alarms
    that no signal concerns. [ms]
    """
    patience = desk.settings.patience
    every = {alarm.id: alarm for alarm in [*desk.store.alarm_history(since=min(since, now - LATE)), *standing]}
    here = {HOUSE, *jobs}
    known = [alarm for alarm in every.values() if alarm.job in here and alarm.id not in aside]
    judging = [alarm for alarm in known if alarm.what == whats.UNJUDGED]
    others = [alarm for alarm in known if alarm.what != whats.UNJUDGED]
    yield from step(others, seen, now, patience, unseen={one.job for one in unseen})
    yield from step(judging, unseen, now, patience)


def _first_look(desk: Desk, now: int) -> int:
    """When a daemon that tells alarms began here first: what had ended by then is no news. [ms]"""
    told = (one.entered for one in desk.book.entries(SENSORS_CHAIN) if one.kind is Kind.ALARM_SETTINGS)
    return min(next(told, now), now)  # a clock that ran ahead has been set right since


def _last_look(memory: Memory, works: Sequence[Scheduled], now: int) -> int:
    if memory.last is not None:
        return min(memory.last, now)
    ended = next((one.ended for one in works if one.name == LOOK and one.ended is not None), now)
    return min(ended, now)


def buildings(desk: Desk) -> dict[str, str]:
    """The building of each job that has one."""
    found = {job: readable(desk.book.building, job, "") for job in desk.book.names()}
    return {job: building for job, building in found.items() if building}


# --- what became of it -----------------------------------------------------------------------------


def _closed(standing: Sequence[Alarm], jobs: Sequence[str], now: int) -> Iterator[Change]:
    """What stood at a job that was closed is over, without a word."""
    here = {HOUSE, *jobs}
    for alarm in standing:
        if alarm.job not in here:
            yield Change(replace(alarm, standing=Standing.NORMAL, returned=alarm.returned or now), "over")


def _away(standing: Sequence[Alarm], vitals: Sequence[Vitals]) -> list[Alarm]:
    """The alarms of sensors that are not known to stand where they stood."""
    stand = {(one.sensor, one.place) for one in vitals}
    return [one for one in standing if one.what in OF_A_SENSOR and (one.where, one.facts.get("place")) not in stand]


def _left(away: Sequence[Alarm], unseen: Sequence[Signal], now: int) -> Iterator[Change]:
    """What stood at a sensor that was taken away, or whose job was closed, is over, without a word.

    While the job can't be judged nobody knows, and it stays as it is. [ms]
    """
    not_known = {one.job for one in unseen}
    for alarm in away:
        if not_known.isdisjoint(jobs_of(alarm)):
            facts, returned = {**alarm.facts, "left": True}, alarm.returned or now
            yield Change(replace(alarm, standing=Standing.NORMAL, returned=returned, facts=facts), "over")


def _without_old_care(change: Change, first: int) -> Change:
    """Care that was due before anybody was told anything here: the digest has it. A message for each would be many."""
    of_care = change.alarm.what in (whats.CARE_DUE, whats.INSPECTION_DUE)
    return change._replace(tells=None) if of_care and change.alarm.facts.get("due", first) < first else change


def _refreshed(standing: Sequence[Alarm], seen: Sequence[Signal], changes: Sequence[Change]) -> list[Alarm]:
    """Alarms that stand as they stood, with the figures of now."""
    changed = {change.alarm.id for change in changes}
    now = {one.key: one.facts for one in seen if one.ended is None and not one.inhibited}
    return [
        replace(one, facts=now[one.key])
        for one in standing
        if one.standing.active and one.id not in changed and now.get(one.key, one.facts) != one.facts
    ]


# --- what is recorded ------------------------------------------------------------------------------


def record(
    desk: Desk,
    changes: Sequence[Change],
    made: Sequence[Bundle],
    standing: Sequence[Alarm],
    who: str,
    *,
    refreshed: Sequence[Alarm] = (),
) -> None:
    """Entries, alarms and messages in one commit. Raises MovedError where others recorded alarms since `standing`."""
    if not changes and not refreshed:
        return
    now = desk.clock.now()
    entries = [(one.alarm.job, Draft(Kind.ALARM, now, who, body_of(one))) for one in changes]
    messages = [*(_message(desk, bundle, now) for bundle in made), *_events(desk, changes, who, now)]

    def as_read(found: list[Alarm]) -> None:
        if found != list(standing):
            raise MovedError

    after = [*(one.alarm for one in changes), *refreshed]
    stale = _overtaken(desk, changes, {**{one.id: one for one in standing}, **{one.id: one for one in after}}, now)
    desk.store.record_alarms(entries, after, messages, check=as_read, withdrawn=stale)
    for one in changes:
        log("info", "alarm", what=one.alarm.what, job=one.alarm.job, where=one.alarm.where, transition=one.transition)


def _overtaken(desk: Desk, changes: Sequence[Change], after: Mapping[str, Alarm], now: int) -> list[str]:
    """Messages that wait for the end of quiet hours, of alarms that are gone by now: that they are over says it all."""
    gone = {one.alarm.id for one in changes if not one.alarm.standing.active}
    stands = {id_ for id_, one in after.items() if one.standing.active}
    held = (
        [one for one in desk.store.outbox_held(now) if one.kind == "alarm" and not one.body.get("more")] if gone else ()
    )
    return [one.id for one in held if gone & set(one.alarms) and not stands & set(one.alarms)]


def message_id(contact: str, *parts: str) -> str:
    """The same for the same occasion and contact."""
    return hashlib.sha256("|".join([contact, *parts]).encode()).hexdigest()[:16]


def shown_to(desk: Desk, contact: Contact | None) -> telling.Shown:
    """How jobs are shown; the house in the zone of the contact, else of all walls, and the units most walls ask for."""
    own = cache(lambda job: readable(partial(display, desk), job, None))

    @cache
    def house() -> Display:  # reads every log, and is seldom asked for
        found = shared(one for job in desk.book.names() if (one := own(job)) is not None)
        return found if contact is None else Display(zone_of(contact.zone), found.units)

    return lambda job: own(job) or house()


def _message(desk: Desk, bundle: Bundle, now: int) -> Message:
    contact = next(one for one in desk.settings.contacts if one.name == bundle.contact)
    shown = shown_to(desk, contact)
    ids = tuple(alarm.id for alarm in bundle.alarms)
    kind = "alarm" if bundle.form == "summary" else bundle.form
    return Message(
        id=message_id(contact.name, bundle.form, bundle.tells, str(now), *ids),
        contact=contact.name,
        kind=kind,
        subject=telling.subject(bundle),
        text=telling.text(bundle, now, shown),
        body={"alarms": [one.to_json() for one in bundle.alarms], "more": bundle.more},
        made=now,
        not_before=bundle.not_before,
        expires=bundle.not_before + TOO_LATE[kind],
        alarms=ids,
        jobs=_jobs_in(bundle.alarms),
    )


def _jobs_in(alarms: Iterable[Alarm]) -> tuple[str, ...]:
    return tuple(sorted({job for alarm in alarms for job in jobs_of(alarm)}))


def _events(desk: Desk, changes: Sequence[Change], who: str, now: int) -> Iterator[Message]:
    """What the broker is told: each transition, once."""
    shown = shown_to(desk, None)
    for change in changes:
        alarm = change.alarm
        body = event_of(change, now, shown(alarm.job), "" if who == PROGRAM else who)
        yield Message(
            id=message_id(MQTT, alarm.id, change.transition, str(now)),
            contact=MQTT,
            kind="event",
            subject=telling.shortened(f"{change.transition}: {title(alarm)}, {spot(alarm)}"),
            text=telling.headline(for_the_air(alarm), shown(alarm.job)),
            body=body,
            made=now,
            not_before=now,
            expires=now + TOO_LATE["alarm"],
            alarms=(alarm.id,),
            jobs=_jobs_in([alarm]),
        )


# --- the state of each job, for machines ---------------------------------------------------------------


def states_of(desk: Desk, memory: Memory) -> dict[str, dict[str, Any]]:
    """What the broker retains of each open job, as it was looked at last: see deploy/README.md for the fields."""
    desk, of = desk.still(every=True), dict[str, list[Alarm]]()
    for one in desk.store.alarms():
        for job in jobs_of(one) if one.standing.active and not one.notice else ():
            of.setdefault(job, []).append(one)
    return {job: _state(job, memory, of.get(job, ())) for job in open_jobs(desk)}


def _state(job: str, memory: Memory, own: Sequence[Alarm]) -> dict[str, Any]:
    alarms = [
        {
            "id": one.id,
            "what": one.what,
            "where": one.where or None,
            "priority": one.priority.value,
            "since": rfc3339(one.since),
        }
        for one in own
    ]
    if job not in memory.seen:
        return {"job": job, "verdict": None, "phase": None, "room": "unknown", "alarms": alarms, "as_of": None}
    found = memory.seen[job].look.found
    return {
        "job": job,
        "verdict": tag(found).lower(),
        "phase": found.phase,
        "room": found.now.state,
        "counted_h": found.lot.clock.counted / HOUR,
        "required_h": found.lot.clock.required / HOUR,
        "training": found.training,
        "alarms": alarms,
        "as_of": rfc3339(found.as_of),
    }


# --- the settings ----------------------------------------------------------------------------------


def note_settings(desk: Desk) -> Entry | None:
    """Write down the alarm's limits where they are not those written last: {before, after}; the entry."""
    after = limits_of(desk.settings.patience)
    told = [one for one in desk.book.entries(SENSORS_CHAIN) if one.kind is Kind.ALARM_SETTINGS]
    before: Mapping[str, object] = told[-1].body["after"] if told else {}
    if dict(before) == after:
        return None
    body = {"before": dict(before), "after": after}
    return desk.store.append(SENSORS_CHAIN, [Draft(Kind.ALARM_SETTINGS, desk.clock.now(), PROGRAM, body)])[0]
