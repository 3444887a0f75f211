"""An invented room of four days that ends now, as a data logger's file and as the messages of its sensor."""

from __future__ import annotations

import contextlib
import io
import json
import math
import random
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from processes import Message

from cli.main import run
from monitor.basis.times import HOUR, MINUTE, rfc3339

JOB, SENSOR, TOPIC = "attic wall", "beam", "site/beam/climate"
DAYS = 4
_HOLD = "5 min"


class Row(NamedTuple):
    """One minute of the room: UTC ms, degC, %RH."""

    t: int
    temperature: float
    humidity: float


def room() -> list[Row]:
    """A damp first morning, a silence, a stuck sensor; then two steady days, and a cold draught after them."""
    draw = random.Random(5)
    first = int(time.time() * 1000) // MINUTE * MINUTE - DAYS * 24 * HOUR
    rows = []
    for minute in range(DAYS * 24 * 60):
        hour = minute / 60
        temperature = 21 + 1.5 * math.sin(hour / 24 * math.tau) + draw.gauss(0, 0.05)
        humidity = 50 + 4 * math.cos(hour / 24 * math.tau) + draw.gauss(0, 0.3)
        if 6 <= hour < 9:
            humidity += 18
        if 10 <= hour < 13:
            continue
        if 14 <= hour < 23:
            temperature, humidity = 20.5, 48.0
        if 90 <= hour < 92:
            temperature -= 8
        rows.append(Row(first + minute * MINUTE, round(temperature, 2), round(humidity, 1)))
    return rows


def wallclime(home: Path, *args: object) -> str:
    """Run one command in this process, which saves a start of Python each; what it printed. Its exit code must be 0."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), pytest.raises(SystemExit) as ended:
        run(["--home", str(home), *map(str, args)])
    assert ended.value.code == 0, err.getvalue()
    return out.getvalue()


def write_csv(path: Path, rows: Sequence[Row]) -> Path:
    """The file of a data logger."""
    lines = [f"{rfc3339(row.t)},{row.temperature},{row.humidity}\n" for row in rows]
    path.write_text("".join(["when,inside degC,inside %RH\n", *lines]), encoding="utf-8")
    return path


def message(row: Row) -> Message:
    """What the sensor publishes of a minute, with its time."""
    return TOPIC, json.dumps({"temperature": row.temperature, "humidity": row.humidity, "time": row.t})


def open_job(home: Path, rows: Sequence[Row]) -> None:
    """A job whose boxes came after ten minutes of the record."""
    wallclime(home, "job", "open", JOB, "--zone", "UTC", "--length", "4.2 m", "--height", "2.4 m")
    wallclime(home, "log", "deliver", JOB, "--at", rfc3339(rows[10].t), "--lot", "one", "--boxes", 12)


def import_room(home: Path, rows: Sequence[Row]) -> None:
    """Open the job and import the room's file."""
    open_job(home, rows)
    path = write_csv(home.parent / f"{home.name}.csv", rows)
    columns = ["--time", "when", "--temperature", "inside degC", "--humidity", "inside %RH"]
    wallclime(home, "import", JOB, path, "--sensor", SENSOR, *columns, "--hold", _HOLD)


def place_sensor(home: Path, rows: Sequence[Row]) -> None:
    """Open the job and say that the sensor that is heard stood beside the boxes from the first minute on."""
    open_job(home, rows)
    wallclime(home, "sensor", "add", SENSOR, "--topic", TOPIC, "--hold", _HOLD)
    wallclime(home, "sensor", "assign", SENSOR, "--job", JOB, "--at", rfc3339(rows[0].t))


def assessed(home: Path, rows: Sequence[Row], *options: str) -> dict[str, Any]:
    """The whole Assessment a minute after the last row, but for where the readings came from."""
    found = json.loads(wallclime(home, "assess", JOB, "--json", "--at", rfc3339(rows[-1].t + MINUTE), *options))
    del found["origin_share"]
    return found
