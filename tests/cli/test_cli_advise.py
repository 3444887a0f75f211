"""wallclime advise, and what a status says of the air: from the store to the words."""

from __future__ import annotations

from math import exp

import pytest
from homes import COLUMNS, NOON, OPEN_DEN, Home, csv_of, steady

from monitor.basis.times import HOUR, rfc3339

DAY_BEFORE = NOON - 24 * HOUR
SI = ("--units", "si")


def room(home: Home, temperature: float, humidity: float, *opening: str) -> Home:
    """The den with a day of a sensor's readings up to now, the last of them 0.3 K and 0.6 % higher."""
    home.done(*OPEN_DEN, *opening)
    home.done("log", "deliver", "den", "--at", rfc3339(DAY_BEFORE))
    rows = csv_of(steady(DAY_BEFORE, 24, temperature=temperature - 0.3, humidity=humidity - 0.6))
    home.done("import", "den", home.file("den.csv", rows), "--sensor", "shelf", *COLUMNS)
    return home


def grams_m3(t_c: float, rh_pct: float) -> float:
    """Vapour in a cubic metre: Magnus (WMO-No. 8) and the ideal gas, 461.52 J/(kg K)."""
    return 1000 * rh_pct / 100 * 611.2 * exp(17.62 * t_c / (243.12 + t_c)) / (461.52 * (t_c + 273.15))


def test_dry_air_is_moistened_with_litres_for_the_volume_that_is_said(wallclime: Home):
    told = room(wallclime, 21.0, 25.0, *SI)("advise", "den", "--volume", "50 m3", "--json").json()
    assert told["moves"] == ["moisten"]
    assert told["amounts"]["humidity_pct"] == 40.0  # the band begins at 35, the maker's U is 5
    once = 50 * (grams_m3(21.0, 40.0) - grams_m3(21.0, 25.0)) / 1000
    assert told["amounts"]["once_l"] == pytest.approx(once, rel=0.01)
    assert told["amounts"]["boards_l"] > told["amounts"]["once_l"]
    assert [one["caution"] for one in told["cautions"]] == ["humidifier", "local code"]
    assert all(one["text"] and one["source"] for one in told["cautions"])


def test_boards_are_the_walls_area_unless_something_else_is_said(wallclime: Home):
    home = room(wallclime, 21.0, 25.0)
    wall, twice = (
        home("advise", "den", *more, "--json").json()["amounts"]["boards_l"]
        for more in ((), ("--boards", "256 ft2"))  # the wall is 16 ft by 8 ft: 128 ft2
    )
    assert twice == pytest.approx(2 * wall)


def test_advice_for_people_is_sentences_guards_and_cautions(wallclime: Home):
    lines = room(wallclime, 3.0, 50.0, *SI).done("advise", "den").out.splitlines()
    assert lines[0] == (
        "At 3.0 degC the room is below 5.0 degC: pipes can freeze. "
        "Bring the heating back, or have the water shut off and the pipes drained."
    )
    assert "Heat to 16.6 degC, which allows for the sensor's uncertainty of 1.0 K." in lines
    assert "guard, unknown: How damp a cold outside wall is at its surface is not known." in lines
    assert [line for line in lines if line.startswith("mind: Heat with electric or vented heaters only.")]
    assert [line for line in lines if line.startswith("mind: Pipes freeze before planks mind the cold")]


def test_boxes_colder_than_the_dew_point_are_not_to_be_opened(wallclime: Home):
    # Magnus: the dew point of 21 degC and 50 % is 10.2 degC
    out = room(wallclime, 21.0, 50.0, *SI).done("advise", "den", "--boxes", "5 degC").out
    assert out.splitlines()[0] == (
        "Boxes, at 5.0 degC, are colder than the room's dew point of 10.2 degC. "
        "Do not open them, water would condense on the boards: let them warm up closed."
    )


def test_a_sensor_at_the_outdoor_place_sets_the_ceiling(wallclime: Home):
    home = room(wallclime, 21.0, 25.0, *SI, "--outdoor-place", "garden")
    home.done("job", "open", "yard", "--zone", "UTC", "--length", "1 m", "--height", "1 m", "--boxes-place", "garden")
    rows = csv_of(steady(DAY_BEFORE, 24, temperature=-10.3, humidity=79.4))
    home.done("import", "yard", home.file("yard.csv", rows), "--sensor", "porch", *COLUMNS)
    told = home("advise", "den", "--volume", "50 m3", "--json").json()
    wall = -10.0 + 0.60 * 31.0  # ISO 13788: the surface by the temperature factor assumed, 8.6 degC
    ceiling = 80 * exp(17.62 * wall / (243.12 + wall)) / exp(17.62 * 21.0 / (243.12 + 21.0))
    assert told["amounts"]["ceiling_pct"] == pytest.approx(ceiling, rel=0.01)
    assert told["amounts"]["daily_l"] > 0
    assert {guard["guard"]: guard["verdict"] for guard in told["guards"]}["surface"] == "pass"


def test_of_two_sensors_the_one_furthest_out_is_advised_on(wallclime: Home):
    home = room(wallclime, 21.0, 50.0, *SI)
    rows = csv_of(steady(DAY_BEFORE, 24, temperature=21.0, humidity=70.0))
    home.done("import", "den", home.file("b.csv", rows), "--sensor", "corner", *COLUMNS)
    assert home("advise", "den", "--json").json()["moves"] == ["dry"]


def test_a_room_that_was_not_heard_says_so(den: Home):
    assert den.done("advise", "den").out.splitlines()[0] == (
        "The room's temperature and humidity are not known: let a sensor there be heard first."
    )


# --- status -----------------------------------------------------------------------------------------------------------


def test_a_status_has_the_first_sentence_of_advice(wallclime: Home):
    out = room(wallclime, 21.0, 50.0, *SI).done("status", "den").out
    assert "advice     In band: 21.0 degC and 50.0 %. Leave the air as it is.\n" in out


def test_a_status_has_the_guards_that_fail_before_it(wallclime: Home):
    out = room(wallclime, 3.0, 50.0, *SI).done("status", "den").out
    assert "advice     At 3.0 degC the room is below 5.0 degC: pipes can freeze." in out
    assert "advice     Temperature is 3.0 degC, below the band of 15.6 degC to 29.4 degC.\n" in out


def test_a_closed_job_is_given_no_advice(wallclime: Home):
    home = room(wallclime, 3.0, 50.0)
    home.done("job", "close", "den", "--reason", "done")
    assert "advice" not in home.done("status", "den").out


def test_a_drift_is_in_the_status_only_beyond_the_sensors_uncertainty(wallclime: Home):
    home = wallclime
    home.done(*OPEN_DEN)
    home.done("log", "deliver", "den", "--at", rfc3339(NOON - 20 * 24 * HOUR))
    start = NOON - 20 * 24 * HOUR
    rows = steady(start, 480, step=30)
    for name, per_h in (("boxes", 0.0), ("door", 8.0 / 480)):
        moved = [row._replace(humidity=round(row.humidity + per_h * (row.t - start) / HOUR, 3)) for row in rows]
        home.done("import", "den", home.file(f"{name}.csv", csv_of(moved)), "--sensor", name, *COLUMNS)
    out = " ".join(home.done("status", "den").out.split())
    assert "advice door has moved away from boxes by 8.4 %RH in 21 days (humidity; " in out
    assert "): more than their uncertainty, check both" in out


# --- what is refused --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("--volume", "50"), '--volume: \'50\' is not a volume. Write it like "50 m3" or "500 ft3"'),
        (("--volume", "0 m3"), '--volume: \'0 m3\' is not a volume. Write it like "50 m3" or "500 ft3"'),
        (("--boards", "60 m3"), '--boards: \'60 m3\' is not an area. Write it like "50 m2" or "500 ft2"'),
        (
            ("--boxes", "cold"),
            '--boxes: \'cold\' is not a number with a unit. Write it like "68 degF" or "20 degC"',
        ),
    ],
)
def test_what_advise_refuses(record: Home, args, said):
    result = record("advise", "den", *args)
    assert (result.code, result.out, result.err) == (2, "", said + "\n")


def test_a_humidity_corrected_below_nothing_is_advised_on_as_nothing(wallclime: Home):
    home = room(wallclime, 21.0, 2.0, *SI)
    home.done("sensor", "check", "shelf", "--beside", "40 %", "--read", "45 %")
    told = home("advise", "den", "--json").json()
    assert told["amounts"]["left_alone_pct"] == 0.0
