"""What people do with alarms: acknowledge them, put them on the shelf and take them down, try whether they are told."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from monitor.basis.alarm import MQTT, Alarm, Message, Standing
from monitor.basis.errors import RecordError
from monitor.basis.times import DAY
from monitor.rules.alarm.alarms import Change, acknowledge, shelve
from monitor.rules.alarm.grouping import Bundle, answered
from monitor.watch.desk import Desk
from monitor.watch.service.alarming import AGAIN, MovedError, buildings, message_id, record


def acknowledge_alarms(desk: Desk, ids: Sequence[str], who: str, *, job: str | None = None) -> list[Alarm]:
    """Note that `who` saw these; without any `ids` all that wait for it, of `job` or of all. Raises RecordError."""
    return _acted(
        desk, who, lambda standing: [acknowledge(one, who, desk.clock.now()) for one in _chosen(standing, ids, job)]
    )


def _chosen(standing: Sequence[Alarm], ids: Sequence[str], job: str | None) -> list[Alarm]:
    if ids:
        return [named(standing, one) for one in dict.fromkeys(ids)]
    waits = (Standing.UNACKNOWLEDGED, Standing.RETURNED)
    return [one for one in standing if one.standing in waits and not one.notice and job in (None, one.job)]


def named(standing: Sequence[Alarm], text: str) -> Alarm:
    """The alarm of that id, of which the beginning is enough. Raises RecordError."""
    found = [one for one in standing if text and one.id.startswith(text.strip().lower())]
    if len(found) == 1:
        return found[0]
    what = "several alarms begin so" if found else "no alarm of that id stands"
    raise RecordError(what, where=f"alarm {text!r}", mend="See wallclime alarm list for their ids")


def shelve_alarm(desk: Desk, id_: str, until: int, reason: str, who: str) -> Alarm:
    """Tell nobody of it until then, for a reason. Raises RecordError. [ms]"""
    most = desk.settings.patience.shelve_at_most

    def act(standing: Sequence[Alarm]) -> list[Change]:
        return [shelve(named(standing, id_), until, reason, who, desk.clock.now(), at_most=most)]

    return _acted(desk, who, act)[0]


def unshelve_alarm(desk: Desk, id_: str, who: str) -> Alarm:
    """Take it off the shelf before its time. Raises RecordError."""

    def act(standing: Sequence[Alarm]) -> list[Change]:
        alarm = named(standing, id_)
        if alarm.shelved_until is None:
            raise RecordError("it is not shelved", where=f"alarm {alarm.id}", mend="Nothing needs to be done")
        return [Change(replace(alarm, shelved_until=None, shelved_by="", shelved_reason=""), "unshelved")]

    return _acted(desk, who, act)[0]


def _acted(desk: Desk, who: str, act: Callable[[Sequence[Alarm]], list[Change]]) -> list[Alarm]:
    for _ in range(AGAIN):
        standing = desk.store.alarms()
        changes = act(standing)
        try:
            record(desk, changes, _answered(desk, changes), standing, who)
        except MovedError:
            continue
        return [one.alarm for one in changes]
    raise RecordError("others record alarms all the time", where="alarms", mend="Give the command again")


def _answered(desk: Desk, changes: Sequence[Change]) -> tuple[Bundle, ...]:
    """What second contacts are told: that somebody answered what was passed on to them."""
    if all(one.transition != "acknowledged" or one.alarm.escalated is None for one in changes):
        return ()
    contacts, patience = desk.settings.contacts, desk.settings.patience
    return answered(changes, contacts, desk.clock.now(), patience, buildings(desk))


def send_test(desk: Desk, name: str | None) -> list[Message]:
    """Put a test message on its way to a contact, or to all of them, and an event to the broker. Raises RecordError."""
    contacts = [one for one in desk.settings.contacts if name in (None, one.name)]
    if name is not None and not contacts:
        known = ", ".join(one.name for one in desk.settings.contacts) or "none"
        raise RecordError(f"there is no contact {name!r}", where="alarm test", mend=f"Contacts are: {known}")
    now = desk.clock.now()
    messages = [_test(one.name, now) for one in contacts] + ([_test(MQTT, now)] if name is None else [])
    desk.store.record_alarms([], [], messages)
    return messages


def _test(contact: str, now: int) -> Message:
    return Message(
        id=message_id(contact, "test", str(now)),
        contact=contact,
        kind="event" if contact == MQTT else "test",
        subject="Test: you are reached",
        text="This is a test. Nothing is wrong, and there is nothing to do.\n",
        body={"transition": "test"},
        made=now,
        not_before=now,
        expires=now + DAY,
    )
