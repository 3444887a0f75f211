"""Causes and events: which entry belongs to which episode."""

from __future__ import annotations

import pytest

from monitor.basis.times import DAY, HOUR
from monitor.basis.values import Entry, Kind
from monitor.rules.assessment import Episode
from monitor.rules.board.causes import Explained, causes, episode_at

T0 = 1_767_571_200_000  # 2026-01-05T00:00Z [ms]
FIRST, OPEN = Episode(T0, T0 + 2 * HOUR, (0,)), Episode(T0 + DAY, None, (1,))


def told(kind: Kind, at: int, until: int | None = None) -> Entry:
    return Entry("den", 7, kind, at, at, "robin", {"until": until}, None, b"", b"")


@pytest.mark.parametrize(
    ("at", "until", "belongs"),
    [
        (T0 - 8 * HOUR, T0 - 6 * HOUR - 1, False),
        (T0 - 8 * HOUR, T0 - 6 * HOUR, True),
        (T0 - 6 * HOUR, None, True),
        (T0 - 6 * HOUR - 1, None, False),
        (T0 + HOUR, T0 + DAY, True),
        (T0 + 2 * HOUR, None, True),
        (T0 + 2 * HOUR + 1, None, False),
    ],
)
def test_an_event_belongs_to_an_episode_that_it_overlaps_or_came_up_to_six_hours_before(at, until, belongs):
    event = told(Kind.EVENT, at, until)
    assert causes([event], [FIRST]) == (Explained(events=(event,) if belongs else ()),)


@pytest.mark.parametrize(
    ("at", "until", "belongs"),
    [(T0 - HOUR, T0, True), (T0 - HOUR, T0 - 1, False), (T0, None, True), (T0 + 2 * HOUR + 1, None, False)],
)
def test_a_cause_belongs_to_the_episode_that_it_overlaps_and_to_no_later_one(at, until, belongs):
    cause = told(Kind.CAUSE, at, until)
    assert causes([cause], [FIRST]) == (Explained(causes=(cause,) if belongs else ()),)


def test_each_episode_has_its_own_and_one_that_is_open_goes_on():
    cause, event = told(Kind.CAUSE, T0), told(Kind.EVENT, T0 + 40 * DAY)
    note = Entry("den", 8, Kind.NOTE, T0, T0, "robin", {"text": "x"}, None, b"", b"")
    assert causes([cause, note, event], [FIRST, OPEN]) == (Explained(causes=(cause,)), Explained(events=(event,)))


@pytest.mark.parametrize(
    ("at", "found"), [(T0 - 1, None), (T0, FIRST), (T0 + 2 * HOUR, FIRST), (T0 + 2 * HOUR + 1, None), (T0 + DAY, OPEN)]
)
def test_a_time_lies_in_the_episode_whose_first_or_last_instant_it_is(at, found):
    assert episode_at([FIRST, OPEN], at) == found
