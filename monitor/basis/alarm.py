"""The nouns of alarms, in the vocabulary of ISA-18.2 and IEC 62682: what is seen, what is told, what is on its way."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from enum import StrEnum
from typing import Any, NamedTuple

HOUSE = ""  # in the place of a job: what belongs to no single wall
MQTT = "mqtt"  # in the place of a contact: the broker, for machines


class Priority(StrEnum):
    """By what happens if nobody acts, and how soon."""

    LOW = "low"
    MEDIUM = "medium"
    HIGH = "high"

    @property
    def rank(self) -> int:
        """The higher, the more pressing."""
        return list(Priority).index(self)


class Standing(StrEnum):
    """Where an alarm stands. What is returned has gone by itself, and nobody has said that they saw it."""

    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned"
    NORMAL = "normal"

    @property
    def active(self) -> bool:
        """Whether it is so now."""
        return self in (Standing.UNACKNOWLEDGED, Standing.ACKNOWLEDGED)


@dataclass(frozen=True, slots=True)
class Signal:
    """One thing that the rules see as of an instant: `what` it is, of which `job`, and `where` (a place or a sensor).

    `since` when it is so [ms]. An alarm asks for a response; a notice (`notice` true) is told once and asks for none.
    `facts` are the JSON-safe values that its words are made of. `what`, `job` and `where` tell one alarm from another.
    `ended`: it was so, but is no more, and nobody looked meanwhile [ms]. `inhibited`: it stands behind another that is
    told (a sensor behind a link that is down), so that it raises nothing, and what it raised before does not return.
    `holds`: nobody knows any more, or it is within the dead band: it raises nothing, but what was raised still stands.
    """

    what: str
    job: str
    where: str
    since: int
    priority: Priority
    facts: Mapping[str, Any] = field(default_factory=dict)
    notice: bool = False
    ended: int | None = None
    inhibited: bool = False
    holds: bool = False

    @property
    def key(self) -> tuple[str, str, str]:
        """What one alarm is known by while it stands."""
        return self.what, self.job, self.where


@dataclass(frozen=True, slots=True)
class Alarm:
    """A signal as it is remembered: `id` is the alarm's own (see `alarm_id`), the rest what became of it. Times in ms.

    `since`: when it came to be so. `raised`: since when it asks for an answer, for it was seen, came back or got worse.
    `told` is when its contacts were last told, `escalated` when the second contact was, `returned` when it had gone.
    Shelved is one that tells nobody until `shelved_until`, whatever its standing. A notice asks for no answer, so it is
    acknowledged from its birth, by nobody. `owed`: that it has gone is still to be told, as a flood kept it back.
    """

    id: str
    what: str
    job: str
    where: str
    since: int
    raised: int
    standing: Standing
    priority: Priority
    facts: Mapping[str, Any] = field(default_factory=dict)
    notice: bool = False
    told: int | None = None
    escalated: int | None = None
    acknowledged_at: int | None = None
    acknowledged_by: str = ""
    returned: int | None = None
    shelved_until: int | None = None
    shelved_by: str = ""
    shelved_reason: str = ""
    owed: bool = False

    @property
    def key(self) -> tuple[str, str, str]:
        """What it is known by while it stands, as its signal is."""
        return self.what, self.job, self.where

    @property
    def asks(self) -> bool:
        """Whether it is so now and is to be told: no notice, and not shelved."""
        return self.standing.active and not self.notice and self.shelved_until is None

    def to_json(self) -> dict[str, Any]:
        """As the store and the log keep it."""
        body = {spec.name: getattr(self, spec.name) for spec in fields(self)}
        return {**body, "standing": self.standing.value, "priority": self.priority.value, "facts": dict(self.facts)}

    @classmethod
    def from_json(cls, body: Mapping[str, Any]) -> Alarm:
        """What `to_json` wrote down."""
        return cls(**{**body, "standing": Standing(body["standing"]), "priority": Priority(body["priority"])})


def alarm_id(what: str, job: str, where: str, raised: int) -> str:
    """The first ten hex digits of the SHA-256 over all four, so that one alarm has one id wherever it is raised."""
    return hashlib.sha256(f"{what}|{job}|{where}|{raised}".encode()).hexdigest()[:10]


class Message(NamedTuple):
    """What is to be told to one `contact` (a name of the settings, or MQTT). It is kept once however often it is made.

    `id` names it: the same for the same occasion and contact. `kind` is "alarm", "returned", "seen", "notice",
    "digest", "summary", "test", or "event" and "state" of MQTT; `body` the JSON-safe values for machines. It is told
    from `not_before` on, and not any more at `expires`, where that is given [ms]. `alarms` are the ids of those it
    tells of, `jobs` the names of all jobs in it: it goes when one of them is forgotten.
    """

    id: str
    contact: str
    kind: str
    subject: str
    text: str
    body: Mapping[str, Any]
    made: int
    not_before: int
    expires: int | None = None
    alarms: tuple[str, ...] = ()
    jobs: tuple[str, ...] = ()
