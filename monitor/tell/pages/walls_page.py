"""The board as a page: a wall a row, by building, worst first; found, sorted and left out in the page itself."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

from monitor.basis.times import HOUR
from monitor.tell import words
from monitor.tell.pages import marks, walls
from monitor.tell.pages.marks import DayState
from monitor.tell.pages.page import render
from monitor.tell.pages.summary import TRAINING, building_named, by_building, not_judged
from monitor.tell.pages.walls import Board, WallNow

LEGEND: tuple[tuple[DayState, str], ...] = (
    ("in", "a day in band, as far as known"),
    ("out", "a day with time out of band"),
    ("unknown", "a day known for less than half"),
)
MIND = (
    "Worst first: alarms that are high and seen by nobody, then out of band, not known, not watched, record ended, in "
    "band, closed; within each the longest out of band in the last seven days, then the longest not known.",
    "Not watched: no sensor ever was at the wall's air. Record ended: one was, until that day. Of neither anything is "
    "said of the air since, and nothing here says that it is well. Unknown time is never counted as in band.",
    "In band is by the wall's own profile: until the wall is finished by the band of its installation, from then on by "
    "that of its life. The record is strict: no delay, no rounding; an alarm waits before it is raised.",
    "The small charts show the lowest and highest of every four hours of the last seven days, as measured; the course "
    "behind them is the band, and what lies outside it is drawn thicker. Below them the last 90 days of UTC.",
    "What sensors say and the charts show is measured; states, hours, shares and days are computed from it; the core "
    "of boxes is estimated where no sensor lies in them.",
    "Air figures can show when somebody is at home: who can open this folder can read them.",
)


def render_board(board: Board) -> str:
    """The page as HTML text, the same for the same values."""
    ranked = walls.worst_first(board.walls)
    rank = {id(wall): place for place, wall in enumerate(ranked)}
    groups = by_building(ranked)
    counted = Counter(wall.state for wall in board.walls)
    shown = words.shared(wall.display for wall in board.walls)
    return render(
        "walls.html",
        {},
        sheets=("marks.css", "walls.css"),
        program="walls.js",
        made=words.as_of(board.made, shown),
        training=TRAINING if any(wall.assessment.training for wall in board.walls) else "",
        tally=walls.tally(board.walls),
        unjudged=not_judged(board.unjudged),
        house=walls.house(board.house, shown),
        states=[(state, walls.NAMED[state], counted[state]) for state in walls.ORDER if counted[state]],
        buildings=[
            {"name": building_named(name), "tally": walls.tally(some), "walls": [_row(one, rank) for one in some]}
            for name, some in groups.items()
        ],
        legend=[(marks.day_sign(state), text) for state, text in LEGEND],
        mind=MIND,
        software=board.software,
    )


def _row(wall: WallNow, rank: dict[int, int]) -> dict[str, Any]:
    told = walls.to_do(wall)
    return {
        "state": wall.state,
        "tag": walls.tag(wall),
        "rank": rank[id(wall)],
        "out": f"{wall.out / HOUR:.1f}",
        "unknown": f"{wall.unknown / HOUR:.1f}",
        "name": walls.name(wall),
        "report": wall.report,
        "fault": words.visible(wall.report_fault),
        "stands": words.tag(wall.assessment),
        "verdict": walls.verdict(wall),
        "room": walls.room(wall),
        "to_do": told[: walls.FEW],
        "more": told[walls.FEW :],
        "alarms": [walls.alarm(one, wall.display) for one in wall.alarms],
        "charts": _charts(wall),
        "lately": walls.lately(wall),
    }


def _charts(wall: WallNow) -> Sequence[tuple[Any, str]]:
    """Each drawing with its words beside it; the drawing is skipped by screen readers, which read the words."""
    weeks = [(marks.week(wall.weeks[quantity]), walls.week(wall, quantity)) for quantity in walls.QUANTITIES]
    return [*weeks, (marks.strip(wall.days), walls.days(wall))]
