"""Rows of planks and where their joints fall: row widths, the stagger rule, and the planks and off-cuts it takes.

A row is laid from the left. Planks of end-matched boards have a left and a right end profile: a row's first piece needs
its right one, the last its left one, those between both. So what is cut off at the right end of a row, which keeps its
right profile, can start another row, and what is cut off at the left end can end one. Planks are cut across before they
are ripped, so off-cuts have their full width. All lengths in m.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import takewhile
from typing import Literal, NamedTuple

from monitor.basis.errors import QuantityError
from monitor.rules.install.wall import TINY

Joint = Literal["end-matched", "square"]
End = Literal["left", "right", "none"]

TRIES = 20_000  # beginnings of a row that are looked at before the search is given up: a second or less


@dataclass(frozen=True)
class Plank:
    """A kind of plank. `lengths` names every plank of one box, so a box of random lengths is a list of unequal ones.

    `face_width` is what shows: without the tongue. Raises QuantityError for a plank that can't be.
    """

    face_width: float
    lengths: tuple[float, ...]
    joint: Joint = "end-matched"

    def __post_init__(self) -> None:
        if not 0.01 <= self.face_width <= 2.0:
            what = f"its face width is {self.face_width:g} m"
            raise QuantityError(what, where="plank", mend="Give the width that shows, without the tongue, 1 cm to 2 m")
        if not self.lengths or not all(0.1 <= length <= 10.0 for length in self.lengths):
            what = f"its lengths are {', '.join(f'{length:g}' for length in self.lengths) or 'missing'} (m)"
            raise QuantityError(what, where="plank", mend="Give the length of each plank of a box, 10 cm to 10 m")

    @cached_property
    def in_a_box(self) -> Mapping[float, int]:
        """How many planks of each length a box holds, the longest first."""
        return dict(sorted(Counter(self.lengths).items(), reverse=True))

    @property
    def box_area(self) -> float:
        """What a box covers. [m2]"""
        return self.face_width * sum(self.lengths)


class RowWidths(NamedTuple):
    """The rows over a net height: `full` whole ones fit and `left` remains; `widths` from the first row to the last."""

    net: float
    full: int
    left: float
    narrowest: float
    balanced: bool
    widths: tuple[float, ...]


class Stagger(NamedTuple):
    """`least` between a joint and all joints of the row below, and of end pieces.

    A joint less than `two_down` beside a joint two rows down counts as standing over it.
    """

    least: float
    two_down: float

    @property
    def shortest(self) -> float:
        """The shortest end piece: `least`, but even where that is nothing no less than a millimetre."""
        return max(self.least, 0.001)


class Run(NamedTuple):
    """An unbroken stretch of a row, from `start` to `end` along the wall, ripped to `width`."""

    panel: int
    row: int
    width: float
    start: float
    end: float


class Piece(NamedTuple):
    """A piece of a run, and what it is cut from: a plank (or the whole of it) or an off-cut of the length `source`."""

    panel: int
    row: int
    width: float
    start: float
    length: float
    source: float
    off_cut: bool


class OffCut(NamedTuple):
    """What is left of a plank, and which end profile it still has."""

    length: float
    end: End


class Stock(NamedTuple):
    """Planks taken so far, by length, off-cuts that lie about, and what the saw has turned to dust."""

    planks: Mapping[float, int]
    off_cuts: tuple[OffCut, ...] = ()
    dust: float = 0.0


class Layout(NamedTuple):
    """Every piece of the wall, and what they were cut from: pieces + dust + off-cuts left = planks x their lengths."""

    pieces: tuple[Piece, ...]
    stock: Stock


class Stuck(NamedTuple):
    """No layout was found: the furthest run that the search came to."""

    run: Run


class _Step(NamedTuple):
    run: Run
    joints: tuple[float, ...]
    pieces: tuple[Piece, ...]
    stock: Stock


def row_widths(net: float, face: float, *, narrowest: float) -> RowWidths:
    """Rows of `face` over a `net` height; a last one narrower than `narrowest` is balanced.

    Then the first and the last are ripped to (face + what is left) / 2, with one full row fewer between. A height below
    one row is one ripped row. Lengths in m.
    """
    full = math.floor((net + TINY) / face)
    left = max(0.0, net - full * face)
    left = 0.0 if left <= TINY else left
    balanced = full > 0 and 0 < left < narrowest - TINY
    if balanced:
        ripped = (face + left) / 2
        widths = (ripped, *(face,) * (full - 1), ripped)
    else:
        widths = (face,) * full + ((left,) if left else ())
    return RowWidths(net, full, left, narrowest, balanced, widths)


def lay(runs: Sequence[Run], plank: Plank, stagger: Stagger, kerf: float) -> Layout | Stuck:
    """Pieces for all `runs`, given from the first row up, or Stuck where the stagger can't be kept.

    Where a run can't be filled, the search goes back to the one before; it looks at some TRIES beginnings of a run in
    all, so it always ends.
    """
    stock = Stock(dict.fromkeys(plank.in_a_box, 0))
    done: list[_Step] = []
    choices: list[Iterator[_Step | None]] = []
    furthest = 0
    for _ in range(TRIES + len(runs)):
        here = len(done)
        if here == len(runs):
            return Layout(tuple(piece for step in done for piece in step.pieces), done[-1].stock if done else stock)
        if here == len(choices):
            choices.append(_choices(runs[here], done, done[-1].stock if done else stock, plank, stagger, kerf))
        furthest = max(furthest, here)
        step = next(choices[here], "no more")
        if isinstance(step, _Step):
            done.append(step)
        elif step is not None:
            choices.pop()
            if not done:
                break
            done.pop()
    return Stuck(runs[furthest])


def by_run(pieces: Sequence[Piece]) -> list[list[Piece]]:
    """The pieces of each run, from left to right: those of a row that meet end to end."""
    found: list[list[Piece]] = []
    for piece in pieces:
        last = found[-1][-1] if found else None
        if last and last[:2] == piece[:2] and abs(last.start + last.length - piece.start) <= TINY:
            found[-1].append(piece)
        else:
            found.append([piece])
    return found


def _choices(
    run: Run, done: Sequence[_Step], stock: Stock, plank: Plank, stagger: Stagger, kerf: float
) -> Iterator[_Step | None]:
    """Ways to fill a run that keep the stagger, the most sparing first; a None for each that was looked at in vain."""
    if run.end - run.start <= max(plank.lengths) + TINY:
        after, source, off_cut = _cut(stock, run.end - run.start, "none", plank, kerf)
        yield _Step(run, (), (Piece(*run[:4], run.end - run.start, source, off_cut),), after)
        return
    below, two_down = _joints_under(run, done, 1), _joints_under(run, done, 2)
    for first in _first_lengths(run, below, two_down, stock, plank, stagger):
        for lengths in _fillings(run, first, below, two_down, stock, plank, stagger):
            yield None if lengths is None else _taken(run, lengths, stock, plank, kerf)


def _joints_under(run: Run, done: Sequence[_Step], rows: int) -> list[float]:
    at = (run.panel, run.row - rows)
    near = takewhile(lambda step: (step.run.panel, step.run.row) >= at, reversed(done))  # runs come in order
    return sorted(joint for step in near if (step.run.panel, step.run.row) == at for joint in step.joints)


def _first_lengths(
    run: Run, below: Sequence[float], two_down: Sequence[float], stock: Stock, plank: Plank, stagger: Stagger
) -> list[float]:
    """Lengths of a first piece worth a try, the most sparing first.

    Off-cuts as they lie, whole planks, and every length at which some joint or the end piece just keeps its distance:
    with planks of one length, one of these is allowed if any length is.
    """
    starters = sorted(cut.length for cut in stock.off_cuts if _suits(cut, "right", plank))
    length_of_run = run.end - run.start
    edges = [stagger.shortest, length_of_run - stagger.shortest]
    edges += [joint - run.start + side * stagger.least for joint in below for side in (-1, 1)]
    edges += [joint - run.start + side * stagger.two_down for joint in two_down for side in (-1, 1)]
    longest = max(plank.lengths)
    found = {*starters, *plank.in_a_box}
    found |= {edge - whole * math.floor(edge / whole) for edge in edges for whole in plank.in_a_box}
    found |= {length_of_run - whole * math.floor(length_of_run / whole) for whole in plank.in_a_box}
    allowed = {round(s, 9): s for s in found if stagger.shortest - TINY <= s <= longest + TINY}

    def waste(s: float) -> float:
        at = bisect_left(starters, s - TINY)
        return starters[at] - s if at < len(starters) else longest + (longest - s)

    return sorted(allowed.values(), key=lambda s: (waste(s), -s))


def _fillings(
    run: Run,
    first: float,
    below: Sequence[float],
    two_down: Sequence[float],
    stock: Stock,
    plank: Plank,
    stagger: Stagger,
) -> Iterator[tuple[float, ...] | None]:
    """Lengths of the pieces of a run that begins with `first`; a None for each beginning that leads nowhere.

    Of several beginnings that come to the same joint, what follows is the same, so only one is gone on with.
    """
    longest = max(plank.lengths)
    started: list[tuple[tuple[float, ...], float]] = [((first,), run.start + first)]
    seen: set[float] = set()
    while started:
        lengths, joint = started.pop()
        rest = run.end - joint
        known = round(joint, 6) in seen
        seen.add(round(joint, 6))
        if (
            known
            or rest < stagger.shortest - TINY
            or not _clear(joint, below, stagger.least)
            or not _clear(joint, two_down, stagger.two_down)
        ):
            yield None
        elif rest <= longest + TINY:
            yield (*lengths, rest)
        else:
            order = sorted(plank.in_a_box, key=lambda whole: _share(whole, stock, plank, lengths), reverse=True)
            started += [((*lengths, whole), joint + whole) for whole in order]


def _share(whole: float, stock: Stock, plank: Plank, also: Sequence[float] = ()) -> tuple[float, float]:
    """How much of the boxes' planks of this length is taken: the least is taken next, so that boxes empty evenly."""
    return (stock.planks[whole] + also.count(whole)) / plank.in_a_box[whole], -whole


def _clear(joint: float, others: Sequence[float], least: float) -> bool:
    at = bisect_left(others, joint)
    return all(abs(joint - other) >= least - TINY for other in others[max(0, at - 1) : at + 1])


def _taken(run: Run, lengths: Sequence[float], stock: Stock, plank: Plank, kerf: float) -> _Step:
    """The run's pieces, cut from off-cuts where their profile allows, else from planks."""
    pieces: list[Piece] = []
    start = run.start
    for number, length in enumerate(lengths):
        source, off_cut = length, False
        if number == 0:
            stock, source, off_cut = _cut(stock, length, "right", plank, kerf)
        elif number == len(lengths) - 1:
            stock, source, off_cut = _cut(stock, length, "left", plank, kerf)
        else:
            stock = _one_more(stock, length)
        pieces.append(Piece(*run[:3], start, length, source, off_cut))
        start += length
    return _Step(run, tuple(piece.start for piece in pieces[1:]), tuple(pieces), stock)


def _cut(stock: Stock, length: float, needs: End, plank: Plank, kerf: float) -> tuple[Stock, float, bool]:
    """Cut `length` with the end profile it `needs`, from the smallest off-cut that will do or from a plank.

    The stock after it, the length of what was cut, and whether that was an off-cut.
    """
    fitting = [cut for cut in stock.off_cuts if cut.length >= length - TINY and _suits(cut, needs, plank)]
    if fitting:
        used = min(fitting)
        cuts = list(stock.off_cuts)
        cuts.remove(used)
        stock = stock._replace(off_cuts=tuple(cuts))
        keeps: End = used.end if needs == "none" else "none"
        return _rest(stock, used.length - length, keeps, kerf), used.length, True
    wholes = [whole for whole in plank.in_a_box if whole >= length - TINY]
    used_up = min(wholes, key=lambda whole: (whole > length + TINY, _share(whole, stock, plank)))
    keeps = "left" if needs == "right" else "right"
    return _rest(_one_more(stock, used_up), used_up - length, keeps, kerf), used_up, False


def _suits(cut: OffCut, needs: End, plank: Plank) -> bool:
    return plank.joint == "square" or needs in ("none", cut.end)


def _one_more(stock: Stock, whole: float) -> Stock:
    return stock._replace(planks={**stock.planks, whole: stock.planks[whole] + 1})


def _rest(stock: Stock, rest: float, keeps: End, kerf: float) -> Stock:
    """The stock after a cut that leaves `rest`, the saw's own width included."""
    if rest <= TINY:
        return stock
    dust = min(rest, kerf)
    left = (OffCut(rest - dust, keeps),) if rest - dust > TINY else ()
    return stock._replace(off_cuts=stock.off_cuts + left, dust=stock.dust + dust)
