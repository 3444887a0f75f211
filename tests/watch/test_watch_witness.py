"""Heads that others are to witness: when one is made, and when not."""

from __future__ import annotations

import pytest
from desks import NOW, T0, furnish, hear, steady

from monitor.basis.times import HOUR
from monitor.rules.assessment import Condition
from monitor.watch.evidence.sealing import signed_of
from monitor.watch.evidence.witness import sealed, witnessed, witnessed_ready
from monitor.watch.judging import assess


@pytest.fixture
def found(desk):
    """The Assessment of a job that is complete since T0 + 48 h, as if no other condition were open."""
    furnish(desk)
    hear(desk, steady(T0, 12 * 24))
    return assess(desk, "den")._replace(readiness=())


def reasons(desk) -> list[str]:
    return [signed_of(row).head.reason for row in desk.store.heads()]


def test_a_job_that_is_ready_is_sealed_once_with_the_readings_that_made_it_ready(desk, found):
    said = witnessed_ready(desk, found)
    assert said[0].startswith("sealed: head 1, code ")
    assert "Record of the wall den, ready, 2026-01-17 00:00 +00:00: code " in said[2]
    assert (witnessed_ready(desk, found), reasons(desk)) == ([], ["ready"])
    assert sealed(desk).unsealed == 0


def test_a_job_that_was_complete_anew_is_sealed_again(desk, found):
    witnessed_ready(desk, found)
    desk.clock.move(HOUR)
    lot = found.lot
    later = lot._replace(clock=lot.clock._replace(completed_at=NOW + 1))
    assert witnessed_ready(desk, found._replace(lots=(later,))) != []
    assert reasons(desk) == ["ready", "ready"]


def test_a_job_that_is_not_ready_is_not_sealed(desk, found):
    open_still = found._replace(readiness=(Condition("site check", "unknown", "nobody looked"),))
    assert (witnessed_ready(desk, open_still), reasons(desk)) == ([], [])


def test_a_head_of_another_reason_or_job_does_not_count_as_told(desk, found):
    witnessed(desk, "den", "delivery")
    furnish(desk, job="attic", sensor=None)
    witnessed(desk, "attic", "ready")
    assert witnessed_ready(desk, found) != []
