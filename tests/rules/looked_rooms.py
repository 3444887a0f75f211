"""Rooms that are looked at by the patient alarm: an Assessment made of rows, and what is told of it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from rooms import Room, Row, Shelf, frame, minutes

from monitor.basis.alarm import Alarm, Signal
from monitor.basis.times import DAY
from monitor.config.alarms import Patience
from monitor.rules.alarm.alarms import Change, step, told_from
from monitor.rules.alarm.look import Look
from monitor.rules.alarm.signals import signals_of
from monitor.rules.alarm.spells import Heard, said_here
from monitor.rules.assessment import Assessment
from monitor.rules.frame import Frame
from monitor.rules.judge import judge
from monitor.rules.replay import heard

PATIENCE = Patience()


def room_of(rows: Iterable[Row]) -> Room:
    """One sensor "a" that has said these rows."""
    room = Room()
    room.hear("a", rows)
    return room


def heard_lately(made: Frame, found: Assessment, room: Room) -> Heard:
    """What was said in the room in the last day."""
    return said_here(made, found, heard(made, found.as_of, room, found.as_of - DAY, found.as_of))


def look_at(room: Room, made: Frame, at: float, *, told: int = 0, patience: Patience = PATIENCE) -> Look:
    """What is looked at so many minutes after T0; nothing that ended before minute `told` is told."""
    found = judge(made, minutes(at), room)
    return Look(
        frame=made, found=found, patience=patience, told_from=minutes(told), said=heard_lately(made, found, room)
    )


def seen(rows: Iterable[Row], at: float, *, told: int = 0, **more: object) -> list[Signal]:
    """The signals of a hall, so many minutes after T0; hold 10 min unless said otherwise."""
    made = frame("a", **{"hold": 10, **more})  # type: ignore[arg-type]
    return list(signals_of(look_at(room_of(rows), made, at, told=told)))


def whats_of(signals: Iterable[Signal]) -> list[str]:
    """What stands of them."""
    return [signal.what for signal in signals if signal.ended is None]


@dataclass
class Looked:
    """A room that is looked at again and again, with all that was ever remembered and told."""

    room: Room
    made: Frame
    kept: dict[str, Alarm] = field(default_factory=dict)
    changes: list[Change] = field(default_factory=list)
    shelf: Shelf = field(default_factory=Shelf)
    last: int | None = None
    first: int | None = None

    def look(self, at: float) -> list[Change]:
        """So many minutes after T0."""
        now = minutes(at)
        found = judge(self.made, now, self.room, self.shelf)
        self.first = now if self.first is None else self.first
        since = told_from(self.first, now if self.last is None else self.last)
        look = Look(
            frame=self.made, found=found, patience=PATIENCE, told_from=since,
            said=heard_lately(self.made, found, self.room),
        )  # fmt: skip
        changes = list(step(list(self.kept.values()), signals_of(look), now, PATIENCE))
        self.kept.update((change.alarm.id, change.alarm) for change in changes)
        self.changes += changes
        self.last = now
        return changes

    def told(self, what: str) -> list[str]:
        """How it was told of what, in order."""
        return [str(change.tells) for change in self.changes if change.tells and change.alarm.what == what]


def looked(rows: Iterable[Row], at: Sequence[float], **more: object) -> Looked:
    """A hall looked at so many minutes after T0."""
    wall = Looked(room_of(rows), frame("a", **{"hold": 10, **more}))  # type: ignore[arg-type]
    for minute in at:
        wall.look(minute)
    return wall
