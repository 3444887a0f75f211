"""What is remembered of readings answers as the store does, whatever comes: new, late, again, in other units."""

from __future__ import annotations

from dataclasses import fields
from unittest import mock

import numpy as np
import pytest
from desks import HUMIDITY, NOW, TEMPERATURE, Row, furnish, hear, readings, steady
from sqlalchemy import text

from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import Origin, OriginKind, Quantity, Reading
from monitor.watch.judging import assess, assess_in_round, settle
from monitor.watch.service.lately import SPAN, Lately, Lent

STREAM = "site/shelf/climate"
BEGUN = NOW - 40 * HOUR


@pytest.fixture
def lately(desk) -> Lately:
    """What is remembered of a room that was heard for 40 hours."""
    hear(desk, steady(BEGUN, 40))
    found = Lately(desk.store)
    found.begin(NOW, [STREAM])
    same(found, desk)
    return found


def same(lately: Lately, desk, quantities=(TEMPERATURE, HUMIDITY)) -> None:
    """Every stretch is what the store has of it."""
    now = desk.clock.now()
    for quantity in quantities:
        assert lately.bounds(STREAM, quantity) == desk.store.bounds(STREAM, quantity)
        for start, end in ((None, None), (now - DAY, now), (now - 2 * DAY, now), (now - HOUR, None), (now, now + 1)):
            ours, kept = (of.series(STREAM, quantity, start, end) for of in (lately, desk.store))
            assert said(ours) == said(kept)


def said(series) -> list[tuple]:
    """Time, value, unit and origin of each reading."""
    assert [getattr(series, one.name).dtype for one in fields(series)[:4]] == [np.int64, np.float64, np.int16, np.int32]
    units, origins = ([names[k] for k in of.tolist()] for of, names in (
        (series.unit, series.units), (series.origin, series.origins)
    ))  # fmt: skip
    return list(zip(series.t.tolist(), series.value.tolist(), units, origins, strict=True))


def again(lately: Lately, desk, by: int = MINUTE) -> None:
    desk.clock.move(by)
    lately.begin(desk.clock.now(), [STREAM])


def test_what_is_new_is_added_and_no_more_is_read(desk, lately):
    for k in range(3):
        hear(desk, [Row(NOW + k * MINUTE, 20.0 + k, 50.0)])
        again(lately, desk)
        with mock.patch.object(type(desk.store), "series", side_effect=AssertionError("read anew")):
            assert lately.series(STREAM, TEMPERATURE, desk.clock.now() - DAY).value[-1] == 20.0 + k
        same(lately, desk)


def test_what_comes_late_is_found(desk, lately):
    hear(desk, [Row(NOW - 5 * HOUR + 1, 19.0, 49.0)])
    again(lately, desk)
    same(lately, desk)
    hear(desk, [Row(NOW - 3 * HOUR + 1, 19.0, 49.0), Row(NOW + 1, 19.0, 49.0)])
    again(lately, desk)
    same(lately, desk)


def test_another_unit_and_another_origin_are_told_apart(desk, lately):
    desk.store.keep_readings([Reading(STREAM, TEMPERATURE, NOW + 1, 68.0, "degF", NOW + 1, Origin(OriginKind.LIVE))])
    again(lately, desk)
    same(lately, desk)
    desk.store.keep_readings(readings(STREAM, [Row(NOW + 2, 19.0, 49.0)], Origin(OriginKind.FILE, "a.csv")))
    again(lately, desk)
    same(lately, desk)


def test_what_is_longer_ago_than_is_remembered_goes_as_time_goes(desk, lately):
    for hour in range(1, 40):
        hear(desk, steady(NOW + (hour - 1) * HOUR, 1))
        again(lately, desk, HOUR)
    same(lately, desk)
    begins = lately._tails[STREAM, TEMPERATURE].series().t[0]
    assert SPAN <= desk.clock.now() - begins < SPAN + 5 * HOUR  # 30 readings, of which there are six an hour


def test_a_silent_sensor_and_one_that_speaks_for_the_first_time_are_answered(desk, lately):
    again(lately, desk, 3 * DAY)
    same(lately, desk, (TEMPERATURE, HUMIDITY, Quantity.BATTERY))
    now = desk.clock.now()
    desk.store.keep_readings([Reading(STREAM, Quantity.BATTERY, now, 90.0, "%", now, Origin(OriginKind.LIVE))])
    hear(desk, [Row(now, 20.0, 50.0)])
    again(lately, desk)
    same(lately, desk, (TEMPERATURE, HUMIDITY, Quantity.BATTERY))


def test_a_clock_that_is_set_back_is_answered_from_the_store(desk, lately):
    again(lately, desk, 12 * HOUR)
    hear(desk, [Row(NOW + 12 * HOUR, 20.0, 50.0)])
    again(lately, desk, MINUTE)
    again(lately, desk, -14 * HOUR)
    same(lately, desk)


def test_as_many_that_were_thinned_as_are_new_hide_nothing(desk, lately):
    hear(desk, [Row(NOW + 1, 20.0, 50.0)])
    with desk.store._writing() as conn:  # as thinning does, of days long past
        conn.execute(text("UPDATE channel SET readings = readings - 1"))
    again(lately, desk)
    same(lately, desk)


def test_what_nobody_asks_for_any_more_is_remembered_for_a_while(desk, lately):
    desk.clock.move(SPAN - 1)
    lately.begin(desk.clock.now(), [])
    assert len(lately._tails) == 2
    desk.clock.move(1)
    lately.begin(desk.clock.now(), [])
    assert lately._tails == {}


def test_what_is_forgotten_is_read_again(desk, lately):
    hear(desk, [Row(NOW + 1, 20.0, 50.0)])
    lately.forget([STREAM, "site/unknown"])
    again(lately, desk)
    same(lately, desk)


def test_no_checkpoint_is_kept_without_what_another_process_settled_meanwhile(sit_down):
    here, there = sit_down(), sit_down()
    furnish(here)
    hear(here, steady(NOW - 30 * HOUR, 30))
    settle(here)
    lately = Lately(here.store)
    lately.begin(NOW, [STREAM], here.store.generations())
    hear(there, [Row(NOW - 25 * HOUR + 1, 40.0, 50.0)])  # late, of yesterday
    assess(there, "den")
    found = assess_in_round(here, "den", NOW, lately)
    assert found == assess(here, "den", recompute=True) == assess(here, "den")
    assert any(one.peak == 40.0 for one in found.excursions)


def test_a_job_that_is_judged_again_reads_only_what_is_new(desk):
    furnish(desk)
    hear(desk, steady(NOW - 30 * HOUR, 30))
    assess(desk, "den")
    assess(desk, "den")
    hear(desk, [Row(NOW, 20.0, 50.0)])
    desk.clock.move(MINUTE)
    for way in ("series", "several"):
        patch = mock.patch.object(type(desk.store), way, side_effect=AssertionError("read anew"))
        with patch:
            found = assess(desk, "den")
    assert found.now.values["shelf"][TEMPERATURE] == 20.0
    assert found == assess(desk, "den", recompute=True)


def test_whoever_finds_it_in_use_has_one_that_remembers_nothing(desk):
    lent = Lent(desk.store)
    with lent.out() as mine:
        with lent.out() as another:
            assert another is not mine
        with lent.out() as one_more:
            assert one_more is not mine
    with lent.out() as again_mine:
        assert again_mine is mine
