"""A report without what takes most of the time of making it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest


@pytest.fixture(scope="module")
def without_the_program() -> Iterator[None]:
    """The charts' program is no matter to most tests of a report, and packing it takes most of the time of a page."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("monitor.tell.pages.page.get_plotlyjs", lambda: "program")
        yield
