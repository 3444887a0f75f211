"""The diary: what is checked again while nobody else can write, and what a correction reaches."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from desks import HUMIDITY, NOW, T0, TEMPERATURE, furnish, hear, kinds, steady

from monitor.basis.errors import RecordError
from monitor.basis.times import DAY, HOUR
from monitor.watch.desk import Desk
from monitor.watch.job import delivery, installing
from monitor.watch.job.delivery import deliver
from monitor.watch.job.diary import correct, hand_reading
from monitor.watch.job.installing import Installing, install
from monitor.watch.judging import assess
from monitor.watch.papers.screens import status_view

WHY = {"not_ready": True, "reason": "guests"}


def load(desk: Desk, at: int = T0, lot: str | None = None) -> int:
    """The number of a delivery's entry."""
    return deliver(desk, "den", at=at, lot=lot, place=None, boxes=12, facts={}, who="robin").number


@pytest.fixture
def den(desk: Desk) -> Desk:
    """The den, one lot delivered."""
    furnish(desk)
    return desk


def test_a_start_that_somebody_else_entered_meanwhile_is_not_entered_otherwise(
    den: Desk, sit_down: Callable[[], Desk], monkeypatch
):
    there, first = sit_down(), installing._at_the_start

    def overtaken(desk: Desk, job: str, told: Installing, lots: Any) -> Any:
        if desk is den:
            install(there, job, Installing(T0 + DAY, **WHY), who="kim")
        return first(desk, job, told, lots)

    monkeypatch.setattr(installing, "_at_the_start", overtaken)
    with pytest.raises(RecordError) as refused:
        install(den, "den", Installing(T0 + 2 * DAY, **WHY), who="robin")
    assert str(refused.value) == (
        "job den: the installation started 2026-01-06T00:00:00Z by the log. Give that time, or correct it: "
        "wallclime log correct den 5 --at TIME --reason TEXT"
    )
    assert kinds(den) == ["job", "profile", "take-off", "deliver", "install"]


def test_a_delivery_that_somebody_else_entered_meanwhile_is_not_entered_twice(
    den: Desk, sit_down: Callable[[], Desk], monkeypatch
):
    there, first = sit_down(), delivery.check_delivery

    def overtaken(said: Any) -> Any:
        monkeypatch.setattr(delivery, "check_delivery", first)
        load(there, T0 + HOUR, "B7")
        return first(said)

    monkeypatch.setattr(delivery, "check_delivery", overtaken)
    with pytest.raises(RecordError) as refused:
        load(den, T0 + HOUR, "B7")
    assert str(refused.value) == "log of den: entry 5 says so already. Give another lot its own --lot NAME"


def test_the_same_lot_may_come_in_two_loads_and_two_lots_at_once(den: Desk):
    assert [load(den, T0 + HOUR, "B7"), load(den, T0 + 2 * HOUR, "B7"), load(den, T0 + HOUR, "B8")] == [5, 6, 7]


def test_a_finish_in_the_instant_of_the_start_is_not_before_it(den: Desk):
    install(den, "den", Installing(T0 + DAY, finish=T0 + DAY, **WHY), who="robin")
    with pytest.raises(RecordError) as refused:
        correct(den, "den", 5, instead={"finish": T0 + DAY - 1}, reason="x", who="robin")
    assert str(refused.value) == "log install: the finish is before the start. Check the two times"


def test_a_start_moved_past_the_finish_is_refused_and_nothing_is_written(den: Desk):
    install(den, "den", Installing(T0 + DAY, finish=T0 + 2 * DAY, **WHY), who="robin")
    with pytest.raises(RecordError, match="the finish is before the start"):
        correct(den, "den", 5, at=T0 + 2 * DAY + 1, reason="x", who="robin")
    assert kinds(den)[-1] == "install"


def test_start_and_finish_are_corrected_together(den: Desk):
    install(den, "den", Installing(T0 + DAY, finish=T0 + 2 * DAY, **WHY), who="robin")
    correct(den, "den", 5, at=T0 + 3 * DAY, instead={"finish": T0 + 4 * DAY}, reason="wrong week", who="robin")
    log = den.book.log("den")
    assert log[-1].body == {"reason": "wrong week", "at": T0 + 3 * DAY, "instead": {"finish": T0 + 4 * DAY}}


def test_a_correction_answers_the_verdicts_before_and_after(den: Desk):
    hear(den, steady(T0, 60))
    done = correct(den, "den", 4, withdraw=True, reason="the other wall", who="robin")
    assert (done.before.lot.delivered_at, done.after.lot.delivered_at) == (T0, None)
    assert [entry.corrects for entry in done.entries] == [4]


def open_conditions(desk: Desk, at: int) -> int:
    return sum(condition.verdict != "pass" for condition in assess(desk, "den", at=at).readiness)


def test_a_start_that_is_moved_has_the_conditions_open_of_the_minute_it_is_moved_to(den: Desk):
    hear(den, steady(T0, 100))
    entry = install(den, "den", Installing(T0 + 60 * HOUR, **WHY), who="robin")
    before = len(entry.body["not_ready"])
    assert status_view(den, "den").facts.open_at_start == before
    done = correct(den, "den", entry.number, at=T0 + 20 * HOUR, reason="wrong day", who="robin")
    moved = open_conditions(den, T0 + 20 * HOUR)
    assert moved > before  # 20 h are fewer than 48 h
    assert (done.open_before, done.open_after) == (before, moved)
    assert status_view(den, "den").facts.open_at_start == moved
    back = correct(den, "den", entry.number, at=T0 + 60 * HOUR, reason="right after all", who="robin")
    assert (back.open_before, back.open_after) == (moved, before)


def test_an_installation_that_is_withdrawn_has_no_conditions_open(den: Desk):
    entry = install(den, "den", Installing(T0 + DAY, **WHY), who="robin")
    done = correct(den, "den", entry.number, withdraw=True, reason="the other wall", who="robin")
    assert (done.open_before, done.open_after) == (len(entry.body["not_ready"]), 0)


@pytest.mark.parametrize(("quantity", "value"), [(HUMIDITY, 0.0), (HUMIDITY, 105.0), (TEMPERATURE, -40.0)])
def test_a_hand_reading_at_the_edge_of_what_sensors_may_say_is_taken(den: Desk, quantity, value):
    entry = hand_reading(den, "den", {quantity: value}, at=None, instrument="", who="robin")
    assert (entry.body["values"], entry.at) == ({quantity.value: value}, NOW)


@pytest.mark.parametrize(
    ("quantity", "value", "said"),
    [
        (HUMIDITY, -0.1, "-0.1 % is no air of a room. Read it again: 0 to 105"),
        (TEMPERATURE, 85.1, "85.1 degC is no air of a room. Read it again: -40 to 85"),
        (TEMPERATURE, float("nan"), "nan degC is no air of a room. Read it again: -40 to 85"),
    ],
)
def test_a_hand_reading_that_no_room_has_is_refused(den: Desk, quantity, value, said):
    with pytest.raises(RecordError) as refused:
        hand_reading(den, "den", {quantity: value}, at=None, instrument="", who="robin")
    assert str(refused.value) == f"log reading: {said}"
