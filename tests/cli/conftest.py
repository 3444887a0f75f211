"""Commands, run in process at a clock that stands still."""

from __future__ import annotations

import contextlib
import io
import json
import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from unittest import mock

import pytest

from cli.main import run
from monitor.basis.clock import SetClock

NOON = 1_768_219_200_000  # 2026-01-12T12:00Z, a Monday: what the commands take for now [ms]
PLAIN = {"COLUMNS": "80", "NO_COLOR": "1", "TERM": "dumb", "LOGNAME": "robin"}
UNSET = ("FORCE_COLOR", "WALLCLIME_HOME", "WALLCLIME_BROKER_PASSWORD", "WALLCLIME_STORE_PASSWORD")


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

    def __call__(self, *args: object, home: Path | None = None) -> Result:
        out, err = (io.TextIOWrapper(io.BytesIO(), self.encoding, newline="\n", write_through=True) for _ in "oe")
        words = ["--home", str(home or self.path), *map(str, args)]
        environ = {name: value for name, value in os.environ.items() if name not in UNSET} | PLAIN
        with (
            mock.patch.dict(os.environ, environ, clear=True),
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(err),
            pytest.raises(SystemExit) as ended,
        ):
            run(words, clock=self.clock)
        said = [stream.buffer.getvalue().decode(self.encoding) for stream in (out, err)]  # type: ignore[attr-defined]
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


@pytest.fixture
def wallclime(tmp_path: Path) -> Home:
    """The command, with an empty home."""
    return Home(tmp_path / "home")
