"""What is long as it is kept, as the diary tells it: a logger's file, the points of a wall, a form, areas."""

from __future__ import annotations

import pytest

from monitor.basis.times import HOUR, MINUTE, zone_of
from monitor.basis.units import FOOT, INCH
from monitor.basis.values import Entry, Kind
from monitor.tell.diary import body
from monitor.tell.words import Display

T0 = 1_767_600_000_000  # 2026-01-05T08:00Z
US, SI = Display(zone_of("UTC"), "us"), Display(zone_of("UTC"), "si")


def entry(kind: Kind, **said: object) -> Entry:
    return Entry("den", 1, kind, T0, T0, "robin", said, None, b"", b"")


def imported(**other: object) -> Entry:
    told = {
        "file": "shelf.csv", "sha256": "ab" * 32, "sensor": "shelf", "place": "den", "first": T0,
        "last": T0 + 2 * HOUR + 50 * MINUTE, "new": 36, "duplicates": 0, "conflicts": 0, "read_as": ["utf-8", "UTC"],
    }  # fmt: skip
    return entry(Kind.IMPORT, **{**told, **other})


def test_an_import_is_one_sentence_with_the_hash_of_its_file():
    assert body(imported(), US) == (
        f"36 new readings of shelf at den, 2026-01-05 08:00 to 10:50 +00:00; file: shelf.csv; sha256: {'ab' * 32}"
    )


def test_readings_that_were_known_or_in_conflict_are_told():
    said = body(imported(new=1, duplicates=30, conflicts=5), US)
    assert said.startswith(
        "1 new reading of shelf at den, 2026-01-05 08:00 to 10:50 +00:00, 30 were known, 5 in conflict went to "
        "quarantine; file: "
    )


def line(direction: str, *sixteenths: int, **more: object) -> dict[str, object]:
    points = [[foot * FOOT, part * INCH / 16] for foot, part in enumerate(sixteenths)]
    return {"direction": direction, "extent_m": 16 * FOOT, "points": points, **more}


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ([line("along", 0, -2, 5)], "flatness: along: 3 points from 0 in to 2 ft, -1/8 in to 5/16 in"),
        ([line("along", 0, 0)], "flatness: along: 2 points from 0 in to 1 ft, 0 in"),
        (
            [line("along", 1, name="low"), line("across", 0, 1)],
            "flatness: along low: 1 point from 0 in to 0 in, 1/16 in, across: 2 points from 0 in to 1 ft, "
            "0 in to 1/16 in",
        ),
    ],
)
def test_lines_of_a_wall_are_told_by_their_reach_and_their_lowest_and_highest(lines, said):
    assert body(entry(Kind.SITE_CHECK, flatness=lines), US) == said


def test_heights_and_an_uncertainty_are_told_to_the_64th_of_an_inch():
    said = entry(Kind.SITE_CHECK, level=[[0.0, 0.0], [8 * FOOT, INCH / 32]], uncertainty_m=INCH / 64)
    assert body(said, US) == "level: 2 points from 0 in to 8 ft, 0 in to 1/32 in; uncertainty: 1/64 in"


def test_an_area_is_in_the_units_of_the_job():
    # 128 sq ft x 0.09290304 m2 = 11.8916 m2
    said = entry(Kind.TAKE_OFF, gross_m2=11.8916, net_m2=10.0335)
    assert body(said, US) == "gross: 128.0 sq ft; net: 108.0 sq ft"
    assert body(said, SI) == "gross: 11.89 m2; net: 10.03 m2"


def test_a_form_is_known_by_the_begin_of_its_hash_and_the_card():
    said = entry(Kind.NOTE, text="heater on", form={"sha256": "cd" * 32, "item": "c5", "said": "0123456789abcdef"})
    assert body(said, US) == "text: heater on; form: cdcdcdcdcdcd..., c5"


def test_where_a_sensor_hangs_is_told_in_lengths():
    said = entry(Kind.ASSIGNMENT, sensor="shelf", placement={"height": 4 * FOOT, "in_sun": False})
    assert body(said, US) == "sensor: shelf; placement: height 4 ft, never in the sun"
