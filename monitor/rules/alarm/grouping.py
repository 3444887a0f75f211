"""Which messages the changes of one look make: for whom, together with what, and not before when.

What one wall has to say in a look is one message; walls of one building, or of one room, that have the same to say have
one together, and so has what fell silent together behind one gateway. More messages than a person can handle become one
that sums them up; what it leaves out is told when the flood is over.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Literal, NamedTuple

from monitor.basis.alarm import HOUSE, Alarm, Priority, Standing
from monitor.config.alarms import Contact, Patience
from monitor.rules.alarm.alarms import ESCALATES, Change, Tells, most_pressing, worse
from monitor.rules.alarm.whats import SILENT

Form = Literal["alarm", "returned", "notice", "summary", "seen"]

SHOWN = 10  # alarms that a message names, the most pressing first; the rest it counts. Ours


class Bundle(NamedTuple):
    """One message to be worded: to `contact`, of `form`, telling of `alarms` (as they will be), most pressing first.

    `tells` says how. `behind` is what the alarms have in common: sensors that fell silent together a "broker", "topics"
    below a level or a "place", "walls" a building or room; `named` is its name; both "" otherwise. `more` counts alarms
    that it leaves out. `not_before` [ms].
    """

    contact: str
    form: Form
    tells: Tells
    alarms: tuple[Alarm, ...]
    not_before: int
    behind: str = ""
    named: str = ""
    more: int = 0

    @property
    def priority(self) -> Priority:
        """The highest of its alarms."""
        return most_pressing(alarm.priority for alarm in self.alarms)


class Told(NamedTuple):
    """The messages of a look, and its changes: of an alarm that a flood kept from everybody `told` is None again."""

    bundles: tuple[Bundle, ...]
    changes: tuple[Change, ...]


def bundles(
    changes: Sequence[Change],
    contacts: Sequence[Contact],
    now: int,
    patience: Patience,
    *,
    buildings: Mapping[str, str],
    sent: Mapping[str, Sequence[int]],
) -> Told:
    """The messages that the changes of one look make. [ms]

    `buildings`: the building of each job that has one. `sent`: when each contact's last messages were made, those
    within the patience's flood at least.
    """
    changes = [one for one in changes if not _too_early(one, contacts, now, patience, buildings)]
    told = [change for change in changes if change.tells is not None]
    made: list[Bundle] = []
    going: set[str] = set()
    held: set[str] = set()
    for contact in contacts:
        groups = _groups([one for one in told if wanted(contact, one, contacts, buildings)], patience, buildings)
        ready, left = _through(contact, list(groups), now, patience, sent.get(contact.name, ()))
        made += ready
        going.update(_ids(ready))
        held.update(left)
    kept = held - going
    as_told = (_as_told(change, kept) for change in changes)
    return Told(tuple(made), tuple(one for one in as_told if one is not None))


def answered(
    changes: Sequence[Change], contacts: Sequence[Contact], now: int, patience: Patience, buildings: Mapping[str, str]
) -> tuple[Bundle, ...]:
    """To the second contacts: what was passed on to them, still stands, and has been acknowledged now. [ms]"""
    told = [
        one._replace(tells="second contact")
        for one in changes
        if one.transition == "acknowledged" and one.alarm.escalated is not None and one.alarm.standing.active
    ]
    return tuple(
        _to(contact, group, now)._replace(form="seen", not_before=contact.quiet_until(now))
        for contact in contacts
        for group in _groups([one for one in told if wanted(contact, one, contacts, buildings)], patience, buildings)
    )


def _as_told(change: Change, kept: Collection[str]) -> Change | None:
    """As the flood leaves it; None where it changes nothing, as what was kept back before is kept back again."""
    alarm, waits = change.alarm, change.alarm.id in kept
    if waits and change.tells == "returned":
        later = replace(alarm, owed=True, standing=Standing.RETURNED)
        return None if alarm.owed else change._replace(alarm=later, transition="returned", tells=None)
    if waits and change.tells in ("first", "again"):
        return change._replace(alarm=replace(alarm, told=None), tells=None)
    return change._replace(alarm=replace(alarm, owed=False)) if change.tells else change


def _too_early(
    change: Change, contacts: Sequence[Contact], now: int, patience: Patience, buildings: Mapping[str, str]
) -> bool:
    """Whether it would be passed on before all whom quiet hours kept the message from had their time to answer."""
    if change.tells != "second contact" or change.alarm.priority is Priority.HIGH:
        return False
    first = change._replace(tells="again")
    due = [one.quiet_until(change.alarm.raised) for one in contacts if wanted(one, first, contacts, buildings)]
    return bool(due) and now - min(due) < ESCALATES[change.alarm.priority] * patience.escalate_after


# --- for whom --------------------------------------------------------------------------------------


def wanted(contact: Contact, change: Change, contacts: Sequence[Contact], buildings: Mapping[str, str]) -> bool:
    """Whether a contact hears of a change: all of what concerns them, a second one only of what was passed on to it."""
    passed_on = change.tells == "second contact"
    over = change.tells == "returned" and change.alarm.escalated is not None
    if (not (passed_on or over) if contact.second else passed_on) or worse(contact.least, change.alarm.priority):
        return False
    jobs = jobs_of(change.alarm)
    if _hears_all(contact):
        return True
    if not jobs:  # of the house: for those who hear all, for everybody where nobody does
        return not any(_hears_all(one) for one in contacts if one.second is contact.second)
    return any(job in contact.jobs or buildings.get(job) in contact.buildings for job in jobs)


def _hears_all(contact: Contact) -> bool:
    return not contact.jobs and not contact.buildings


def jobs_of(alarm: Alarm) -> tuple[str, ...]:
    """The jobs that an alarm bears on: its own, or those that a sensor serves; none of what is the house's."""
    return tuple(alarm.facts.get("jobs", ())) if alarm.job == HOUSE else (alarm.job,)


# --- together with what ----------------------------------------------------------------------------


def _groups(changes: Sequence[Change], patience: Patience, buildings: Mapping[str, str]) -> Iterator[Bundle]:
    """The messages for one contact, without regard to when; `not_before` is filled in later."""
    fell = [c for c in changes if c.alarm.what == SILENT and c.tells in ("first", "again") and c.alarm.standing.active]
    for group in _fell_together(fell, patience):
        behind, named = _behind(group) if len(group) > 1 else ("", "")
        yield _bundle(group, behind, named)
    rest: dict[tuple[str, ...], list[Change]] = {}
    for change in changes:
        if change not in fell:
            cause = "silent" if change.alarm.what == SILENT else ""
            rest.setdefault((change.alarm.job, cause, _form(change), str(change.tells)), []).append(change)
    alike: dict[tuple[tuple[str, ...], Form, str], list[list[Change]]] = {}
    for group in rest.values():
        alike.setdefault((_shared(group, buildings), _form(group[0]), str(group[0].tells)), []).append(group)
    for (shared, *_), groups in alike.items():
        if len(groups) > 1:
            yield _walls([one for group in groups for one in group], shared)
        elif shared == (HOUSE, str(True)) and len(groups[0]) > 1:  # sensors that speak again
            yield _bundle(groups[0], *_behind(groups[0]))
        else:
            yield _bundle(groups[0])


def _shared(group: Sequence[Change], buildings: Mapping[str, str]) -> tuple[str, ...]:
    """What a wall shares with another for one message: its building, else its room; and all that it has to say."""
    first = group[0].alarm
    if first.job == HOUSE:
        return HOUSE, str(first.what == SILENT)
    return buildings.get(first.job) or first.where or first.job, *sorted({one.alarm.what for one in group})


def _walls(group: Sequence[Change], shared: tuple[str, ...]) -> Bundle:
    tells = group[0].tells
    assert tells is not None  # what is not told is in no group
    return Bundle("", _form(group[0]), tells, _by_press(one.alarm for one in group), 0, "walls", shared[0])


def _form(change: Change) -> Form:
    if change.alarm.notice:
        return "notice"
    return "returned" if change.tells == "returned" else "alarm"


def _bundle(group: Sequence[Change], behind: str = "", named: str = "") -> Bundle:
    alarms = _by_press(change.alarm for change in group)
    tells = group[0].tells
    assert tells is not None  # what is not told is in no group
    return Bundle("", _form(group[0]), tells, alarms[:SHOWN], 0, behind, named, len(alarms[SHOWN:]))


def _by_press(alarms: Iterable[Alarm]) -> tuple[Alarm, ...]:
    return tuple(sorted(alarms, key=lambda one: (-one.priority.rank, one.since, one.key)))


def _fell_together(fell: Sequence[Change], patience: Patience) -> Iterator[list[Change]]:
    """Silences of one broker that began one after the other, none later than the patience has it."""
    brokers: dict[str, list[Change]] = {}
    for change in sorted(fell, key=lambda one: (one.alarm.since, one.alarm.key)):
        brokers.setdefault(str(change.alarm.facts.get("broker", "")), []).append(change)
    for silences in brokers.values():
        group: list[Change] = []
        for change in silences:
            if group and change.alarm.since - group[-1].alarm.since > spread_of(change.alarm, patience):
                yield group
                group = []
            group.append(change)
        yield group


def spread_of(alarm: Alarm, patience: Patience) -> int:
    """How far apart the last words may lie of what fell silent together: sensors do not speak at one time. [ms]"""
    return max(patience.group_within, int(alarm.facts.get("hold_ms", 0)) // 3)


def _behind(group: Sequence[Change]) -> tuple[str, str]:
    """What the sensors of a group have in common, the narrowest first: a level of the topics, a place, the broker."""
    facts = [change.alarm.facts for change in group]
    for kind, key in (("topics", "root"), ("place", "place"), ("broker", "broker")):
        names = {str(each.get(key, "")) for each in facts}
        if len(names) == 1 and "" not in names:
            return kind, names.pop()
    return "", ""


# --- not too many, and not at night ----------------------------------------------------------------


def _through(
    contact: Contact, groups: Sequence[Bundle], now: int, patience: Patience, sent: Sequence[int]
) -> tuple[list[Bundle], list[str]]:
    """The messages for a contact that go, and the ids of the alarms that a flood keeps back for now.

    In a flood all that comes in one look is one message. Once that many have been sent, the low and medium ones wait.
    """
    lately = sum(now - patience.flood.within < at <= now for at in sent)
    if lately + len(groups) <= patience.flood.number:
        return [_to(contact, bundle, now) for bundle in groups], []
    over = [bundle for bundle in groups if bundle.form == "returned"]
    groups = [bundle for bundle in groups if bundle.form != "returned"]
    ended, left = _over(contact, over, now) if lately < patience.flood.number else ([], _ids(over))
    alarms = _by_press(alarm for bundle in groups for alarm in bundle.alarms)
    if lately >= patience.flood.number:
        waiting = [alarm.id for alarm in alarms if alarm.priority is not Priority.HIGH]
        alarms = tuple(alarm for alarm in alarms if alarm.priority is Priority.HIGH)
    else:
        waiting = []
    if not alarms:
        return ended, [*waiting, *left]
    more = len(alarms[SHOWN:]) + sum(bundle.more for bundle in groups)
    tells = groups[0].tells if contact.second else "first"
    summed = Bundle(contact.name, "summary", tells, alarms[:SHOWN], now, more=more)
    return [_to(contact, summed, now), *ended], [*waiting, *left]


def _over(contact: Contact, over: Sequence[Bundle], now: int) -> tuple[list[Bundle], list[str]]:
    """All that is over in one message: what it has no room for it counts."""
    alarms = _by_press(alarm for bundle in over for alarm in bundle.alarms)
    if not alarms:
        return [], []
    more = len(alarms[SHOWN:]) + sum(bundle.more for bundle in over)
    return [_to(contact, Bundle("", "returned", "returned", alarms[:SHOWN], now, more=more), now)], []


def _ids(groups: Sequence[Bundle]) -> list[str]:
    return [alarm.id for bundle in groups for alarm in bundle.alarms]


def _to(contact: Contact, bundle: Bundle, now: int) -> Bundle:
    """Addressed; what is high goes through the quiet hours, the rest waits for their end."""
    high = bundle.priority is Priority.HIGH and bundle.form != "returned"
    return bundle._replace(contact=contact.name, not_before=now if high else contact.quiet_until(now))
