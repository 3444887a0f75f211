"""How far the rows move, and whether the gaps at their ends have room for it.

A row of planks is moved by what its boards gain in moisture, a core of PVC or mineral by warmth. Every figure is a
range over what is known of boards. A *free* row may slide, so that the gaps at both its ends serve; a *pinned* one (a
nail, a bead of glue, a heavy shelf, a pipe) has the one gap at its free end, taken as the smaller. Lengths in m,
movements in mm.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any, Literal, NamedTuple, get_args

import numpy as np

from monitor.basis.times import DAY
from monitor.climate import wood
from monitor.climate.wood import Range
from monitor.config.profile import Board, Profile
from monitor.rules.board.boards import SPREADS, starts_of
from monitor.rules.board.estimates import BoardReading, Bounds, Days
from monitor.rules.frame import Frame

When = Literal[
    "now",
    "at the dry edge of the band",
    "at the damp edge of the band",
    "driest so far",
    "dampest so far",
    "at the cold edge of the band",
    "at the warm edge of the band",
    "coldest so far",
    "warmest so far",
]
Fit = Literal["fits", "may close", "closes"]
WHENS: tuple[When, ...] = get_args(When)
_KINDS: tuple[wood.Row, ...] = get_args(wood.Row)
_MOST_PCT = wood.MOISTURE_RANGE_PCT[1]
_OPPOSITE = (("left", "right"), ("bottom", "top"))


class Row(NamedTuple):
    """The longest unbroken row one way over the wall: how long, the gaps at its two ends, joints in it. [m]"""

    across: bool  # the widths of the planks, not their lengths
    length: float
    gaps: tuple[float, float]
    joints: int

    def room_mm(self, row: wood.Row) -> float:
        """What it may grow. [mm]"""
        return 1000.0 * (sum(self.gaps) if row == "free" else min(self.gaps))


class Movement(NamedTuple):
    """How far one row moves from the installation to `when`: `growth` as a range, negative when it shrinks. [mm]"""

    row: Row
    when: When
    growth: Range[float]

    def fit(self, row: wood.Row) -> Fit:
        """Whether its gaps have room for it."""
        room = self.row.room_mm(row) + 1e-9
        return "fits" if self.growth.high <= room else "closes" if self.growth.low > room else "may close"

    @property
    def to_cover(self) -> float:
        """What the trim must cover, when the row shrinks to one side and its whole gap shows besides. [mm]"""
        return 1000.0 * max(self.row.gaps) + max(-self.growth.low, 0.0)

    @property
    def opening(self) -> Range[float]:
        """A joint of a row that cannot slide: all joints share what it shrinks (low), or one takes it all. [mm]"""
        return Range(max(-self.growth.high, 0.0) / max(self.row.joints, 1), max(-self.growth.low, 0.0))


def rows_of(frame: Frame, gaps_m: Mapping[str, float]) -> tuple[Row, Row]:
    """The longest row along the planks, and the pile of their widths; `gaps_m` as recorded, else the profile's.

    At a transition profile that splits the wall a row has the profile's gap.
    """
    taken, profile = frame.take_off, frame.profile
    upright = taken is not None and taken.lay == "vertical"
    length = frame.job.length if taken is None else taken.shape.length
    height = frame.job.height if taken is None else taken.shape.height
    split = taken if taken is not None and taken.split else None
    usual = profile.wall.edge_gap
    sides = [(gaps_m.get(one, usual), gaps_m.get(other, usual)) for one, other in _OPPOSITE]
    sideways = _longest(length, split.splits_along if split else (), sides[0], usual)
    upwards = _longest(height, split.splits_up if split else (), sides[1], usual)
    flat, tall = _row(profile, *sideways, across=upright), _row(profile, *upwards, across=not upright)
    return (tall, flat) if upright else (flat, tall)


def rows_planned(profile: Profile, length: float, height: float, *, upright: bool = False) -> tuple[Row, Row]:
    """The same before anything is recorded: a wall of this size, split evenly where it is beyond the limits. [m]"""
    gap = (profile.wall.edge_gap, profile.wall.edge_gap)
    flat = _row(profile, length / math.ceil(length / profile.wall.max_length - 1e-9), gap, across=upright)
    tall = _row(profile, height / math.ceil(height / profile.wall.max_height - 1e-9), gap, across=not upright)
    return (tall, flat) if upright else (flat, tall)


def _longest(
    extent: float, lines: tuple[float, ...], outer: tuple[float, float], inner: float
) -> tuple[float, tuple[float, float]]:
    """The longest stretch between the wall's ends and the lines that split it, and its gaps; of two the tighter. [m]"""
    ends = [(0.0, outer[0]), *((line, inner) for line in lines), (extent, outer[1])]
    stretches = [(end - start, (left, right)) for (start, left), (end, right) in pairwise(ends)]
    return max(stretches, key=lambda one: (round(one[0], 6), -min(one[1])))


def _row(profile: Profile, length: float, gaps: tuple[float, float], *, across: bool) -> Row:
    board = profile.board
    pieces = math.ceil(length / (board.face_width if across else max(board.lengths)) - 1e-9)
    return Row(across, length, gaps, max(pieces - 1, 0))


def gaps_of(installs: Iterable[Any]) -> dict[str, float]:
    """The gaps at each edge that the entries of the installation record, later ones over earlier. [m]"""
    found: dict[str, float] = {}
    for entry in installs:
        found |= entry.body.get("gaps_m", {})
    return found


# --- what moves the rows ----------------------------------------------------------------------------------------------


def movements(frame: Frame, rows: tuple[Row, Row], board: BoardReading | None, days: Days) -> tuple[Movement, ...]:
    """Both rows from the installation to now, to the edges of the band and to the record's own extremes."""
    if not wood.moves_with_moisture(frame.profile.board.core):
        return tuple(_warmed(row, *change) for row in rows for change in _warmings(frame, days))
    return tuple(
        Movement(row, when, grown_mm(frame.profile.board, row, gained, open_to))
        for row in rows
        for when, gained, open_to in _gains(frame, board)
    )


def worst(moved: Sequence[Movement], when: When = "now") -> Movement | None:
    """The row that is nearest to closing its gaps by `when`, should something pin it; None where nothing is known."""
    found = [movement for movement in moved if movement.when == when]
    return max(found, key=lambda one: one.growth.high - one.row.room_mm("pinned"), default=None)


def _gains(frame: Frame, board: BoardReading | None) -> Iterator[tuple[When, Bounds, float]]:
    """What the boards have gained by when, and what the sensors leave open of it. [% of dry mass]"""
    open_to = 0.0 if board is None else board.sensor
    if board is not None:
        yield "now", board.gained, open_to
    starts, profile = starts_of(frame), frame.profile
    for when, rh in zip(WHENS[1:3], profile.life.humidity, strict=True):
        there = _balance(profile, rh)
        gained = [after - before for came in starts for after, before in zip(there, came, strict=True)]
        yield when, Bounds(min(gained), gained[1], max(gained)), 0.0
    if board is not None and board.driest is not None and board.dampest is not None:
        yield "driest so far", board.driest.gained, open_to
        yield "dampest so far", board.dampest.gained, open_to


def grown_mm(board: Board, row: Row, gained: Bounds, open_to: float = 0.0) -> Range[float]:
    """How far a row grows with what its boards gained; `open_to` is what the sensors leave open. [% of dry mass]"""
    return _moved(board, row, [(0.0, gained.low - open_to), (0.0, gained.high + open_to)])


def _moved(board: Board, row: Row, changes: Iterable[tuple[float, float]]) -> Range[float]:
    """The least and the most that a row grows by changes (before, after). [% of dry mass -> mm]"""
    per_percent = _per_percent(board, row)
    ends = [each * (after - before) for before, after in changes for each in per_percent]
    return Range(min(ends), max(ends))


def _per_percent(board: Board, row: Row) -> Range[float]:
    """By the low and the high coefficient. [mm per % of dry mass]"""
    low, high = wood.movement_mm(board.core, 1.0, 0.0, 1.0, across=row.across)
    return Range(low * row.length, high * row.length)


def _warmings(frame: Frame, days: Days) -> Iterator[tuple[When, float, float]]:
    """How warm the rows were at the installation and are by when: they follow the room within hours. [degC]"""
    after = days[:0] if frame.start is None else days[(days["day"] >= frame.start // DAY) & ~np.isnan(days["t_mean"])]
    start = float(after["t_mean"][0]) if len(after) else _middle(frame.profile)
    if len(after):
        yield "now", start, float(after["t_mean"][-1])
    for when, edge in zip(WHENS[5:7], frame.profile.life.temperature, strict=True):
        yield when, start, edge
    if len(after):
        yield "coldest so far", start, float(after["t_low"].min())
        yield "warmest so far", start, float(after["t_high"].max())


def _warmed(row: Row, when: When, start: float, end: float) -> Movement:
    moved = wood.thermal_movement_mm(1.0, *(float(np.clip(t, *wood.TEMPERATURE_RANGE_C)) for t in (start, end)))
    return Movement(row, when, Range(min(moved) * row.length, max(moved) * row.length))


def closing_rh(profile: Profile, row: Row, starts: Sequence[Sequence[float]]) -> dict[wood.Row, Range[float]]:
    """The lowest and highest humidity at which the row's gaps would close if it lasted; inf: never.

    `starts`: the moistures that boards may have had when the gaps were left, each by each isotherm. [%, % of dry mass]
    """
    core, t_c, per_percent = profile.board.core, _middle(profile), np.array(_per_percent(profile.board, row))
    grown = np.divide.outer([row.room_mm(kind) for kind in _KINDS], per_percent)
    ends = [
        wood.equilibrium_rh_pct(core, t_c, np.minimum(np.add.outer(grown, before), _MOST_PCT), spread)
        for spread, before in zip(SPREADS, np.transpose(starts), strict=True)
    ]  # by spread, kind of row, growth a percent, start
    lowest, highest = (of(ends, axis=(0, 2, 3)).tolist() for of in (np.min, np.max))
    return {kind: Range(*both) for kind, *both in zip(_KINDS, lowest, highest, strict=True)}


def _middle(profile: Profile) -> float:
    """Of the temperatures in which the wall lives. [degC]"""
    return sum(profile.life.temperature) / 2


# --- while it can still be acted on -----------------------------------------------------------------------------------


class Outlook(NamedTuple):
    """One row, should its boards settle at the damp edge of the wall's band after coming in balance with `from_rh`.

    `growth` and `shrinkage` (to the dry edge, positive) in mm; `gap` that a pinned row needs at its free end, `length`
    to which a pinned row may run with the gap that is planned [m]; `least_rh`: in balance with so much a pinned row
    fits, None where no humidity of the band will do; `closing`: humidities at which the gaps close if they last [%].
    """

    row: Row
    from_rh: float
    growth: Range[float]
    shrinkage: Range[float]
    gap: float
    length: float
    least_rh: float | None
    closing: Mapping[wood.Row, Range[float]]

    def fits(self, row: wood.Row) -> bool:
        """Whether the gaps have room for the most that it may grow."""
        return self.growth.high <= self.row.room_mm(row) + 1e-9


def outlook(
    profile: Profile, row: Row, from_rh: float | None = None, starts: Sequence[Sequence[float]] = ()
) -> Outlook | None:
    """What the wall's band may do to a row; None of a core that moisture does not move. [%RH]

    `starts`: what its boards hold, each by each isotherm, where more is known of it than a humidity. [% of dry mass]
    """
    board, (dry, damp) = profile.board, profile.life.humidity
    if not wood.moves_with_moisture(board.core):
        return None
    start = board.came_at if from_rh is None else from_rh
    holds = starts or [_balance(profile, start)]
    growth = _between(profile, row, holds, damp)
    shrunk = _between(profile, row, holds, dry)
    per_m = growth.high / row.length
    return Outlook(
        row=row,
        from_rh=start,
        growth=growth,
        shrinkage=Range(max(-shrunk.high, 0.0), max(-shrunk.low, 0.0)),
        gap=max(growth.high, 0.0) / 1000.0,
        length=row.room_mm("pinned") / per_m if per_m > 0 else math.inf,
        least_rh=_least_rh(profile, row, (dry, damp)),
        closing=closing_rh(profile, row, holds),
    )


def balanced_rh(profile: Profile, moisture: float) -> float:
    """The humidity that boards of this moisture are in balance with, by the central isotherm. [% of dry mass -> %]"""
    return wood.equilibrium_rh_pct(profile.board.core, _middle(profile), min(moisture, _MOST_PCT), "central")


def _balance(profile: Profile, rh: float) -> list[float]:
    return [wood.equilibrium_pct(profile.board.core, _middle(profile), rh, spread) for spread in SPREADS]


def _between(profile: Profile, row: Row, starts: Sequence[Sequence[float]], to_rh: float) -> Range[float]:
    there = _balance(profile, to_rh)
    return _moved(profile.board, row, [pair for came in starts for pair in zip(came, there, strict=True)])


def _least_rh(profile: Profile, row: Row, band: tuple[float, float]) -> float | None:
    """The least whole %RH of the band that boards may be in balance with for a pinned row to fit at its damp edge."""
    room = row.room_mm("pinned") + 1e-9
    for rh in range(math.ceil(band[0]), math.floor(band[1]) + 1):
        if _between(profile, row, [_balance(profile, float(rh))], band[1]).high <= room:
            return float(rh)
    return None


def outlook_by_warmth(profile: Profile, row: Row) -> tuple[Movement, Movement]:
    """What the band's temperatures may do to a row of PVC or mineral that goes up in the middle of them."""
    cold, warm = profile.life.temperature
    middle = _middle(profile)
    return _warmed(row, WHENS[5], middle, cold), _warmed(row, WHENS[6], middle, warm)
