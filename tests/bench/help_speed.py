"""How long `wallclime --help` takes, as a multiple of what importing typer alone takes.

python tests/bench/help_speed.py
"""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Iterator
from functools import partial

import yard

HELP = [sys.executable, "-c", "from cli.main import main; main()", "--help"]  # what the installed command does
TYPER = [sys.executable, "-c", "import typer"]


def rows() -> Iterator[yard.Row]:
    """One row; wall time, start of the interpreter included."""
    helping, typer = (partial(subprocess.run, way, check=True, stdout=subprocess.DEVNULL) for way in (HELP, TYPER))
    yard.medians(helping, typer, runs=1)  # bytecode is written, files are in memory
    ours, theirs = yard.medians(helping, typer, clock=time.perf_counter)
    yield yard.Row("--help", "importing typer", ours / theirs, 2.0, said=f"{ours:.3f} s against {theirs:.3f} s")


if __name__ == "__main__":
    sys.exit(yard.main(__doc__, rows))
