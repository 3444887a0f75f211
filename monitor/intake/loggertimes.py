"""The times of a data logger's file: their form, guessed only where it is certain, and their place on the time line."""

from __future__ import annotations

import contextlib
import itertools
import re
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from typing import Literal, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from monitor.basis.errors import LoggerFileError, TimeError
from monitor.basis.times import DAY, EARLIEST, HOUR, LATEST, in_zone

ISO = "ISO 8601"  # the form of 2026-01-05 06:40:00, with or without T, seconds, fraction and offset

_EPOCH = datetime(1970, 1, 1)
_MS = timedelta(milliseconds=1)
_ISO = re.compile(
    r"(\d{4}-\d{2}-\d{2})(?:[Tt ] ?(\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d{1,9})?)?)\s?([Zz]|[+-]\d{2}:?\d{2})?)?", re.ASCII
)
_ALL_PLAIN = re.compile(r"(?:\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(?::\d{2}(?:\.\d{1,6})?)?\n)*+", re.ASCII)
_CLOCK = r"(?:([ T]+)\d{1,2}:\d{2}(:\d{2})?(?:([.,])\d{1,9})?(?:( ?)[AaPp][Mm])?)?"
_YEAR_FIRST = re.compile(rf"\d{{4}}([./-])\d{{1,2}}\1\d{{1,2}}{_CLOCK}", re.ASCII)
_YEAR_LAST = re.compile(rf"(\d{{1,2}})([./-])(\d{{1,2}})\2\d{{4}}{_CLOCK}", re.ASCII)

_CHOOSE = 'Give the time with its offset, such as "+01:00", or choose --dst earlier or --dst later'


class Unread(NamedTuple):
    """The first of several cells that can't be read: which of them, what is wrong, and the mend."""

    at: int
    what: str
    mend: str


def looks_like_a_time(text: str) -> bool:
    """Whether the form of `text` is one that `form_of` knows."""
    return any(form.fullmatch(text) for form in (_ISO, _YEAR_FIRST, _YEAR_LAST))


def form_of(texts: Iterable[str], *, where: str) -> str:
    """The form of the first text: ISO or a strptime format.

    Whether the day or the month comes first is settled by the first row that proves it, a day after the 12th. Raises
    LoggerFileError where the form is unknown or no row proves it.
    """
    texts = iter(texts)
    text = next(texts, "")
    if _ISO.fullmatch(text):
        return ISO
    if found := _YEAR_FIRST.fullmatch(text):
        return f"%Y{found[1]}%m{found[1]}%d" + _clock(found.groups()[1:])
    found = _YEAR_LAST.fullmatch(text)
    if found is None:
        mend = 'Give --time-format, such as "%d.%m.%y %H:%M"'
        raise LoggerFileError(f"the form of the time {text!r} is unknown", where=where, mend=mend)
    sign, clock = found[2], _clock(found.groups()[3:])
    day_first, month_first = (f"{a}{sign}{b}{sign}%Y{clock}" for a, b in (("%d", "%m"), ("%m", "%d")))
    for other in itertools.chain([text], texts):
        pair = _YEAR_LAST.fullmatch(other)
        if pair and max(int(pair[1]), int(pair[3])) > 12:
            return day_first if int(pair[1]) > 12 else month_first
    raise LoggerFileError(
        f"{text!r} may have the day first or the month first, and no row tells which",
        where=where,
        mend=f'Give --time-format "{day_first}" or "{month_first}"',
    )


def _clock(parts: Sequence[str | None]) -> str:
    gap, seconds, point, half = parts
    if gap is None:
        return ""
    hours = "%H" if half is None else "%I"
    return (
        f"{gap}{hours}:%M{':%S' if seconds else ''}{f'{point}%f' if point else ''}{'' if half is None else f'{half}%p'}"
    )


def utc_of(
    texts: Sequence[str], form: str, zone: ZoneInfo, dst: Literal["earlier", "later"] | None
) -> tuple[NDArray[np.int64], Unread | None]:
    """The UTC milliseconds of `texts`, int64 of their length; or the first that can't be read.

    A time without an offset is a wall time of `zone`; `dst` chooses as in `times.in_zone`. Fractions are cut to the ms.
    """
    local, offset, misread = _iso(texts) if form == ISO else _formatted(texts, form)
    at = np.clip(local, EARLIEST - DAY, LATEST + DAY) - np.nan_to_num(offset).astype(np.int64)
    naive = np.flatnonzero(np.isnan(offset))
    at[naive], doubt = _localised(at[naive], zone, dst)
    outside = np.flatnonzero((at < EARLIEST) | (at >= LATEST))
    unread = [one for one in (misread, doubt and doubt._replace(at=int(naive[doubt.at]))) if one is not None]
    if len(outside):
        first = int(outside[0])
        unread.append(Unread(first, f"{texts[first]!r} is outside the years 2000 to 2099", "Check the logger's clock"))
    return at, min(unread, default=None)


def _misread(texts: Sequence[str], index: int, form: str) -> Unread | None:
    if index >= len(texts):
        return None
    mend = 'Give the right --time-format, such as "%d.%m.%Y %H:%M"'
    return Unread(index, f"{texts[index]!r} is not a time of the form {form}", mend)


def _iso(texts: Sequence[str]) -> tuple[NDArray[np.int64], NDArray[np.float64], Unread | None]:
    """Wall times in ms and their offsets from UTC in ms, NaN where there is none; a column of plain ones at once."""
    if _ALL_PLAIN.fullmatch("\n".join([*texts, ""])):
        with contextlib.suppress(ValueError):  # a day that no calendar has, or a cell of several lines: found below
            return _ms(list(map(datetime.fromisoformat, texts))), np.full(len(texts), np.nan), None
    return _iso_one_by_one(texts)


def _iso_one_by_one(texts: Sequence[str]) -> tuple[NDArray[np.int64], NDArray[np.float64], Unread | None]:
    moments, offsets, known = [], [], {None: np.nan, "Z": 0.0, "z": 0.0}
    try:
        for text in texts:
            date, clock, zone = _ISO.fullmatch(text).groups()  # type: ignore[union-attr]  # None: AttributeError below
            clock = clock or "00:00"
            moments.append(datetime.fromisoformat(f"{date}T{clock if clock[1] != ':' else f'0{clock}'}"))
            if zone not in known:
                known[zone] = _offset(zone)
            offsets.append(known[zone])
    except (AttributeError, ValueError):
        del moments[len(offsets) :]
    return _ms(moments), np.array(offsets, dtype=np.float64), _misread(texts, len(offsets), ISO)


def _ms(moments: Sequence[datetime]) -> NDArray[np.int64]:
    return np.array(moments, dtype="datetime64[us]").astype(np.int64) // 1000


def _offset(zone: str) -> float:
    offset = datetime.fromisoformat(f"2000-01-01T00:00{zone}").utcoffset()
    return (offset or timedelta()) / _MS


def _formatted(texts: Sequence[str], form: str) -> tuple[NDArray[np.int64], NDArray[np.float64], Unread | None]:
    """As `_iso`, by a strptime format; with %z in it the times are UTC already."""
    import pandas as pd

    aware = "%z" in form
    try:
        # pandas takes the words "now" and "today" for times, whatever the format
        read = pd.to_datetime(["" if t.isalpha() else t for t in texts], format=form, errors="coerce", utc=aware)
    except (ValueError, re.error) as exc:
        mend = 'Use the signs of strptime, such as "%d.%m.%Y %H:%M"'
        raise LoggerFileError(f"{form!r} is no form of a time: {exc}", where="--time-format", mend=mend) from exc
    bad = np.flatnonzero(read.isna())
    count = int(bad[0]) if len(bad) else len(texts)
    local = read[:count].tz_localize(None).to_numpy().astype("datetime64[us]").astype(np.int64) // 1000
    return local, np.full(count, 0.0 if aware else np.nan), _misread(texts, count, form)


def _localised(
    local: NDArray[np.int64], zone: ZoneInfo, dst: Literal["earlier", "later"] | None
) -> tuple[NDArray[np.int64], Unread | None]:
    """UTC of wall times: an hour whose two ends have one offset has it throughout, the others are read one by one."""
    hours, hour_of = np.unique(local // HOUR, return_inverse=True)
    shifts = [_shift(int(hour), zone) for hour in hours]
    doubtful = np.array([shift is None for shift in shifts], dtype=bool)[hour_of]
    at = local - np.array([shift or 0 for shift in shifts], dtype=np.int64)[hour_of]
    for index in np.flatnonzero(doubtful):
        try:
            at[index] = in_zone(_EPOCH + int(local[index]) * _MS, zone, where="", dst=dst, mend=_CHOOSE)
        except TimeError as exc:
            return at, Unread(int(index), exc.faults[0].what, exc.faults[0].mend)
    return at, None


def _shift(hour: int, zone: ZoneInfo) -> int | None:
    """The offset of a local hour in ms; None where the clocks are changed in it or it is told twice or never."""
    begin = _EPOCH + timedelta(hours=hour)
    ends = (begin, begin + timedelta(hours=1) - _MS)
    offsets = {end.replace(tzinfo=zone, fold=fold).utcoffset() for end in ends for fold in (0, 1)}
    return (offsets.pop() or timedelta()) // _MS if len(offsets) == 1 else None
