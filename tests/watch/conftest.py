"""A desk of its own for each test."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from desks import clock

from monitor.watch.desk import Desk, open_desk


@pytest.fixture(scope="session")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A home with an empty store, to be copied: making one takes longer than most tests."""
    home = tmp_path_factory.mktemp("empty") / "home"
    with open_desk(home, environ={}, clock=clock()):
        return home


@pytest.fixture
def sit_down(tmp_path: Path, empty: Path) -> Iterator[Callable[[], Desk]]:
    """Sits down at one and the same home, each time at a desk of its own, as another process would."""
    shutil.copytree(empty, tmp_path / "home")
    standing = clock()
    with ExitStack() as opened:
        yield lambda: opened.enter_context(open_desk(tmp_path / "home", environ={}, clock=standing))


@pytest.fixture
def desk(sit_down: Callable[[], Desk]) -> Desk:
    """A desk over an empty store."""
    return sit_down()
