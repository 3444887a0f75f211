"""A table of a page."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple, TypeVar

ROWS = 200  # of a table; the record has them all

Row = tuple[str, ...]
T = TypeVar("T")


class Table(NamedTuple):
    """A table of the page, or its note alone when there are no rows.

    `how` each column is known: "measured", "computed", "estimated" or "said"; "" where it is no number, or says so
    itself.
    """

    name: str
    head: Row
    rows: Sequence[Row]
    note: str = ""
    how: Row = ()


def most(items: Sequence[T], size: Callable[[T], int], thing: str = "") -> tuple[list[T], str]:
    """The items in order; of more than ROWS the largest, and then a note that says so."""
    if len(items) <= ROWS:
        return list(items), ""
    largest = sorted(range(len(items)), key=lambda k: size(items[k]), reverse=True)[:ROWS]
    return [items[k] for k in sorted(largest)], f"{ROWS} of {len(items)} {thing}shown, the longest; the record has all."
