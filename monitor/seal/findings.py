"""What a check of a bundle finds: faults, each of a kind, and remarks, in plain words."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple

MOST = 1_000  # findings that are listed; beyond it they are counted


class FaultKind(StrEnum):
    """What is wrong with a thing in a bundle."""

    ALTERED = "altered"
    MISSING = "missing"
    ADDED = "added"
    CUT_SHORT = "cut short"
    OUT_OF_ORDER = "out of order"
    WRONG_KEY = "wrong key"
    BROKEN_SIGNATURE = "broken signature"
    BROKEN_CHAIN = "broken chain"
    BROKEN_PROOF = "broken proof"
    UNLIKE = "not as sealed"
    UNSEALED = "unsealed"
    UNKNOWN_HEAD = "unknown head"
    UNREADABLE = "unreadable"
    REFUSED = "refused"


class Finding(NamedTuple):
    """A fault: its kind, where it stands, what is wrong and what that means."""

    kind: FaultKind
    where: str
    what: str
    means: str

    def __str__(self) -> str:
        return f"{self.where}: {self.what}. {self.means}"


@dataclass(slots=True)
class Findings:
    """All that a check has found so far."""

    faults: list[Finding] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    unlisted: int = 0

    def fault(self, kind: FaultKind, where: str, what: str, means: str) -> None:
        """Take down a fault."""
        if len(self.faults) < MOST:
            self.faults.append(Finding(kind, _printable(where), _printable(what), means))
        else:
            self.unlisted += 1

    def remark(self, text: str) -> None:
        """Take down what is no fault, but to be known."""
        if len(self.remarks) < MOST:
            self.remarks.append(_printable(text))


def _printable(text: str) -> str:
    """`text` fit for one line of a terminal: what comes from a bundle may hold anything."""
    line = "".join(char if char.isprintable() else char.encode("unicode_escape").decode() for char in text)
    return line if len(line) <= 500 else line[:500] + " ..."
