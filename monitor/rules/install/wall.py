"""The wall as a shape: outline, openings, area, and the runs that a row of planks has on it.

Lengths in m, x from the left and y from the floor, seen from the room.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from typing import NamedTuple

from monitor.basis.errors import QuantityError
from monitor.basis.units import System, format_length

Point = tuple[float, float]
Interval = tuple[float, float]
Crossing = tuple[float, float]

TINY = 1e-7  # far below a tape measure's mark, far above the noise of the arithmetic [m]


@dataclass(frozen=True, slots=True)
class Opening:
    """A door, a window or another hole. `corner` is its lower left; None where its place has not been measured."""

    name: str
    width: float
    height: float
    corner: Point | None = None

    def __post_init__(self) -> None:
        for side, size in (("width", self.width), ("height", self.height)):
            if not 0 < size < math.inf:
                what = f"the {side} is {size:g} m"
                raise QuantityError(what, where=f"opening {self.name}", mend="Measure it again; it is more than 0")

    @property
    def area(self) -> float:
        """[m2]"""
        return self.width * self.height


@dataclass(frozen=True, slots=True)
class WallShape:
    """The outline as a polygon, its corners in order, and the openings in it. Raises QuantityError if impossible."""

    outline: tuple[Point, ...]
    openings: tuple[Opening, ...] = ()

    def __post_init__(self) -> None:
        _check_outline(self.outline)
        _check_openings(self)

    @property
    def length(self) -> float:
        """From the leftmost to the rightmost corner. [m]"""
        return max(x for x, _ in self.outline) - min(x for x, _ in self.outline)

    @property
    def height(self) -> float:
        """From the lowest to the highest corner. [m]"""
        return max(y for _, y in self.outline) - min(y for _, y in self.outline)

    @property
    def area(self) -> float:
        """Inside the outline, openings and all (the shoelace formula). [m2]"""
        return abs(sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in _edges(self.outline))) / 2


class Areas(NamedTuple):
    """Area of the outline, the openings taken off and those too small to be, and what is left. [m2]"""

    gross: float
    deducted: tuple[Opening, ...]
    kept: tuple[Opening, ...]
    net: float


def rectangle(length: float, height: float, openings: Sequence[Opening] = ()) -> WallShape:
    """A wall of `length` x `height`, its lower left corner at (0, 0). Raises QuantityError."""
    if not (length > 0 and height > 0):
        raise QuantityError("it has no area", where="wall", mend="Give a length and a height of more than 0")
    return WallShape(((0.0, 0.0), (length, 0.0), (length, height), (0.0, height)), tuple(openings))


def areas(shape: WallShape, deducted_over: float) -> Areas:
    """Net area: openings of more than `deducted_over` [m2] each are taken off, smaller ones are not."""
    large = tuple(opening for opening in shape.openings if opening.area > deducted_over * (1 + 1e-9))
    small = tuple(opening for opening in shape.openings if opening not in large)
    return Areas(shape.area, large, small, shape.area - sum(opening.area for opening in large))


def transposed(shape: WallShape) -> WallShape:
    """The wall with x and y changed about: vertical planks lie on it as horizontal ones do on the wall itself."""
    turned = [
        Opening(o.name, o.height, o.width, None if o.corner is None else (o.corner[1], o.corner[0]))
        for o in shape.openings
    ]
    return WallShape(tuple((y, x) for x, y in shape.outline), tuple(turned))


def runs(shape: WallShape, band: Interval, window: Interval, gap: float) -> tuple[Interval, ...]:
    """Where a row between the heights of `band` meets the wall, from left to right, within `window` along the wall.

    `gap` [m] stays free at both ends and around openings. A plank that an opening, a slope or a step only notches runs
    through; one whose whole width an opening takes away does not. Openings without a place take nothing away.
    """
    holes = [(x - gap, y - gap, x + w + gap, y + h + gap) for x, y, w, h in _placed(shape)]
    low, high = band
    heights = {y for _, y in shape.outline} | {y for _, bottom, _, top in holes for y in (bottom, top)}
    levels = [low, *sorted(y for y in heights if low < y < high), high]
    found = []
    for bottom, top in pairwise(levels):
        if top - bottom <= TINY:
            continue
        spans = [
            (max(min(left), window[0]) + gap, min(max(right), window[1]) - gap)
            for left, right in _crossings(shape.outline, bottom, top)
        ]
        for x1, y1, x2, y2 in holes:
            if y1 < (bottom + top) / 2 < y2:
                spans = [part for a, b in spans for part in ((a, min(b, x1)), (max(a, x2), b))]
        found += [(a, b) for a, b in spans if b - a > TINY]
    return _merged(found)


def trim_length(shape: WallShape) -> float:
    """Along the outline and around the openings; where an opening stands on the outline there is none. [m]"""
    outline = sum(math.dist(a, b) for a, b in _edges(shape.outline))
    around = sum(2 * (opening.width + opening.height) for opening in shape.openings)
    return outline + around - 2 * sum(_contact(shape.outline, *place) for place in _placed(shape))


def split_lines(extent: float, longest: float) -> tuple[float, ...]:
    """Where a wall of `extent` is split into equal parts of at most `longest`; () where it needs no split. [m]"""
    parts = max(1, math.ceil(extent / longest - 1e-9))
    return tuple(extent * k / parts for k in range(1, parts))


def is_rectangle(shape: WallShape) -> bool:
    """Whether the outline is that of `rectangle`, which its length and height say wholly."""
    return set(shape.outline) == {(0.0, 0.0), (shape.length, 0.0), (shape.length, shape.height), (0.0, shape.height)}


def size(shape: WallShape, system: System) -> str:
    """ "16 ft x 8 ft", or how many corners the outline has."""
    if is_rectangle(shape):
        return f"{format_length(shape.length, system)} x {format_length(shape.height, system)}"
    return f"outline of {len(shape.outline)} corners"


def _edges(outline: Sequence[Point]) -> Iterator[tuple[Point, Point]]:
    return pairwise((*outline, outline[0]))


def _placed(shape: WallShape) -> Iterator[tuple[float, float, float, float]]:
    return ((*o.corner, o.width, o.height) for o in shape.openings if o.corner is not None)


def _crossings(outline: Sequence[Point], low: float, high: float) -> list[tuple[Crossing, Crossing]]:
    """Left and right sides of the wall between two heights with no corner between: each as x at `low` and `high`."""
    middle, sides = (low + high) / 2, []
    for (x1, y1), (x2, y2) in _edges(outline):
        if min(y1, y2) < middle < max(y1, y2):
            slope = (x2 - x1) / (y2 - y1)
            sides.append((x1 + slope * (low - y1), x1 + slope * (high - y1)))
    sides.sort(key=sum)
    return list(zip(sides[::2], sides[1::2], strict=True))


def _merged(spans: Sequence[Interval]) -> tuple[Interval, ...]:
    out: list[Interval] = []
    for a, b in sorted(spans):
        if out and a <= out[-1][1] + TINY:
            out[-1] = (out[-1][0], max(out[-1][1], b))
        else:
            out.append((a, b))
    return tuple(out)


def _contact(outline: Sequence[Point], x: float, y: float, width: float, height: float) -> float:
    """How much of an opening's edge lies on the outline. [m]"""
    total = 0.0
    for (x1, y1), (x2, y2) in _edges(outline):
        if y1 == y2 and min(abs(y1 - y), abs(y1 - y - height)) < TINY:
            total += max(0.0, min(max(x1, x2), x + width) - max(min(x1, x2), x))
        if x1 == x2 and min(abs(x1 - x), abs(x1 - x - width)) < TINY:
            total += max(0.0, min(max(y1, y2), y + height) - max(min(y1, y2), y))
    return total


def _check_outline(outline: Sequence[Point]) -> None:
    if len(outline) < 3 or not all(math.isfinite(x + y) for x, y in outline):
        raise QuantityError("it needs three corners or more", where="wall", mend="Give each as x, y in order")
    edges = list(_edges(outline))
    if any(_cross(*a, *b) for a, b in combinations(edges, 2)):
        raise QuantityError("its outline crosses itself", where="wall", mend="Give the corners in order round the wall")
    if abs(sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in edges)) <= TINY:
        raise QuantityError("it has no area", where="wall", mend="Give a length and a height of more than 0")


def _cross(a: Point, b: Point, c: Point, d: Point) -> bool:
    """Whether the edges ab and cd cross between their ends."""

    def side(p: Point, q: Point, r: Point) -> float:
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    return side(a, b, c) * side(a, b, d) < 0 and side(c, d, a) * side(c, d, b) < 0


def _check_openings(shape: WallShape) -> None:
    for opening in shape.openings:
        if opening.corner is not None and not _inside(shape.outline, opening, opening.corner):
            mend = "Measure its lower left corner from the wall's left end and the floor"
            raise QuantityError("it is not wholly inside the wall", where=f"opening {opening.name}", mend=mend)
    for one, other in combinations(shape.openings, 2):
        if one.corner and other.corner and _overlap(one, one.corner, other, other.corner):
            what = f"it overlaps the opening {other.name}"
            raise QuantityError(what, where=f"opening {one.name}", mend="Check the places, or give them as one opening")
    if sum(opening.area for opening in shape.openings) > shape.area:
        raise QuantityError("its openings are larger than it is", where="wall", mend="Check the units of the openings")


def _inside(outline: Sequence[Point], opening: Opening, corner: Point) -> bool:
    x, low = corner
    high = low + opening.height
    levels = [low, *sorted(y for _, y in outline if low + TINY < y < high - TINY), high]
    return all(
        any(
            max(left) <= x + TINY and x + opening.width <= min(right) + TINY
            for left, right in _crossings(outline, bottom, top)
        )
        for bottom, top in pairwise(levels)
        if top - bottom > TINY
    )


def _overlap(one: Opening, a: Point, other: Opening, b: Point) -> bool:
    apart_x = max(a[0], b[0]) - min(a[0] + one.width, b[0] + other.width)
    apart_y = max(a[1], b[1]) - min(a[1] + one.height, b[1] + other.height)
    return apart_x < -TINY and apart_y < -TINY
