"""The care of a finished wall: what falls due when, by the profile's plan and by what the log says was done."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Literal, NamedTuple, get_args

from monitor.basis.values import Entry, Kind
from monitor.config.profile import Care

Act = Literal["dust", "wipe", "look", "repair"]
ACTS: tuple[Act, ...] = get_args(Act)


class Item(NamedTuple):
    """One thing that a finished wall asks for: it may be done from `opens` on and is due by `due`. [ms]

    `last` is when it was done last, None when never; what is `over` does not come again.
    """

    what: str
    opens: int
    due: int
    last: int | None = None
    over: bool = False

    def overdue(self, now: int) -> bool:
        """Whether it should have been done before `now`; at the very instant it is due, not overdue."""
        return not self.over and now > self.due


def cared(entries: Iterable[Entry], finish: int, as_of: int) -> list[Entry]:
    """What was done to the finished wall from `finish` up to `as_of`, inspections too; `entries` as corrected. [ms]"""
    return [entry for entry in entries if entry.kind in (Kind.CARE, Kind.INSPECTION) and finish <= entry.at <= as_of]


def plan(care: Care, entries: Iterable[Entry], finish: int, as_of: int) -> tuple[Item, ...]:
    """When dusting, wiping and looking over fall due: so long after they were done last, first after the finish.

    An inspection is a looking over too; a repair is no part of the plan. [ms]
    """
    done = cared(entries, finish, as_of)
    every = {"dust": care.dust_every, "wipe": care.wipe_every, "look": care.look_every}
    return tuple(_item(what, length, done, finish) for what, length in every.items())


def _item(what: str, every: int, done: Sequence[Entry], finish: int) -> Item:
    times = [entry.at for entry in done if entry.body.get("did", "look") == what]
    last = max(times, default=None)
    due = (finish if last is None else last) + every
    return Item(what, due, due, last)


def in_order(items: Iterable[tuple[str, Item]], now: int, within: int) -> list[tuple[str, Item]]:
    """Of every wall's items those that are open by `now` + `within`: overdue ones first, then by when they are due.

    Each comes with its wall's name. [ms]
    """
    open_ = [(wall, item) for wall, item in items if not item.over and item.opens <= now + within]
    return sorted(open_, key=lambda pair: (not pair[1].overdue(now), pair[1].due, pair[0], pair[1].what))
