"""What is said on a terminal of something that takes long, and that nothing is said elsewhere."""

from __future__ import annotations

import io
import re
import time
from contextlib import redirect_stderr

import pytest
from homes import COLUMNS, DELIVERED, Home, csv_of, steady

from cli.common import Progress


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> Terminal:
    """A terminal at which nobody has any patience."""
    monkeypatch.setattr("cli.common.PATIENCE", 0.0)
    return Terminal()


def until(terminal: Terminal, pattern: str) -> None:
    by = time.monotonic() + 20
    while not re.search(pattern, terminal.getvalue()):
        assert time.monotonic() < by, terminal.getvalue()
        time.sleep(0.01)


def test_the_share_is_drawn_as_a_bar_and_is_gone_when_it_is_done(terminal):
    with redirect_stderr(terminal), Progress("keeping") as progress:
        progress(0.25)
        until(terminal, r"\rkeeping \[#####\.{15}\]  25 %")
    said = terminal.getvalue()
    assert said.endswith(f"\r{' ' * len('keeping [####################] 100 %')}\r")
    assert "\n" not in said


def test_without_a_share_the_time_is_said(terminal):
    with redirect_stderr(terminal), Progress("report"):
        until(terminal, r"\rreport \[#{3}\.{17}\] 0 s")


def test_somebody_who_would_wait_sees_nothing(terminal, monkeypatch):
    monkeypatch.setattr("cli.common.PATIENCE", 20)
    with redirect_stderr(terminal), Progress("report") as progress:
        progress(0.5)
    assert terminal.getvalue() == ""


def test_an_end_by_a_fault_leaves_no_line_behind(terminal):
    def fail() -> None:
        with redirect_stderr(terminal), Progress("report"):
            until(terminal, "report")
            raise ValueError("broken")

    with pytest.raises(ValueError, match="broken"):
        fail()
    assert terminal.getvalue().endswith("\r")


def test_what_is_no_terminal_hears_nothing(den: Home, monkeypatch):
    monkeypatch.setattr("cli.common.PATIENCE", 0.0)
    file = den.file("den.csv", csv_of(steady(DELIVERED, 30)))
    done = den.done("import", "den", file, "--sensor", "shelf", *COLUMNS)
    assert "\r" not in done.err
