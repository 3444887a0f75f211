"""An invented wall in an invented house: its people, its air, its files, and its commands at a clock that is set."""

from __future__ import annotations

import base64
import contextlib
import io
import json
import math
import os
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, NamedTuple
from unittest import mock
from zoneinfo import ZoneInfo

import pytest
import tiny_pictures as tiny

from cli.main import run, tree
from monitor.basis.clock import SetClock
from monitor.basis.times import DAY, HOUR, MINUTE, ms_of, rfc3339

JOB = "north wall"
ZONE = ZoneInfo("America/New_York")
PLAIN = {"COLUMNS": "80", "NO_COLOR": "1", "TERM": "dumb", "LOGNAME": "nobody"}
UNSET = ("FORCE_COLOR", "WALLCLIME_HOME", "WALLCLIME_BROKER_PASSWORD", "WALLCLIME_STORE_PASSWORD")
COMMANDS = tree()  # made once: most of a command's time


def ms(local: str) -> int:
    """A time of the house, such as "2026-01-05T08:00", in UTC ms."""
    return ms_of(datetime.fromisoformat(local).replace(tzinfo=ZONE))


@dataclass(frozen=True)
class Answer:
    """What a command answered: exit code, stdout, stderr."""

    code: int
    out: str
    err: str


@dataclass
class House:
    """A home of its own, and the computer in it: called with the words of a command, it runs it at the set time."""

    folder: Path
    clock: SetClock = field(default_factory=lambda: SetClock(0))

    def at(self, local: str) -> None:
        """It is that time now. The days go forward only."""
        assert ms(local) >= self.clock.at_ms, local
        self.clock.at_ms = ms(local)

    def __call__(self, *words: object) -> Answer:
        """Run a command."""
        out, err = (io.TextIOWrapper(io.BytesIO(), "utf-8", newline="\n", write_through=True) for _ in "oe")
        environ = {name: value for name, value in os.environ.items() if name not in UNSET} | PLAIN
        args = ["--home", str(self.folder / "home"), *map(str, words)]
        with (
            mock.patch.dict(os.environ, environ, clear=True),
            mock.patch("cli.main.tree", return_value=COMMANDS),
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(err),
            contextlib.chdir(self.folder),
            pytest.raises(SystemExit) as ended,
        ):
            run(args, clock=self.clock)
        said = [stream.buffer.getvalue().decode() for stream in (out, err)]  # type: ignore[attr-defined]
        return Answer(int(ended.value.code or 0), *said)

    def done(self, *words: object) -> Answer:
        """Run a command that must succeed."""
        answer = self(*words)
        assert answer.code == 0, answer.err
        return answer

    def refused(self, *words: object) -> str:
        """Run a command that must be refused; what it says."""
        answer = self(*words)
        assert (answer.code, answer.out) == (2, ""), answer
        return answer.err

    def json(self, *words: object) -> Any:
        """What a command answers with --json."""
        return json.loads(self.done(*words, "--json").out)

    def file(self, name: str, text: str) -> Path:
        """A file on the computer."""
        path = self.folder / name
        path.write_text(text, encoding="utf-8")
        return path


# --- the air, and the loggers that hear it ------------------------------------------------------------------------


class Row(NamedTuple):
    """What a logger writes: UTC ms, degC, %RH."""

    t: int
    temperature: float
    humidity: float


Air = Callable[[int], tuple[float, float]]
HAPPENED: Sequence[tuple[str, str, float | None, float | None]] = (  # from, to, degC and %RH meanwhile
    ("2026-01-09T06:00", "2026-01-09T07:30", None, 27.0),  # the terrace door stood open
    ("2026-02-09T00:00", "2026-02-14T00:00", None, 31.0),  # the humidifier had run dry
    ("2027-01-20T18:00", "2027-01-21T12:00", 12.0, None),  # the heating was out
    ("2028-03-04T09:00", "2028-03-06T09:00", None, 74.0),  # a pipe leaked
)


def room(t: int) -> tuple[float, float]:
    """The room: it wanders a little, is moister in summer, and is out of band only where something happened."""
    k, summer = t // (10 * MINUTE), _summer(t)
    temperature, humidity = 21.0 + summer + 0.1 * (k % 7), 47.0 + 5 * summer + 0.2 * (k % 5)
    for start, end, warmth, moisture in HAPPENED:
        if ms(start) <= t < ms(end):
            temperature = temperature if warmth is None else warmth + 0.1 * (k % 7)
            humidity = humidity if moisture is None else moisture + 0.2 * (k % 5)
    return temperature, humidity


def _summer(t: int) -> float:
    """1 in the middle of July, -1 in the middle of January."""
    return -math.cos(math.tau * (t - ms("2026-01-15T00:00")) / (365.25 * DAY))


def corner(t: int) -> tuple[float, float]:
    """The room's far corner: for 20 min of one night a draught is felt there that the shelf does not feel."""
    temperature, humidity = room(t)
    draught = ms("2026-01-10T03:00") <= t < ms("2026-01-10T03:20")
    return temperature + 0.2, 32.0 if draught else humidity + 0.4


def boxes(t: int) -> tuple[float, float]:
    """Inside the first lot: 5 degC when it came, and an e-th part of the way to the room is left after each 3 h."""
    k = t // (10 * MINUTE)
    return 20.3 - 15.3 * math.exp((ms("2026-01-07T08:00") - t) / (3 * HOUR)) + 0.02 * (k % 5), 45.0 + 0.1 * (k % 3)


def yard(t: int) -> tuple[float, float]:
    """Outdoors, 10 degC over the year and 12 K either way."""
    k = t // HOUR
    return 10.0 + 12.0 * _summer(t) + 3.0 * math.sin(math.tau * (k % 24) / 24), 70.0 + 0.5 * (k % 9)


def skin(t: int) -> tuple[float, float]:
    """On the wall: 2 K colder than the room."""
    temperature, humidity = room(t)
    return temperature - 2.0, humidity


def heard(air: Air, start: str, end: str, *, minutes: int) -> Iterator[Row]:
    """What a logger writes of [start, end), house times."""
    for t in range(ms(start), ms(end), minutes * MINUTE):
        temperature, humidity = air(t)
        yield Row(t, round(temperature, 3), round(humidity, 3))


def csv_of(rows: Iterable[Row], *, fahrenheit: bool = False) -> str:
    """The file of a logger."""
    lines = (
        f"{rfc3339(row.t)},{row.temperature * 1.8 + 32 if fahrenheit else row.temperature:.3f},{row.humidity}\n"
        for row in rows
    )
    return "when,temp,rh\n" + "".join(lines)


# --- the wall -----------------------------------------------------------------------------------------------------

LINES = {"along": 16.0, "across": 8.0, "rising diagonal": math.hypot(16, 8), "falling diagonal": math.hypot(16, 8)}
HUMP = {7: 2, 8: 5, 9: 2}  # of the wall before it was sanded: foot along it -> sixteenths of an inch


def flatness_csv() -> str:
    """Deviations each foot of all four lines, in sixteenths of an inch; along the wall there is a hump."""
    rows = [
        f"{direction},{foot} ft,{HUMP.get(foot, 0) if direction == 'along' else 0}/16 in"
        for direction, length in LINES.items()
        for foot in range(int(length) + 1)
    ]
    return "\n".join(["direction,position,deviation", *rows]) + "\n"


def form_saved(page: str, who: str, items: Sequence[dict[str, Any]]) -> str:
    """What the page of a form saves: its own head, who filled it in, and what was filled in."""
    head = re.search(r'<script type="application/json" id="about">(.*?)</script>', page, re.DOTALL)
    assert head is not None
    told = {**json.loads(head[1]), "form": "5eed5eed5eed5eed", "who": who, "saved": "2026-01-09T21:30:00.000Z"}
    return json.dumps({**told, "items": list(items)}, indent=1)


def card(item: str, section: str, kind: str, at: str, body: dict[str, Any], **more: Any) -> dict[str, Any]:
    """One filled-in card of a form."""
    return {"item": item, "section": section, "kind": kind, "at": rfc3339(ms(at)), "body": body, **more}


def picture() -> str:
    """A photo as a form has it."""
    return base64.b64encode(tiny.jpeg()).decode()
