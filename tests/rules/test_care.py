"""Care: due dates run from the finish and from what was done last."""

from __future__ import annotations

from typing import Any

import pytest

from monitor.basis.times import DAY
from monitor.basis.values import Entry, Kind
from monitor.config.profile import Care
from monitor.rules.install.care import Item, cared, in_order, plan

T0 = 1_767_571_200_000  # 2026-01-05T00:00Z [ms]
CARE = Care(dust_every=14 * DAY, wipe_every=90 * DAY, look_every=180 * DAY, how="", never="")


def entry(number: int, at: int, kind: Kind = Kind.CARE, **body: Any) -> Entry:
    return Entry("den", number, kind, at, at, "robin", body, None, b"", b"")


def dusted(number: int, at: int) -> Entry:
    return entry(number, at, did="dust", text="")


def due(entries: list[Entry], as_of: int = T0 + 400 * DAY) -> dict[str, tuple[int, int | None]]:
    """Of each act the days from the finish to when it is due, and to when it was done last."""
    return {
        item.what: ((item.due - T0) // DAY, None if item.last is None else (item.last - T0) // DAY)
        for item in plan(CARE, entries, T0, as_of)
    }


def test_without_any_care_all_is_due_from_the_finish():
    assert due([]) == {"dust": (14, None), "wipe": (90, None), "look": (180, None)}


def test_what_was_done_falls_due_again_from_then():
    assert due([dusted(7, T0 + 10 * DAY), dusted(8, T0 + 3 * DAY)])["dust"] == (24, 10)


def test_what_was_done_in_the_instant_of_the_finish_counts_and_before_it_does_not():
    assert due([dusted(7, T0)])["dust"] == (14, 0)
    assert due([dusted(7, T0 - 1)])["dust"] == (14, None)


def test_what_was_done_after_the_instant_asked_for_is_not_known_yet():
    assert due([dusted(7, T0 + 20 * DAY)], as_of=T0 + 20 * DAY - 1)["dust"] == (14, None)


def test_an_inspection_is_a_looking_over_and_a_repair_is_no_part_of_the_plan():
    inspection = entry(7, T0 + 5 * DAY, Kind.INSPECTION, joints_m={}, text="sound")
    repair = entry(8, T0 + 6 * DAY, did="repair", text="one plank")
    assert due([inspection, repair]) == {"dust": (14, None), "wipe": (90, None), "look": (185, 5)}


def test_other_entries_are_no_care():
    assert cared([entry(7, T0, Kind.NOTE, text="dust everywhere")], T0, T0 + DAY) == []


@pytest.mark.parametrize(("now", "late"), [(T0, False), (T0 + 1, True)])
def test_at_the_very_instant_it_is_due_and_not_yet_overdue(now: int, late: bool):
    assert Item("dust", T0, T0).overdue(now) is late


def test_what_is_over_is_never_overdue():
    assert not Item("inspection", T0, T0, last=T0 - DAY, over=True).overdue(T0 + DAY)


def test_overdue_comes_first_then_what_is_due_sooner():
    late, soon, open_ = Item("wipe", T0 - DAY, T0 - DAY), Item("dust", T0, T0), Item("inspection", T0 - DAY, T0 + DAY)
    items = [("attic", open_), ("den", soon), ("hall", late), ("den", late)]
    assert in_order(items, T0, 0) == [("den", late), ("hall", late), ("den", soon), ("attic", open_)]


def test_what_opens_later_is_listed_as_far_ahead_as_is_asked_and_what_is_over_is_not():
    coming, over = Item("dust", T0 + DAY, T0 + DAY), Item("inspection", T0, T0, last=T0, over=True)
    items = [("den", coming), ("den", over)]
    assert in_order(items, T0, DAY - 1) == []
    assert in_order(items, T0, DAY) == [("den", coming)]
