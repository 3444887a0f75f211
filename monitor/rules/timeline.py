"""A place's time line: who speaks when, and what that makes of the room. Arrays all the way."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.basis.values import AIR, Quantity
from monitor.rules.assessment import State
from monitor.rules.channel import FAR, Channel, Mask, Times, Values
from monitor.rules.frame import Frame, Role, Sensor, Stay

HAIR = 1e-9  # outside means by more than this much of the kept unit, so that 60 degF is in band in any unit
STATES: tuple[State, ...] = ("unknown", "in", "out")
UNKNOWN, IN, OUT = range(3)


@dataclass(frozen=True, slots=True)
class Span:
    """A stay of one sensor that is judged: readings taken in [start, end) speak inside [seen_from, seen_to)."""

    sensor: Sensor
    start: int
    end: int
    seen_from: int
    seen_to: int


@dataclass(frozen=True, slots=True)
class Voices:
    """What the sensors say of one quantity, a row a sensor, a column an interval; NaN where one is silent."""

    value: Values
    flat: Mask
    suspect: Mask
    origin: NDArray[np.int8]
    uncertainty: Values

    @property
    def speaking(self) -> Mask:
        """Who speaks when."""
        return ~np.isnan(self.value)


@dataclass(frozen=True, slots=True)
class Sides:
    """Who is outside when, and what the quantity is known to be."""

    low: Mask  # a row a sensor
    high: Mask
    inside: Mask  # an interval: somebody live is inside and nobody outside

    @property
    def known(self) -> Mask:
        """Whether anything is known of the quantity, an interval."""
        return self.inside | anyone(self.low | self.high)


@dataclass(frozen=True, slots=True)
class Timeline:
    """Elementary intervals [edges[k], edges[k+1]) of one place and what every sensor says in each."""

    edges: Times
    sensors: tuple[Sensor, ...]
    voices: Mapping[Quantity, Voices]

    @property
    def length(self) -> Times:
        """Of each interval. [ms]"""
        return np.diff(self.edges)


def spans_of(
    frame: Frame, place: str, window: tuple[int, int], seen: tuple[int, int], role: Role = "air"
) -> list[Span]:
    """The stays at `place` in `role` that can be heard inside `window`, of which only `seen` is judged."""
    found = []
    for stay in frame.stays:
        end = FAR if stay.end is None else stay.end
        seen_from, seen_to = max(stay.start, window[0], seen[0]), min(int(end), window[1], seen[1])
        if (stay.place, stay.role) == (place, role) and seen_from < seen_to:
            found.append(Span(frame.sensors[stay.sensor], stay.start, int(end), seen_from, seen_to))
    return found


def stays_at(frame: Frame, place: str, at: int) -> tuple[Stay, ...]:
    """The sensors that hear the air of `place` at the instant `at`."""
    return tuple(stay for stay in frame.stays if (stay.place, stay.role) == (place, "air") and stay.covers(at))


def in_order(*parts: Times) -> Times:
    """All times of `parts` in order, none twice: a stable sort, as each part is in order itself."""
    every = np.sort(np.concatenate(parts), kind="stable")
    return every[np.concatenate(([True], every[1:] != every[:-1]))]


def _spoken(channel: Channel, span: Span) -> tuple[Times, Times, NDArray[np.int64]]:
    """Starts, ends and reading numbers of what one sensor says of one quantity inside a span."""
    following = np.append(channel.t[1:], FAR)
    number = np.flatnonzero((channel.t >= span.start) & (channel.t < span.end))
    start = np.maximum(channel.t[number], span.seen_from)
    end = np.minimum(np.minimum(following[number], channel.t[number] + span.sensor.hold), span.seen_to)
    heard = end > start
    return start[heard], end[heard], number[heard]


def timeline(
    spans: Sequence[Span],
    channels: Mapping[tuple[str, Quantity], Channel],
    window: tuple[int, int],
    cuts: Sequence[int],
    quantities: Sequence[Quantity] = AIR,
) -> Timeline:
    """Lay the sensors of `spans` side by side over `window` = [start, end); every cut inside it is an edge too."""
    sensors = tuple({span.sensor.name: span.sensor for span in spans}.values())
    said: dict[tuple[Quantity, int], list[tuple[Times, Times, NDArray[np.int64]]]] = {}
    row = {sensor.name: k for k, sensor in enumerate(sensors)}
    for span in spans:
        for quantity in quantities:
            channel = channels.get((span.sensor.name, quantity))
            if channel is not None:
                said.setdefault((quantity, row[span.sensor.name]), []).append(_spoken(channel, span))
    inside = [cut for cut in cuts if window[0] < cut < window[1]]
    every = [part for spoken in said.values() for starts, ends, _ in spoken for part in (starts, ends)]
    edges = in_order(*every, np.array([*window, *inside], np.int64))
    voices = {q: _lay(edges, q, sensors, said, channels) for q in quantities}
    return Timeline(edges, sensors, voices)


def _lay(
    edges: Times,
    quantity: Quantity,
    sensors: Sequence[Sensor],
    said: Mapping[tuple[Quantity, int], list[tuple[Times, Times, NDArray[np.int64]]]],
    channels: Mapping[tuple[str, Quantity], Channel],
) -> Voices:
    shape = (len(sensors), len(edges) - 1)
    voices = Voices(
        np.full(shape, np.nan),
        np.zeros(shape, np.bool_),
        np.zeros(shape, np.bool_),
        np.zeros(shape, np.int8),
        np.full(shape, np.nan),
    )
    for (q, row), parts in said.items():
        if q is not quantity:
            continue
        channel = channels[sensors[row].name, q]
        start, end, number = (np.concatenate(columns) for columns in zip(*parts, strict=True))
        if not len(start):
            continue
        at = np.searchsorted(start, edges[:-1], "right") - 1
        heard = (at >= 0) & (end[at] > edges[:-1])
        which = number[at[heard]]
        voices.value[row, heard] = channel.value[which]
        voices.flat[row, heard] = channel.flat[which]
        voices.suspect[row, heard] = channel.suspect[which]
        voices.origin[row, heard] = channel.origin[which]
        voices.uncertainty[row, heard] = channel.uncertainty[which]
    return voices


def anyone(who: Mask) -> Mask:
    """Whether any row holds, a column each."""
    return np.asarray(who.any(axis=0))


def sides(voices: Voices, low: Values, high: Values, *, guarded: bool = False) -> Sides:
    """Who is outside `low`..`high` (a value an interval); `guarded` draws the limits in by each one's uncertainty."""
    drawn = voices.uncertainty if guarded else 0.0
    below = voices.value < low + drawn - HAIR
    above = voices.value > high - drawn + HAIR
    live = voices.speaking & ~voices.flat & ~below & ~above
    return Sides(below, above, anyone(live) & ~anyone(below | above))


def states(both: Mapping[Quantity, Sides]) -> NDArray[np.int8]:
    """The room's state, an interval: OUT if any side holds, IN if both quantities are in, else UNKNOWN."""
    parts = [both[quantity] for quantity in AIR]
    out = anyone(np.array([anyone(part.low | part.high) for part in parts]))
    in_band = np.all([part.inside for part in parts], axis=0)
    return np.where(out, OUT, np.where(in_band, IN, UNKNOWN)).astype(np.int8)


def runs(edges: Times, state: NDArray[np.int8]) -> list[tuple[int, int, State]]:
    """Run-length code of a state over intervals: (start, end, state), adjoining and each unlike the one before."""
    if not len(state):
        return []
    change = np.flatnonzero(state[1:] != state[:-1]) + 1
    at = np.concatenate(([0], change))
    until = np.concatenate((change, [len(state)]))
    return [(int(edges[a]), int(edges[b]), STATES[state[a]]) for a, b in zip(at, until, strict=True)]


def stretches(held: Mask) -> list[tuple[int, int]]:
    """The stretches [a, b) of interval numbers in which `held` is true."""
    step = np.flatnonzero(np.diff(np.concatenate(([False], held, [False])).astype(np.int8))).tolist()
    return list(zip(step[::2], step[1::2], strict=True))


def apart(voices: Voices) -> Mask:
    """Whether two sensors are further apart than their combined uncertainty, an interval."""
    found = np.zeros(voices.value.shape[1], np.bool_)
    for a, b in itertools.combinations(range(len(voices.value)), 2):
        limit = np.hypot(voices.uncertainty[a], voices.uncertainty[b])
        found |= np.abs(voices.value[a] - voices.value[b]) > limit
    return found
