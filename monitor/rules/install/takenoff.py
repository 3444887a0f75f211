"""The take-off as the log holds it: the wall it was made of, what it came to, and whether the wall is to be split."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

from monitor.basis.units import System, format_length
from monitor.basis.values import Entry, Kind
from monitor.config.profile import Wall
from monitor.rules.assessment import Condition
from monitor.rules.install.wall import TINY, Opening, WallShape, is_rectangle, rectangle, split_lines

if TYPE_CHECKING:  # reckoning a wall anew is not what a status does
    from monitor.rules.install.takeoff import Lay, TakeOff


class TakenOff(NamedTuple):
    """What an entry says. `splits_along` and `splits_up` are where the wall is parted [m], if it is to be `split`.

    `order` is how many boxes it asks for; `profile` the SHA-256 of the profile it went by.
    """

    shape: WallShape
    lay: Lay
    split: bool
    splits_along: tuple[float, ...]
    splits_up: tuple[float, ...]
    order: int
    profile: str


def taken_off(entries: Iterable[Entry]) -> TakenOff | None:
    """The take-off that stands: the last one written; None where there is none."""
    last = max(
        (entry for entry in entries if entry.kind is Kind.TAKE_OFF), key=lambda entry: entry.number, default=None
    )
    if last is None:
        return None
    body = last.body
    return TakenOff(
        shape=_shape(body),
        lay=body["lay"],
        split=body["split"],
        splits_along=tuple(body["splits_along_m"]),
        splits_up=tuple(body["splits_up_m"]),
        order=body["boxes_to_order"],
        profile=body["profile_sha256"],
    )


def _shape(body: Mapping[str, Any]) -> WallShape:
    openings = tuple(
        Opening(one["name"], one["width_m"], one["height_m"], (one["x_m"], one["y_m"]) if "x_m" in one else None)
        for one in body["openings"]
    )
    if "outline_m" in body:
        return WallShape(tuple((x, y) for x, y in body["outline_m"]), openings)
    return rectangle(body["length_m"], body["height_m"], openings)


def body_of(result: TakeOff, *, split: bool, profile: str) -> dict[str, Any]:
    """A take-off as an entry of the log says it: JSON-safe, lengths in m, areas in m2; `profile` is its SHA-256."""
    shape, boxes = result.shape, result.boxes
    outline = {} if is_rectangle(shape) else {"outline_m": [list(corner) for corner in shape.outline]}
    return {
        "length_m": shape.length,
        "height_m": shape.height,
        **outline,
        "openings": [_opening(opening) for opening in shape.openings],
        "lay": result.lay,
        "gross_m2": result.areas.gross,
        "net_m2": result.areas.net,
        "split": split,
        "splits_along_m": list(result.splits_along),
        "splits_up_m": list(result.splits_up),
        "rows": [len(panel.rows.widths) for panel in result.panels],
        "planks": _planks(result),
        "boxes_needed": boxes.needed,
        "boxes_for_repairs": boxes.for_repairs,
        "boxes_to_order": boxes.order,
        "profile_sha256": profile,
    }


def _opening(opening: Opening) -> dict[str, Any]:
    said: dict[str, Any] = {"name": opening.name, "width_m": opening.width, "height_m": opening.height}
    return said if opening.corner is None else {**said, "x_m": opening.corner[0], "y_m": opening.corner[1]}


def _planks(result: TakeOff) -> list[dict[str, Any]] | None:
    """How many planks of each length the cut list takes; None where there is no cut list."""
    if result.layout is None:
        return None
    return [{"length_m": length, "count": count} for length, count in result.layout.stock.planks.items()]


def full_json(result: TakeOff, *, split: bool, profile: str) -> dict[str, Any]:
    """All of a take-off for machines: what the log holds, and the stagger, every piece and the supplies besides."""
    layout = result.layout
    return {
        **body_of(result, split=split, profile=profile),
        "row_widths_m": [list(panel.rows.widths) for panel in result.panels],
        "stagger": result.stagger.to_json(),
        "boxes_by_area": result.boxes.by_area,
        "boxes_by_cut_list": result.boxes.by_cuts,
        "pieces": [
            {
                "part": piece.panel + 1,
                "row": piece.row + 1,
                "width_m": piece.width,
                "start_m": piece.start,
                "length_m": piece.length,
                "cut_from_m": piece.source,
                "off_cut": piece.off_cut,
            }
            for piece in (layout.pieces if layout else ())
        ],
        "saw_cuts_m": layout.stock.dust if layout else None,
        "scrap_m": sum(cut.length for cut in layout.stock.off_cuts) if layout else None,
        "supplies": {
            "adhesive_cartridges": result.supplies.cartridges,
            "fasteners": result.supplies.fasteners,
            "trim_m": result.supplies.trim,
            "trim_sticks": result.supplies.trim_sticks,
            "transition_m": result.supplies.transition,
            "transition_sticks": result.supplies.transition_sticks,
        },
    }


def size_condition(length: float, height: float, taken: TakenOff | None, limits: Wall, system: System) -> Condition:
    """Whether the wall, or each part of one that is split as its take-off proposes, is inside the limits. [m]"""
    name = "wall size"
    if taken is not None:
        length, height = taken.shape.length, taken.shape.height
    split = taken if taken is not None and taken.split else None
    sides = (
        ("long", length, limits.max_length, split.splits_along if split else (), "the left end"),
        ("high", height, limits.max_height, split.splits_up if split else (), "the floor"),
    )
    beyond = [side for side in sides if _longest(side[1], side[3]) > side[2] + TINY]
    if beyond:
        which = " and ".join(side[0] for side in beyond)
        where = places([(split_lines(side[1], side[2]), side[4]) for side in beyond], system)
        return Condition(name, "fail", f"too {which} for one unbroken run; split it with a transition profile {where}")
    lines = [(side[3], side[4]) for side in sides if side[3]]
    if lines:
        evidence = f"split with a transition profile {places(lines, system)}, each part inside the limits"
        return Condition(name, "pass", evidence)
    return Condition(name, "pass", "inside the limits for one unbroken run")


def _longest(extent: float, lines: Sequence[float]) -> float:
    return max(end - start for start, end in pairwise((0.0, *lines, extent)))


def places(lines: Iterable[tuple[Sequence[float], str]], system: System) -> str:
    """ "at 25 ft from the left end and at 6 ft from the floor"."""
    return " and ".join(
        f"at {' and '.join(format_length(line, system) for line in found)} from {origin}" for found, origin in lines
    )
