"""Inspections of a finished wall: the first winter's, the first summer's, and how its joints have moved."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple
from zoneinfo import ZoneInfo

from monitor.basis.times import DAY, datetime_of
from monitor.basis.values import Entry, Kind
from monitor.rules.install.care import Item

# About three and five months after the finish, by when the wall has met another season. Ours, no published source.
OPENS, DUE = 91 * DAY, 152 * DAY
HALF_YEAR = 182 * DAY
WINTER_HALF = (10, 11, 12, 1, 2, 3)  # months of the northern half of the earth


class Joint(NamedTuple):
    """A marked joint as an inspection found it; `before` is the gap at the last inspection that measured it. [m]"""

    name: str
    gap: float
    before: float | None = None
    before_at: int | None = None

    @property
    def growth(self) -> float | None:
        """How much wider it is than before; below 0 narrower, None where it was never measured before. [m]"""
        return None if self.before is None else self.gap - self.before


def inspections(
    entries: Iterable[Entry], finish: int, as_of: int, zone: ZoneInfo, *, southern: bool
) -> tuple[Item, Item]:
    """The two inspections of a wall's first year: one three to five months after the finish, one half a year later.

    The first is named after the half of the year in which the middle of its time lies (October to March is winter, in
    the `southern` half of the earth summer), the second is the other. Any inspection before the second's time counts
    for the first, any later one for the second. [ms]
    """
    middle = datetime_of(finish + (OPENS + DUE) // 2, zone)
    names = ["first winter", "first summer"]
    if (middle.month in WINTER_HALF) is southern:
        names.reverse()
    opens = (finish + OPENS, finish + OPENS + HALF_YEAR)
    done = [entry.at for entry in entries if entry.kind is Kind.INSPECTION and opens[0] <= entry.at <= as_of]
    met = (
        max((at for at in done if at < opens[1]), default=None),
        max((at for at in done if at >= opens[1]), default=None),
    )
    first, second = (
        Item(f"inspection, {name}", start, start + DUE - OPENS, last, over=last is not None)
        for name, start, last in zip(names, opens, met, strict=True)
    )
    return first, second


def compared(entries: Iterable[Entry], inspection: Entry) -> tuple[Joint, ...]:
    """The joints of `inspection`, each beside the last inspection before it that measured that joint.

    `entries`: the job's, as corrected. Of one instant the entry written first is the earlier.
    """
    here = (inspection.at, inspection.number)
    before: dict[str, tuple[float, int]] = {}
    for entry in sorted(entries, key=lambda entry: (entry.at, entry.number)):
        if entry.kind is Kind.INSPECTION and (entry.at, entry.number) < here:
            before |= {name: (gap, entry.at) for name, gap in entry.body["joints_m"].items()}
    return tuple(Joint(name, gap, *before.get(name, ())) for name, gap in inspection.body["joints_m"].items())
