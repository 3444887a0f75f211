"""Boxes, boards and rows at the desk: what is computed of them for the screens and pages, and what is told in time."""

from __future__ import annotations

from dataclasses import replace
from typing import cast

import numpy as np

from monitor.basis.times import DAY
from monitor.basis.units import System
from monitor.basis.values import Entry, Kind, Quantity
from monitor.climate import wood
from monitor.rules.assessment import Assessment
from monitor.rules.boards import starts_of
from monitor.rules.consequences import effects, season_ahead
from monitor.rules.cores import evening_out
from monitor.rules.frame import Frame, effective
from monitor.rules.hours import hours_heard
from monitor.rules.movement import (
    Row,
    closing_rh,
    gaps_of,
    movements,
    outlook,
    outlook_by_warmth,
    rows_of,
    rows_planned,
)
from monitor.rules.replay import heard
from monitor.rules.timeline import spans_of
from monitor.tell.boards import outlook_lines, pinned_line, starts_from, warmth_lines
from monitor.tell.views import BoardView, Lying
from monitor.watch.desk import Desk

LEAST_KNOWN = 12  # hours of the last 24 for their mean to be one; ours


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
    return replace(board_view(desk, found, frame), effects=tuple(did), season=season_ahead(found.days, found.as_of))


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
    frame = _frame(desk, job, desk.clock.now())
    upright = frame.take_off is not None and frame.take_off.lay == "vertical"
    return _outlooks(frame, rows_planned(frame.profile, frame.job.length, frame.job.height, upright=upright), None)


def told_at_installation(desk: Desk, entry: Entry) -> list[str]:
    """What an entry of the installation gives reason to say: of the first, how far the rows will move with boards in
    balance with the room's last 24 h; and what pins a row."""
    pinned = entry.body.get("pinned", "")
    told = _at_installation(desk, entry) if "conditions" in entry.body else []
    return [*told, pinned_line(pinned)] if pinned else told


def _at_installation(desk: Desk, entry: Entry) -> list[str]:
    frame = _frame(desk, entry.chain, entry.at)
    installs = [one for one in effective(desk.book.log(entry.chain)) if one.kind is Kind.INSTALL]
    rows = rows_of(frame, gaps_of(installs))
    if not wood.moves_with_moisture(frame.profile.board.core):
        return _outlooks(frame, rows, None)
    room = _last_day_humidity(desk, frame, entry.at)
    return [starts_from(room, frame.profile.board.came_at), *_outlooks(frame, rows, room)]


def _frame(desk: Desk, job: str, at: int) -> Frame:
    return desk.book.frame(job, desk.book.parsed(desk.book.profile(job, at).text, job), at)


def _outlooks(frame: Frame, rows: tuple[Row, Row], room: float | None) -> list[str]:
    """Of both rows, by moisture, or by warmth where that moves none."""
    units, told = cast(System, frame.job.units), []
    for row in rows:
        found = outlook(frame.profile, row, room)
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
    return float(known.mean()) if len(known) >= LEAST_KNOWN else None
