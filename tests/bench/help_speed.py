"""How long `wallclime --help` takes, as a multiple of what importing typer alone takes: at most 2.0 times.

A ratio, so that the answer is the same on a slow computer and a busy one: five runs of each, one after the other in
turn, and the medians compared. Run it: python tests/bench/help_speed.py; exit status 1 when it is over the limit.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from collections.abc import Sequence

LIMIT = 2.0
RUNS = 5
HELP = [sys.executable, "-c", "from cli.main import run; run(['--help'])"]  # what the installed command does
TYPER = [sys.executable, "-c", "import typer"]


def seconds(command: Sequence[str]) -> float:
    """How long one run takes, start of the interpreter included. [s]"""
    begin = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - begin


def main() -> int:
    for command in (HELP, TYPER):
        seconds(command)  # bytecode is written, files are in memory
    pairs = [(seconds(HELP), seconds(TYPER)) for _ in range(RUNS)]
    ours, typers = (statistics.median(times) for times in zip(*pairs, strict=True))
    ratio = ours / typers
    print(f"wallclime --help {ours:.3f} s, import typer {typers:.3f} s: ratio {ratio:.2f}, limit {LIMIT}")
    return 0 if ratio <= LIMIT else 1


if __name__ == "__main__":
    sys.exit(main())
