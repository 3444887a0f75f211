"""wallclime status --watch: the view of a terminal, in a window of any size, and where there is none."""

from __future__ import annotations

import contextlib
import fcntl
import io
import os
import pty
import re
import select
import signal
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from homes import Home
from rich.console import Console

from cli.live import Seen, drawn

PATIENCE = 40  # of a slow machine [s]
ENDED = "Ctrl-C ends"


class Terminal:
    """A command at a terminal of so many columns and lines."""

    def __init__(self, home: Path, *args: str, size: tuple[int, int] = (100, 30), **environ: str) -> None:
        self._ours, theirs = pty.openpty()
        self.resize(*size)
        named = {key: value for key, value in os.environ.items() if key not in ("NO_COLOR", "LC_ALL", "COLUMNS")}
        command = [sys.executable, "-c", "from cli.main import main; main()", "--home", str(home), *args]
        self.process = subprocess.Popen(
            command, stdin=theirs, stdout=theirs, stderr=subprocess.PIPE, env={**named, "TERM": "xterm", **environ}
        )
        os.close(theirs)
        self.said = ""

    def resize(self, columns: int, lines: int) -> None:
        fcntl.ioctl(self._ours, termios.TIOCSWINSZ, struct.pack("HHHH", lines, columns, 0, 0))

    def until(self, text: str) -> str:
        """What came up to `text`; what follows is kept for later."""
        by = time.monotonic() + PATIENCE
        while text not in self.said:
            assert time.monotonic() < by, f"{text!r} never came after {self.said!r}"
            self._listen()
        before, self.said = self.said.split(text, 1)
        return before

    def interrupt(self) -> int:
        """Ctrl-C; the exit code."""
        self.process.send_signal(signal.SIGINT)
        by = time.monotonic() + PATIENCE
        while self.process.poll() is None and time.monotonic() < by:
            self._listen()
        return self.process.wait(0)

    def _listen(self) -> None:
        if select.select([self._ours], [], [], 0.1)[0]:
            with contextlib.suppress(OSError):  # the other side is closed: the program has ended
                self.said += os.read(self._ours, 65536).decode()

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.communicate()
        os.close(self._ours)


def frame(said: str) -> list[str]:
    """The lines of what was drawn last, without what moves the cursor or colours them."""
    drawn_last = said.rsplit("\x1b[H", 1)[-1]
    return [line.rstrip() for line in re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", drawn_last).split("\r\n")]


@pytest.fixture
def terminal() -> Iterator[Any]:
    opened: list[Terminal] = []

    def at(*args: Any, **more: Any) -> Terminal:
        opened.append(Terminal(*args, **more))
        return opened[-1]

    yield at
    for one in opened:
        one.close()


def test_it_is_drawn_anew_follows_the_window_and_ctrl_c_is_no_failure(opened: Path, terminal):
    watched = terminal(opened, "status", "--watch", "--every", "1 s")
    first = watched.until(ENDED)
    assert "\x1b[?1049h" in first  # another screen than that of the shell, which comes back
    assert "\x1b[1mden" in first
    assert "\x1b[1;33mNOT READY" in first
    watched.resize(44, 12)
    by = time.monotonic() + PATIENCE
    while max(map(len, frame(watched.until(ENDED)))) > 44:
        assert time.monotonic() < by
    assert watched.interrupt() == 0
    assert "\x1b[?1049l" in watched.said


def test_without_colour_no_colour_is_written(opened: Path, terminal):
    watched = terminal(opened, "status", "den", "--watch", NO_COLOR="1", LC_ALL="C")
    shown = watched.until(ENDED)
    assert "NOT READY. The installation may not start yet" in shown
    assert re.findall(r"\x1b\[[0-9;]*3[0-7]m", shown) == []
    assert shown.isascii()


@pytest.mark.parametrize("terms", [{"TERM": "dumb"}, {}])
def test_where_nothing_can_be_drawn_over_it_is_told_once(opened: Path, terms):
    # once at no terminal at all, once with one that can't move its cursor
    ours, theirs = pty.openpty()
    out = theirs if terms else subprocess.PIPE
    command = [sys.executable, "-c", "from cli.main import main; main()", "--home", str(opened), "status", "--watch"]
    with subprocess.Popen(command, stdout=out, stderr=subprocess.PIPE, env={**os.environ, **terms}) as process:
        said = process.communicate(timeout=PATIENCE)
    os.close(theirs)
    told = os.read(ours, 65536) if terms else said[0]
    os.close(ours)
    assert process.returncode == 0
    assert said[1].decode().startswith("mind: there is no terminal to watch on; this is how it stands now\n")
    assert b"\x1b" not in told
    assert told.split()[:5] == [b"JOB", b"VERDICT", b"ROOM", b"COUNTED", b"COMPLETE"]


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("--watch", "--json"), "--watch --json: it can't be watched for machines. Leave one of them out"),
        (("--watch", "--every", "0 s"), "--every: '0 s' is too short. Say at least \"1 s\""),
        (("attic", "--watch", "--every", "soon"),
         "--every: 'soon' is not a duration. Write it like \"30 min\", \"48 h\" or \"7 d\""),
        (("--units", "both"), "--units: 'both' is not understood. Use us or si"),
    ],
)  # fmt: skip
def test_what_a_watch_is_refused_for(den: Home, args, said):
    result = den("status", *args)
    assert (result.code, result.out, result.err) == (2, "", f"{said}\n")


def test_a_watch_in_a_pipe_is_one_plain_screen(den: Home):
    result = den.done("status", "den", "--watch")
    assert result.out == den.done("status", "den").out
    assert result.err == "mind: there is no terminal to watch on; this is how it stands now\n"


# --- what is drawn ----------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def rows(record: Home) -> Any:
    """The job of the record, as it is watched."""
    from monitor.watch.desk import open_desk
    from monitor.watch.papers.screens import job_rows
    from monitor.watch.papers.shown import display

    with open_desk(record.path, clock=record.clock) as desk:
        return [(row, display(desk, "den")) for row in job_rows(desk)]


def shown(seen: Seen, wide: int = 80, high: int = 24, *, ascii_only: bool = False) -> list[str]:
    out = io.StringIO()
    console = Console(file=out, width=wide, height=high, force_terminal=True, color_system=None)
    console.print(drawn(seen, 5000, (wide, high), ascii_only))
    return [line.rstrip() for line in out.getvalue().splitlines()]


def test_a_wide_window_shows_more_of_a_job_than_a_narrow_one(rows):
    assert shown(Seen(rows=rows), 60)[0].split() == ["job", "verdict", "room", "counted"]
    assert shown(Seen(rows=rows), 80)[0].split() == ["job", "verdict", "room", "counted", "complete"]
    assert "air now" in shown(Seen(rows=rows), 110)[0]
    assert "last heard" in shown(Seen(rows=rows), 160)[0]


def test_more_jobs_than_lines_are_counted(rows):
    lines = shown(Seen(rows=rows * 40), 120, 12)
    assert len(lines) <= 12
    assert lines[-2] == "and 33 more: make the window higher"


def test_a_name_that_takes_lines_counts_as_them_and_the_foot_is_never_off_the_screen(rows):
    row, display = rows[0]
    long = [
        (row._replace(assessment=row.assessment._replace(job=f"{k:02} " + "a long name " * 9)), display)
        for k in range(40)
    ]
    for wide, high in ((100, 40), (44, 12), (160, 24)):
        lines = shown(Seen(rows=long), wide, high)
        assert len(lines) <= high
        assert lines[-1].endswith("Ctrl-C ends")
        assert any(re.fullmatch(r"and \d+ more: make the window higher", line) for line in lines)
    told = "\n".join(shown(Seen(rows=long), 100, 40))
    left = re.search(r"and (\d+) more", told)
    assert left is not None
    assert len(re.findall(r"^\d\d a", told, re.MULTILINE)) == 40 - int(left[1])


def test_a_job_of_many_lines_leaves_the_foot_on_the_screen(opened: Path, rows, record: Home):
    from monitor.watch.desk import open_desk
    from monitor.watch.papers.screens import status_view

    with open_desk(record.path, clock=record.clock) as desk:
        view = status_view(desk, "den")
    lines = shown(Seen(view=view), 40, 14)
    assert len(lines) <= 14
    assert lines[-1].endswith("Ctrl-C ends")


def test_the_worst_stands_first_and_what_is_closed_last(rows):
    row, display = rows[0]

    def stands(job: str, state: str, closed_at: int | None = None) -> Any:
        now = replace(row.assessment.now, state=state)
        return row._replace(assessment=row.assessment._replace(job=job, now=now), closed_at=closed_at), display

    four = [stands("a", "out", 1), stands("b", "in"), stands("c", "unknown"), stands("d", "out")]
    told = shown(Seen(rows=four), 100)
    assert [line.split()[0] for line in told[2:6]] == ["d", "c", "b", "a"]


def test_trouble_stands_below_and_no_name_is_markup(rows):
    row, display = rows[0]
    named = row._replace(assessment=row.assessment._replace(job="[red]den[/] \x1b[2J ü"))
    lines = shown(Seen(rows=[(named, display)], trouble=["no daemon [bold]"]), 120)
    assert any("[red]den[/] \\u001b[2J ü" in line for line in lines)
    assert lines[-2] == "mind: no daemon [bold]"
    assert "".join(shown(Seen(rows=[(named, display)]), 120, ascii_only=True)).isascii()


def test_without_a_job_it_says_so():
    assert shown(Seen())[0] == "No job yet."
