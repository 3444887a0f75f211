"""wallclime status --watch: how things stand, drawn anew on the terminal until somebody ends it."""

from __future__ import annotations

import sys
import time
from bisect import bisect_right
from collections.abc import Callable, Sequence
from contextlib import suppress
from datetime import datetime
from io import StringIO
from typing import NamedTuple

from rich.box import ASCII2, SIMPLE_HEAD
from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.segment import Segment, SegmentLines
from rich.table import Table
from rich.text import Text

from monitor.basis.errors import WallclimeError
from monitor.tell.screen import air_now, job_cells, status_text
from monitor.tell.views import JobRow, StatusView
from monitor.tell.words import Display, visible, when

TIMES_A_SECOND = 4  # that the view follows the size of its window
STYLE = {"READY": "bold green", "NOT READY": "bold yellow", "CLOSED": "dim", "out": "bold red", "in": "green"}
ORDER = ("out", "unknown", "in")
NARROW, WIDE, WIDER = 72, 100, 130  # from which on: when complete; the air too; building and last word too [signs]


class Seen(NamedTuple):
    """What there is to show: all jobs, each as it wants to be read, or the screen of one."""

    rows: Sequence[tuple[JobRow, Display]] = ()
    view: StatusView | None = None
    trouble: Sequence[str] = ()


def can_watch() -> bool:
    """Whether stdout is a terminal whose lines can be drawn over."""
    return sys.stdout.isatty() and not Console().is_dumb_terminal


def watch(look: Callable[[], Seen], every: int, *, ascii_only: bool = False) -> None:
    """Draw what `look` finds every `every` ms, as large as the window is, until Ctrl-C. Raises WallclimeError at first.

    Later trouble with looking is shown below what was seen last, and it is tried again.
    """
    console = Console()
    with suppress(KeyboardInterrupt):
        seen = look()
        with Live(
            get_renderable=lambda: drawn(seen, every, console.size, ascii_only),
            console=console,
            screen=True,
            refresh_per_second=TIMES_A_SECOND,
        ):
            while True:
                time.sleep(every / 1000)
                try:
                    seen = look()
                except WallclimeError as exc:
                    seen = seen._replace(trouble=[str(exc)])


def drawn(seen: Seen, every: int, size: tuple[int, int], ascii_only: bool) -> Group:
    """The view in a window of (columns, lines)."""
    wide, high = size
    now = datetime.now().astimezone().isoformat(sep=" ", timespec="seconds")
    feet = [_plain(f"mind: {line}", "yellow", ascii_only) for line in seen.trouble]
    feet.append(Text(f"{now}, again every {every / 1000:g} s; Ctrl-C ends", "dim"))
    room = high - sum(len(_lines(foot, wide)) for foot in feet) - 1
    if seen.view is not None:
        told: RenderableType = Text(status_text(seen.view, ascii_only=ascii_only).rstrip("\n"))
        return Group(_cut(_lines(told, wide), room), Text(), *feet)
    if not seen.rows:
        return Group(Text("No job yet."), Text(), *feet)
    return Group(*_jobs(worst_first(seen.rows), wide, room, ascii_only), *feet)


def worst_first(rows: Sequence[tuple[JobRow, Display]]) -> list[tuple[JobRow, Display]]:
    """As the board has them: open before closed, out of band before not known before in band, by name."""

    def badness(row: JobRow) -> tuple[bool, int, str]:
        return row.closed_at is not None, ORDER.index(row.assessment.now.state), row.assessment.job

    return sorted(rows, key=lambda one: badness(one[0]))


def _jobs(rows: Sequence[tuple[JobRow, Display]], wide: int, room: int, ascii_only: bool) -> Sequence[RenderableType]:
    """The table of as many jobs as there is room for in lines, and how many are left out."""
    whole = _lines(_table(rows[:room], wide, ascii_only), wide)
    if len(rows) <= room and len(whole) <= room:
        return [_cut(whole, room)]
    numbers = range(1, min(len(rows), room) + 1)  # a job more is never a line less
    fits = bisect_right(numbers, room - 1, key=lambda n: len(_lines(_table(rows[:n], wide, ascii_only), wide)))
    number = max(1, min(fits, len(rows) - 1))
    more = Text(f"and {len(rows) - number} more: make the window higher", "dim")
    lines = _lines(_table(rows[:number], wide, ascii_only), wide)
    return [_cut(lines, room - 1), more] if len(rows) > number else [_cut(lines, room)]


def _lines(shown: RenderableType, wide: int) -> list[list[Segment]]:
    """What a part takes of a window so wide, line by line."""
    console = Console(width=max(1, wide), file=StringIO(), force_terminal=True)
    return console.render_lines(shown, pad=False)


def _cut(lines: Sequence[list[Segment]], room: int) -> SegmentLines:
    return SegmentLines(lines[: max(0, room)], new_lines=True)


def _table(rows: Sequence[tuple[JobRow, Display]], wide: int, ascii_only: bool) -> Table:
    table = Table(box=ASCII2 if ascii_only else SIMPLE_HEAD, pad_edge=False, show_edge=False, expand=True)
    table.add_column("job", overflow="fold", ratio=1)
    names = ["verdict", "room", *(["air now"] if wide >= WIDE else []), "counted"]
    names += [*(["complete"] if wide >= NARROW else []), *(["last heard", "building"] if wide >= WIDER else [])]
    for name in names:
        table.add_column(name, no_wrap=True)
    for row, display in rows:
        name, verdict, room, counted, complete = job_cells(row)
        now = row.assessment.now
        told = {"verdict": verdict, "room": room, "counted": counted, "complete": complete}
        told |= {"air now": air_now(row, display), "building": visible(row.building)}
        told["last heard"] = "never" if now.last_heard is None else when(now.last_heard, display)
        cells = [_plain(told[key], STYLE.get(told[key], ""), ascii_only) for key in names]
        table.add_row(_plain(name, "bold", ascii_only), *cells)
    return table


def _plain(text: str, style: str, ascii_only: bool) -> Text:
    """A text of which nothing is markup."""
    return Text(text.encode("ascii", "backslashreplace").decode() if ascii_only else text, style)
