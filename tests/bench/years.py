"""A room for years: a reading of temperature and humidity a minute, in one message, as rows or as sealed days.

Made up: damp summers and dry winters, a day's swing, minutes that hang together, and a sensor's noise (0.05 K and
0.1 %RH, one sigma), told to 0.1; a silence of some hours every 17 days. Messages come once a minute by the sensor's own
clock, which is not ours: 1 ms a minute slow. Each is 20 ms on its way and some more (gamma, mean 40 ms), and one in
thirty meets a busy radio (exponential, mean 400 ms).
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "watch"))

import numpy as np
from desks import HUMIDITY, T0, TEMPERATURE, furnish
from numpy.typing import NDArray

from monitor.basis.packing import pack
from monitor.basis.segment import Column, Segment, encode
from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import LIVE, Reading
from monitor.watch.desk import Desk
from monitor.watch.job.installing import Installing, install

STREAM = "site/shelf/climate"
TEN_YEARS = 3652  # [days]
_MONTH = 30


class Air(NamedTuple):
    """What was heard, in order: time and arrival [ms], degC, %RH."""

    t: NDArray[np.int64]
    arrival: NDArray[np.int64]
    temperature: NDArray[np.float64]
    humidity: NDArray[np.float64]

    def part(self, start: int, end: int) -> Air:
        """[start, end)."""
        a, b = self.t.searchsorted((start, end))
        return Air(*(one[a:b] for one in self))


def months(days: int, *, own_stamps: bool) -> Iterator[Air]:
    """The years, a month at a time; stamped by the sensor in whole seconds, or by us in ms when it came."""
    rng = np.random.default_rng(1)
    for first in range(0, days, _MONTH):
        k = np.arange(first * 1440, min(first + _MONTH, days) * 1440)
        season, night = (np.sin(k * (2 * np.pi / period)) for period in (365.25 * 1440, 1440))
        sent = T0 + k * (MINUTE + 1)
        slow = 20 + rng.gamma(2, 20, len(k)) + np.where(rng.random(len(k)) < 1 / 30, rng.exponential(400, len(k)), 0)
        arrival = sent + slow.astype(np.int64)
        told = [
            (21 + 3 * season + night + _slow(rng, len(k), 0.03) + rng.normal(0, 0.05, len(k))).round(1),
            (50 + 16 * season - 3 * night + _slow(rng, len(k), 0.1) + rng.normal(0, 0.1, len(k))).round(1),
        ]
        t = sent // 1000 * 1000 if own_stamps else arrival
        heard = (k % (1440 * 17) >= 200) & (t < T0 + days * DAY)
        t, places = np.unique(t[heard], return_index=True)
        yield Air(t, *(one[heard][places] for one in (arrival, *told)))


def _slow(rng: np.random.Generator, n: int, step: float) -> NDArray[np.float64]:
    """What hangs together over an hour: each minute's share of the last is 59/60."""
    fades = (59 / 60) ** np.arange(400)
    return np.convolve(rng.normal(0, step, n + 399), fades, "valid")


def days_of(days: int, *, own_stamps: bool) -> Iterator[Segment]:
    """The years, a UTC day at a time."""
    rest: Air | None = None
    for number, month in enumerate(months(days, own_stamps=own_stamps), 1):
        air = month if rest is None else Air(*(np.concatenate(both) for both in zip(rest, month, strict=True)))
        until = T0 + min(number * _MONTH, days) * DAY
        for day in range(int(air.t[0]) // DAY * DAY, until, DAY):
            yield segment_of(air.part(day, day + DAY), day)
        rest = air.part(until, until + DAY)


def segment_of(air: Air, day: int) -> Segment:
    """A day as it is sealed."""
    none = np.zeros(len(air.t), np.int64)
    columns = (
        Column(TEMPERATURE, "degC", air.t, air.temperature, air.arrival, none),
        Column(HUMIDITY, "%", air.t, air.humidity, air.arrival, none),
    )
    return Segment(STREAM, day, (LIVE,), columns)


def fill(desk: Desk, days: int, *, compacted: bool) -> None:
    """A job with planks on the wall from the fourth day on, and its years as rows or as compacted days."""
    furnish(desk)
    begun = Installing(T0 + 72 * HOUR, finish=T0 + 90 * HOUR, not_ready=True, reason="guests")
    install(desk, "den", begun, who="robin")
    first = next(months(days, own_stamps=False))
    desk.store.keep_readings(
        [
            Reading(STREAM, q, int(first.t[0]), 0.0, unit, 0, LIVE)
            for q, unit in ((TEMPERATURE, "degC"), (HUMIDITY, "%"))
        ]
    )
    (_fill_sealed if compacted else _fill_rows)(desk, days)


def _sum_up(desk: Desk, first: int, last: int, readings: int) -> None:
    with desk.store._writing() as conn:
        conn.exec_driver_sql("UPDATE channel SET first_t = ?, last_t = ?, readings = ?", (first, last, readings))


def _fill_rows(desk: Desk, days: int) -> None:
    """Past `keep_readings`, which would take an hour: what it leaves is the same."""
    first, last, count = 0, 0, 0
    with desk.store._writing() as conn:
        conn.exec_driver_sql("DELETE FROM reading")
        units = dict(conn.exec_driver_sql("SELECT text, id FROM unit").all())
        channels = dict(conn.exec_driver_sql("SELECT quantity, id FROM channel").all())
        for air in months(days, own_stamps=False):
            for of, unit, values in ((TEMPERATURE, "degC", air.temperature), (HUMIDITY, "%", air.humidity)):
                ids = (channels[of.value], units[unit])
                said = zip(air.t.tolist(), values.tolist(), air.arrival.tolist(), strict=True)
                rows = [(ids[0], t, value, ids[1], arrival, 1) for t, value, arrival in said]
                conn.exec_driver_sql("INSERT OR IGNORE INTO reading VALUES (?, ?, ?, ?, ?, ?)", rows)
            first, last, count = first or int(air.t[0]), int(air.t[-1]), count + len(air.t)
    _sum_up(desk, first, last, count)


def _fill_sealed(desk: Desk, days: int) -> None:
    """As compaction leaves it: no rows, and no leaf that has some. Nothing is signed over them."""
    leaves, contents, first, last, count = [], [], 0, 0, 0
    for number, day in enumerate(days_of(days, own_stamps=False)):
        leaves.append((number, f"leaf {number}", "sensor", STREAM, "segment", day.day))
        contents.append((number, pack(encode(day))))
        t = day.columns[0].t
        first, last, count = first or int(t[0]), int(t[-1]), count + len(t)
    with desk.store._writing() as conn:
        conn.exec_driver_sql("INSERT INTO leaf VALUES (?, ?, ?, ?, ?, ?)", leaves)
        conn.exec_driver_sql("INSERT INTO sealed VALUES (?, ?)", contents)
        conn.exec_driver_sql("DELETE FROM reading")
    _sum_up(desk, first, last, count)


def packed_of(desk: Desk) -> list[bytes]:
    """Its sealed days as they are kept."""
    with desk.store._reading() as conn:
        return list(conn.exec_driver_sql("SELECT bytes FROM sealed ORDER BY leaf").scalars())
