"""Imports: looked over before anything is kept, kept in batches, and told once."""

from __future__ import annotations

from pathlib import Path

import pytest
from desks import NOW, T0, Row, csv, furnish, hear, kinds, opening, steady

from monitor.basis.errors import LoggerFileError, RecordError
from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import SENSORS_CHAIN, OriginKind, Quantity
from monitor.intake.loggerguess import Columns
from monitor.watch.desk import Desk
from monitor.watch.job.jobs import open_job
from monitor.watch.judging import assess
from monitor.watch.sensing import imports
from monitor.watch.sensing.imports import Imported, plan_import, run_import
from monitor.watch.sensing.sensors import assign_sensor, release_sensor

COLUMNS = Columns(time=("when",), temperature="temp", humidity="rh")


def bring(desk: Desk, path: Path, *, job: str = "den", sensor: str = "logger", hold: int | None = None) -> Imported:
    """Plan an import and run it."""
    plan = plan_import(desk, job, path, COLUMNS, sensor=sensor, hold=hold, progress=lambda _: None)
    return run_import(desk, plan, who="robin", progress=lambda _: None)


@pytest.fixture
def den(desk: Desk) -> Desk:
    """The den, one lot delivered, no sensor."""
    furnish(desk, sensor=None)
    return desk


def test_a_plan_keeps_nothing(den: Desk, tmp_path: Path):
    path = csv(tmp_path / "a.csv", steady(T0, 5))
    plan = plan_import(den, "den", path, COLUMNS, sensor="logger", hold=None, progress=lambda _: None)
    assert (plan.new_sensor, plan.place, plan.stream, plan.hold) == (True, "den", "file:logger", 30 * MINUTE)
    assert (plan.summary.first, plan.summary.last) == (T0, T0 + 5 * HOUR - 10 * MINUTE)
    assert den.store.heard() == []
    assert kinds(den) == ["job", "profile", "take-off", "deliver"]
    assert den.store.entries(SENSORS_CHAIN) == []


def test_a_new_sensor_has_what_makers_state_and_is_there_until_its_last_reading_has_spoken(den: Desk, tmp_path: Path):
    bring(den, csv(tmp_path / "a.csv", steady(T0, 5)), hold=HOUR)
    (sensor,) = den.book.sensors().values()
    assert sensor.uncertainty == {Quantity.AIR_TEMPERATURE: 1.0, Quantity.AIR_HUMIDITY: 5.0}
    assert (sensor.stream, sensor.hold, sensor.checks) == ("file:logger", HOUR, ())
    (stay,) = den.book.stays()
    assert (stay.place, stay.start, stay.end) == ("den", T0, T0 + 6 * HOUR - 10 * MINUTE)


def test_readings_are_kept_in_batches_with_the_files_hash(den: Desk, tmp_path: Path, monkeypatch):
    sizes: list[int] = []
    keep = den.store.keep_readings
    monkeypatch.setattr(den.store, "keep_readings", lambda batch: (sizes.append(len(batch)), keep(batch))[1])
    monkeypatch.setattr(imports, "BATCH", 100)
    path = csv(tmp_path / "a.csv", steady(T0, 20))
    assert bring(den, path) == Imported(240, 0, 0)
    assert sizes == [100, 100, 40]
    series = den.store.series("file:logger", Quantity.AIR_HUMIDITY)
    (origin,) = series.origins
    entry = den.book.log("den")[-1]
    assert (origin.kind, origin.detail) == (OriginKind.FILE, entry.body["sha256"])


def test_progress_goes_from_little_to_all(den: Desk, tmp_path: Path):
    path = csv(tmp_path / "a.csv", steady(NOW - 10 * DAY, 239, step=1))
    heard: list[float] = []
    plan_import(den, "den", path, COLUMNS, sensor="logger", hold=None, progress=heard.append)
    assert heard == sorted(heard)
    assert heard[-1] == 1.0


def test_a_file_of_a_sensor_that_is_heard_live_adds_to_it_and_what_was_heard_is_known(den: Desk, tmp_path: Path):
    furnish(den, job="loft")
    rows = steady(T0, 10)
    hear(den, rows[:30])
    assert bring(den, csv(tmp_path / "a.csv", rows), job="loft", sensor="shelf") == Imported(60, 60, 0)
    assert den.store.bounds("site/shelf/climate", Quantity.AIR_HUMIDITY) == (T0, T0 + 10 * HOUR - 10 * MINUTE)
    assert len(den.book.stays()) == 1


def test_a_file_that_adjoins_to_the_millisecond_extends_the_stay(den: Desk, tmp_path: Path):
    bring(den, csv(tmp_path / "a.csv", steady(T0, 1)))
    end = T0 + HOUR - 10 * MINUTE + 30 * MINUTE  # the last reading has spoken
    bring(den, csv(tmp_path / "b.csv", steady(end, 1)))
    (stay,) = den.book.stays()
    assert (stay.start, stay.end) == (T0, end + HOUR - 10 * MINUTE + 30 * MINUTE)
    with pytest.raises(RecordError, match="neither adjoins nor overlaps"):
        bring(den, csv(tmp_path / "c.csv", steady((stay.end or 0) + 1000, 1)))


def test_a_file_that_ends_where_the_stay_begins_extends_it_backwards(den: Desk, tmp_path: Path):
    bring(den, csv(tmp_path / "b.csv", steady(T0 + 10 * HOUR, 1)))
    bring(den, csv(tmp_path / "a.csv", steady(T0 + 9 * HOUR, 1)))
    (stay,) = den.book.stays()
    assert stay.start == T0 + 9 * HOUR
    with pytest.raises(RecordError, match="neither adjoins nor overlaps"):
        bring(den, csv(tmp_path / "c.csv", steady(T0, 1)))


def test_a_file_of_a_sensor_that_was_elsewhere_then_is_refused_and_nothing_is_kept(den: Desk, tmp_path: Path):
    bring(den, csv(tmp_path / "a.csv", steady(T0, 2)))
    release_sensor(den, "logger", at=T0 + HOUR, who="robin")
    assign_sensor(den, "logger", "hall", at=T0 + HOUR, facts={}, who="robin")
    with pytest.raises(RecordError) as refused:
        bring(den, csv(tmp_path / "b.csv", steady(T0 + 30 * MINUTE, 3)))
    assert str(refused.value) == (
        "assignment to 'den': logger is at 'hall' from 2026-01-05T01:00:00Z to now. "
        "Release it first: wallclime sensor release logger --at TIME"
    )
    assert den.store.bounds("file:logger", Quantity.AIR_HUMIDITY) == (T0, T0 + 2 * HOUR - 10 * MINUTE)


@pytest.mark.parametrize(("ahead", "taken"), [(120_000, True), (121_000, False)])
def test_two_minutes_ahead_a_loggers_clock_may_be(den: Desk, tmp_path: Path, ahead, taken):
    path = csv(tmp_path / "a.csv", [*steady(NOW - HOUR, 1), Row(NOW + ahead, 21.0, 50.0)])
    if taken:
        assert bring(den, path).new == 14
    else:
        with pytest.raises(LoggerFileError) as refused:
            bring(den, path)
        assert str(refused.value) == (
            f"{path}: its last reading, 2026-01-17T00:02:01Z, is in the future. "
            "Check the logger's clock, --zone and --time-format"
        )


def test_a_file_for_a_second_wall_of_the_room_is_told_there_too(den: Desk, tmp_path: Path):
    open_job(den, opening("other wall", boxes_place="den"), who="robin")
    path = csv(tmp_path / "a.csv", steady(T0, 5))
    bring(den, path)
    assert bring(den, path, job="other wall") == Imported(0, 60, 0)
    assert [kinds(den, job).count("import") for job in ("den", "other wall")] == [1, 1]


def test_what_comes_by_file_and_what_is_heard_live_give_one_answer(den: Desk, tmp_path: Path):
    furnish(den, job="loft")
    rows = steady(T0, 60)
    hear(den, rows)
    bring(den, csv(tmp_path / "a.csv", rows))
    by_file, live = (assess(den, job, at=T0 + 59 * HOUR) for job in ("den", "loft"))
    assert (by_file.span, by_file.excursions, by_file.lot.clock) == (live.span, live.excursions, live.lot.clock)
