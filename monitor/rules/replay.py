"""From a frame and the kept readings to the state at as_of, by way of the checkpoints that still stand.

A checkpoint at a midnight keeps the state there and what happened in its block. It stands while the frame before it is
the same, its block began where and with the very state that its forerunner ends with, no reading has come that its
block depends on, and what it knew of later readings was known at as_of.
"""

from __future__ import annotations

import bisect
import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple, Protocol

from monitor.basis.times import DAY, HOUR, day_of
from monitor.basis.values import AIR, ASIDE, Quantity, Series
from monitor.rules.assessment import RULES_VERSION
from monitor.rules.channel import Channel, Window, as_claimed, calibrated, plain
from monitor.rules.codec import product_from_bytes, product_to_bytes, state_from_bytes, state_to_bytes
from monitor.rules.fold import FoldState, Product, fold, joined
from monitor.rules.frame import Frame, Keys, Sensor
from monitor.rules.timeline import Timeline

DAILY = 31 * DAY  # how far back checkpoints stand at every midnight [ms]
BLOCK = 91 * DAY  # before that at the multiples of this since 1970; so much is held in memory at once [ms]
_NEW = state_to_bytes(FoldState())

Bounds = Mapping[Quantity, tuple[int, int]]  # first and last time of each channel on which a sensor has spoken


class Readings(Protocol):
    """Where kept readings come from."""

    def series(self, stream: str, quantity: Quantity, start: int | None = None, end: int | None = None) -> Series:
        """The readings of one channel in [start, end)."""
        ...

    def several(
        self, stream: str, quantities: Sequence[Quantity], start: int | None = None, end: int | None = None
    ) -> Mapping[Quantity, Series]:
        """The readings of some channels of one sensor in [start, end)."""
        ...

    def bounds(self, stream: str, quantity: Quantity) -> tuple[int, int] | None:
        """First and last time of a channel, None when it has no reading."""
        ...


class Head(NamedTuple):
    """What a checkpoint stands on: readings from `covers_from` to `depends_until`, which may lie outside its block.

    `open` names the streams whose next reading may change it.
    """

    midnight: int
    covers_from: int
    depends_until: int
    open: tuple[str, ...]
    rules_version: int
    key: bytes  # of the frame before this midnight
    before: bytes  # fingerprint of the midnight and the state that its block began with
    after: bytes  # and of those it ended with
    stale: bool = False

    def touched(self, stream: str, first: int, last: int) -> bool:
        """Whether new readings of `stream` in [first, last] may change it."""
        return self.covers_from <= last and (self.depends_until >= first or stream in self.open)


class Checkpoint(NamedTuple):
    """A checkpoint to be kept."""

    head: Head
    state: bytes
    product: bytes


class Memory(Protocol):
    """Where checkpoints are kept, of one job under one profile."""

    def heads(self) -> Sequence[Head]:
        """All of them in order of midnight."""
        ...

    def state(self, midnight: int) -> bytes:
        """The state at one of them."""
        ...

    def products(self, midnights: Sequence[int]) -> list[bytes]:
        """What happened in their blocks, in order."""
        ...

    def put(self, rows: Sequence[Checkpoint]) -> None:
        """Keep new ones in the place of those of the same midnight."""
        ...


class Forgetful:
    """No memory: everything is judged anew."""

    def heads(self) -> Sequence[Head]:
        """None."""
        return ()

    def state(self, midnight: int) -> bytes:
        """Never asked for."""
        raise KeyError(midnight)

    def products(self, midnights: Sequence[int]) -> list[bytes]:
        """None."""
        return []

    def put(self, rows: Sequence[Checkpoint]) -> None:
        """Kept nowhere."""


class Replayed(NamedTuple):
    """The state at the end of the judged span, all that happened in it, and the last block's time line.

    `aside` names the sensors that have never said anything of a room's air, but of a surface or of boxes.
    """

    state: FoldState
    product: Product
    line: Timeline | None
    end: int
    aside: frozenset[str] = frozenset()


@dataclass(slots=True)
class _Loaded:
    """Judged channels for a stretch of time, and the windows they came from."""

    start: int
    end: int
    hold: int = 0  # the longest of a sensor
    channels: dict[tuple[str, Quantity], Channel] = field(default_factory=dict)
    windows: list[Window] = field(default_factory=list)

    def part(self, start: int, end: int, sensors: Mapping[str, Sensor]) -> dict[tuple[str, Quantity], Channel]:
        """The channels cut to what can be heard in [start, end), and the reading that follows."""
        cut = {}
        for (name, quantity), channel in self.channels.items():
            a, b = channel.t.searchsorted((start - sensors[name].hold, end))
            cut[name, quantity] = channel.part(a, b + 1)
        return cut


def replay(frame: Frame, as_of: int, readings: Readings, memory: Memory) -> Replayed:
    """Judge [begin, as_of) from the newest checkpoint that stands, and keep new ones."""
    end = as_of if frame.close is None else min(as_of, frame.close)
    spoken = _spoken(frame, readings, as_of)
    first = _first_midnight(frame, spoken)
    if first is None or first >= end:
        return Replayed(FoldState(begin=frame.begin), Product(), None, end)
    keys = Keys(frame, {name: sorted(channels) for name, channels in spoken.items()})
    standing = {head.before: head for head in _standing(keys, memory.heads(), end, as_of)}
    edges = sorted(head.midnight for head in standing.values())
    state: FoldState | None = FoldState()
    at, mark, line = first, _fingerprint(first, _NEW), None
    done: list[int | Product] = []
    new: list[Checkpoint] = []
    loaded = _Loaded(first, first)
    while at < end:
        head = standing.get(mark)
        if head is not None and not head.stale and head.midnight < end:
            at, mark, state = head.midnight, head.after, None
            done.append(at)
            continue
        if state is None:
            state = state_from_bytes(memory.state(at))
        known = bisect.bisect_right(edges, at)
        until = min(edges[known], end) if known < len(edges) else _next_edge(at, end)
        if until > loaded.end:
            loaded = _load(frame, readings, spoken, (at, min(max(until, at + BLOCK), end)), as_of)
        product, line = fold(frame, state, loaded.part(at, until, frame.sensors), at, until)
        done.append(product)
        if until % DAY == 0:
            new.append(_checkpoint(keys, loaded, (at, until), mark, state, product))
            mark = new[-1].head.after
        at = until
    hidden = {frame.sensors[name].stream for name in spoken if _hides(_of(spoken[name], AIR), as_of)}
    memory.put(
        [row for row in new if not hidden or (row.head.depends_until < as_of and hidden.isdisjoint(row.head.open))]
    )
    aside = {name for name, channels in spoken.items() if channels and not _of(channels, AIR)}
    return Replayed(state or FoldState(), _sum(done, memory), line, end, frozenset(aside))


def _fingerprint(midnight: int, state: bytes) -> bytes:
    return hashlib.sha256(b"%d %s" % (midnight, state)).digest()[:16]


def _standing(keys: Keys, heads: Sequence[Head], end: int, as_of: int) -> Iterator[Head]:
    """The checkpoints that may be used: this frame's, these rules', knowing nothing that was not known at as_of."""
    for head in heads:
        in_time = head.midnight <= end and head.depends_until < as_of
        if in_time and head.rules_version == RULES_VERSION and head.key == keys.at(head.midnight):
            yield head


def _next_edge(at: int, end: int) -> int:
    """The next checkpoint's midnight: the very next, or for what is long past the next multiple of BLOCK."""
    if at >= end - DAILY:
        return min(at + DAY, end)
    return min((at // BLOCK + 1) * BLOCK, day_of(end - DAILY) + DAY)


def _spoken(frame: Frame, readings: Readings, as_of: int) -> dict[str, Bounds]:
    """Of each sensor the channels on which it has spoken before as_of, with their first and last times."""
    found: dict[str, Bounds] = {}
    for name, sensor in frame.sensors.items():
        bounds = {quantity: readings.bounds(sensor.stream, quantity) for quantity in (*AIR, *ASIDE)}
        found[name] = {quantity: b for quantity, b in bounds.items() if b is not None and b[0] < as_of}
    return found


def _of(channels: Bounds, quantities: Sequence[Quantity]) -> Bounds:
    return {quantity: channels[quantity] for quantity in quantities if quantity in channels}


def _hides(channels: Bounds, as_of: int) -> bool:
    """Whether readings are kept that as_of leaves out: what is not settled without them is not to be remembered."""
    return any(last >= as_of for _, last in channels.values())


def _first_midnight(frame: Frame, spoken: Mapping[str, Bounds]) -> int | None:
    if frame.begin is not None:
        return day_of(frame.begin)
    times = [max(first, stay.start) for stay in frame.air_stays for first, _ in _of(spoken[stay.sensor], AIR).values()]
    return day_of(min(times)) if times else None


def heard(frame: Frame, as_of: int, readings: Readings, start: int, end: int) -> dict[tuple[str, Quantity], Channel]:
    """Every sensor's usable readings in [start, end) as they are judged as of `as_of`."""
    spoken = _spoken(frame, readings, as_of)
    return _load(frame, readings, spoken, (start, end), as_of).part(start, end, frame.sensors)


def _load(
    frame: Frame, readings: Readings, spoken: Mapping[str, Bounds], block: tuple[int, int], as_of: int
) -> _Loaded:
    start, end = block
    loaded = _Loaded(start, end, max((sensor.hold for sensor in frame.sensors.values()), default=0))
    for sensor in frame.sensors.values():
        stays = [s for s in frame.stays if s.sensor == sensor.name]
        if not any(s.start < end and (s.end is None or s.end > start) for s in stays):
            continue
        air = _of(spoken[sensor.name], AIR)
        if air:
            window = _window(frame, readings, sensor, air, block, as_of)
            loaded.windows.append(window)
            for quantity, channel in window.channels().items():
                loaded.channels[sensor.name, quantity] = calibrated(channel, quantity, sensor)
        for quantity in _of(spoken[sensor.name], ASIDE):  # once it has spoken it has the channel, heard here or not
            series = readings.series(sensor.stream, quantity, start - sensor.hold, min(end, as_of))
            loaded.channels[sensor.name, quantity] = calibrated(plain(series, quantity), quantity, sensor)
    return loaded


def _window(
    frame: Frame, readings: Readings, sensor: Sensor, has: Bounds, block: tuple[int, int], as_of: int
) -> Window:
    """A sensor's readings of its air for a block, with as much before and after as their flags depend on."""
    start, end = block
    first, last = min(a for a, _ in has.values()), max(b for _, b in has.values())
    back = ahead = max(2 * sensor.hold, 2 * HOUR)
    while True:
        low, high = start - back, min(end + ahead, as_of)
        said = readings.several(sensor.stream, list(has), low, high)
        series = {q: as_claimed(said[q], q, sensor) for q in has}
        window = Window(sensor.stream, series, sensor.hold, frame.profile.quality)
        enough_before = low <= first or window.settled_before(start - sensor.hold)
        enough_after = high >= as_of or high > last or not window.reach(end).open
        if enough_before and enough_after:
            return window
        back, ahead = back if enough_before else 4 * back, ahead if enough_after else 4 * ahead


def _checkpoint(
    keys: Keys, loaded: _Loaded, block: tuple[int, int], before: bytes, state: FoldState, product: Product
) -> Checkpoint:
    reaches = {window.stream: window.reach(block[1]) for window in loaded.windows}
    kept = state_to_bytes(state)
    head = Head(
        midnight=block[1],
        covers_from=min((*(window.rests_on(block[0]) for window in loaded.windows), block[0] - loaded.hold)),
        depends_until=max((reach.until for reach in reaches.values()), default=block[1]),
        open=tuple(sorted(stream for stream, reach in reaches.items() if reach.open)),
        rules_version=RULES_VERSION,
        key=keys.at(block[1]),
        before=before,
        after=_fingerprint(block[1], kept),
    )
    return Checkpoint(head, kept, product_to_bytes(product))


def _sum(done: Sequence[int | Product], memory: Memory) -> Product:
    """Everything that happened, in order; a number stands for the checkpoint of that midnight."""
    kept = iter(memory.products([part for part in done if isinstance(part, int)]))
    return joined([product_from_bytes(next(kept)) if isinstance(part, int) else part for part in done])
