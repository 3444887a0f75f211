"""Wall moisture: by the difference from a dry place, never a bare reading."""

from __future__ import annotations

from typing import Any

import pytest

from monitor.basis.times import DAY
from monitor.basis.values import Entry, Kind
from monitor.config.profile import load_profile
from monitor.rules.frame import effective
from monitor.rules.install.moisture import moisture_condition, moisture_of

PROFILE = load_profile("laminate-planks")  # 1 point above the dry reference, holds for 7 d
T0 = 1_767_571_200_000  # 2026-01-05T00:00Z [ms]


def entry(number: int, *values: float, dry: float | None = 0.2, material: str = "drywall", at: int = T0) -> Entry:
    points = [{"where": where, "value": value} for where, value in zip(("low left", "low right"), values, strict=False)]
    body: dict[str, Any] = {"meter": "pin meter", "scale": "gypsum", "material": material, "points": points}
    body |= {} if dry is None else {"dry_reference": dry}
    return Entry("den", number, Kind.WALL_MOISTURE, at, at, "robin", body, None, b"", b"")


def said(*entries: Entry, at: int = T0, profile: Any = PROFILE) -> tuple[str, str]:
    found = moisture_condition(moisture_of(entries), profile, at=at)
    assert found.name == "wall moisture"
    return found.verdict, found.evidence


def test_nothing_measured_is_unknown():
    assert said() == ("unknown", "no wall moisture is recorded")


def test_a_wall_as_dry_as_its_reference_passes():
    assert said(entry(1, 0.3, 0.9)) == (
        "pass",
        "drywall: at most 1 point of the meter's scale above the dry reference of 0.2; the highest is low right, 0.9",
    )


@pytest.mark.parametrize(("value", "verdict"), [(1.1, "pass"), (1.2, "pass"), (1.2001, "fail"), (0.0, "pass")])
def test_exactly_the_points_allowed_are_within(value, verdict):
    # 0.2 + 1 = 1.2, though 1.2 - 0.2 is not quite 1 in binary
    assert said(entry(1, value))[0] == verdict


def test_a_wet_place_fails_with_where_and_by_how_much():
    assert said(entry(1, 2.5, 0.9)) == (
        "fail",
        "drywall: more than 1 point of the meter's scale above the dry reference of 0.2: low left by 2.3",
    )
    assert said(entry(1, 2.5, 1.9))[1].endswith(": low left by 2.3, low right by 1.7")


def test_the_points_allowed_are_the_profiles():
    wide = PROFILE._replace(site=PROFILE.site._replace(above_dry=2.5))
    assert said(entry(1, 2.5), profile=wide) == (
        "pass",
        "drywall: at most 2.5 points of the meter's scale above the dry reference of 0.2; the highest is low left, 2.5",
    )


def test_a_bare_reading_is_not_judged_however_low_it_is():
    assert said(entry(1, 0.0, dry=None)) == (
        "unknown",
        "drywall: no dry reference is recorded; a bare reading is not judged, as no published limit exists",
    )


def test_a_measurement_holds_for_exactly_7_days():
    assert said(entry(1, 0.3), at=T0 + 7 * DAY)[0] == "pass"
    assert said(entry(1, 0.3), at=T0 + 7 * DAY + 1) == (
        "unknown",
        "drywall: it is 8 days old; a measurement holds for 7 days",
    )


def test_the_newest_measurement_of_a_material_stands():
    wet, dry = entry(1, 5.0), entry(2, 0.3, material="Drywall", at=T0 + DAY)
    assert said(wet, dry, at=T0 + DAY)[0] == "pass"
    assert said(wet._replace(at=T0 + 2 * DAY), dry, at=T0 + 2 * DAY)[0] == "fail"


def test_every_material_must_be_dry_and_the_wet_one_is_named():
    plate = entry(2, 9.0, dry=6.0, material="sole plate")
    assert said(entry(1, 0.3), plate) == (
        "fail",
        "sole plate: more than 1 point of the meter's scale above the dry reference of 6: low left by 3",
    )
    assert said(entry(1, 0.3), entry(2, 6.5, dry=None, material="sole plate"))[0] == "unknown"
    assert said(entry(1, 0.3), entry(2, 6.5, dry=6.0, material="sole plate")) == (
        "pass",
        "drywall: at most 1 point of the meter's scale above the dry reference of 0.2; the highest is low left, 0.3; "
        "sole plate: at most 1 point of the meter's scale above the dry reference of 6; the highest is low left, 6.5",
    )


def test_a_withdrawn_measurement_says_nothing():
    withdrawn = Entry("den", 2, Kind.CORRECTION, T0, T0, "robin", {"withdrawn": True, "reason": "x"}, 1, b"", b"")
    assert moisture_of(effective([entry(1, 5.0), withdrawn])) == ()
