"""What the sensors said of late, kept in memory from round to round: only what is new is read from the store."""

from __future__ import annotations

import threading
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.basis.times import HOUR
from monitor.basis.values import Quantity, Series
from monitor.keep.lately import Sums
from monitor.keep.store import Store
from monitor.watch.service.packed import Packed, packed

_AT_ONCE = 30  # readings of a channel that are packed together: to pack takes as long for one
SPAN = 28 * HOUR  # today from its midnight, or a day back, and two hours that the flags of its readings rest on [ms]

_NEW = np.dtype([("t", np.int64), ("value", np.float64), ("unit", np.int16), ("origin", np.int32)])
_NEVER = 1 << 62  # nothing is of late before the first round [ms]

Key = tuple[str, Quantity]


class _Tail(NamedTuple):
    """All readings of a channel from `since` on, as of `sums`. [ms]

    Most of them are packed, `new` are not: rows of `_NEW`, of the units and origins that the packed ones have.
    """

    packed: Packed
    new: bytes
    since: int
    sums: Sums

    def series(self) -> Series:
        return _joined(self.packed.series(), np.frombuffer(self.new, _NEW)) if self.new else self.packed.series()

    def next(self) -> int:
        """The first time that nothing is known of. [ms]"""
        if self.new:
            return int(np.frombuffer(self.new, _NEW)["t"][-1]) + 1
        return self.packed.last + 1 if len(self.packed) else self.since


class Lately:
    """The readings of a store, of which the newest are remembered. One thread's own; answers are the store's.

    What sensors have said is asked for by `begin`, for a round over many jobs, or by `turn`, for one: until that is
    called for them again, they are answered as of then. Without it nothing is remembered but the bounds of channels.
    """

    def __init__(self, store: Store) -> None:
        self._store, self._at = store, _NEVER
        self._sums: dict[str, dict[Quantity, Sums]] = {}
        self._tails: dict[Key, _Tail] = {}
        self._conflicting: set[str] | None = None
        self._generations: dict[str, int] = {}

    def begin(self, at: int, streams: Iterable[str], generations: Mapping[str, int] | None = None) -> None:
        """Begin a round at `at` over those that may have spoken since; `generations` of jobs as they were before. [ms]

        A checkpoint is kept only if its job's generation is still that: so none is made without what came meanwhile.
        """
        self._at, self._conflicting = at, self._store.conflicting()
        self._generations = dict(generations or {})
        # What nothing was added to for long may be of a job that is over; else it is read again.
        self._tails = {key: tail for key, tail in self._tails.items() if tail.since > at - 2 * SPAN}
        self._ask(set(streams))

    def turn(self, job: str, streams: Collection[str], at: int) -> None:
        """Ask the sensors of one job alone, at `at`: what they say is remembered once it is judged again. [ms]"""
        self._at, self._conflicting = at if job in self._generations else _NEVER, None
        self._tails = {
            key: tail for key, tail in self._tails.items() if key[0] in streams and tail.since > at - 2 * SPAN
        }
        self._sums, self._generations = {}, {}
        self.again(job, streams)

    def generation(self, job: str) -> int | None:
        """That of a job before its sensors were asked; None of one that the round was not begun for."""
        return self._generations.get(job)

    def again(self, job: str, streams: Iterable[str]) -> None:
        """Ask the sensors of one job once more."""
        self._generations[job] = self._store.generation(job)
        self._ask(set(streams))

    def _ask(self, streams: set[str]) -> None:
        if streams:
            found = self._store.sums(streams)
            self._sums |= {stream: found.get(stream, {}) for stream in streams}
            self._extend(
                [(stream, of) for stream in streams for of in self._sums[stream] if (stream, of) in self._tails]
            )

    def _of(self, stream: str) -> dict[Quantity, Sums]:
        if stream not in self._sums:
            self._ask({stream})
        return self._sums[stream]

    def bounds(self, stream: str, quantity: Quantity) -> tuple[int, int] | None:
        """First and last time of a channel, None when it has no reading. [ms]"""
        found = self._of(stream).get(quantity)
        return None if found is None else (found.first_t, found.last_t)

    def series(self, stream: str, quantity: Quantity, start: int | None = None, end: int | None = None) -> Series:
        """The readings of one channel in [start, end). [ms]"""
        since = self._at - SPAN
        sums, tail = self._of(stream).get(quantity), self._tails.get((stream, quantity))
        if sums is None or start is None or start < (since if tail is None else tail.since):
            return self._store.series(stream, quantity, start, end)
        if tail is None:
            whole = self._store.series(stream, quantity, since)
            self._keep((stream, quantity), whole, since, sums)
        else:
            whole = tail.series()
        t = whole.t
        return _part(whole, int(t.searchsorted(start)), len(t) if end is None else int(t.searchsorted(end)))

    def _keep(self, key: Key, series: Series, since: int, sums: Sums) -> None:
        """Remember a tail. What a sensor says of several quantities at a time has its times but once."""
        kept = packed(series)
        for other in self._sums[key[0]]:
            if other != key[1] and (tail := self._tails.get((key[0], other))) is not None:
                kept = kept.beside(tail.packed)
        self._tails[key] = _Tail(kept, b"", since, sums)

    def several(
        self, stream: str, quantities: Sequence[Quantity], start: int | None = None, end: int | None = None
    ) -> Mapping[Quantity, Series]:
        """`series` of each of some channels of a sensor; of long past they are read at once. [ms]"""
        if start is None or start < self._at - SPAN:
            return self._store.several(stream, quantities, start, end)
        return {quantity: self.series(stream, quantity, start, end) for quantity in quantities}

    def _extend(self, keys: Collection[Key]) -> None:
        """Add what is new. Where it does not add up, something came late or went: that tail is read anew."""
        grown = [key for key in keys if self._has_grown(key)]
        if not grown:
            return
        asked = [(self._sums[stream][of].id, self._tails[stream, of].next()) for stream, of in grown]
        for key, new in zip(grown, self._store.since(asked), strict=True):
            tail, sums = self._tails.pop(key), self._sums[key[0]][key[1]]
            if tail.sums.readings + len(new) == sums.readings and _of_one_make(tail.packed, new):
                self._grow(key, tail, new, sums)

    def _has_grown(self, key: Key) -> bool:
        """Whether something is new; its last time tells, too, as days that are thinned have fewer readings."""
        tail, sums = self._tails[key], self._sums[key[0]][key[1]]
        return (tail.sums.readings, tail.sums.last_t) != (sums.readings, sums.last_t)

    def _grow(self, key: Key, tail: _Tail, new: Series, sums: Sums) -> None:
        grown = tail._replace(new=tail.new + _rows(new).tobytes(), sums=sums)
        if len(tail.packed) and len(grown.new) < _AT_ONCE * _NEW.itemsize:
            self._tails[key] = grown
        else:
            whole = grown.series() if len(tail.packed) else new
            since = max(tail.since, self._at - SPAN)
            self._keep(key, _part(whole, int(whole.t.searchsorted(since)), len(whole)), since, sums)

    def conflicts(self, streams: Sequence[str], start: int, end: int) -> int:
        """How many readings of `streams` with start <= t < end say otherwise than the ones kept, each once. [ms]"""
        if self._conflicting is not None and self._conflicting.isdisjoint(streams):
            return 0
        return self._store.conflicts(streams, start, end)

    def forget(self, streams: Iterable[str]) -> None:
        """Remember nothing of these sensors."""
        for stream in streams:
            for quantity in self._sums.pop(stream, ()):
                self._tails.pop((stream, quantity), None)


class Lent:
    """A Lately that goes from hand to hand: what it remembers is there for whoever has it next."""

    def __init__(self, store: Store) -> None:
        self._store, self._lately, self._free = store, Lately(store), threading.Lock()

    @contextmanager
    def out(self) -> Iterator[Lately]:
        """It; while another thread has it, one that remembers nothing."""
        if not self._free.acquire(blocking=False):
            yield Lately(self._store)
            return
        try:
            yield self._lately
        finally:
            self._free.release()


def _part(series: Series, first: int, last: int) -> Series:
    of = slice(first, last)
    return Series(series.t[of], series.value[of], series.unit[of], series.origin[of], series.units, series.origins)


def _of_one_make(kept: Packed, new: Series) -> bool:
    return not len(kept) or (kept.units, kept.origins) == (new.units, new.origins)


def _rows(series: Series) -> NDArray[np.void]:
    rows = np.empty(len(series), _NEW)
    rows["t"], rows["value"], rows["unit"], rows["origin"] = series.t, series.value, series.unit, series.origin
    return rows


def _joined(series: Series, new: NDArray[np.void]) -> Series:
    """`new` behind `series`, both of one make."""
    return Series(
        np.concatenate((series.t, new["t"])),
        np.concatenate((series.value, new["value"])),
        np.concatenate((series.unit, new["unit"])),
        np.concatenate((series.origin, new["origin"])),
        series.units,
        series.origins,
    )
