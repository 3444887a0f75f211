"""status and doctor say who does not take messages, and never by which URL."""

from __future__ import annotations

import pytest
from homes import NOON, Home

from monitor.basis.alarm import Message
from monitor.basis.times import MINUTE
from monitor.watch.desk import open_desk

SAID = (
    "office: 1 message could not be told yet, the first of 2026-01-12T12:00:00Z: "
    "contact office: its server is in trouble. Nothing to do: it is tried again later"
)


@pytest.fixture
def troubled(den: Home) -> Home:
    """A home with a message that its contact did not take."""
    with open_desk(den.path, environ={}, clock=den.clock) as desk:
        desk.store.record_alarms([], [], [Message("m", "office", "alarm", "dry", "dry", {}, NOON, NOON)])
        error = "contact office: its server is in trouble. Nothing to do: it is tried again later"
        desk.store.outbox_failed("m", NOON, error, NOON + MINUTE)
    return den


def test_status_says_it_below_the_screen(troubled: Home):
    assert f"mind: {SAID}\n" in troubled.done("status").err
    assert f"mind: {SAID}\n" in troubled.done("status", "den").err


def test_the_doctor_says_it_with_the_mend(troubled: Home):
    looked = {one["name"]: one for one in troubled("doctor", "--json").json()}
    assert looked["messages"] == {
        "name": "messages",
        "verdict": "fail",
        "evidence": SAID,
        "mend": "See to the contact, then try it: wallclime alarm test",
    }


def test_nothing_is_said_where_nothing_failed(den: Home):
    assert "could not be told" not in den.done("status").err
    looked = {one["name"]: one["evidence"] for one in den("doctor", "--json").json()}
    assert looked["messages"] == "0 messages on the way, 0 told, none of them in vain"
