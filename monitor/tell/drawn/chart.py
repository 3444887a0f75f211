"""What a chart shows, before anybody draws it: the interactive figure and the printed drawing are made from this."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from datetime import timedelta
from itertools import pairwise
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from monitor.basis.times import DAY, MINUTE, datetime_of, ms_of
from monitor.basis.units import FloatOrArray, System
from monitor.basis.values import AIR, Quantity
from monitor.rules.assessment import Phase, Side, State
from monitor.tell import spanwords, words
from monitor.tell.drawn.thin import line_starts, merged, thin
from monitor.tell.pages import cut
from monitor.tell.pages.views import ChannelLine, ReportPage
from monitor.tell.words import Display

HOLD = 30 * MINUTE  # of a sensor that the page does not describe
Extremes = dict[Quantity, tuple[float, float, int]]  # lowest, highest, number of readings
NUMBERED = 24  # up to so many excursions carry their number in the drawing
FEW = 6  # restarts, the last, that are lettered in the drawing
CLOCKS = 2  # up to so many changes of the clocks are lettered
WIDE, LETTER = 904, 12  # of the drawing, and of a letter with its space [px]


class Line(NamedTuple):
    """One channel as drawn: `t` [ms], `value` in the job's units; `anew` where it starts again after a silence."""

    sensor: str
    place: str
    style: int
    t: NDArray[np.int64]
    value: NDArray[np.float64]
    flat: NDArray[np.bool_]
    anew: NDArray[np.bool_]

    @property
    def marks(self) -> NDArray[np.bool_]:
        """Points that carry the sensor's sign: about twelve, and all that stand alone."""
        alone = self.anew & np.append(self.anew[1:], True)
        alone[:: max(1, len(self.t) // 12)] = True
        return alone


class Limit(NamedTuple):
    """Both limits over [start, end), in the job's units."""

    start: int
    end: int
    low: float
    high: float


class Outside(NamedTuple):
    """An excursion as drawn: its number in the table, and the value furthest out in the job's units."""

    number: int
    start: int
    end: int
    side: Side
    peak: float


class Dot(NamedTuple):
    """A hand reading as drawn, in the job's units."""

    at: int
    value: float
    label: str


class Panel(NamedTuple):
    """One quantity over time. `outside` are its excursions, `beyond` their time with near ones joined. [ms]"""

    quantity: Quantity
    title: str
    unit: str
    lines: tuple[Line, ...]
    limits: tuple[Limit, ...]
    outside: tuple[Outside, ...]
    beyond: tuple[tuple[int, int], ...]
    dots: tuple[Dot, ...]
    low: float
    high: float


class Event(NamedTuple):
    """A moment of the job: a letter in the drawing, moved by `shift` px past its neighbours, and words below it."""

    letter: str
    at: int
    text: str
    shift: int


class Chart(NamedTuple):
    """Panels over one time axis, which stands at the `offset` that the zone had at `start`. [ms]

    `changes` are when the zone's clocks were changed meanwhile.
    """

    start: int
    end: int
    offset: int
    axis: str
    panels: tuple[Panel, ...]
    lanes: Mapping[State, tuple[tuple[int, int], ...]]
    events: tuple[Event, ...]
    changes: tuple[int, ...]
    drawn: int
    total: int


def chart_of(page: ReportPage, display: Display, most: int) -> Chart | None:
    """The chart of the room air in the page's span with at most `most` points a channel; None without any time."""
    air = [channel for channel in page.channels if channel.quantity in AIR and len(channel.t)]
    drawn = _drawn(page, air)
    if drawn is None:
        return None
    start, end = drawn
    panels = tuple(_panel(page, display, quantity, start, end, most) for quantity in reversed(AIR))
    offset = _offset(start, display.zone)
    return Chart(
        start=start,
        end=end,
        offset=offset,
        axis=_axis(offset, display.zone),
        panels=panels,
        lanes=_lanes(page, (end - start) // 1000),
        events=_events(page, display, start, end),
        changes=tuple(at for at, _ in clock_changes(display.zone, start, end)),
        drawn=sum(len(line.t) for panel in panels for line in panel.lines),
        total=sum(len(channel.t) for channel in air),
    )


def _drawn(page: ReportPage, air: Sequence[ChannelLine]) -> tuple[int, int] | None:
    """From when to when: the part asked for, else the judged span and all readings."""
    if page.cut is not None:
        return page.cut.start, page.cut.end
    moments = [int(channel.t[0]) for channel in air] + [at for at in (page.assessment.begin,) if at is not None]
    end = max([_end(page), *(int(channel.t[-1]) for channel in air)])
    return (min(moments), end) if moments and min(moments) < end else None


def shown(quantity: Quantity, value: FloatOrArray, units: System) -> FloatOrArray:
    """Values (degC or %RH) as the numbers that the job's axis has."""
    return value * 1.8 + 32.0 if units == "us" and quantity is Quantity.AIR_TEMPERATURE else value


def styles(page: ReportPage) -> dict[str, int]:
    """A number for each sensor, the same wherever it is drawn."""
    names = [sensor.name for sensor in page.sensors] + [channel.sensor for channel in page.channels]
    return {name: number for number, name in enumerate(dict.fromkeys(names))}


def clock_changes(zone: ZoneInfo, start: int, end: int) -> list[tuple[int, int]]:
    """When the zone's clocks were changed in [start, end), to the minute, and by how much. [ms]"""
    found = []
    for day in range(start, end, DAY):
        low, high = day, min(day + DAY, end)
        change = _offset(high, zone) - _offset(low, zone)
        while change and high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if _offset(middle, zone) != _offset(low, zone) else (middle, high)
        if change:
            found.append((high, change))
    return found


def _offset(at: int, zone: ZoneInfo) -> int:
    return (datetime_of(at, zone).utcoffset() or timedelta()) // timedelta(milliseconds=1)


def _axis(offset: int, zone: ZoneInfo) -> str:
    hours, minutes = divmod(abs(offset) // MINUTE, 60)
    return f"time at UTC{'-' if offset < 0 else '+'}{hours:02d}:{minutes:02d} throughout ({zone.key} at the start)"


def _end(page: ReportPage) -> int:
    return min(at for at in (page.assessment.as_of, page.facts.closed_at) if at is not None)


def _panel(page: ReportPage, display: Display, quantity: Quantity, start: int, end: int, most: int) -> Panel:
    units = display.units
    lines = tuple(
        _line(page, channel, units, most)
        for channel in page.channels
        if channel.quantity is quantity and len(channel.t)
    )
    limits = _limits(page, quantity, units, start, end)
    outside = _outside(page, quantity, units, end)
    dots = tuple(
        Dot(hand.at, shown(quantity, hand.value, units), f"{hand.instrument or 'hand reading'}, {hand.who}")
        for hand in page.hand_readings
        if hand.quantity is quantity and start <= hand.at <= end
    )
    edges = [limit.low for limit in limits] + [limit.high for limit in limits] + [dot.value for dot in dots]
    edges += [out.peak for out in outside]
    edges += [float(bound) for line in lines for bound in (line.value.min(), line.value.max())]
    room = max(max(edges) - min(edges), 1.0) * 0.1
    unit = "%" if quantity is Quantity.AIR_HUMIDITY else "\u00b0F" if units == "us" else "\u00b0C"
    return Panel(
        quantity=quantity,
        title=f"{'relative humidity' if quantity is Quantity.AIR_HUMIDITY else 'air temperature'}, {unit} (measured)",
        unit=unit,
        lines=lines,
        limits=limits,
        outside=outside,
        beyond=merged(sorted((out.start, out.end) for out in outside), (end - start) // 1000),
        dots=dots,
        low=min(edges) - room,
        high=max(edges) + room,
    )


def _line(page: ReportPage, channel: ChannelLine, units: System, most: int) -> Line:
    hold = next((sensor.hold for sensor in page.sensors if sensor.name == channel.sensor), HOLD)
    kept = thin(channel.t, channel.value, most)
    return Line(
        sensor=channel.sensor,
        place=channel.place,
        style=styles(page)[channel.sensor],
        t=channel.t[kept],
        value=shown(channel.quantity, channel.value[kept], units),
        flat=channel.flat[kept],
        anew=line_starts(channel.t, kept, hold),
    )


def _limits(page: ReportPage, quantity: Quantity, units: System, start: int, end: int) -> tuple[Limit, ...]:
    finish = page.facts.install_finish
    same = page.profile.band == page.profile.life
    turn = end if finish is None or same else min(max(finish, start), end)
    spans: tuple[tuple[int, int, Phase], ...] = ((start, turn, "before"), (turn, end, "after"))
    found = []
    for first, last, phase in spans:
        low, high = words.limits_of(page.profile, quantity, phase)
        found.append(Limit(first, last, shown(quantity, low, units), shown(quantity, high, units)))
    return tuple(limit for limit in found if limit.start < limit.end)


class LimitText(NamedTuple):
    """A limit's value in words, at the start of its time or, `late`, at the end of it. [ms, the job's units]"""

    at: int
    value: float
    side: Side
    late: bool


def limit_texts(panel: Panel) -> Iterator[LimitText]:
    """What is written at the limits: one that stays is said once, the last of others where it ends."""
    for side in ("low", "high"):
        values = [(limit.low if side == "low" else limit.high, limit) for limit in panel.limits]
        told: float | None = None
        for value, limit in values:
            if value != told:
                late = told is not None
                yield LimitText(limit.end if late else limit.start, value, side, late)
            told = value


def _outside(page: ReportPage, quantity: Quantity, units: System, end: int) -> tuple[Outside, ...]:
    return tuple(
        Outside(
            number=part.number,
            start=part.start,
            end=end if part.end is None else part.end,
            side=part.whole.side,
            peak=shown(quantity, part.whole.peak, units),
        )
        for part in cut.parts(page, page.assessment.excursions)
        if part.whole.quantity is quantity
    )


def _lanes(page: ReportPage, nearer_than: int) -> dict[State, tuple[tuple[int, int], ...]]:
    states: tuple[State, ...] = ("in", "out", "unknown")
    return {state: merged(cut.intervals(page, state), nearer_than) for state in states}


def _events(page: ReportPage, display: Display, start: int, end: int) -> tuple[Event, ...]:
    told: dict[int, str] = {}
    changes = clock_changes(display.zone, start, end)
    few = changes if len(changes) <= CLOCKS else []  # of years the sentence below the chart tells them all
    for at, text in [*_moments(page), *((at, spanwords.clock_changed(by)) for at, by in few)]:
        if at is not None and start <= at <= end:
            told[at] = f"{told[at]}; {text}" if at in told else text
    when = sorted(told)
    letters = [_letter(number) for number in range(len(when))]
    shifts = _apart([(at - start) / (end - start) * WIDE for at in when], [LETTER * len(letter) for letter in letters])
    return tuple(Event(letter, at, told[at], shift) for letter, at, shift in zip(letters, when, shifts, strict=True))


def _apart(places: Sequence[float], widths: Sequence[int]) -> list[int]:
    """By how much texts in order, each in the middle of its place, move so that none lies on another. [px]"""
    moved: list[float] = []
    for place, width, before in zip(places, widths, [0, *widths], strict=False):
        moved.append(max(place, moved[-1] + (before + width) / 2) if moved else place)
    furthest: float = WIDE
    for k in reversed(range(len(moved))):
        moved[k] = min(moved[k], furthest)
        furthest = moved[k] - (widths[k] + widths[k - 1]) / 2
    return [math.ceil(to - place) for to, place in zip(moved, places, strict=True)]


def _moments(page: ReportPage) -> Iterator[tuple[int | None, str]]:
    facts, clock = page.facts, page.assessment.lot.clock
    for lot in page.assessment.lots:
        yield lot.delivered_at, f"delivery of {words.visible(lot.name)}"
    for restart in clock.restarts[-FEW:]:
        yield restart.at, f"the clock went back to zero: {words.restart_cause(restart, page.profile)}"
    for completion in clock.history:
        yield completion.completed_at, "acclimation complete"
        yield completion.lapsed_at, "the completion lapsed"
    yield facts.install_start, "the installation started"
    yield facts.install_finish, "the installation was finished"
    yield facts.closed_at, "the job was closed"


def _letter(number: int) -> str:
    return (_letter(number // 26 - 1) if number >= 26 else "") + chr(ord("A") + number % 26)


def days(channels: Sequence[ChannelLine], zone: ZoneInfo) -> list[tuple[int, Extremes]]:
    """The table behind the chart: the start of each local day with readings, and what was read. [ms, degC, %RH]

    Over more than 62 days a row is a week, over more than three years four weeks.
    """
    air = [channel for channel in channels if channel.quantity in AIR and len(channel.t)]
    if not air:
        return []
    first, last = min(int(c.t[0]) for c in air), max(int(c.t[-1]) for c in air)
    step = 1 if last - first <= 62 * DAY else 7 if last - first <= 1100 * DAY else 28
    edges = midnights(first, last, zone, step)
    found = []
    for start, end in pairwise(edges):
        row: Extremes = {}
        for quantity in AIR:
            parts = [c.value[slice(*np.searchsorted(c.t, (start, end)))] for c in air if c.quantity is quantity]
            every = np.concatenate([*parts, np.empty(0)])
            if len(every):
                row[quantity] = (float(every.min()), float(every.max()), len(every))
        if row:
            found.append((start, row))
    return found


def midnights(first: int, last: int, zone: ZoneInfo, step: int = 1) -> list[int]:
    """Every `step`-th midnight of the zone's calendar, from the one before `first` to the one after `last`. [ms]"""
    day = datetime_of(first, zone).replace(hour=0, minute=0, second=0, microsecond=0, fold=0)
    edges = [ms_of(day)]
    while edges[-1] <= last:
        day += timedelta(days=step)  # the next wall-clock midnight: aware arithmetic keeps the wall time
        edges.append(ms_of(day))
    return edges
