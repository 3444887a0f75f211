"""A sensor's battery: heard, kept, sealed and shown, and of no weight in anything that is judged."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from desks import NOW, T0, furnish, hear, steady

from monitor.basis.times import DAY, HOUR
from monitor.basis.values import LIVE, Quantity, Reading
from monitor.config.settings import Field, Source
from monitor.intake.payload import decode
from monitor.watch.desk import Desk
from monitor.watch.evidence.bundling import write_bundle
from monitor.watch.evidence.disclosing import Asked, write
from monitor.watch.evidence.verifying import check
from monitor.watch.judging import assess
from monitor.watch.papers.pages import write_report
from monitor.watch.sensing.sensors import seen

sys.path.append(str(Path(__file__).parents[1] / "seal"))
from independent_verify import is_whole

SHELF = "site/shelf/climate"
BATTERY = Quantity.BATTERY


def battery(desk: Desk, *, unit: str = "%", scale: float = 1.0) -> None:
    """What is left of the battery, every two hours of ten days, one percent less each time."""
    levels = [(T0 + k * 2 * HOUR + 1, (95 - k % 90) * scale) for k in range(120)]
    desk.store.keep_readings([Reading(SHELF, BATTERY, t, value, unit, t, LIVE) for t, value in levels])


@pytest.fixture
def den(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> Desk:
    """A job of eleven days three hours after a midnight, whose sensor speaks of its battery too."""
    monkeypatch.setattr("monitor.tell.pages.page._packed", lambda _program: "")  # takes a second
    desk.clock.at_ms = NOW + 3 * HOUR
    furnish(desk)
    hear(desk, steady(T0, 60, step=20))
    hear(desk, steady(T0 + 66 * HOUR, 200, step=20))
    return desk


def test_it_is_read_from_a_json_payload_beside_the_air():
    fields = {Quantity.AIR_TEMPERATURE: Field("/t", "degC"), BATTERY: Field("/battery", "%")}
    source = Source("site/{sensor}/climate", "json", fields, "site/{sensor}/climate")
    found = decode(
        source, SHELF, b'{"t": 21.5, "battery": 87}',
        arrival=T0, trusted_live=True, retained=False, now=T0, back_fill=DAY, newest=None,
    )  # fmt: skip
    assert [(one.quantity, one.value, one.unit) for one in found] == [
        (Quantity.AIR_TEMPERATURE, 21.5, "degC"), (BATTERY, 87.0, "%"),
    ]  # fmt: skip


def test_it_bears_on_nothing_that_is_judged(den: Desk):
    before = assess(den, "den").to_json()
    battery(den)
    assert assess(den, "den").to_json() == before
    assert assess(den, "den", recompute=True).to_json() == before


def test_a_sensor_that_speaks_of_its_battery_only_proves_no_air(desk: Desk):
    furnish(desk)
    battery(desk)
    found = assess(desk, "den").to_json()
    assert (found["coverage"]["known_h"], found["acclimation"]["started_at"]) == (0.0, None)


@pytest.mark.parametrize(("unit", "scale"), [("%", 1.0), ("1", 0.01)])
def test_what_is_seen_says_the_newest_level_in_percent(den: Desk, unit, scale):
    assert [one.battery for one in seen(den)] == [None]
    battery(den, unit=unit, scale=scale)
    (found,) = seen(den)
    assert found.battery == pytest.approx(66)  # 95 - 119 % 90
    assert BATTERY in found.heard.quantities
    assert found.proposed_hold == HOUR  # three times the 20 min of its air, not of its battery


def test_it_stands_in_a_bundle_that_is_whole(den: Desk, tmp_path: Path):
    battery(den)
    write_bundle(den, "den", tmp_path / "bundle")
    found = check(tmp_path / "bundle")
    assert ([str(one) for one in found.found.faults], found.faults, found.judged) == ([], (), True)
    assert is_whole(tmp_path / "bundle") == (True, "")
    table = next((tmp_path / "bundle" / "data" / "readings").rglob("*.csv")).read_text(encoding="utf-8-sig")
    assert ",battery,95.0,%," in table


def test_it_may_be_shown_alone_or_withheld(den: Desk, tmp_path: Path):
    battery(den)
    write_bundle(den, "den", tmp_path / "bundle")
    for name, channel in (("alone", "battery"), ("without", "air_humidity")):
        write(tmp_path / "bundle", tmp_path / name, Asked(channels=(channel,)))
        assert is_whole(tmp_path / name) == (True, "")


def test_a_report_is_the_same_with_and_without_it(den: Desk, tmp_path: Path):
    write_report(den, "den", tmp_path / "without.html")
    battery(den)
    write_report(den, "den", tmp_path / "with.html")
    assert (tmp_path / "with.html").read_text() == (tmp_path / "without.html").read_text()
