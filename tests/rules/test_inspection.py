"""Inspections: when they are due, how they are called in both halves of the earth, how joints have moved."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from monitor.basis.times import DAY, HOUR, parse_time
from monitor.basis.values import Entry, Kind
from monitor.rules.install.inspection import Joint, compared, inspections

UTC = ZoneInfo("UTC")
T0 = 1_767_571_200_000  # 2026-01-05T00:00Z [ms]
A_YEAR = T0 + 366 * DAY


def seen(number: int, at: int, **joints: float) -> Entry:
    body = {"joints_m": joints, "text": ""}
    return Entry("den", number, Kind.INSPECTION, at, at, "robin", body, None, b"", b"")


def names(finish: str, *, southern: bool = False, zone: ZoneInfo = UTC) -> list[str]:
    at = parse_time(finish, zone, where="test")
    return [item.what for item in inspections([], at, at, zone, southern=southern)]


# 121.5 days, the middle of three and five months, after 1 June is 30 September, after 2 June 1 October; after
# 30 November 2026 it is 31 March 2027, after 1 December 1 April
@pytest.mark.parametrize(
    ("finish", "first"),
    [("2026-06-01", "summer"), ("2026-06-02", "winter"), ("2026-11-30", "winter"), ("2026-12-01", "summer")],
)
def test_the_first_is_named_after_the_half_of_the_year_that_its_middle_lies_in(finish: str, first: str):
    second = {"summer": "winter", "winter": "summer"}[first]
    assert names(finish) == [f"inspection, first {first}", f"inspection, first {second}"]
    assert names(finish, southern=True) == [f"inspection, first {second}", f"inspection, first {first}"]


def test_the_month_is_that_of_the_jobs_zone():
    # 2026-06-01T12:00Z and 121.5 days are 2026-10-01T00:00Z, in New York still September
    at = T0 + 147 * DAY + 12 * HOUR
    york = ZoneInfo("America/New_York")
    assert inspections([], at, at, UTC, southern=False)[0].what == "inspection, first winter"
    assert inspections([], at, at, york, southern=False)[0].what == "inspection, first summer"


def test_the_second_comes_half_a_year_after_the_first():
    days = [((item.opens - T0) // DAY, (item.due - T0) // DAY) for item in inspections([], T0, T0, UTC, southern=False)]
    assert days == [(91, 152), (273, 334)]


@pytest.mark.parametrize(
    ("day", "done"), [(90, (None, None)), (91, (91, None)), (272, (272, None)), (273, (None, 273)), (360, (None, 360))]
)
def test_an_inspection_counts_for_the_first_until_the_seconds_time_begins(day: int, done: tuple[int | None, ...]):
    found = inspections([seen(7, T0 + day * DAY)], T0, A_YEAR, UTC, southern=False)
    assert tuple(None if item.last is None else (item.last - T0) // DAY for item in found) == done
    assert tuple(item.over for item in found) == tuple(last is not None for last in done)


def test_an_inspection_of_a_time_not_asked_for_yet_is_not_known():
    assert not any(item.over for item in inspections([seen(7, T0 + 100 * DAY)], T0, T0 + 99 * DAY, UTC, southern=False))


def test_a_joint_is_held_against_the_last_inspection_that_measured_it():
    log = [
        seen(3, T0, A3=0.0005, B1=0.0010),
        seen(4, T0 + DAY, A3=0.0007),
        seen(5, T0 + 2 * DAY, A3=0.0006, B1=0.0012, C1=0.0001),
    ]
    a3, b1, c1 = compared(log, log[2])
    assert a3 == Joint("A3", 0.0006, 0.0007, T0 + DAY)
    assert b1 == Joint("B1", 0.0012, 0.0010, T0)
    assert c1 == Joint("C1", 0.0001)
    assert [a3.growth, b1.growth, c1.growth] == [pytest.approx(-0.0001), pytest.approx(0.0002), None]


def test_an_inspection_that_was_entered_later_but_was_later_is_not_before():
    log = [seen(3, T0 + DAY, A3=0.0005), seen(4, T0, A3=0.0007)]
    assert compared(log, log[1]) == (Joint("A3", 0.0007),)
    assert compared(log, log[0]) == (Joint("A3", 0.0005, 0.0007, T0),)


def test_of_one_instant_the_entry_written_first_is_the_earlier():
    log = [seen(3, T0, A3=0.0005), seen(4, T0, A3=0.0007)]
    assert compared(log, log[1]) == (Joint("A3", 0.0007, 0.0005, T0),)
    assert compared(log, log[0]) == (Joint("A3", 0.0005),)
