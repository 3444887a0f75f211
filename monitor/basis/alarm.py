"""The nouns of alarms, in the vocabulary of ISA-18.2 and IEC 62682: what is seen, what is told, what is on its way."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from enum import StrEnum
from typing import Any

HOUSE = ""  # in the place of a job: what belongs to no single wall


class Priority(StrEnum):
    """By what happens if nobody acts, and how soon."""

    LOW = "low"
    MEDIUM = "medium"
    HIGH = "high"


class Standing(StrEnum):
    """Where an alarm stands. What is returned has gone by itself, and nobody has said that they saw it."""

    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned"
    NORMAL = "normal"


@dataclass(frozen=True, slots=True)
class Signal:
    """One thing that the rules see as of an instant: `what` it is, of which `job`, and `where` (a place or a sensor).

    `since` when it is so [ms]. An alarm asks for a response; a notice (`notice` true) is told once and asks for none.
    `facts` are the JSON-safe values that its words are made of. `what`, `job` and `where` tell one alarm from another.
    """

    what: str
    job: str
    where: str
    since: int
    priority: Priority
    facts: Mapping[str, Any] = field(default_factory=dict)
    notice: bool = False

    @property
    def key(self) -> tuple[str, str, str]:
        """What one alarm is known by while it stands."""
        return self.what, self.job, self.where


@dataclass(frozen=True, slots=True)
class Alarm:
    """A signal as it is remembered: `id` is the alarm's own (see `alarm_id`), the rest what became of it. Times in ms.

    `since` is when it came to be so, `raised` when it was first seen, `told` when its contacts were last told,
    `escalated` when the second contact was, `returned` when it had gone. Shelved is one that tells nobody until
    `shelved_until`, whatever its standing.
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

    @property
    def key(self) -> tuple[str, str, str]:
        """What it is known by while it stands, as its signal is."""
        return self.what, self.job, self.where

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
