"""Rooms made for tests: readings and checkpoints in memory, frames by hand."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import LIVE, Origin, Quantity, Series, empty_series
from monitor.config.profile import Acclimation, Band, Profile, Quality, ReadinessRule, Wall, load_profile
from monitor.rules.assessment import Assessment
from monitor.rules.frame import Delivery, Frame, Job, Sensor, Stack
from monitor.rules.judge import judge
from monitor.rules.replay import Checkpoint, Head
from monitor.rules.stays import Stay

T0 = 1_767_571_200_000  # 2026-01-05T00:00Z, a UTC midnight [ms]
MS = 1 / 60_000  # [min]
TEMPERATURE, HUMIDITY = Quantity.AIR_TEMPERATURE, Quantity.AIR_HUMIDITY
BAND = Band((35.0, 65.0), ((60 - 32) / 1.8, (85 - 32) / 1.8))
PROFILE = load_profile("laminate-planks")._replace(
    name="planks of the tests",
    band=BAND,
    life=BAND,
    acclimation=Acclimation(48 * HOUR, HOUR, 2 * HOUR, 30 * MINUTE),
    quality=Quality(3.0, 10.0, 1.0, 10.0, 8 * HOUR, 8, 24 * HOUR),
    wall=Wall(12.192, 3.048, 0.0047625, 0.0047625, 0.1, 0.2032, (0.2032, 0.3048)),
    readiness=ReadinessRule("maker", 3 / 1.8),
    boxes="",
    place="",
    text="",
    sha256="tests",
    sources={},
)
# Nothing that a sensor says is taken for stuck: a room may stand still to the last digit.
STILL = PROFILE._replace(quality=PROFILE.quality._replace(flat_together=10**6 * DAY, flat_alone=10**6 * DAY))
UNTOLD = Stack()
UNCERTAINTY = {TEMPERATURE: 1.0, HUMIDITY: 5.0}
Row = tuple[int, float | None, float | None]  # minute after T0, degC, %RH


def minutes(n: float) -> int:
    """UTC ms of `n` minutes after T0."""
    return T0 + round(n * MINUTE)


@dataclass
class Room:
    """Kept readings in memory, as `keep` hands them out."""

    kept: dict[tuple[str, Quantity], dict[int, float]] = field(default_factory=dict)
    units: dict[Quantity, str] = field(default_factory=lambda: {TEMPERATURE: "degC", HUMIDITY: "%"})
    origin: Origin = LIVE
    origins: dict[str, Origin] = field(default_factory=dict)  # of streams that have another one

    def hear(self, stream: str, rows: Iterable[Row]) -> list[int]:
        """Keep rows (the first of a time stays) and say which times were new."""
        new = []
        for minute, *values in rows:
            for quantity, value in zip((TEMPERATURE, HUMIDITY), values, strict=True):
                if value is not None:
                    channel = self.kept.setdefault((stream, quantity), {})
                    if minutes(minute) not in channel:
                        channel[minutes(minute)] = value
                        new.append(minutes(minute))
        return new

    def say(self, stream: str, quantity: Quantity, said: Iterable[tuple[float, float]]) -> list[int]:
        """Keep (minute, value) of one channel beside the air."""
        channel = self.kept.setdefault((stream, quantity), {})
        new = [(minutes(minute), value) for minute, value in said if minutes(minute) not in channel]
        channel.update(new)
        return [at for at, _ in new]

    def series(self, stream: str, quantity: Quantity, start: int | None = None, end: int | None = None) -> Series:
        channel = self.kept.get((stream, quantity))
        if not channel:
            return empty_series()
        t = np.array(sorted(channel), np.int64)
        t = t[(t >= (start if start is not None else 0)) & (t < (end if end is not None else 2**62))]
        value = np.array([channel[int(at)] for at in t], np.float64)
        origin = self.origins.get(stream, self.origin)
        return Series(
            t,
            value,
            np.zeros(len(t), np.int16),
            np.zeros(len(t), np.int32),
            (self.units.get(quantity, "degC"),),
            (origin,),
        )

    def several(
        self, stream: str, quantities: Sequence[Quantity], start: int | None = None, end: int | None = None
    ) -> dict[Quantity, Series]:
        """The readings of some channels in [start, end)."""
        return {quantity: self.series(stream, quantity, start, end) for quantity in quantities}

    def bounds(self, stream: str, quantity: Quantity) -> tuple[int, int] | None:
        channel = self.kept.get((stream, quantity))
        return (min(channel), max(channel)) if channel else None


@dataclass
class Shelf:
    """Checkpoints in memory, as `keep` holds them for one job under one profile."""

    rows: dict[int, Checkpoint] = field(default_factory=dict)

    def heads(self) -> Sequence[Head]:
        return [self.rows[midnight].head for midnight in sorted(self.rows)]

    def state(self, midnight: int) -> bytes:
        return self.rows[midnight].state

    def products(self, midnights: Sequence[int]) -> list[bytes]:
        return [self.rows[midnight].product for midnight in midnights]

    def put(self, rows: Sequence[Checkpoint]) -> None:
        self.rows.update({row.head.midnight: row for row in rows})

    def touch(self, stream: str, times: Sequence[int]) -> None:
        """New readings of a stream: what may hang on them is stale."""
        for midnight, row in self.rows.items():
            if times and row.head.touched(stream, min(times), max(times)):
                self.rows[midnight] = row._replace(head=row.head._replace(stale=True))


def frame(
    *sensors: str,
    hold: int = 30,
    stays: Sequence[Stay] | None = None,
    delivered: float | None = 0,
    start: float | None = None,
    finish: float | None = None,
    profile: Profile = PROFILE,
    stack: Stack = UNTOLD,
    wall: str = "hall",
    outdoors: str | None = None,
) -> Frame:
    """A job in one room "hall" that `sensors` never leave; times in minutes after T0, hold in minutes."""
    job = Job("hall wall", "UTC", "hall", wall, outdoors, 4.0, 2.4, "si", T0)
    return Frame(
        job=job,
        profile=profile,
        sensors={name: Sensor(name, name, hold * MINUTE, UNCERTAINTY, since=T0 - DAY) for name in sensors},
        stays=tuple(stays if stays is not None else [Stay(name, "hall", T0 - DAY, None) for name in sorted(sensors)]),
        deliveries=() if delivered is None else (Delivery("lot 1", "hall", minutes(delivered), 12, stack),),
        lots_used=(),
        start=None if start is None else minutes(start),
        finish=None if finish is None else minutes(finish),
        close=None,
    )


def assess(rows: Iterable[Row], until: float, **more: object) -> Assessment:
    """Judge one sensor "a" in the hall at `until` minutes after T0."""
    room = Room()
    room.hear("a", rows)
    return judge(frame("a", **more), minutes(until), room)  # type: ignore[arg-type]


def steady(length: int, step: int = 10, humidity: float = 50.0, temperature: float = 21.0, start: int = 0) -> list[Row]:
    """A living room in band: rows every `step` minutes that wander a little and never stand still."""
    return [
        (m, temperature + 0.1 * ((m // step) % 7), humidity + 0.2 * ((m // step) % 5))
        for m in range(start, length, step)
    ]


def heard(**rows: Iterable[Row]) -> Room:
    """A room in which each sensor has said its rows."""
    room = Room()
    for stream, said in rows.items():
        room.hear(stream, said)
    return room


SAYS = {"in": (21.0, 50.0), "wet": (21.0, 70.0), "dry": (21.0, 30.0), "hot": (32.0, 50.0)}


def course(*parts: tuple[str, float], step: float = 10, start: float = 0) -> list[Row]:
    """Parts (what, minutes) that follow each other, a row every `step` minutes from the start of each part.

    With a hold of `step` the room is as told to the millisecond; "silent" has no rows, and nothing stands still.
    """
    rows: list[Row] = []
    for what, length in parts:
        number = 0
        while what != "silent" and number * step < length:
            temperature, humidity = SAYS[what]
            rows.append((start + number * step, temperature + 0.1 * (number % 7), humidity + 0.2 * (number % 5)))
            number += 1
        start += length
    return rows
