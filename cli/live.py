"""wallclime status --watch: how things stand, drawn anew on the terminal until somebody ends it."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime

from rich.box import ASCII2, SIMPLE_HEAD
from rich.console import Console, Group
from rich.live import Live
from rich.table import Table
from rich.text import Text

from monitor.basis.errors import WallclimeError
from monitor.tell.screen import air_now, job_cells, status_text
from monitor.tell.views import JobRow, StatusView
from monitor.tell.words import Display, visible, when

TIMES_A_SECOND = 4  # that the view follows the size of its window
STYLE = {"READY": "bold green", "NOT READY": "bold yellow", "CLOSED": "dim", "out": "bold red", "in": "green"}
NARROW, WIDE, WIDER = 72, 100, 130  # from which on: when complete; the air too; building and last word too [signs]


@dataclass(frozen=True, slots=True)
class Seen:
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
                    seen = replace(seen, trouble=[str(exc)])


def drawn(seen: Seen, every: int, size: tuple[int, int], ascii_only: bool) -> Group:
    """The view in a window of (columns, lines)."""
    wide, high = size
    now = datetime.now().astimezone().isoformat(sep=" ", timespec="seconds")
    feet = [_plain(f"mind: {line}", "yellow", ascii_only) for line in seen.trouble]
    feet.append(Text(f"{now}, again every {every / 1000:g} s; Ctrl-C ends", "dim"))
    room = high - sum(-(-len(foot) // max(1, wide)) for foot in feet) - 1
    if seen.view is not None:
        lines = status_text(seen.view, ascii_only=ascii_only).splitlines()
        return Group(Text("\n".join(lines[:room])), Text(), *feet)
    if not seen.rows:
        return Group(Text("No job yet."), Text(), *feet)
    shown = seen.rows if len(seen.rows) <= room - 2 else seen.rows[: max(1, room - 3)]
    more = [Text(f"and {len(seen.rows) - len(shown)} more: make the window higher", "dim")]
    return Group(_table(shown, wide, ascii_only), *(more if len(shown) < len(seen.rows) else []), *feet)


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
