"""The nouns of alarms, in the vocabulary of ISA-18.2 and IEC 62682: what is seen, what is told, what is on its way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
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
