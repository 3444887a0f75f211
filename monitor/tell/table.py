"""A table of a page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

Row = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A table of the page, or its note alone when there are no rows.

    `how` each column is known: "measured", "computed", "estimated" or "said"; "" where it is no number, or says so
    itself.
    """

    name: str
    head: Row
    rows: Sequence[Row]
    note: str = ""
    how: Row = ()
