"""Times: UTC milliseconds inside, RFC 3339 outside, and local wall times only with their zone beside them."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from monitor.basis.errors import TimeError

SECOND = 1_000
MINUTE = 60_000
HOUR = 3_600_000
DAY = 86_400_000
EARLIEST = 946_684_800_000  # 2000-01-01T00:00Z: no sensor of ours spoke before it, an unset clock does [ms]
LATEST = 4_102_444_800_000  # 2100-01-01T00:00Z [ms]

_TIME = re.compile(
    r"(?P<date>\d{4}-\d{2}-\d{2})(?:[Tt ](?P<clock>\d{2}:\d{2}(?::\d{2}(?:[.,]\d{1,9})?)?))?"
    r"\s*(?P<zone>[Zz]|[+-]\d{2}:?\d{2})?"
)

_GIVE_OFFSET = 'Give the time with its offset, such as "+01:00"'


def zone_of(name: str, *, where: str = "zone") -> ZoneInfo:
    """The IANA time zone `name`, e.g. "Europe/Helsinki". Raises TimeError when there is none."""
    try:
        if not name or name.startswith((".", "/")) or name == "localtime":  # the machine's own, not a zone's name
            raise ValueError(name)
        return ZoneInfo(name)
    except (ValueError, OSError, KeyError):
        raise TimeError(
            f"there is no time zone {name!r}", where=where, mend='Give an IANA name such as "UTC" or "America/New_York"'
        ) from None


def ms_of(moment: datetime) -> int:
    """UTC milliseconds of an aware datetime, exact to the millisecond. [ms]"""
    if moment.tzinfo is None:
        raise ValueError("a time without its zone has no place on the time line")
    return (moment - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(milliseconds=1)


def datetime_of(at_ms: int, zone: ZoneInfo | None = None) -> datetime:
    """The aware datetime of `at_ms`, in `zone` (UTC by default)."""
    moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=at_ms)
    return moment if zone is None else moment.astimezone(zone)


def rfc3339(at_ms: int) -> str:
    """RFC 3339 in UTC, milliseconds only where there are any: 2026-01-05T06:40:00Z."""
    text = datetime_of(at_ms).isoformat(timespec="milliseconds" if at_ms % SECOND else "seconds")
    return text.replace("+00:00", "Z")


def in_zone(local: datetime, zone: ZoneInfo, *, where: str, dst: str | None = None, mend: str = _GIVE_OFFSET) -> int:
    """UTC milliseconds of the wall time `local` (naive) in `zone`.

    `dst` says what to do where the clock was put back or forward: None raises TimeError with `mend`, "earlier" or
    "later" takes the first or second of two (of an absent time: by the offset after, or before, it).
    """
    first, second = local.replace(tzinfo=zone, fold=0), local.replace(tzinfo=zone, fold=1)
    if first.utcoffset() == second.utcoffset():
        return ms_of(first)
    if dst is None:
        absent = datetime.fromtimestamp(first.timestamp(), zone).replace(tzinfo=None) != local
        raise TimeError(
            f"{local.isoformat(' ')} {'does not exist' if absent else 'happened twice'} in {zone.key}, "
            "where the clocks were changed",
            where=where,
            mend=mend,
        )
    return min(ms_of(first), ms_of(second)) if dst == "earlier" else max(ms_of(first), ms_of(second))


def parse_time(text: str, zone: ZoneInfo, *, where: str) -> int:
    """UTC milliseconds of an ISO 8601 / RFC 3339 date or time; without an offset it is a wall time of `zone`.

    Fractions finer than a millisecond are cut, the years 2000 to 2099 accepted. Raises TimeError. [ms]
    """
    found = _TIME.fullmatch(text.strip())
    try:
        if found is None:
            raise ValueError(text)
        clock = (found["clock"] or "00:00").replace(",", ".")
        main, _, fraction = clock.partition(".")
        local = datetime.fromisoformat(f"{found['date']}T{main}")
        local += timedelta(milliseconds=int((fraction + "000")[:3]))
        if found["zone"] is None:
            at = in_zone(local, zone, where=where)
        else:
            offset = found["zone"].upper()
            at = ms_of(datetime.fromisoformat(local.isoformat() + ("+00:00" if offset == "Z" else offset)))
    except ValueError:
        raise TimeError(
            f"{text!r} is not a time", where=where, mend="Write it like 2026-01-05T06:40 or 2026-01-05T06:40:00+02:00"
        ) from None
    if not EARLIEST <= at < LATEST:
        raise TimeError(f"{text!r} is outside the years 2000 to 2099", where=where, mend="Check the year and the clock")
    return at


def whole_seconds(ms: int) -> int:
    """A length of time without what is left of a second. [ms]"""
    return ms // SECOND * SECOND


def day_of(at_ms: int) -> int:
    """The UTC midnight that `at_ms` follows or is. [ms]"""
    return at_ms - at_ms % DAY
