"""The fold: the state before a block of days and the readings heard in it give the state after it and what happened.

A block starts and ends at UTC midnights (the last one at as_of). However a span is cut into blocks, the states at its
midnights and the sum of what happened are the same to the last digit: lengths are whole milliseconds, and a dose is
summed by day.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.basis.times import DAY
from monitor.basis.values import AIR, Quantity
from monitor.rules.assessment import Coverage, Excursion, Gap, Phase, Side, State
from monitor.rules.board.hours import hours_of
from monitor.rules.board.lagging import Lagging, days_of, warm_boxes
from monitor.rules.channel import FAR, ORIGINS, Channel, Mask, Times, Values
from monitor.rules.clock import Clock, strict
from monitor.rules.excursion import Track, follow
from monitor.rules.frame import Delivery, Frame
from monitor.rules.timeline import (
    IN,
    STATES,
    UNKNOWN,
    Sides,
    Span,
    Timeline,
    anyone,
    apart,
    sides,
    spans_of,
    states,
    stretches,
    timeline,
    turns,
)

Channels = Mapping[tuple[str, Quantity], Channel]
PHASES: tuple[Phase, ...] = ("before", "during", "after")
CLOCKS = ("profile", "strict", "guarded")
TRACKS: tuple[tuple[Quantity, Side], ...] = tuple((q, s) for q in sorted(AIR) for s in ("high", "low"))


@dataclass(slots=True)
class RunState:
    """A run of one state under way since `start`."""

    state: State
    start: int


@dataclass(slots=True)
class GapState:
    """Unknown time under way. `missing` has a bit an AIR quantity; `silent` when one of them had no voice at all."""

    start: int
    missing: int
    silent: bool


@dataclass(slots=True)
class Product:
    """What happened in a block: lengths by phase, lengths by origin, and what came to its end. [ms]"""

    elapsed: list[int] = field(default_factory=lambda: [0, 0, 0])
    known: list[int] = field(default_factory=lambda: [0, 0, 0])
    in_band: list[int] = field(default_factory=lambda: [0, 0, 0])
    origins: list[int] = field(default_factory=lambda: [0] * len(ORIGINS))
    excursions: list[Excursion] = field(default_factory=list)
    gaps: list[Gap] = field(default_factory=list)
    clocks: dict[str, dict[str, Any]] = field(default_factory=dict)
    days: bytes = b""

    def coverage(self, phase: int) -> Coverage:
        """Of one phase."""
        return Coverage(self.elapsed[phase], self.known[phase], self.in_band[phase])


def joined(parts: Sequence[Product]) -> Product:
    """What happened in one or more blocks that follow each other, as if they were one."""
    clocks: dict[str, dict[str, Any]] = {}
    for part in parts:
        for key, events in part.clocks.items():
            here = clocks.setdefault(key, {})
            for name, happened in events.items():
                here[name] = [*here.get(name, ()), *happened]
    return Product(
        _summed(part.elapsed for part in parts),
        _summed(part.known for part in parts),
        _summed(part.in_band for part in parts),
        _summed(part.origins for part in parts),
        [one for part in parts for one in part.excursions],
        [one for part in parts for one in part.gaps],
        clocks,
        b"".join(part.days for part in parts),
    )


def _summed(lengths: Iterable[list[int]]) -> list[int]:
    return [sum(of) for of in zip(*lengths, strict=True)]


@dataclass(slots=True)
class FoldState:
    """All that a block needs to know of the time before it."""

    begin: int | None = None
    tracks: list[Track] = field(default_factory=lambda: [Track(q, s) for q, s in TRACKS])
    runs: dict[str, RunState] = field(default_factory=dict)
    gap: GapState | None = None
    clocks: dict[str, Clock] = field(default_factory=dict)
    apart_since: dict[str, int] = field(default_factory=dict)
    heard: int | None = None  # the newest usable reading of the room
    lagging: Lagging = field(default_factory=Lagging)


class View(NamedTuple):
    """A place that is judged: the job's own ("") or that of a lot lying elsewhere."""

    name: str
    spans: tuple[Span, ...]


def lot_key(delivery: Delivery | None) -> str:
    """The name under which a lot's clocks are kept."""
    return "" if delivery is None else f"{delivery.at}|{delivery.lot}|{delivery.place}"


def _views(frame: Frame, window: tuple[int, int]) -> list[View]:
    """The job's own view (the boxes' place, from the installation on the wall's) and those of lots elsewhere."""
    start = int(FAR) if frame.start is None else frame.start
    close = int(FAR) if frame.close is None else frame.close
    own = [
        *spans_of(frame, frame.job.boxes_place, window, (0, min(start, close))),
        *spans_of(frame, frame.job.wall_place, window, (start, close)),
    ]
    elsewhere = sorted({d.place for d in frame.deliveries} - {frame.job.boxes_place})
    return [
        View("", tuple(own)),
        *(View(place, tuple(spans_of(frame, place, window, (0, min(start, close))))) for place in elsewhere),
    ]


def _limits(frame: Frame, quantity: Quantity, line: Timeline) -> tuple[Values, Values]:
    """Low and high limit an interval, or one for all: the band, or the life's once the installation is finished."""
    finish = FAR if frame.finish is None else frame.finish
    life = line.edges[:-1] >= finish
    if life[0] == life[-1]:  # it only ever begins
        life = life[:1]
    low, high = frame.limits(quantity, life=False)
    life_low, life_high = frame.limits(quantity, life=True)
    return np.where(life, life_low, low), np.where(life, life_high, high)


def fold(frame: Frame, state: FoldState, channels: Channels, start: int, end: int) -> tuple[Product, Timeline | None]:
    """Carry `state` (changed in place) from `start` to `end`; the product, and the time line of the job's own view.

    `start` is a UTC midnight, `end` a midnight or as_of. [ms]
    """
    product = Product()
    close = int(FAR) if frame.close is None else frame.close
    end = min(end, close)
    own: Timeline | None = None
    _begin(frame, state, channels, (start, end))
    if state.begin is None or max(start, state.begin) >= end:
        return product, None
    window = (max(start, state.begin), end)
    for view in _views(frame, window):
        midnights = np.arange(start, end, DAY, dtype=np.int64)
        cuts = [*midnights.tolist(), *(at for at in (frame.start, frame.finish) if at is not None)]
        line = timeline(view.spans, channels, window, cuts)
        limits = {q: _limits(frame, q, line) for q in AIR}
        judged = {q: sides(line.voices[q], *limits[q]) for q in AIR}
        guarded = {q: sides(line.voices[q], *limits[q], guarded=True) for q in AIR}
        plain = states(judged)
        _advance(frame, state, view.name, line.edges, plain, states(guarded))
        hours = hours_of(line, frame.start)
        lots = {lot_key(lot): lot for lot in _lots(frame, view.name) if lot is not None}
        warm_boxes(frame, state.lagging, view.name, lots, hours, channels, window)
        if view.name == "":
            own = line
            known: Mask = np.all([judged[q].known for q in AIR], axis=0)
            product.days = days_of(frame, state.lagging, line.edges, (known, plain == IN), hours, channels, window)
            _cover(frame, product, line, known, plain)
            _excursions(frame, state, product, line, judged, limits, midnights)
            _gaps(state, product, line, judged, plain)
            _agree(state, line)
            state.heard = max((at for at in (state.heard, *_heard(view, channels)) if at is not None), default=None)
    for key, clock in state.clocks.items():
        happened = clock.take()
        if happened:
            product.clocks[key] = happened
    return product, own


def _begin(frame: Frame, state: FoldState, channels: Channels, window: tuple[int, int]) -> None:
    """Note where the judged span begins: at the first delivery, else at the first usable reading of the room's air."""
    if state.begin is None:
        state.begin = frame.begin
    if state.begin is None:
        heard = [_first(span, channels) for span in _views(frame, window)[0].spans]
        state.begin = min((at for at in heard if at is not None), default=None)


def _heard(view: View, channels: Channels) -> list[int]:
    """The newest usable reading of each channel of a view."""
    return [int(t[-1]) for span in view.spans for t in _taken(span, channels)]


def _first(span: Span, channels: Channels) -> int | None:
    return min((int(t[0]) for t in _taken(span, channels)), default=None)


def _taken(span: Span, channels: Channels) -> Iterator[Times]:
    """When readings were taken where a span is seen, of each channel that has any."""
    for quantity in AIR:
        channel = channels.get((span.sensor.name, quantity))
        if channel is not None:
            first, last = channel.t.searchsorted((span.seen_from, span.seen_to))
            if first < last:
                yield channel.t[first:last]


def _advance(
    frame: Frame, state: FoldState, view: str, edges: Times, plain: NDArray[np.int8], guarded: NDArray[np.int8]
) -> None:
    """Feed the clocks of the lots that lie in this view with every run that has come to its end."""
    lots = _lots(frame, view)
    for guard, found, names in (("plain", plain, CLOCKS[:2]), ("guarded", guarded, CLOCKS[2:])):
        ended, until = _ended(state, f"{guard}|{view}", edges, found), FAR if frame.start is None else frame.start
        if ended is None:
            continue
        start, end, what = (part[ended[0] < until].tolist() for part in ended)  # the later ones pass on no clock
        for delivery, name in itertools.product(lots, names):
            clock = state.clocks.setdefault(f"{name}|{lot_key(delivery)}", Clock())
            for run in zip(start, end, (STATES[code] for code in what), strict=True):
                feed(frame, clock, name, delivery, run)


def _ended(
    state: FoldState, name: str, edges: Times, found: NDArray[np.int8]
) -> tuple[Times, Times, NDArray[np.int8]] | None:
    """The starts, ends and states of the runs that ended, in order, None without any; the last one is taken along."""
    at, under_way = turns(found), state.runs.get(name)
    start, what = edges[at], found[at]
    if under_way is not None and under_way.state == STATES[what[0]]:
        start[0] = under_way.start
    elif under_way is not None:
        start, what = np.append(under_way.start, start), np.append(np.int8(STATES.index(under_way.state)), what)
    state.runs[name] = RunState(STATES[what[-1]], int(start[-1]))
    return (start[:-1], start[1:], what[:-1]) if len(start) > 1 else None


def _lots(frame: Frame, view: str) -> list[Delivery | None]:
    """The lots that lie in this view; one that was entered twice has one clock."""
    if not frame.deliveries:
        return [None]
    place = view or frame.job.boxes_place
    return list({lot_key(delivery): delivery for delivery in frame.deliveries if delivery.place == place}.values())


def feed(frame: Frame, clock: Clock, name: str, delivery: Delivery | None, run: tuple[int, int, State]) -> None:
    """Let a run pass on one clock: cut to the time after the delivery and before the installation."""
    start = run[0] if delivery is None else max(run[0], delivery.at)
    end = run[1] if frame.start is None else min(run[1], frame.start)
    if start < end:
        rule = frame.profile.acclimation
        clock.feed(start, end, run[2], strict(rule) if name == "strict" else rule)


def _phase_of(frame: Frame, line: Timeline) -> NDArray[np.int8]:
    start = FAR if frame.start is None else frame.start
    finish = FAR if frame.finish is None or frame.start is None else frame.finish
    at = line.edges[:-1]
    return ((at >= start).astype(np.int8) + (at >= finish)).astype(np.int8)


def _cover(frame: Frame, product: Product, line: Timeline, known: Mask, state: NDArray[np.int8]) -> None:
    phase = _phase_of(frame, line)
    begins = turns(phase)
    length = line.length
    held = (product.elapsed, length), (product.known, length * known), (product.in_band, length * (state == IN))
    for lengths, part in held:
        for k, total in zip(phase[begins].tolist(), np.add.reduceat(part, begins).tolist(), strict=True):
            lengths[k] += total
    for voices in line.voices.values():
        heard = length * known * voices.speaking
        if not voices.origin.any():  # all of one origin, the first: counting by origin takes ten times as long
            product.origins[0] += int(heard.sum())
            continue
        by_origin = np.bincount(voices.origin.ravel(), heard.ravel(), len(ORIGINS))  # whole ms, below 2^53: exact
        product.origins = [a + int(b) for a, b in zip(product.origins, by_origin.tolist(), strict=True)]


def _excursions(
    frame: Frame,
    state: FoldState,
    product: Product,
    line: Timeline,
    judged: Mapping[Quantity, Sides],
    limits: Mapping[Quantity, tuple[Values, Values]],
    midnights: NDArray[np.int64],
) -> None:
    phases: list[tuple[int, Phase]] = [(-1, "before")]
    phases += [] if frame.start is None else [(frame.start, "during")]
    phases += [] if frame.finish is None or frame.start is None else [(frame.finish, "after")]
    for track in state.tracks:
        limit = limits[track.quantity][0 if track.side == "low" else 1]
        follow(track, line, judged[track.quantity], limit, phases, midnights)
        product.excursions += track.closed
        track.closed = []


def _gaps(
    state: FoldState, product: Product, line: Timeline, judged: Mapping[Quantity, Sides], plain: NDArray[np.int8]
) -> None:
    found = stretches(plain == UNKNOWN)
    if state.gap is not None and (not found or found[0][0] > 0):
        product.gaps.append(gap_of(state.gap, int(line.edges[0])))
        state.gap = None
    if not found:
        return
    lacking = [~judged[q].known for q in AIR]
    mute = [lack & ~anyone(line.voices[q].speaking) for q, lack in zip(AIR, lacking, strict=True)]
    for a, b in found:
        if state.gap is None:
            state.gap = GapState(int(line.edges[a]), 0, False)
        state.gap.missing |= sum(bool(lack[a:b].any()) << k for k, lack in enumerate(lacking))
        state.gap.silent |= any(bool(one[a:b].any()) for one in mute)
        if b < len(plain):
            product.gaps.append(gap_of(state.gap, int(line.edges[b])))
            state.gap = None


def gap_of(gap: GapState, end: int) -> Gap:
    """The gap as the record has it."""
    missing = tuple(q for k, q in enumerate(AIR) if gap.missing >> k & 1)
    return Gap(gap.start, end, missing, gap.silent)


def _agree(state: FoldState, line: Timeline) -> None:
    """Since when two sensors of the room have been further apart than their combined uncertainty, if they are now."""
    for quantity in AIR:
        far = apart(line.voices[quantity])
        near = np.flatnonzero(~far)
        if not len(near):
            state.apart_since.setdefault(quantity.value, int(line.edges[0]))
        elif near[-1] == len(far) - 1:
            state.apart_since.pop(quantity.value, None)
        else:
            state.apart_since[quantity.value] = int(line.edges[near[-1] + 1])
