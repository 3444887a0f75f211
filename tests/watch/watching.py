"""A desk whose alarms are told to contacts, looked at as a daemon does, at a clock that is moved by hand."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

from desks import T0, Row

from monitor.basis.alarm import MQTT, Message
from monitor.basis.times import DAY, MINUTE
from monitor.rules.alarm.alarms import Change
from monitor.watch.desk import Desk
from monitor.watch.service.alarming import Memory, look, note_settings

OFFICE = '[[contact]]\nname = "office"\nzone = "UTC"\n'


def told_desk(home: Path, sit_down: Callable[[], Desk], settings: str = OFFICE, *, at: int = T0) -> Desk:
    """A desk with these settings, at which a daemon begins at `at`. [ms]"""
    (home / "wallclime.toml").write_text(settings, encoding="utf-8")
    desk = sit_down()
    set_clock(desk, at)
    note_settings(desk)
    return desk


def set_clock(desk: Desk, at: int) -> None:
    """Let it be `at`. [ms]"""
    desk.clock.at_ms = at  # type: ignore[attr-defined]


def looks(desk: Desk, times: Iterable[int], memory: Memory | None = None) -> list[Change]:
    """Look at each of these times; all that changed. [ms]"""
    memory = Memory() if memory is None else memory
    changes = []
    for at in times:
        set_clock(desk, at)
        changes += look(desk, memory)
    return changes


def every(start: int, end: int, step: int = 30 * MINUTE) -> range:
    """The times from `start` to `end`. [ms]"""
    return range(start, end + 1, step)


def steps(changes: Iterable[Change]) -> list[tuple[str, str]]:
    """What became of what, in order."""
    return [(one.alarm.what, one.transition) for one in changes]


def messages(desk: Desk, contact: str = "office") -> list[Message]:
    """What is on its way to a contact, oldest first."""
    waiting = (out.message for out in desk.store.outbox_due(desk.clock.now(), 1_000_000))
    return [one for one in waiting if one.contact == contact]


def later(desk: Desk, contact: str = "office") -> list[Message]:
    """What waits for a contact, also for the end of its quiet hours."""
    now = desk.clock.now()
    waiting = (out.message for out in desk.store.outbox_due(now + DAY, 1_000_000))
    return [one for one in waiting if one.contact == contact]


def subjects(desk: Desk, contact: str = "office") -> list[str]:
    """The subjects of what is on its way to a contact."""
    return [one.subject for one in messages(desk, contact)]


def events(desk: Desk) -> list[str]:
    """The transitions that the broker is told."""
    return [str(one.body["transition"]) for one in messages(desk, MQTT)]


def humid(rows: Iterable[Row], by: float) -> list[Row]:
    """The same rows with humidity moved. [%RH]"""
    return [row._replace(humidity=row.humidity + by) for row in rows]
