"""Every error a person can meet, as one tree. Each says what is wrong, where, and the mend.

WallclimeError                  exit 2: usage or bad input
├── QuantityError               a quantity or unit that can't be read
├── TimeError                   a time or zone that can't be read, or a local time that a clock change made two or none
├── SettingsError               wallclime.toml: every fault of the file
├── ProfileError                a profile file: every fault of the file
├── PayloadError                a message that can't be read as a reading; its `reason` names the quarantine drawer
├── LoggerFileError             a data logger's file: the row and column
├── RecordError                 a job, sensor, place or entry that is unknown, taken or in conflict with the log
├── ReportError                 a page that can't be written
└── OutOfReachError             exit 3
    ├── StoreError              the store can't be opened, written or is too busy
    ├── StoreTooNewError        the store was written by a newer wallclime
    ├── BrokerError             the MQTT broker can't be reached or refuses
    └── DeliveryError           a contact can't be reached, or does not take a message
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple


class Fault(NamedTuple):
    """One thing that is wrong: `what` it is, `where` it stands, and the `mend`."""

    what: str
    where: str
    mend: str

    def __str__(self) -> str:
        return f"{self.where}: {self.what}. {self.mend}"


class WallclimeError(Exception):
    """Base of every error meant for a person; `faults` holds one or more, each a line of the message."""

    exit_code = 2

    def __init__(self, what: str, *, where: str, mend: str) -> None:
        self.faults: tuple[Fault, ...] = (Fault(what, where, mend),)
        super().__init__(str(self.faults[0]))

    @classmethod
    def of(cls, faults: Sequence[Fault]) -> WallclimeError:
        """One error of this class that carries all `faults`; its text has a line for each."""
        if not faults:
            raise ValueError("an error needs at least one fault")
        error = cls(faults[0].what, where=faults[0].where, mend=faults[0].mend)
        error.faults = tuple(faults)
        return error

    def __str__(self) -> str:
        return "\n".join(str(fault) for fault in self.faults)


class QuantityError(WallclimeError):
    """A quantity or unit that can't be read."""


class TimeError(WallclimeError):
    """A time or zone that can't be read, or a local time that a clock change made two or none."""


class SettingsError(WallclimeError):
    """wallclime.toml: every fault of the file."""


class ProfileError(WallclimeError):
    """A profile file: every fault of the file."""


class PayloadError(WallclimeError):
    """A message that can't be read as a reading; `reason` names the quarantine drawer it goes to."""

    def __init__(self, what: str, *, where: str, mend: str, reason: str = "unreadable") -> None:
        super().__init__(what, where=where, mend=mend)
        self.reason = reason


class LoggerFileError(WallclimeError):
    """A data logger's file: the row and column."""


class RecordError(WallclimeError):
    """A job, sensor, place or entry that is unknown, taken or in conflict with the log."""


class ReportError(WallclimeError):
    """A page that can't be written."""


class OutOfReachError(WallclimeError):
    """The store or the broker can't be reached or used."""

    exit_code = 3


class StoreError(OutOfReachError):
    """The store can't be opened, written or is too busy."""


class StoreTooNewError(OutOfReachError):
    """The store was written by a newer wallclime."""


class BrokerError(OutOfReachError):
    """The MQTT broker can't be reached or refuses."""


class DeliveryError(OutOfReachError):
    """A contact can't be reached, or does not take a message; it never shows where the contact is reached."""
