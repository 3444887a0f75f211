"""A table of a page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

Row = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A table of the page, or its note alone when there are no rows."""

    name: str
    head: Row
    rows: Sequence[Row]
    note: str = ""
