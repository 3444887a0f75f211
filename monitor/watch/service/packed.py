"""A series that takes little room: for what is remembered of many channels and asked for now and then."""

from __future__ import annotations

import zlib
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.basis.segment import Ints, scaled
from monitor.basis.values import Origin, Series

_QUICK = 1  # how hard zlib tries: harder it takes several times as long and wins little
_LEAST = 8  # [bytes]

Numbers = int | bytes  # the one that all of them are, or else what `_shut` makes of them


@dataclass(frozen=True, slots=True)
class Packed:
    """A series: its first and last time and the steps between [ms], its first value and the steps between.

    Values are whole, x 10^decimals; they are the doubles themselves where a segment would hold these, see there.
    """

    count: int
    first: int
    last: int
    steps: Numbers
    decimals: int
    start: int
    value: Numbers | NDArray[np.float64]
    unit: Numbers
    origin: Numbers
    units: tuple[str, ...]
    origins: tuple[Origin, ...]

    def __len__(self) -> int:
        return self.count

    def series(self) -> Series:
        """What was packed, to the last bit."""
        return Series(
            _course(self.first, self.steps, self.count),
            self._values(),
            np.full(self.count, _opened(self.unit, self.count), np.int16),
            np.full(self.count, _opened(self.origin, self.count), np.int32),
            self.units,
            self.origins,
        )

    def _values(self) -> NDArray[np.float64]:
        if isinstance(self.value, np.ndarray):
            return self.value
        return _course(self.start, self.value, self.count) / 10**self.decimals

    def beside(self, other: Packed) -> Packed:
        """The same; the steps of its times are the ones of `other` where they are equal, and are kept once then."""
        return replace(self, steps=other.steps) if self.steps == other.steps else self


def packed(series: Series) -> Packed:
    """A series, to be kept."""
    decimals, whole = scaled(series.value)
    first, last = (int(series.t[0]), int(series.t[-1])) if len(series) else (0, 0)
    return Packed(
        len(series),
        first,
        last,
        _shut(np.diff(series.t)),
        decimals or 0,
        int(whole[0]) if len(whole) else 0,
        series.value.copy() if decimals is None else _shut(np.diff(whole)),
        _shut(series.unit),
        _shut(series.origin),
        series.units,
        series.origins,
    )


def _shut(whole: NDArray[np.signedinteger[Any]]) -> Numbers:
    """The least of them, and what they are above it: the lowest bytes of all, then the next ones, deflated."""
    least = int(whole.min()) if len(whole) else 0
    above = whole.astype("<i8") - least
    if not above.any():
        return least
    wide = (int(above.max()).bit_length() + 7) // 8
    planes = above.view(np.uint8).reshape(-1, 8)[:, :wide].T
    return least.to_bytes(_LEAST, "little", signed=True) + zlib.compress(planes.tobytes(), _QUICK)


def _opened(kept: Numbers, count: int) -> int | Ints:
    if isinstance(kept, int):
        return kept
    lowest, *higher = np.frombuffer(zlib.decompress(kept[_LEAST:]), np.uint8).reshape(-1, count)
    whole = lowest.astype(np.int64)
    for place, plane in enumerate(higher, 1):
        whole |= plane.astype(np.int64) << 8 * place
    whole += int.from_bytes(kept[:_LEAST], "little", signed=True)
    return whole


def _course(first: int, steps: Numbers, count: int) -> Ints:
    """Numbers by the first of them and the steps between."""
    found = np.empty(count, np.int64)
    found[:1] = first
    found[1:] = _opened(steps, count - 1)
    return found.cumsum(out=found)
