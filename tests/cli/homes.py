"""Homes of their own, commands run in them at a clock that stands still, and invented files of a data logger."""

from __future__ import annotations

import contextlib
import io
import json
import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple
from unittest import mock

import pytest

from cli.main import run, tree
from monitor.basis.clock import SetClock
from monitor.basis.times import HOUR, MINUTE, rfc3339

NOON = 1_768_219_200_000  # 2026-01-12T12:00Z, a Monday: what the commands take for now [ms]
DELIVERED = 1_767_618_000_000  # 2026-01-05T13:00Z, 08:00 in New York [ms]
PLAIN = {"COLUMNS": "80", "NO_COLOR": "1", "TERM": "dumb", "LOGNAME": "robin"}
UNSET = ("FORCE_COLOR", "WALLCLIME_HOME", "WALLCLIME_BROKER_PASSWORD", "WALLCLIME_STORE_PASSWORD")
OPEN_DEN = ("job", "open", "den", "--zone", "America/New_York", "--length", "16 ft", "--height", "8 ft")
BUILT = tree()  # the commands, else made anew at every call: most of its time
COLUMNS = ("--time", "when", "--temperature", "temp", "--humidity", "rh")


@dataclass(frozen=True)
class Result:
    """What a command answered: exit code, stdout, stderr."""

    code: int
    out: str
    err: str

    def json(self) -> Any:
        assert self.code in (0, 1), self.err
        return json.loads(self.out)


@dataclass
class Home:
    """A home of its own; called with the words of a command, it runs it."""

    path: Path
    clock: SetClock = field(default_factory=lambda: SetClock(NOON))
    encoding: str = "utf-8"
    environ: dict[str, str] = field(default_factory=dict)

    def __call__(self, *args: object) -> Result:
        return self.bare("--home", self.path, *args)

    def bare(self, *args: object) -> Result:
        """As a call, without --home."""
        out, err = (io.TextIOWrapper(io.BytesIO(), self.encoding, newline="\n", write_through=True) for _ in "oe")
        environ = {name: value for name, value in os.environ.items() if name not in UNSET} | PLAIN | self.environ
        with (
            mock.patch.dict(os.environ, environ, clear=True),
            mock.patch("cli.main.tree", return_value=BUILT),
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(err),
            pytest.raises(SystemExit) as ended,
        ):
            run([str(arg) for arg in args], clock=self.clock)
        said = [stream.buffer.getvalue().decode() for stream in (out, err)]  # type: ignore[attr-defined]
        return Result(int(ended.value.code or 0), *said)

    def done(self, *args: object) -> Result:
        """As a call, of a command that must succeed."""
        result = self(*args)
        assert result.code == 0, result.err
        return result

    def file(self, name: str, text: str) -> Path:
        """A file beside the home."""
        path = self.path.parent / name
        path.write_text(text, encoding="utf-8")
        return path

    def log(self, job: str = "den") -> list[dict[str, Any]]:
        """The entries of a job."""
        return self.done("log", "list", job, "--json").json()

    def kinds(self, job: str = "den") -> list[str]:
        """The kinds of a job's entries, in their order."""
        return [entry["kind"] for entry in self.log(job)]

    def assess(self, *args: object, job: str = "den") -> dict[str, Any]:
        """The Assessment of a job."""
        return self.done("assess", job, "--json", *args).json()


class Row(NamedTuple):
    """One row of an invented file: UTC ms, degC, %RH."""

    t: int
    temperature: float
    humidity: float


def steady(start: int, hours: float, *, step: int = 10, temperature: float = 21.0, humidity: float = 50.0) -> list[Row]:
    """Air that wanders a little and never stands still, a row every `step` minutes of [start, start + hours)."""
    count = round(hours * HOUR / (step * MINUTE))
    return [
        Row(start + k * step * MINUTE, round(temperature + 0.1 * (k % 7), 4), round(humidity + 0.2 * (k % 5), 4))
        for k in range(count)
    ]


def changed(rows: Iterable[Row], start: int, end: int, change: Callable[[Row], Row | None]) -> list[Row]:
    """`rows` with those of [start, end) changed, or left out where `change` answers None."""
    made = [change(row) if start <= row.t < end else row for row in rows]
    return [row for row in made if row is not None]


def csv_of(rows: Sequence[Row], *, zone: Callable[[int], str] = rfc3339) -> str:
    """The file of a data logger; `zone` writes the times."""
    return "when,temp,rh\n" + "".join(f"{zone(row.t)},{row.temperature},{row.humidity}\n" for row in rows)
