"""What becomes of an alarm: raised, acknowledged, returned, over; shelved, told again, passed on to a second contact.

States and words are those of ISA-18.2 and IEC 62682. Pure: the alarms as they are remembered and what is seen now give
the alarms as they will be and what is to be told. Nothing hangs on when the program was started, so a restart announces
nothing; an alarm that remembers a later time than now (a clock that went back) is left alone for some minutes, and then
remembers now in its place.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Literal, NamedTuple

from monitor.basis.alarm import Alarm, Priority, Signal, Standing, alarm_id
from monitor.basis.errors import RecordError
from monitor.basis.times import DAY, HOUR, MINUTE, rfc3339
from monitor.basis.units import format_duration
from monitor.config.alarms import Patience
from monitor.rules.alarm.whats import FLAPS, GOES_UNTOLD, SILENT

Transition = Literal[
    "raised", "worse", "back", "reminded", "escalated", "returned", "over", "unshelved", "acknowledged", "shelved",
    "corrected",
]  # fmt: skip
Tells = Literal["first", "again", "second contact", "returned"]

KEPT = 7 * DAY  # how long one stays listed that has returned and that nobody acknowledged; ours [ms]
LATE = 7 * DAY  # how long after its end a spell may still come to light, from a backlog or a file; ours [ms]
AHEAD = 5 * MINUTE  # a clock that went back by more was set right: what happened ahead of it happened now; ours [ms]
SETTLES = 30 * MINUTE  # a notice whose beginning moves by no more is the one that was told; ours [ms]
# What has no off-delay of its own stands for an hour, or as long as it has come and gone before, at most a day; ours.
STANDS_LEAST, STANDS_MOST = HOUR, DAY  # [ms]
TOGETHER = 30 * MINUTE  # sensors behind one gateway come back one by one: told together, at each half hour; ours [ms]
# A second contact hears after the patience's time, of what is high after a quarter of it, of what is low never; ours.
ESCALATES = {Priority.HIGH: 0.25, Priority.MEDIUM: 1.0}


class Change(NamedTuple):
    """An alarm as it stands after a transition, and how its contacts are told of it; `tells` None: they are not."""

    alarm: Alarm
    transition: Transition
    tells: Tells | None = None


def worse(one: Priority, other: Priority) -> bool:
    """Whether `one` is more pressing than `other`."""
    return one.rank > other.rank


def most_pressing(priorities: Iterable[Priority]) -> Priority:
    """The highest of them, low without any."""
    return max(priorities, key=lambda one: one.rank, default=Priority.LOW)


def told_from(first_look: int, last_look: int) -> int:
    """From when on what has ended is still told: since the very first look, and not longer than `LATE` late. [ms]

    Since the last look, where a clock that ran ahead wrote down a first look that is still to come.
    """
    return max(min(first_look, last_look), last_look - LATE)


def step(
    alarms: Sequence[Alarm],
    signals: Sequence[Signal],
    now: int,
    patience: Patience,
    *,
    unseen: Collection[str] = (),
) -> tuple[Change, ...]:
    """What this look changes, in the order of the alarms' keys.

    `alarms`: those that are not over, and those that changed since the `told_from` that the signals were asked with.
    `unseen` names the jobs that could not be judged: their alarms stay as they are. [ms]
    """
    known: dict[tuple[str, str, str], list[Alarm]] = {}
    for alarm in sorted(alarms, key=lambda one: (one.raised, one.id)):
        known.setdefault(alarm.key, []).append(alarm)
    seen: dict[tuple[str, str, str], list[Signal]] = {}
    for signal in signals:
        seen.setdefault(signal.key, []).append(signal)
    changes: list[Change] = []
    for key in sorted({*known, *seen}):
        if key[1] in unseen:
            continue
        had, corrected = _set_right(known.get(key, []), now, patience)
        if all(_latest(alarm) <= now for alarm in had):
            looked = list(_looked(had, seen.get(key, ()), now, patience))
            changes += [one for one in corrected if one.alarm.id not in {other.alarm.id for other in looked}] + looked
    return tuple(changes)


def _set_right(had: Sequence[Alarm], now: int, patience: Patience) -> tuple[list[Alarm], list[Change]]:
    """Alarms that remember no time from a clock that ran ahead, and a change of each that did. [ms]"""
    until = now + patience.shelve_at_most
    after = [_by_now(one, now, until) if _runs_ahead(one, now, until) else one for one in had]
    return after, [Change(one, "corrected") for one, before in zip(after, had, strict=True) if one != before]


def _runs_ahead(alarm: Alarm, now: int, until: int) -> bool:
    return _latest(alarm) > now + AHEAD or (alarm.shelved_until or 0) > until + AHEAD


def _by_now(alarm: Alarm, now: int, until: int) -> Alarm:
    at = {
        name: min(value, now)
        for name in ("since", "raised", "told", "escalated", "acknowledged_at", "returned")
        if (value := getattr(alarm, name)) is not None
    }
    return replace(alarm, **at, shelved_until=alarm.shelved_until and min(alarm.shelved_until, until))


def acknowledge(alarm: Alarm, who: str, now: int) -> Change:
    """Somebody saw it: it asks no more, and is over if it had returned already. Raises RecordError. [ms]"""
    if alarm.standing is Standing.NORMAL:
        raise _refused(alarm, "is over already", "There is nothing to acknowledge: wallclime alarm list")
    if alarm.notice:
        raise _refused(alarm, "is a notice, which asks for no answer", "There is nothing to acknowledge")
    if alarm.standing is Standing.ACKNOWLEDGED:
        by = f"{alarm.acknowledged_by} acknowledged it {rfc3339(alarm.acknowledged_at or 0)}"
        raise _refused(alarm, f"is acknowledged already: {by}", "There is nothing left to do")
    after = Standing.NORMAL if alarm.standing is Standing.RETURNED else Standing.ACKNOWLEDGED
    return Change(replace(alarm, standing=after, acknowledged_by=who, acknowledged_at=now), "acknowledged")


def shelve(alarm: Alarm, until: int, reason: str, who: str, now: int, *, at_most: int) -> Change:
    """Tell nobody of it until then, for a reason, and not longer than `at_most`. Raises RecordError. [ms]"""
    if alarm.standing is Standing.NORMAL:
        raise _refused(alarm, "is over already", "There is nothing to shelve: wallclime alarm list")
    if alarm.notice:
        raise _refused(alarm, "is a notice, which is told once", "There is nothing to shelve")
    if not reason.strip():
        raise _refused(alarm, "is not shelved without a reason", 'Say why: --reason "painters are at work"')
    if not now < until <= now + at_most:
        most = f"an alarm is shelved for at most {format_duration(at_most)}, until {rfc3339(now + at_most)}"
        raise _refused(alarm, f"can't be shelved until {rfc3339(until)}", f"Give a later time than now; {most}")
    return Change(replace(alarm, shelved_until=until, shelved_by=who, shelved_reason=reason), "shelved")


def _refused(alarm: Alarm, what: str, mend: str) -> RecordError:
    return RecordError(f"{alarm.what!r} {what}", where=f"alarm {alarm.id}", mend=mend)


def _latest(alarm: Alarm) -> int:
    """The latest time that it remembers of itself. [ms]"""
    times = (alarm.raised, alarm.told, alarm.escalated, alarm.acknowledged_at, alarm.returned)
    return max(at for at in times if at is not None)


def _looked(had: Sequence[Alarm], seen: Sequence[Signal], now: int, patience: Patience) -> Iterator[Change]:
    """One key: the alarm that is open (there is one at most), and what is seen of it now."""
    alarm = next((one for one in had if one.standing is not Standing.NORMAL), None)
    standing = next((one for one in seen if one.ended is None and (not one.holds or _active(alarm))), None)
    missed = _news([one for one in seen if one.ended is not None], had, alarm)
    if standing is not None and standing.notice:
        if alarm is not None and not alarm.notice:  # the wall is finished: its boards are in no hurry
            yield Change(replace(alarm, standing=Standing.NORMAL, returned=now), "over")
        if missed:
            yield _too_late(None, missed, now)
        yield from _noticed(alarm if alarm is not None and alarm.notice else None, had, standing, now)
    elif alarm is not None and alarm.shelved_until is not None and alarm.shelved_until <= now:
        yield _unshelved(alarm, standing, now)
    elif standing is not None:
        yield from _stands(alarm, _flapping(_with(standing, missed), had, now), now, patience)
    elif alarm is not None and alarm.standing.active:
        if alarm.what in FLAPS and now - alarm.raised < _stands_for(alarm):
            return
        yield _gone(alarm, max((one.ended for one in seen if one.ended and one.ended > alarm.since), default=now), now)
    elif missed:
        yield _too_late(alarm, missed, now)
    elif alarm is not None and _to_be_told_as_gone(alarm, now):
        over = alarm.acknowledged_at is not None
        after = replace(alarm, standing=Standing.NORMAL) if over else alarm
        yield _telling(after, "over" if over else "returned", "returned", now)
    elif alarm is not None and now - (alarm.returned or alarm.raised) >= KEPT and alarm.shelved_until is None:
        yield Change(replace(alarm, standing=Standing.NORMAL), "over")


def _active(alarm: Alarm | None) -> bool:
    return alarm is not None and alarm.standing.active


def _stands_for(alarm: Alarm) -> int:
    """How long it stands at least since it was raised. [ms]"""
    return min(max(STANDS_LEAST, alarm.raised - alarm.since), STANDS_MOST)


def _flapping(signal: Signal, had: Sequence[Alarm], now: int) -> Signal:
    """What has no delay of its own is so since it came first, if it was so within a day. [ms]"""
    lately = (one.since for one in had if one.returned is not None and now - one.returned < STANDS_MOST)
    return replace(signal, since=min((signal.since, *lately))) if signal.what in FLAPS else signal


def _news(ended: Sequence[Signal], had: Sequence[Alarm], alarm: Alarm | None) -> list[Signal]:
    """Of what has ended, what began after all that is remembered; nothing that an alarm still standing covers."""
    if _active(alarm):
        return []
    mark = max((max(one.since, one.returned or 0) for one in had), default=-1)
    return [signal for signal in ended if signal.since > mark]


def _noticed(alarm: Alarm | None, had: Sequence[Alarm], signal: Signal, now: int) -> Iterator[Change]:
    """A notice is told once for each time that it began; again if it got worse, silently if it came and went."""
    if signal.inhibited:
        return
    if alarm is None:
        again = any(one.notice and abs(one.since - signal.since) <= SETTLES for one in had)
        told = max((one.told or 0 for one in had), default=0) if again else now
        yield Change(_born(signal, now, Standing.ACKNOWLEDGED, told=told), "raised", None if again else "first")
    elif abs(alarm.since - signal.since) > SETTLES:
        yield _gone(alarm, now, now)
        yield Change(_born(signal, now, Standing.ACKNOWLEDGED, told=now), "raised", "first")
    elif worse(signal.priority, alarm.priority):
        yield _telling(replace(alarm, priority=signal.priority, facts=signal.facts), "worse", "again", now)
    elif alarm.told is None:
        yield _telling(alarm, "reminded", "first", now)
    elif alarm.since != signal.since:
        yield Change(replace(alarm, since=signal.since, facts=signal.facts), "corrected")


def _born(signal: Signal, now: int, standing: Standing, *, told: int, returned: int | None = None) -> Alarm:
    return Alarm(
        id=alarm_id(signal.what, signal.job, signal.where, now if returned is None else returned),
        what=signal.what,
        job=signal.job,
        where=signal.where,
        since=signal.since,
        raised=now,
        standing=standing,
        priority=signal.priority,
        facts=signal.facts,
        notice=signal.notice,
        told=told,
        returned=returned,
    )


def _telling(alarm: Alarm, transition: Transition, tells: Tells, now: int) -> Change:
    """With its contacts told, unless it is shelved."""
    if alarm.shelved_until is not None:
        return Change(alarm, transition)
    return Change(replace(alarm, told=now), transition, tells)


def _stands(alarm: Alarm | None, signal: Signal, now: int, patience: Patience) -> Iterator[Change]:
    if signal.inhibited:
        return
    if alarm is None:
        yield Change(_born(signal, now, Standing.UNACKNOWLEDGED, told=now), "raised", "first")
        return
    before = alarm.priority
    highest = signal.priority if alarm.standing is Standing.RETURNED else most_pressing((signal.priority, before))
    seen = replace(alarm, facts=signal.facts, priority=highest, notice=False)
    if alarm.standing is Standing.RETURNED:
        yield _back(alarm, replace(seen, since=signal.since), now, patience)
    elif worse(highest, before) or (alarm.notice and not signal.notice):
        asks = replace(seen, standing=Standing.UNACKNOWLEDGED, raised=now, escalated=None)
        yield _telling(asks, "worse", "again", now)
    elif alarm.standing is Standing.UNACKNOWLEDGED and alarm.shelved_until is None:
        yield from _waits(seen, now, patience)


def _back(before: Alarm, seen: Alarm, now: int, patience: Patience) -> Change:
    """It had returned, and is so again. Told unless the last word was that it is so, and that lately."""
    back = replace(
        seen, standing=Standing.UNACKNOWLEDGED, raised=now, returned=None, escalated=None, acknowledged_at=None,
        acknowledged_by="", owed=False,
    )  # fmt: skip
    last_word = before.owed or (before.told is not None and before.told < (before.returned or 0))
    lately = before.told is not None and now - before.told < patience.re_raise
    if last_word and lately and not worse(seen.priority, before.priority):
        return Change(back, "back")
    return _telling(back, "back", "again", now)


def _waits(alarm: Alarm, now: int, patience: Patience) -> Iterator[Change]:
    """It stands and nobody has acknowledged it: tell it if it was held back, pass it on, or tell it again."""
    share = ESCALATES.get(alarm.priority)
    if alarm.told is None:
        yield _telling(replace(alarm, raised=now), "reminded", "first", now)
    elif share is not None and alarm.escalated is None and now - alarm.raised >= share * patience.escalate_after:
        yield Change(replace(alarm, escalated=now), "escalated", "second contact")
    elif now - alarm.told >= patience.re_raise:
        yield _telling(alarm, "reminded", "again", now)


def _gone(alarm: Alarm, ended: int, now: int) -> Change:
    """It is so no more. What nobody acknowledged, and what is shelved or told later, stays listed as returned."""
    untold = alarm.notice or alarm.told is None or alarm.what in GOES_UNTOLD
    later = alarm.what == SILENT and not untold
    over = alarm.standing is Standing.ACKNOWLEDGED and alarm.shelved_until is None and not later
    after = replace(alarm, standing=Standing.NORMAL if over else Standing.RETURNED, returned=ended)
    if untold or later:
        return Change(after, "over" if over else "returned")
    return _telling(after, "returned", "returned", now)


def _to_be_told_as_gone(alarm: Alarm, now: int) -> bool:
    """Whether its end is to be told now: a flood kept it back, or a sensor speaks again that nobody was told of yet."""
    if alarm.owed:
        return alarm.standing is Standing.RETURNED and alarm.shelved_until is None
    if alarm.what != SILENT or alarm.shelved_until is not None or alarm.told is None or alarm.returned is None:
        return False
    return alarm.told < alarm.returned and now // TOGETHER > alarm.returned // TOGETHER


def _with(signal: Signal, missed: Sequence[Signal]) -> Signal:
    """One signal for all spells of a key, from the first of them on; `spells` counts them where there are more."""
    if not missed:
        return signal
    facts = {**signal.facts, "spells": len({one.since for one in (signal, *missed)})}
    since, priority = min(one.since for one in missed), most_pressing(one.priority for one in (signal, *missed))
    return replace(signal, since=min(since, signal.since), priority=priority, facts=facts)


def _too_late(alarm: Alarm | None, missed: Sequence[Signal], now: int) -> Change:
    """It came and went while nobody looked: told at once, as returned. Of several spells the worst has the word."""
    worst = max(missed, key=lambda one: (one.priority.rank, (one.ended or 0) - one.since))
    whole, ended = _with(worst, missed), max(one.ended or 0 for one in missed)
    if alarm is None:
        standing = Standing.NORMAL if whole.notice else Standing.RETURNED
        return Change(_born(whole, now, standing, told=now, returned=ended), "raised", "first")
    after = replace(
        alarm, since=whole.since, raised=now, priority=whole.priority, facts=whole.facts, returned=ended,
        standing=Standing.RETURNED,
    )  # fmt: skip
    return _telling(after, "back", "first", now)


def _unshelved(alarm: Alarm, signal: Signal | None, now: int) -> Change:
    """Its time on the shelf is over: what still stands unacknowledged is told."""
    off = replace(alarm, shelved_until=None, shelved_by="", shelved_reason="")
    if alarm.standing is Standing.UNACKNOWLEDGED and signal is not None and not signal.inhibited:
        return Change(replace(off, told=now, raised=now, escalated=None), "unshelved", "again")
    return Change(off, "unshelved")
