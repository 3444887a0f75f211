"""Boxes, boards and rows at the desk: what is computed of them for the screens and pages, and what is told in time."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple, cast

import numpy as np

from monitor.basis.times import DAY, HOUR
from monitor.basis.units import System
from monitor.basis.values import Entry, Kind, Quantity
from monitor.climate import wood
from monitor.rules.assessment import Assessment
from monitor.rules.board.boards import measured_moistures, starts_of
from monitor.rules.board.consequences import effects, season_ahead
from monitor.rules.board.cores import LEAST_KNOWN, evening_out
from monitor.rules.board.estimates import Bounds
from monitor.rules.board.hours import hours_heard
from monitor.rules.board.movement import (
    Row,
    balanced_rh,
    closing_rh,
    gaps_of,
    movements,
    outlook,
    outlook_by_warmth,
    rows_of,
    rows_planned,
)
from monitor.rules.frame import Frame, effective
from monitor.rules.replay import heard
from monitor.rules.timeline import spans_of
from monitor.tell.boards import outlook_lines, pinned_line, starts_from, warmth_lines
from monitor.tell.views import BoardView, Lying
from monitor.watch.desk import Desk


def board_view(desk: Desk, found: Assessment, frame: Frame) -> BoardView:
    """What a status shows of boxes and boards."""
    profile = frame.profile
    installs = [e for e in effective(desk.book.log(found.job)) if e.kind is Kind.INSTALL and e.at <= found.as_of]
    rows = rows_of(frame, gaps_of(installs))
    moist = wood.moves_with_moisture(profile.board.core)
    return BoardView(
        rows=rows,
        movements=movements(frame, rows, found.board, found.days),
        closing=tuple(closing_rh(profile, row, starts_of(frame)) for row in rows) if moist else (),
        pinned="; ".join(dict.fromkeys(entry.body["pinned"] for entry in installs if "pinned" in entry.body)),
        lying=tuple(
            Lying(one.stack, evening_out(one.stack, profile.board, limit=profile.readiness.box_core_within))
            for one in frame.deliveries
        ),
        surface_heard=_surface_heard(desk, frame),
    )


def whole_board_view(desk: Desk, found: Assessment, frame: Frame) -> BoardView:
    """What a report shows of them: also what excursions did, and the season ahead."""
    did = effects(found.excursions, found.days, frame.profile.board)
    return board_view(desk, found, frame)._replace(effects=tuple(did), season=season_ahead(found.days, found.as_of))


def _surface_heard(desk: Desk, frame: Frame) -> bool:
    """Whether a sensor at the wall is one of its surface, or ever spoke of it."""
    here = [stay for stay in frame.stays if stay.place == frame.job.wall_place]
    return any(
        stay.role == "surface"
        or desk.store.bounds(frame.sensors[stay.sensor].stream, Quantity.SURFACE_TEMPERATURE) is not None
        for stay in here
    )


def planned(desk: Desk, job: str) -> list[str]:
    """What may become of the rows of a wall of which only the size is known, while it can be acted on, in sentences."""
    frame = desk.book.frame_at(job, desk.clock.now())
    upright = frame.take_off is not None and frame.take_off.lay == "vertical"
    return _outlooks(frame, rows_planned(frame.profile, frame.job.length, frame.job.height, upright=upright))


def told_at_installation(desk: Desk, entry: Entry) -> list[str]:
    """What an entry of the installation gives reason to say: how far the rows will move, of boards as they came and of
    such in balance with the room's last 24 h; of a later entry where it records gaps or what pins a row."""
    pinned = entry.body.get("pinned", "")
    if not pinned and not {"conditions", "gaps_m"} & entry.body.keys():
        return []
    return [*([pinned_line(pinned)] if pinned else []), *_at_installation(desk, entry)]


def _at_installation(desk: Desk, entry: Entry) -> list[str]:
    frame = desk.book.frame_at(entry.chain, entry.at)
    installs = [one for one in effective(desk.book.log(entry.chain)) if one.kind is Kind.INSTALL]
    rows: Sequence[Row] = rows_of(frame, gaps_of(installs))
    board = frame.profile.board
    if not wood.moves_with_moisture(board.core):
        return _outlooks(frame, rows)
    room, measured = _last_day_humidity(desk, frame, entry.at), measured_moistures(frame)
    starts = _starts(frame, room)
    if any("pinned" in one.body for one in installs):
        rows = _tightest_first(frame, rows, starts)
    came = Bounds(min(measured), sum(measured) / len(measured), max(measured)) if measured else None
    told = [starts_from(room, starts[0].rh if measured else board.came_at, came)]
    return [*told, *(line for start in _worst_first(frame, rows, starts) for line in _outlooks(frame, rows, start))]


def _starts(frame: Frame, room: float | None) -> list[Start]:
    """Boards as they came, measured ones first, then such that nobody measured; and boards in balance with the room."""
    measured, lots = measured_moistures(frame), starts_of(frame)
    taken = [frame.profile.board.came_at] if any(len(set(lot)) > 1 for lot in lots) else []
    told = {round(rh): Start(rh, []) for rh in [*taken, *([] if room is None else [room])]}
    if not measured:
        return list(told.values())
    rh = balanced_rh(frame.profile, sum(measured) / len(measured))
    return [Start(rh, [lot for lot in lots if len(set(lot)) == 1]), *told.values()]


class Start(NamedTuple):
    """What boards may hold when they go up: about in balance with `rh` [%], `moistures` where measured, as starts_of"""

    rh: float
    moistures: list[tuple[float, ...]]


def _worst_first(frame: Frame, rows: Sequence[Row], starts: Sequence[Start]) -> list[Start]:
    """The start from which the rows grow most, first."""
    return sorted(starts, key=lambda start: -max(_lacks(frame, row, start) for row in rows))


def _tightest_first(frame: Frame, rows: Sequence[Row], starts: Sequence[Start]) -> list[Row]:
    """The row that is nearest to closing its gap once something pins it, first."""
    return sorted(rows, key=lambda row: -max(_lacks(frame, row, start) for start in starts))


def _lacks(frame: Frame, row: Row, start: Start) -> float:
    """What a pinned row lacks of room; negative where it has more than it needs. [mm]"""
    found = outlook(frame.profile, row, start.rh, start.moistures)
    return -row.room_mm("pinned") if found is None else found.growth.high - row.room_mm("pinned")


def _outlooks(frame: Frame, rows: Sequence[Row], start: Start | None = None) -> list[str]:
    """Of these rows, by moisture (by default that of the profile), or by warmth where that moves none."""
    units, told = cast(System, frame.job.units), []
    for row in rows:
        found = outlook(frame.profile, row, *(() if start is None else start))
        if found is None:
            told += warmth_lines(*outlook_by_warmth(frame.profile, row), units)
        else:
            told += outlook_lines(found, units)
    return told


def _last_day_humidity(desk: Desk, frame: Frame, at: int) -> float | None:
    """The mean humidity of the boxes' room over the 24 h before `at`; None where less than half of it is known. [%]"""
    window = (at - DAY, at)
    channels = heard(frame, at, desk.store, *window)
    spans = spans_of(frame, frame.job.boxes_place, window, window)
    means = hours_heard(spans, channels, window, Quantity.AIR_HUMIDITY)
    known = means[~np.isnan(means)]
    return float(known.mean()) if len(known) * HOUR >= LEAST_KNOWN else None
