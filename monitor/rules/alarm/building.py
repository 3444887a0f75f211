"""The building that a wall is said to be in, so that walls can be shown and told together."""

from __future__ import annotations

from collections.abc import Sequence

from monitor.basis.values import Entry, Kind
from monitor.rules.frame import effective


def building_of(log: Sequence[Entry]) -> str:
    """The building of a job by its log, "" where nobody named one; the last entry that stands counts."""
    said = [entry.body["building"] for entry in effective(log) if entry.kind is Kind.BUILDING]
    return str(said[-1]) if said else ""
