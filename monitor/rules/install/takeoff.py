"""Take-off: what one wall takes in planks, boxes, adhesive, fasteners and trim, with its arithmetic."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Literal, NamedTuple

from monitor.basis.errors import QuantityError
from monitor.basis.units import System, format_area, format_length
from monitor.config.profile import Profile
from monitor.rules.assessment import Condition
from monitor.rules.install.order import Boxes, Supplies, SupplyRule, boxes, supplies
from monitor.rules.install.rows import Layout, Piece, Plank, RowWidths, Run, Stagger, Stuck, by_run, lay, row_widths
from monitor.rules.install.wall import (
    TINY,
    Areas,
    Interval,
    WallShape,
    areas,
    runs,
    size,
    split_lines,
    transposed,
    trim_length,
)

Lay = Literal["horizontal", "vertical"]

MOST_PARTS = 100  # that a transition profile makes of one wall: more is a slip of the pen, figure ours
LEAST_AREA = 1e-6  # of a wall that openings leave: less is the noise of the arithmetic [m2]


class TakeOffRule(NamedTuple):
    """What the take-off goes by, as a profile has it; lengths in m, shares as 0.10 for 10 %."""

    max_length: float  # of one unbroken run
    max_height: float
    edge_gap: float  # at adjoining walls, floor, ceiling, openings and transition profiles
    extra: float  # beyond the net area, and beyond the length of trim
    stagger: Stagger
    narrow_share: float  # of the face width: a last row narrower than this ...
    narrow_least: float  # ... or than this is balanced
    opening_deducted_over: float  # [m2]
    kerf: float  # of the saw
    damage: float  # planks beyond the cut list
    for_repairs: int  # boxes kept
    supply: SupplyRule


def rule_of(profile: Profile) -> TakeOffRule:
    """The take-off's rule of a profile."""
    wall, figures = profile.wall, profile.take_off
    return TakeOffRule(
        max_length=wall.max_length,
        max_height=wall.max_height,
        edge_gap=wall.edge_gap,
        extra=wall.extra,
        stagger=Stagger(wall.stagger_least, figures.two_down_least),
        narrow_share=figures.narrow_share,
        narrow_least=figures.narrow_least,
        opening_deducted_over=figures.opening_deducted_over,
        kerf=figures.kerf,
        damage=figures.damage,
        for_repairs=figures.for_repairs,
        supply=SupplyRule(
            figures.stud_spacing, figures.bead, figures.bead_apart, figures.cartridge, figures.trim_stick
        ),
    )


def plank_of(profile: Profile) -> Plank:
    """The plank of a profile."""
    return Plank(profile.board.face_width, profile.board.lengths, profile.board.ends)


class Panel(NamedTuple):
    """One unbroken part of the wall: where it lies along and up the wall [m], and its rows."""

    along: Interval
    up: Interval
    rows: RowWidths


class TakeOff(NamedTuple):
    """All that the take-off found. `layout` is None where no layout keeps the stagger: `stagger` then says so."""

    shape: WallShape
    plank: Plank
    lay: Lay
    rule: TakeOffRule
    areas: Areas
    panels: tuple[Panel, ...]
    splits_along: tuple[float, ...]
    splits_up: tuple[float, ...]
    layout: Layout | None
    stagger: Condition
    boxes: Boxes
    supplies: Supplies


def take_off(
    shape: WallShape, plank: Plank, rule: TakeOffRule, *, direction: Lay = "horizontal", system: System = "us"
) -> TakeOff:
    """Rows, cut list, boxes and supplies of a wall; `system` is that of the sentence about the stagger.

    Raises QuantityError where nothing of the wall is left within the gaps, or where it would be split beyond reason.
    """
    found = areas(shape, rule.opening_deducted_over)
    along, up = split_lines(shape.length, rule.max_length), split_lines(shape.height, rule.max_height)
    if (len(along) + 1) * (len(up) + 1) > MOST_PARTS:
        what = f"it would be {(len(along) + 1) * (len(up) + 1)} unbroken parts"
        raise QuantityError(what, where="wall", mend="Check the units of its measures, or take it off part by part")
    panels = tuple(_panels(shape, plank, rule, direction, along, up))
    all_runs = list(_runs(shape, panels, direction, rule.edge_gap))
    if found.net <= LEAST_AREA or not all_runs:
        raise _nothing_left("and the openings")
    laid = lay(all_runs, plank, rule.stagger, rule.kerf)
    layout = laid if isinstance(laid, Layout) else None
    lengths = [piece.length for piece in layout.pieces] if layout else [run.end - run.start for run in all_runs]
    transition = len(along) * shape.height + len(up) * shape.length
    return TakeOff(
        shape,
        plank,
        direction,
        rule,
        found,
        panels,
        along,
        up,
        layout,
        _stagger(laid, rule.stagger, len(panels), system),
        boxes(
            found.net,
            layout.stock.planks if layout else None,
            plank,
            extra=rule.extra,
            damage=rule.damage,
            for_repairs=rule.for_repairs,
        ),
        supplies(found.net, lengths, trim_length(shape), transition, rule.extra, rule.supply),
    )


def _panels(
    shape: WallShape, plank: Plank, rule: TakeOffRule, direction: Lay, along: Sequence[float], up: Sequence[float]
) -> Iterator[Panel]:
    left, floor = min(x for x, _ in shape.outline), min(y for _, y in shape.outline)
    narrowest = max(rule.narrow_share * plank.face_width, rule.narrow_least)
    for low, high in pairwise((0.0, *up, shape.height)):
        for start, end in pairwise((0.0, *along, shape.length)):
            net = (high - low if direction == "horizontal" else end - start) - 2 * rule.edge_gap
            if net <= 0:
                raise _nothing_left()
            rows = row_widths(net, plank.face_width, narrowest=narrowest)
            yield Panel((left + start, left + end), (floor + low, floor + high), rows)


def _nothing_left(beside: str = "") -> QuantityError:
    what = f"nothing of it is left between the gaps{beside and ' '}{beside}"
    return QuantityError(what, where="wall", mend="Check the measures and the gap")


def _runs(shape: WallShape, panels: Sequence[Panel], direction: Lay, gap: float) -> Iterator[Run]:
    """The runs of every panel, the first row first; with vertical planks a row stands, and the first is at the left."""
    turned = shape if direction == "horizontal" else transposed(shape)
    for number, panel in enumerate(panels):
        window, rising = (panel.along, panel.up) if direction == "horizontal" else (panel.up, panel.along)
        low = rising[0] + gap
        for row, width in enumerate(panel.rows.widths):
            for start, end in runs(turned, (low, low + width), window, gap):
                yield Run(number, row, width, start, end)
            low += width


def _stagger(laid: Layout | Stuck, rule: Stagger, panels: int, system: System) -> Condition:
    least = format_length(rule.least, system)
    if isinstance(laid, Stuck):
        place = f"row {laid.run.row + 1}" + (f" of part {laid.run.panel + 1}" if panels > 1 else "")
        evidence = (
            f"no layout was found that keeps every joint {least} from all joints of the row before, off the joints two "
            f"rows before, and end pieces at least {least} long: the search came no further than {place}. "
            "Take planks of another length or the other direction, or a smaller stagger if the maker allows it"
        )
        return Condition("stagger", "fail", evidence)
    cut = [run for run in by_run(laid.pieces) if len(run) > 1]
    if not cut:
        return Condition("stagger", "pass", "no run has a joint: each is one piece")
    ends = format_length(min(min(run[0].length, run[-1].length) for run in cut), system)
    distance = _least_distance(cut)
    beside = (
        "no two neighbouring rows have joints"
        if distance is None
        else (f"joints of neighbouring rows are {format_length(distance, system)} apart or more")
    )
    evidence = f"{beside}, none stands over one two rows before, end pieces are {ends} or more ({least} asked)"
    return Condition("stagger", "pass", evidence)


def _least_distance(cut: Sequence[Sequence[Piece]]) -> float | None:
    """Between the joints of neighbouring rows; None where there are no two such joints. [m]"""
    joints: dict[tuple[int, int], list[float]] = {}
    for run in cut:
        joints.setdefault((run[0].panel, run[0].row), []).extend(piece.start for piece in run[1:])
    apart = [
        abs(here - under)
        for (panel, row), found in joints.items()
        for here in found
        for under in joints.get((panel, row - 1), ())
    ]
    return min(apart, default=None)


def workings(result: TakeOff, units: System) -> list[str]:
    """The arithmetic, a line a step, in feet and inches ("us") or metres ("si")."""
    return [
        *_area_lines(result, units),
        *_split_lines(result, units),
        *(line for panel in result.panels for line in _row_lines(result, panel, units)),
        f"Stagger: {result.stagger.evidence}",
        *_cut_lines(result, units),
        *_box_lines(result, units),
        *_supply_lines(result, units),
    ]


def cut_list(result: TakeOff, units: System) -> list[str]:
    """Every run from the first row up, with its pieces from left to right, and what those that are cut are cut from."""
    lines = []
    for run in by_run(result.layout.pieces if result.layout else ()):
        part = f"Part {run[0].panel + 1}, row" if len(result.panels) > 1 else "Row"
        pieces = " + ".join(format_length(piece.length, units) + _source(piece, units) for piece in run)
        width = format_length(run[0].width, units)
        lines.append(f"{part} {run[0].row + 1}, {width} wide, from {format_length(run[0].start, units)}: {pieces}")
    return lines


def _source(piece: Piece, units: System) -> str:
    if not piece.off_cut and piece.source - piece.length <= TINY:
        return ""
    return f" (of {'an off-cut' if piece.off_cut else 'a plank'} of {format_length(piece.source, units)})"


def _area_lines(result: TakeOff, units: System) -> Iterator[str]:
    found, over = result.areas, format_area(result.rule.opening_deducted_over, units)
    yield f"Wall: {size(result.shape, units)} = {format_area(found.gross, units)}"
    for opening in result.shape.openings:
        measures = f"{format_length(opening.width, units)} x {format_length(opening.height, units)}"
        taken = "taken off" if opening in found.deducted else f"not taken off, for it is not over {over}"
        unplaced = "" if opening.corner else "; its place is not given, so the cut list runs across it"
        yield f"Opening {opening.name}: {measures} = {format_area(opening.area, units)}, {taken}{unplaced}"
    if found.deducted:
        less = "".join(f" - {format_area(opening.area, units)}" for opening in found.deducted)
        yield f"Net area: {format_area(found.gross, units)}{less} = {format_area(found.net, units)}"


def _split_lines(result: TakeOff, units: System) -> Iterator[str]:
    shape, rule = result.shape, result.rule
    for word, extent, most, lines, origin in (
        ("long", shape.length, rule.max_length, result.splits_along, "the left end"),
        ("high", shape.height, rule.max_height, result.splits_up, "the floor"),
    ):
        if lines:
            places = " and ".join(format_length(line, units) for line in lines)
            yield (
                f"Split: {format_length(extent, units)} {word} is more than {format_length(most, units)}, so part it "
                f"with a transition profile at {places} from {origin}: {len(lines) + 1} runs, each laid for itself"
            )


def _row_lines(result: TakeOff, panel: Panel, units: System) -> Iterator[str]:
    rows, face, gap = panel.rows, result.plank.face_width, result.rule.edge_gap
    name = f"Part {result.panels.index(panel) + 1}: n" if len(result.panels) > 1 else "N"
    side = "height" if result.lay == "horizontal" else "length"
    net, left = format_length(rows.net, units), format_length(rows.left, units)
    gross = format_length(rows.net + 2 * gap, units)
    yield f"{name}et {side}: {gross} - 2 x {format_length(gap, units)} gap = {net}"
    fit = f"Rows: {net} / {format_length(face, units)} = {rows.full} full"
    if not rows.left:
        yield f"{fit}, nothing left: {_count(len(rows.widths), 'row')}"
    elif rows.balanced:
        yield (
            f"{fit} and {left} left, narrower than {format_length(rows.narrowest, units)}: first and last ripped to "
            f"({format_length(face, units)} + {left}) / 2 = {format_length(rows.widths[0], units)}, "
            f"{rows.full - 1} full between: {len(rows.widths)} rows"
        )
    else:
        yield f"{fit} and {left} left: {_count(len(rows.widths), 'row')}, the last ripped to {left}"


def _cut_lines(result: TakeOff, units: System) -> Iterator[str]:
    if result.layout is None:
        return
    stock = result.layout.stock
    planks = " + ".join(f"{count} x {format_length(length, units)}" for length, count in stock.planks.items() if count)
    whole = sum(length * count for length, count in stock.planks.items())
    pieces, scrap = sum(p.length for p in result.layout.pieces), sum(cut.length for cut in stock.off_cuts)
    yield (
        f"Cut list: {len(result.layout.pieces)} pieces {format_length(pieces, units)} + saw cuts "
        f"{format_length(stock.dust, units)} + scrap {format_length(scrap, units)} = {planks} planks = "
        f"{format_length(whole, units)}"
    )


def _box_lines(result: TakeOff, units: System) -> Iterator[str]:
    found, rule, plank = result.boxes, result.rule, result.plank
    yield (
        f"Boxes by area: {format_area(result.areas.net, units)} + {rule.extra:.0%} extra, "
        f"/ {format_area(plank.box_area, units)} a box = {found.by_area:.3f}"
    )
    if found.by_cuts is None:
        yield "Boxes by cut list: there is none, the area alone decides"
    else:
        yield f"Boxes by cut list: {_planks(result)} + {rule.damage:.0%} for damage = {found.by_cuts:.3f}"
    spare = "" if found.spare_planks is None else f", or {found.spare_planks} planks of the cut list"
    yield (
        f"Boxes: the larger, rounded up = {found.needed}; spare {format_area(found.spare_area, units)}{spare}; "
        f"{found.for_repairs} more kept for repairs: order {found.order}"
    )


def _planks(result: TakeOff) -> str:
    """ "45 planks / 8 a box", or the like for the length that runs out first."""
    stock = result.layout.stock.planks if result.layout else {}
    length = max(stock, key=lambda whole: stock[whole] / result.plank.in_a_box[whole])
    return f"{stock[length]} planks / {result.plank.in_a_box[length]} a box"


def _supply_lines(result: TakeOff, units: System) -> Iterator[str]:
    found, rule = result.supplies, result.rule.supply
    apart = format_length(rule.bead_apart, units)
    yield (
        f"Adhesive: {format_area(result.areas.net, units)} / {apart} between beads = "
        f"{format_length(found.bead_length, units)} of {format_length(rule.bead, units)} bead = "
        f"{_count(found.cartridges, 'cartridge')} of {rule.cartridge * 1e6:.0f} ml"
    )
    spacing = format_length(rule.stud_spacing, units)
    across = "studs" if result.lay == "horizontal" else "furring or blocking (standing planks need it)"
    yield f"Fasteners: at both ends of each piece and at {across} {spacing} apart = {found.fasteners}"
    stick, extra = format_length(rule.trim_stick, units), f"{result.rule.extra:.0%}"
    for name, length, sticks in (
        ("Trim", found.trim, found.trim_sticks),
        ("Transition profile", found.transition, found.transition_sticks),
    ):
        if length:
            yield f"{name}: {format_length(length, units)} + {extra} extra, / {stick} = {_count(sticks, 'stick')}"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
