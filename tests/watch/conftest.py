"""A desk of its own for each test."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from desks import clock

from monitor.watch.desk import Desk, open_desk


@pytest.fixture
def sit_down(tmp_path: Path) -> Iterator[Callable[[], Desk]]:
    """Sits down at one and the same home, each time at a desk of its own, as another process would."""
    standing = clock()
    with ExitStack() as opened:
        yield lambda: opened.enter_context(open_desk(tmp_path / "home", environ={}, clock=standing))


@pytest.fixture
def desk(sit_down: Callable[[], Desk]) -> Desk:
    """A desk over an empty store."""
    return sit_down()
