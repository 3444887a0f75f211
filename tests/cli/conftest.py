"""Homes for the tests of the commands: an empty one a test, and one with a job and its record a module."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from homes import COLUMNS, DELIVERED, OPEN_DEN, Home, csv_of, steady


@pytest.fixture
def wallclime(tmp_path: Path) -> Home:
    """The command, with an empty home."""
    return Home(tmp_path / "home")


@pytest.fixture(scope="session")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A home with an open job "den", to be copied: a new store takes longer to make than most commands to run."""
    home = Home(tmp_path_factory.mktemp("opened") / "home")
    home.done(*OPEN_DEN)
    return home.path


@pytest.fixture
def den(wallclime: Home, opened: Path) -> Home:
    """The command, with an open job "den"."""
    shutil.copytree(opened, wallclime.path)
    return wallclime


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Home]:
    """A job "den" with 100 h of readings of the sensor "shelf", to be looked at and not to be changed.

    Entries of den: 1 job, 2 profile, 3 take-off, 4 deliver, 5 import, 6 completion, 7 note.
    """
    home = Home(tmp_path_factory.mktemp("record") / "home")
    home.done(*OPEN_DEN)
    home.done("log", "deliver", "den", "--at", "2026-01-05T08:00", "--lot", "B7", "--boxes", 12)
    home.done("import", "den", home.file("den.csv", csv_of(steady(DELIVERED, 100))), "--sensor", "shelf", *COLUMNS)
    home.done("log", "note", "den", "heater on")
    before = home.done("log", "list", "den", "--json").out, home.done("sensor", "seen", "--json").out
    yield home
    assert (home.done("log", "list", "den", "--json").out, home.done("sensor", "seen", "--json").out) == before
