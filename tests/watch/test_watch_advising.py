"""Advice put together from the store: what it can't be given on is named, and no status fails for it."""

from __future__ import annotations

from typing import NoReturn

import pytest
from desks import NOW, furnish, hear, steady

from monitor.basis.errors import RecordError
from monitor.basis.times import HOUR
from monitor.watch.desk import Desk
from monitor.watch.job import advising
from monitor.watch.papers.screens import advised_of, status_view

MEND = "Look at the sensor: wallclime status shows what it says"


@pytest.fixture
def impossible(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> Desk:
    """A heard room whose air no formula takes."""

    def refuse(*args: object) -> NoReturn:
        raise ValueError("t_c of 400 is outside -100 to 200")

    furnish(desk, at=NOW - 10 * HOUR)
    hear(desk, steady(NOW - 10 * HOUR, 10))
    monkeypatch.setattr(advising, "advice", refuse)
    return desk


SAID = f"job den: no advice can be given on this air (t_c of 400 is outside -100 to 200). {MEND}"


def test_air_that_no_formula_takes_is_named(impossible: Desk):
    with pytest.raises(RecordError) as error:
        advised_of(impossible, "den", advising.Asked())
    assert str(error.value) == SAID


def test_a_status_says_so_and_is_shown_all_the_same(impossible: Desk):
    assert status_view(impossible, "den").notes == (SAID,)
