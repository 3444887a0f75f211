"""A series that takes little room: for what is remembered of many channels and asked for now and then."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from monitor.basis.segment import scaled
from monitor.basis.values import Origin, Series

_RARE = 50  # one number in so many may need more bytes than the others

_Whole = TypeVar("_Whole", np.int16, np.int32, np.int64)


@dataclass(frozen=True, slots=True)
class Narrow:
    """Whole numbers as what they are above the least of them, in as few bytes each as hold nearly all; None: nothing.

    `rare` are the places and the numbers, above the least too, of those that need more: a gap between steps.
    """

    count: int
    least: int
    above: NDArray[np.unsignedinteger[Any]] | None = None
    rare: tuple[NDArray[np.intp], NDArray[np.int64]] | None = None

    def wide(self, dtype: type[_Whole]) -> NDArray[_Whole]:
        """The numbers."""
        if self.above is None:
            return np.full(self.count, self.least, dtype)
        whole = self.above.astype(dtype)
        if self.rare is not None:
            whole[self.rare[0]] = self.rare[1]
        whole += dtype(self.least)
        return whole


@dataclass(frozen=True, slots=True)
class Packed:
    """A series: its first and last time and the steps between [ms], and its values.

    Narrow ones are x 10^decimals; they are the doubles themselves where a segment would hold these, see there.
    """

    first: int
    last: int
    steps: Narrow
    decimals: int
    value: Narrow | NDArray[np.float64]
    unit: Narrow
    origin: Narrow
    units: tuple[str, ...]
    origins: tuple[Origin, ...]

    def __len__(self) -> int:
        return self.unit.count

    def series(self) -> Series:
        """What was packed, to the last bit."""
        t = np.empty(len(self), np.int64)
        t[:1] = self.first
        t[1:] = self.steps.wide(np.int64)
        return Series(
            t.cumsum(out=t),
            self.value.wide(np.int64) / 10**self.decimals if isinstance(self.value, Narrow) else self.value,
            self.unit.wide(np.int16),
            self.origin.wide(np.int32),
            self.units,
            self.origins,
        )

    def beside(self, other: Packed) -> Packed:
        """The same; its times are the ones of `other` where they are equal, and are kept once then."""
        mine, its = self.steps, other.steps
        same = mine.above is not None and np.array_equal(mine.wide(np.int64), its.wide(np.int64))
        return replace(self, steps=its) if same else self


def packed(series: Series) -> Packed:
    """A series, to be kept."""
    decimals, whole = scaled(series.value)
    first, last = (int(series.t[0]), int(series.t[-1])) if len(series) else (0, 0)
    return Packed(
        first,
        last,
        _narrow(np.diff(series.t)),
        decimals or 0,
        series.value.copy() if decimals is None else _narrow(whole),
        _narrow(series.unit),
        _narrow(series.origin),
        series.units,
        series.origins,
    )


def _narrow(whole: NDArray[np.signedinteger[Any]]) -> Narrow:
    if not len(whole):
        return Narrow(0, 0)
    least = int(whole.min())
    above = whole - least
    if not above.any():
        return Narrow(len(whole), least)
    for dtype in (np.uint8, np.uint16, np.uint32):
        rare = np.flatnonzero(above > np.iinfo(dtype).max)
        if len(rare) <= len(whole) // _RARE:
            return Narrow(len(whole), least, above.astype(dtype), (rare, above[rare]) if len(rare) else None)
    return Narrow(len(whole), least, above.astype(np.uint64))
