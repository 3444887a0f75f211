"""The manual of the commands is that of the commands."""

import os
import subprocess
import sys
from pathlib import Path

from cli.manual import manual

TOP = Path(__file__).resolve().parents[2]
PAGE = TOP / "cli" / "README.md"


def test_the_manual_shows_the_live_help_of_every_command():
    # typer's way of showing an argument has changed with its versions: tests/constraints.txt pins one
    assert PAGE.read_text(encoding="utf-8") == manual(), "cli/README.md is stale: python -m cli.manual > cli/README.md"


def test_the_manual_is_made_the_same_whatever_the_terminal():
    environ = os.environ | {"COLUMNS": "40", "FORCE_COLOR": "1"}
    command = [sys.executable, "-m", "cli.manual"]
    made = subprocess.run(command, cwd=TOP, env=environ, capture_output=True, check=True, timeout=60).stdout.decode()
    assert made == manual()
    assert "\x1b" not in made
