"""Measure everything that has a limit, and write RESULTS.md beside this file.

    python tests/bench/run.py [SCRIPT ...]

Each script of `SCRIPTS` runs in a process of its own, one after the other, on a computer that does nothing else; with
names only these, and RESULTS.md stays as it is. Exit status: 0 all within their limits, 1 one beyond, 2 usage.
"""

from __future__ import annotations

import json
import os
import platform
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

from yard import Row, in_words

HERE = Path(__file__).resolve().parent

SCRIPTS = ("help_speed", "judge_speed")  # in the order of the table


def measured(script: str) -> list[Row]:
    """The rows of a script; what it says besides goes to the terminal."""
    command = [sys.executable, str(HERE / f"{script}.py"), "--json"]
    done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=False)
    if done.returncode not in (0, 1):
        sys.exit(f"{script} ended with {done.returncode}")
    found = [Row(**json.loads(line)) for line in done.stdout.splitlines()]
    for row in found:
        print(in_words(row), flush=True)
    return found


def machine() -> str:
    """The computer in a sentence."""
    info = Path("/proc/cpuinfo")
    lines = info.read_text().splitlines() if info.exists() else []
    names = [line.partition(": ")[2] for line in lines if line.startswith("model name")]
    cores = f"{os.cpu_count()} cores of {names[0] if names else platform.machine()}"
    return f"{cores}, {platform.system()} {platform.release()}, Python {platform.python_version()}"


def table(rows: list[Row]) -> str:
    """RESULTS.md."""
    lines = [
        "# Measured",
        "",
        f"Written by `python tests/bench/run.py` on {datetime.now(UTC):%Y-%m-%d}: {machine()}.",
        "Each figure is a ratio against its yardstick in the same run, the median of alternated runs.",
        "",
        "| what | yardstick | figure | limit | held | behind it |",
        "|---|---|---|---|---|---|",
    ]
    lines += [
        f"| {row.what} | {row.yardstick} | {row.figure:.3g} {row.unit} | {row.bound} | {'yes' if row.held else 'NO'} "
        f"| {row.said} |"
        for row in rows
    ]
    return "\n".join(lines) + "\n"


def main() -> int:
    """Measure, print, write."""
    names = sys.argv[1:]
    if unknown := set(names) - set(SCRIPTS):
        print(f"there is no {', '.join(sorted(unknown))}; there are {', '.join(SCRIPTS)}", file=sys.stderr)
        return 2
    rows = [row for script in names or SCRIPTS for row in measured(script)]
    if not names:
        (HERE / "RESULTS.md").write_text(table(rows), "utf-8")
    return 0 if all(row.held for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
