"""A place's time line: who speaks when, and what that makes of the room. Arrays all the way."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.basis.values import AIR, Quantity
from monitor.rules.assessment import State
from monitor.rules.channel import FAR, Channel, Mask, Times, Values, joined
from monitor.rules.frame import Frame, Sensor
from monitor.rules.stays import Role, Stay

Numbers = NDArray[np.int64]

HAIR = 1e-9  # outside means by more than this much of the kept unit, so that 60 degF is in band in any unit
STATES: tuple[State, ...] = ("unknown", "in", "out")
UNKNOWN, IN, OUT = range(3)


class Span(NamedTuple):
    """A stay of one sensor that is judged: readings taken in [start, end) speak inside [seen_from, seen_to)."""

    sensor: Sensor
    start: int
    end: int
    seen_from: int
    seen_to: int


class _Row(NamedTuple):
    """What one sensor says of one quantity: reading number `which` in each interval, where it is `heard`."""

    channel: Channel
    which: Numbers | slice
    heard: Mask | np.bool_


@dataclass(frozen=True)
class Voices:
    """What the sensors say of one quantity, a row a sensor, a column an interval; NaN where one is silent.

    Each figure is laid out when it is first asked for: of what is only averaged most never are.
    """

    rows: tuple[_Row | None, ...]
    intervals: int

    @cached_property
    def value(self) -> Values:
        """In degC or %RH."""
        return self._laid("value", np.nan)

    @cached_property
    def flat(self) -> Mask:
        """Whose reading proves nothing in band."""
        return self._laid("flat", np.False_)

    @cached_property
    def suspect(self) -> Mask:
        """Whose reading is suspect."""
        return self._laid("suspect", np.False_)

    @cached_property
    def origin(self) -> NDArray[np.int8]:
        """Indexes ORIGINS."""
        return self._laid("origin", np.int8(0))

    @cached_property
    def uncertainty(self) -> Values:
        """Expanded."""
        return self._laid("uncertainty", np.nan)

    @cached_property
    def speaking(self) -> Mask:
        """Who speaks when."""
        return ~np.isnan(self.value)

    def _laid(self, name: str, silent: Any) -> NDArray[Any]:
        found = [self._one(row, name, silent) for row in self.rows]
        if len(found) == 1:
            return found[0][None]
        return np.array(found, np.asarray(silent).dtype).reshape(len(found), self.intervals)

    def _one(self, row: _Row | None, name: str, silent: Any) -> NDArray[Any]:
        if row is not None:
            figure: NDArray[Any] = getattr(row.channel, name)
            if np.isnan(silent) or figure.any():
                said = figure[row.which]
                return said if row.heard is np.True_ else np.where(row.heard, said, silent)
        return np.full(self.intervals, silent)


class Sides(NamedTuple):
    """Who is outside when, and what the quantity is known to be."""

    low: Mask  # a row a sensor
    high: Mask
    inside: Mask  # an interval: somebody live is inside and nobody outside

    @property
    def known(self) -> Mask:
        """Whether anything is known of the quantity, an interval."""
        return self.inside | anyone(self.low | self.high)


class Timeline(NamedTuple):
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


def put_in(edges: Times, more: Times) -> tuple[Times, Numbers]:
    """`edges`, which rise, with the times `more` put in that are not among them; and the number of the edge before
    which each of those was put. Quick where `more` are few."""
    more = np.sort(more, kind="stable")
    more = more[np.append(True, more[1:] > more[:-1])]
    at = np.searchsorted(edges, more)
    new = edges.take(at, mode="clip") != more if len(edges) else np.full(len(more), True)
    return np.insert(edges, at[new], more[new]), at[new]


def newest(count: int, at: Numbers) -> Numbers:
    """The number of the newest of `count` edges at each, where others are put in before those `at`; -1 before all."""
    return np.insert(np.arange(count), at, at - 1)


class _Said(NamedTuple):
    """What one sensor says of one quantity inside its spans: each reading of `channel` from its `start` to the next.

    `silences` are the ends at which it falls silent, or is moved, the last of them the end of all.
    """

    channel: Channel
    start: Times
    silences: Times

    def heard(self, edges: Times) -> Mask:
        """In which of the intervals between `edges`, of which its silences and readings are some, it speaks."""
        begins = self.start[np.append(0, np.searchsorted(self.start, self.silences[:-1]))]
        turns = np.searchsorted(edges, np.column_stack((begins, self.silences)).ravel())
        speaks = np.append(np.arange(len(turns)) % 2 == 1, False)
        return np.repeat(speaks, np.diff(turns, prepend=0, append=len(edges) - 1))


def _spoken(channel: Channel, span: Span) -> _Said:
    """What one sensor says of one quantity inside a span."""
    t, hold = channel.t, span.sensor.hold
    first, seen, last = t.searchsorted((span.start, span.seen_from, min(span.end, span.seen_to))).tolist()
    if seen > first and t[seen - 1] + hold > span.seen_from and (seen == len(t) or t[seen] > span.seen_from):
        seen -= 1  # it still speaks when the span begins to be seen
    start = t[seen:last]
    if not len(start):
        return _Said(channel.part(seen, last), start, start)
    silences = start[np.append(np.flatnonzero(start[1:] - start[:-1] > hold), -1)] + hold
    silences[-1] = min(int(silences[-1]), span.seen_to)
    if start[0] < span.seen_from:
        start = np.append(span.seen_from, start[1:])
    return _Said(channel.part(seen, last), start, silences)


def _all_said(parts: Sequence[_Said]) -> _Said:
    """One after the other."""
    if len(parts) == 1:
        return parts[0]
    start, silences = (np.concatenate(some) for some in zip(*((one.start, one.silences) for one in parts), strict=True))
    return _Said(joined([one.channel for one in parts]), start, silences)


def timeline(
    spans: Sequence[Span],
    channels: Mapping[tuple[str, Quantity], Channel],
    window: tuple[int, int],
    cuts: Sequence[int] | Times,
    quantities: Sequence[Quantity] = AIR,
) -> Timeline:
    """Lay the sensors of `spans` side by side over `window` = [start, end); every cut inside it is an edge too."""
    sensors = tuple({span.sensor.name: span.sensor for span in spans}.values())
    in_time = sorted(spans, key=lambda span: span.seen_from)  # a sensor may have lain in the boxes after the room
    said: dict[tuple[str, Quantity], _Said] = {}
    for key in itertools.product((sensor.name for sensor in sensors), quantities):
        if key in channels:
            spoken = _all_said([_spoken(channels[key], span) for span in in_time if span.sensor.name == key[0]])
            if len(spoken.start):
                said[key] = spoken
    inside = np.array(cuts, np.int64)
    inside = inside[(inside > window[0]) & (inside < window[1])]
    most = max((one.start for one in said.values()), key=len, default=np.empty(0, np.int64))
    others = [one.start for one in said.values() if not _same(one.start, most)]
    others += [one.silences for one in said.values()]
    edges, at = put_in(most, np.concatenate([*others, window, inside]))
    which = newest(len(most), at)[:-1] if len(edges) - 1 > len(most) else slice(None)
    voices = {}
    for quantity in quantities:
        rows = [said.get((sensor.name, quantity)) for sensor in sensors]
        laid = [None if one is None else _lay(edges, one, which if _same(one.start, most) else None) for one in rows]
        voices[quantity] = Voices(tuple(laid), len(edges) - 1)
    return Timeline(edges, sensors, voices)


def _lay(edges: Times, said: _Said, which: Numbers | slice | None) -> _Row:
    """What is said in each interval; `which` is the number of the newest reading there, None where it is looked for."""
    if which is None:
        which = np.searchsorted(said.start, edges[:-1], "right") - 1
    never_silent = said.start[0] == edges[0] and said.silences[0] == edges[-1]
    return _Row(said.channel, which, np.True_ if never_silent else said.heard(edges))


def _same(one: Times, other: Times) -> bool:
    return one is other or np.array_equal(one, other)


def anyone(who: Mask) -> Mask:
    """Whether any row holds, a column each."""
    return who[0] if len(who) == 1 else np.asarray(who.any(axis=0))


def sides(voices: Voices, low: Values, high: Values, *, guarded: bool = False) -> Sides:
    """Who is outside `low`..`high` (a value an interval, or one for all); `guarded` draws the limits in by each one's
    uncertainty."""
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
    return np.where(out, np.int8(OUT), np.where(in_band, np.int8(IN), np.int8(UNKNOWN)))


def turns(state: NDArray[Any]) -> Numbers:
    """The numbers of the intervals at which `state` begins or changes; there is at least one interval."""
    return np.append(0, np.flatnonzero(state[1:] != state[:-1]) + 1)


def bounds(held: Mask) -> tuple[Numbers, Numbers]:
    """The stretches [a, b) of interval numbers in which `held` is true: all a, and all b."""
    step = np.flatnonzero(np.diff(np.concatenate(([False], held, [False]))))
    return step[::2], step[1::2]


def stretches(held: Mask) -> list[tuple[int, int]]:
    """The `bounds` of each stretch together."""
    first, until = bounds(held)
    return list(zip(first.tolist(), until.tolist(), strict=True))


def apart(voices: Voices) -> Mask:
    """Whether two sensors are further apart than their combined uncertainty, an interval."""
    found = np.zeros(voices.value.shape[1], np.bool_)
    for a, b in itertools.combinations(range(len(voices.value)), 2):
        limit = np.hypot(voices.uncertainty[a], voices.uncertainty[b])
        found |= np.abs(voices.value[a] - voices.value[b]) > limit
    return found
