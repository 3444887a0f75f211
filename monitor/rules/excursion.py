"""Excursions: strict, without delay, dead band or rounding. Those belong to alarms."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, NamedTuple

import numpy as np

from monitor.basis.times import HOUR
from monitor.basis.values import Quantity
from monitor.rules.assessment import Episode, Excursion, Phase, Side
from monitor.rules.channel import Mask, Times, Values
from monitor.rules.timeline import Numbers, Sides, Timeline, anyone, bounds

EndedBy = Literal["return", "silence", "open"]
EPISODE_GAP = 6 * HOUR  # excursions less than this apart are one episode, for people [ms]


@dataclass(slots=True)
class Open:
    """An excursion under way. `outside` names the sensors that were outside in its last instant."""

    start: int
    phase: Phase
    continues: bool
    peak: float
    dose: float = 0.0
    sound: bool = False
    beyond: bool = False
    outside: tuple[str, ...] = ()

    def to_json(self) -> list[Any]:
        """As a checkpoint keeps it."""
        return [
            self.start, self.phase, self.continues, self.peak, self.dose, self.sound, self.beyond, list(self.outside)
        ]  # fmt: skip

    @classmethod
    def from_json(cls, state: Sequence[Any]) -> Open:
        """What `to_json` wrote down."""
        start, phase, continues, peak, dose, sound, beyond, outside = state
        return cls(start, phase, continues, peak, dose, sound, beyond, tuple(outside))

    def close(self, quantity: Quantity, side: Side, end: int | None, how: EndedBy) -> Excursion:
        """The excursion as the record has it."""
        quality: Literal["good", "suspect"] = "good" if self.sound else "suspect"
        return Excursion(
            quantity, side, self.start, end, how, self.peak, self.dose, self.phase, quality, self.beyond, self.continues
        )


@dataclass(slots=True)
class Track:
    """One side of one quantity: the excursion under way; whether the last one fell silent, nothing known since."""

    quantity: Quantity
    side: Side
    open: Open | None = None
    silent: bool = False
    closed: list[Excursion] = field(default_factory=list)

    def to_json(self) -> list[Any]:
        """As a checkpoint keeps it."""
        return [None if self.open is None else self.open.to_json(), self.silent]

    def restore(self, state: Sequence[Any]) -> None:
        """Take up what `to_json` wrote down."""
        self.open = None if state[0] is None else Open.from_json(state[0])
        self.silent = bool(state[1])


class _Stretch(NamedTuple):
    """Intervals [first, until) of one day in which a side holds; `returned`: whether who is outside in the last of them
    speaks in the next."""

    first: int
    until: int
    peak: float
    dose: float
    sound: bool
    beyond: bool
    returned: bool


def _stretches(
    line: Timeline, quantity: Quantity, side: Side, judged: Sides, limit: Values, midnights: Times
) -> Iterator[_Stretch]:
    """Where a side of a block holds, in order. Only the intervals in which it does are looked at any closer."""
    voices, outside = line.voices[quantity], judged.low if side == "low" else judged.high
    held = anyone(outside)
    if not held.any():
        return
    first, until = _segments(line.edges, held, midnights)
    at = np.flatnonzero(held)
    begins = np.append(0, np.cumsum(until - first)[:-1])
    limit = np.broadcast_to(limit, held.shape)[at]
    following = np.minimum(until, len(held) - 1)
    returned = np.all(voices.speaking[:, following] | ~outside[:, until - 1], axis=0)
    outside, value = outside[:, at], voices.value[:, at]
    furthest: np.ufunc = np.minimum if side == "low" else np.maximum
    worst = furthest.reduce(np.where(outside, value, np.inf if side == "low" else -np.inf), axis=0)
    dose = np.abs(worst - limit) * ((line.edges[at + 1] - line.edges[at]) / HOUR)
    far = np.abs(value - limit) > voices.uncertainty[:, at]
    sound, beyond = anyone(outside & ~voices.suspect[:, at]), anyone(outside & far)
    figures = (
        first,
        until,
        furthest.reduceat(worst, begins),
        np.add.reduceat(np.insert(dose, begins, 0.0), begins + np.arange(len(begins))),  # each sum begins at 0
        np.logical_or.reduceat(sound, begins),
        np.logical_or.reduceat(beyond, begins),
        returned,
    )
    yield from map(_Stretch, *(figure.tolist() for figure in figures))


def _segments(edges: Times, held: Mask, midnights: Times) -> tuple[Numbers, Numbers]:
    """Stretches [a, b) of interval numbers in which the side holds, cut at midnights as well: all a, and all b."""
    cuts = np.searchsorted(edges, midnights)
    cuts = cuts[(cuts > 0) & (cuts < len(held))]
    inner = cuts[held[cuts] & held[cuts - 1]]
    begins, ends = bounds(held)
    return np.sort(np.append(begins, inner)), np.sort(np.append(ends, inner))


def follow(
    track: Track,
    line: Timeline,
    judged: Sides,
    limit: Values,
    phases: Sequence[tuple[int, Phase]],
    midnights: Times,
) -> None:
    """Carry one side of one quantity over a block of intervals.

    `limit` is the limit an interval, or one for all, `phases` the phases with their first instants.
    What is open at the block's end stays open in `track`. The dose is summed a day at a time, in order of days, so that
    it does not depend on how a span is cut into blocks.
    """
    edges, last = line.edges, len(line.edges) - 1
    known, names = judged.known, [sensor.name for sensor in line.sensors]
    pick, at = min if track.side == "low" else max, 0
    speak = set(itertools.compress(names, line.voices[track.quantity].speaking[:, 0]))
    returned = track.open is not None and speak.issuperset(track.open.outside)
    for one in _stretches(line, track.quantity, track.side, judged, limit, midnights):
        _settle(track, at, one.first, edges, known, returned=returned)
        if track.open is None:
            start = int(edges[one.first])
            phase = next(name for since, name in reversed(phases) if since <= start)
            track.open = Open(start, phase, track.silent, one.peak)
            track.silent = False
        here = track.open
        here.peak = pick(here.peak, one.peak)
        here.dose += one.dose
        here.sound |= one.sound
        here.beyond |= one.beyond
        at, returned = one.until, one.returned
    _settle(track, at, last, edges, known, returned=returned)
    if track.open is not None:
        outside = judged.low if track.side == "low" else judged.high
        track.open.outside = tuple(itertools.compress(names, outside[:, -1]))


def _settle(track: Track, at: int, until: int, edges: Times, known: Mask, *, returned: bool) -> None:
    """Close what ended at interval `at`, if the side does not hold from there, and note what is known up to `until`.

    `returned`: whether everyone who was outside before speaks there.
    """
    if at >= until:
        return
    if track.open is not None:
        track.closed.append(
            track.open.close(track.quantity, track.side, int(edges[at]), "return" if returned else "silence")
        )
        track.silent = not returned
        track.open = None
    if track.silent and bool(known[at:until].any()):
        track.silent = False


def episodes(excursions: Sequence[Excursion]) -> tuple[Episode, ...]:
    """Excursions, in order of start, less than 6 h apart grouped for people."""
    found: list[Episode] = []
    for k, one in enumerate(excursions):
        last = found[-1] if found else None
        if last is not None and (last.end is None or one.start - last.end < EPISODE_GAP):
            end = None if last.end is None or one.end is None else max(last.end, one.end)
            found[-1] = Episode(last.start, end, (*last.excursions, k))
        else:
            found.append(Episode(one.start, one.end, (k,)))
    return tuple(found)
