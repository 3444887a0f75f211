"""What to order: boxes of planks, adhesive, fasteners and trim. Every count is rounded up, once, at the end."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import NamedTuple

from monitor.rules.install.rows import Plank

_NOISE = 1e-9  # a count this little above a whole one is that one


class Boxes(NamedTuple):
    """How many boxes, by the area rule and by the cut list (None where there is none), neither rounded.

    `needed` is the larger, rounded up; `order` has those kept for repairs besides. `spare_area` [m2] is what `needed`
    covers beyond the net area; `spare_planks` are those of it that the cut list leaves whole.
    """

    by_area: float
    by_cuts: float | None
    needed: int
    for_repairs: int
    spare_area: float
    spare_planks: int | None

    @property
    def order(self) -> int:
        """Boxes to order, those kept for repairs with them."""
        return self.needed + self.for_repairs


class SupplyRule(NamedTuple):
    """How adhesive, fasteners and trim are counted."""

    stud_spacing: float  # [m]
    bead: float  # across a round bead of adhesive [m]
    bead_apart: float  # from bead to bead [m]
    cartridge: float  # of adhesive [m3]
    trim_stick: float  # [m]


class Supplies(NamedTuple):
    """Cartridges of adhesive for `bead_length` [m], fasteners, and sticks for `trim` and `transition` lengths [m]."""

    bead_length: float
    cartridges: int
    fasteners: int
    trim: float
    trim_sticks: int
    transition: float
    transition_sticks: int


def boxes(
    net_area: float, planks: Mapping[float, int] | None, plank: Plank, *, extra: float, damage: float, for_repairs: int
) -> Boxes:
    """The larger of two counts: net area [m2] with `extra`, and the cut list's `planks` by length with `damage`.

    `extra` and `damage` are shares, 0.10 for 10 %. With random lengths the length that runs out first decides.
    """
    by_area = net_area * (1 + extra) / plank.box_area
    by_cuts = None
    if planks is not None:
        by_cuts = max(planks.get(length, 0) * (1 + damage) / count for length, count in plank.in_a_box.items())
    needed = rounded_up(max(by_area, by_cuts or 0.0))
    spare = None if planks is None else needed * len(plank.lengths) - sum(planks.values())
    return Boxes(by_area, by_cuts, needed, for_repairs, needed * plank.box_area - net_area, spare)


def supplies(
    net_area: float, lengths: Iterable[float], trim: float, transition: float, extra: float, rule: SupplyRule
) -> Supplies:
    """Adhesive for `net_area` [m2], fasteners for pieces of `lengths` [m], trim and transition profile with `extra`.

    A piece is fastened at both ends and wherever a stud passes between.
    """
    bead_length = net_area / rule.bead_apart
    return Supplies(
        bead_length,
        rounded_up(bead_length * math.pi / 4 * rule.bead**2 / rule.cartridge),
        sum(rounded_up(length / rule.stud_spacing) + 1 for length in lengths),
        trim,
        rounded_up(trim * (1 + extra) / rule.trim_stick),
        transition,
        rounded_up(transition * (1 + extra) / rule.trim_stick),
    )


def rounded_up(count: float) -> int:
    """The next whole number; the arithmetic's own noise does not add one."""
    return math.ceil(count - _NOISE)
