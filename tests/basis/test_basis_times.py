"""Times: exact to the millisecond, with their zone, and no guess where the clocks were changed."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.basis.errors import TimeError
from monitor.basis.times import (
    DAY,
    EARLIEST,
    HOUR,
    LATEST,
    MINUTE,
    datetime_of,
    day_of,
    in_zone,
    ms_of,
    parse_time,
    rfc3339,
    zone_of,
)

UTC_ZONE = zone_of("UTC")
NEW_YORK = zone_of("America/New_York")
HELSINKI = zone_of("Europe/Helsinki")
moments = st.integers(EARLIEST, LATEST - 1)
zones = st.sampled_from(["UTC", "America/New_York", "Europe/Helsinki", "Asia/Kathmandu", "Australia/Lord_Howe"])


def utc(*parts):
    return ms_of(datetime(*parts, tzinfo=UTC))


def refusal(text, zone=UTC_ZONE, where="--at", **options):
    with pytest.raises(TimeError) as caught:
        parse_time(text, zone, where=where, **options)
    return str(caught.value)


# --- reading ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        "2026-01-05T06:40:00Z", "2026-01-05t06:40z", "2026-01-05 06:40", "2026-01-05T08:40+02:00",
        "2026-01-05T08:40+0200", "2026-01-05 01:40:00.000 -05:00", " 2026-01-05T06:40:00,0Z ",
        "2026-01-05T06:40:00-00:00",
    ],
)  # fmt: skip
def test_one_instant_is_read_in_the_spellings_of_rfc_3339_and_iso_8601(text):
    # 2026-01-05T00:00Z is day 20458 since 1970-01-01: 56 years of 365 days, 14 leap days, 4 days
    assert parse_time(text, UTC_ZONE, where="--at") == (56 * 365 + 14 + 4) * DAY + 6 * HOUR + 40 * MINUTE


def test_a_date_alone_is_its_midnight_in_the_zone():
    assert parse_time("2026-01-05", UTC_ZONE, where="--at") == utc(2026, 1, 5)
    assert parse_time("2026-01-05", HELSINKI, where="--at") == utc(2026, 1, 4, 22)


@pytest.mark.parametrize(
    ("fraction", "ms"), [("", 0), (".5", 500), (".05", 50), (".0049", 4), (".999999999", 999), (",25", 250)]
)
def test_fractions_are_cut_to_the_millisecond_not_rounded(fraction, ms):
    assert parse_time(f"2026-01-05T06:40:07{fraction}Z", UTC_ZONE, where="--at") == utc(2026, 1, 5, 6, 40, 7) + ms


@pytest.mark.parametrize(
    "text",
    ["", "soon", "2026-02-30", "2026-13-01", "2026-01-05T24:01", "2026-01-05T06:40:60Z", "05.01.2026",
     "2026-01-05T6:40", "2026-01-05T06:40+25:00", "2026-W02-1", "20260105", "1767595200"],
)  # fmt: skip
def test_what_is_no_time_is_refused(text):
    assert refusal(text) == (
        f"--at: {text!r} is not a time. Write it like 2026-01-05T06:40 or 2026-01-05T06:40:00+02:00"
    )


def test_the_years_2000_to_2099_are_accepted_and_no_others():
    assert parse_time("2000-01-01T00:00Z", UTC_ZONE, where="--at") == EARLIEST
    assert parse_time("2099-12-31T23:59:59.999Z", UTC_ZONE, where="--at") == LATEST - 1
    for text in ("1999-12-31T23:59:59.999Z", "2100-01-01T00:00Z", "0001-01-01", "9999-12-31T23:59-23:59"):
        assert refusal(text) == f"--at: {text!r} is outside the years 2000 to 2099. Check the year and the clock"


# --- clock changes ----------------------------------------------------------------------------------------------------
# In the USA at 02:00 on the second Sunday of March and the first of November (Energy Policy Act of 2005, section 110):
# in 2026 on March 8 and November 1.


def test_a_wall_time_that_happened_twice_is_not_guessed():
    assert refusal("2026-11-01T01:30", NEW_YORK) == (
        "--at: 2026-11-01 01:30:00 happened twice in America/New_York, where the clocks were changed. "
        'Give the time with its offset, such as "+01:00"'
    )
    twice = datetime(2026, 11, 1, 1, 30)
    assert in_zone(twice, NEW_YORK, where="", dst="earlier") == utc(2026, 11, 1, 5, 30)
    assert in_zone(twice, NEW_YORK, where="", dst="later") == utc(2026, 11, 1, 6, 30)
    assert parse_time("2026-11-01T01:30-05:00", NEW_YORK, where="--at") == utc(2026, 11, 1, 6, 30)


def test_a_wall_time_that_never_was_is_not_guessed():
    assert refusal("2026-03-08T02:30", NEW_YORK) == (
        "--at: 2026-03-08 02:30:00 does not exist in America/New_York, where the clocks were changed. "
        'Give the time with its offset, such as "+01:00"'
    )
    # with the offset after the change (-4 h) and the one before it (-5 h)
    never = datetime(2026, 3, 8, 2, 30)
    assert in_zone(never, NEW_YORK, where="", dst="earlier") == utc(2026, 3, 8, 6, 30)
    assert in_zone(never, NEW_YORK, where="", dst="later") == utc(2026, 3, 8, 7, 30)


@pytest.mark.parametrize(
    ("wall", "instant"),
    [
        ((2026, 3, 8, 1, 59), (2026, 3, 8, 6, 59)),
        ((2026, 3, 8, 3, 0), (2026, 3, 8, 7, 0)),
        ((2026, 11, 1, 0, 59), (2026, 11, 1, 4, 59)),
        ((2026, 11, 1, 2, 0), (2026, 11, 1, 7, 0)),
    ],
)
@pytest.mark.parametrize("dst", [None, "earlier", "later"])
def test_next_to_a_clock_change_there_is_one_answer(wall, instant, dst):
    assert in_zone(datetime(*wall), NEW_YORK, where="row 2", dst=dst) == utc(*instant)


@given(moments, zones)
def test_a_wall_time_is_read_back_as_its_instant_or_as_one_of_two(at, name):
    zone = zone_of(name)
    wall = datetime_of(at, zone).replace(tzinfo=None)
    assert at in {in_zone(wall, zone, where="row 2", dst=dst) for dst in ("earlier", "later")}


# --- writing ----------------------------------------------------------------------------------------------------------


@given(moments, zones)
def test_rfc_3339_is_read_back_to_the_millisecond_whatever_zone_is_asked_for(at, name):
    assert parse_time(rfc3339(at), zone_of(name), where="--at") == at


@given(moments)
def test_a_datetime_keeps_every_millisecond(at):
    assert ms_of(datetime_of(at)) == at
    assert ms_of(datetime_of(at, HELSINKI)) == at


def test_milliseconds_are_written_only_where_there_are_any():
    assert rfc3339(utc(2026, 1, 5, 6, 40)) == "2026-01-05T06:40:00Z"
    assert rfc3339(utc(2026, 1, 5, 6, 40) + 7) == "2026-01-05T06:40:00.007Z"


def test_microseconds_are_cut_downwards_before_1970_too():
    assert ms_of(datetime(2026, 1, 1, 0, 0, 0, 1_999, tzinfo=UTC)) == utc(2026, 1, 1) + 1
    assert ms_of(datetime(1969, 12, 31, 23, 59, 59, 999_999, tzinfo=UTC)) == -1


def test_an_offset_is_no_other_instant():
    east = timezone(timedelta(hours=5, minutes=45))
    assert ms_of(datetime(2026, 1, 5, 12, 25, tzinfo=east)) == utc(2026, 1, 5, 6, 40)


def test_a_naive_datetime_is_a_mistake_of_ours():
    with pytest.raises(ValueError, match="a time without its zone has no place on the time line"):
        ms_of(datetime(2026, 1, 5))


@given(moments)
def test_a_utc_day_begins_at_its_midnight(at):
    assert day_of(at) <= at < day_of(at) + DAY
    assert datetime_of(day_of(at)).strftime("%H:%M:%S.%f") == "00:00:00.000000"
    assert day_of(day_of(at)) == day_of(at)


# --- zones ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name", ["", "Mars/Base", "Europe", "../UTC", "/etc/localtime", "a\0b", "x" * 5000, "\ud800", "localtime"]
)
def test_what_is_no_iana_zone_is_refused(name):
    with pytest.raises(TimeError) as caught:
        zone_of(name, where="--zone")
    assert str(caught.value) == (
        f'--zone: there is no time zone {name!r}. Give an IANA name such as "UTC" or "America/New_York"'
    )


@given(
    st.text(max_size=30)
    | st.from_regex(r"20\d\d-\d\d-\d\d[T ]\d\d:\d\d(:\d\d(\.\d+)?)?(Z|[+-]\d\d:?\d\d)?", fullmatch=True)
)
def test_any_text_is_a_time_of_our_years_or_one_clear_line(text):
    at, said = EARLIEST, f"--at: {text!r}"
    try:
        at = parse_time(text, UTC_ZONE, where="--at")
    except TimeError as exc:
        said = str(exc)
    assert EARLIEST <= at < LATEST
    assert said.startswith(f"--at: {text!r}")
    assert "\n" not in said
