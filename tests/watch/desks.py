"""Desks over stores of their own, at a clock that stands still, and rooms that are heard there."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any, NamedTuple

from monitor.basis.clock import SetClock
from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import LIVE, Origin, Quantity, Reading
from monitor.rules.install.wall import rectangle
from monitor.watch.desk import Desk
from monitor.watch.job.delivery import deliver
from monitor.watch.job.jobs import Opening, open_job
from monitor.watch.sensing.sensors import MAKER, add_sensor, assign_sensor

T0 = 1_767_571_200_000  # 2026-01-05T00:00Z, a UTC midnight [ms]
NOW = T0 + 12 * DAY
TEMPERATURE, HUMIDITY = Quantity.AIR_TEMPERATURE, Quantity.AIR_HUMIDITY


class Row(NamedTuple):
    """UTC ms, degC, %RH."""

    t: int
    temperature: float
    humidity: float


def steady(start: int, hours: float, *, step: int = 10, humidity: float = 50.0) -> list[Row]:
    """Air in band that wanders a little and never stands still, every `step` minutes of [start, start + hours)."""
    return [
        Row(start + k * step * MINUTE, round(21.0 + 0.1 * (k % 7), 4), round(humidity + 0.2 * (k % 5), 4))
        for k in range(round(hours * HOUR / (step * MINUTE)))
    ]


def readings(stream: str, rows: Iterable[Row], origin: Origin = LIVE) -> list[Reading]:
    """What a sensor with both air channels sends."""
    return [
        Reading(stream, quantity, row.t, value, unit, row.t, origin)
        for row in rows
        for quantity, value, unit in ((TEMPERATURE, row.temperature, "degC"), (HUMIDITY, row.humidity, "%"))
    ]


def hear(desk: Desk, rows: Iterable[Row], *, stream: str = "site/shelf/climate", origin: Origin = LIVE) -> None:
    """Keep what a sensor sends."""
    desk.store.keep_readings(readings(stream, rows, origin))


def opening(name: str = "den", **more: Any) -> Opening:
    """A job as it is opened."""
    shape = rectangle(more.pop("length", 4.0), more.pop("height", 2.4))
    said = {"zone": "UTC", "shape": shape, "units": "si", "profile": "laminate-planks", **more}
    return Opening(name=name, **said)


def furnish(desk: Desk, *, at: int = T0, job: str = "den", sensor: str | None = "shelf") -> None:
    """A job whose boxes came at `at`, and a sensor that is there from then on."""
    open_job(desk, opening(job), who="robin")
    deliver(desk, job, at=at, lot=None, place=None, boxes=None, facts={}, who="robin")
    if sensor is not None:
        add_sensor(desk, sensor, f"site/{sensor}/climate", hold=30 * MINUTE, uncertainty=MAKER, who="robin")
        assign_sensor(desk, sensor, job, at=at, facts={}, who="robin")


def kinds(desk: Desk, job: str = "den") -> list[str]:
    """The kinds of a job's entries, in order."""
    return [entry.kind.value for entry in desk.store.entries(job)]


def clock() -> SetClock:
    """A clock that stands at NOW."""
    return SetClock(NOW)


def csv(path: Path, rows: Iterable[Row]) -> Path:
    """A logger's file: when [s since 1970 as RFC 3339], temp, rh."""
    from monitor.basis.times import rfc3339

    lines = [f"{rfc3339(row.t)},{row.temperature},{row.humidity}\n" for row in rows]
    path.write_text("".join(["when,temp,rh\n", *lines]), encoding="utf-8")
    return path
