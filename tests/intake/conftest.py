"""Listeners that do not wait as long as they would in life."""

import pytest

from monitor.intake import mqtt


@pytest.fixture
def in_a_hurry(monkeypatch):
    monkeypatch.setattr(mqtt, "_FIRST_WAIT", 0.05)
    monkeypatch.setattr(mqtt, "_NAP", 0.02)
