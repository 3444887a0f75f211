"""A reading by hand is held against the sensors, on the screen and in the report."""

from __future__ import annotations

import pytest
from homes import COLUMNS, DELIVERED, Home, csv_of, steady

from monitor.basis.times import HOUR, rfc3339


@pytest.fixture
def heard(den: Home) -> Home:
    """The den, and 100 h of a sensor that says 50.0 % to 50.8 % and 21.0 to 21.6 degC, in a job shown in degF."""
    den.done("log", "deliver", "den", "--at", rfc3339(DELIVERED))
    den.done("import", "den", den.file("den.csv", csv_of(steady(DELIVERED, 100))), "--sensor", "shelf", *COLUMNS)
    return den


def read(home: Home, *args: str, at: int = DELIVERED + 7 * HOUR) -> list[str]:
    """What a hand reading says; at 7 h the sensor says 50.4 % and 21.0 degC."""
    return home.done("log", "reading", "den", "--at", rfc3339(at), *args).err.splitlines()


def test_a_hand_reading_within_the_combined_uncertainty_agrees(heard: Home):
    # sqrt(5^2 + 2^2) = 5.39 %RH
    assert read(heard, "--humidity", "46 %") == [
        "entry 7: reading",
        "humidity: shelf agrees: 4.4 %RH above it, within the combined uncertainty of 5.4 %RH",
    ]


def test_one_beyond_it_differs_and_temperatures_are_in_the_jobs_units(heard: Home):
    # sqrt(1^2 + 0.5^2) = 1.118 K = 2.0 degF
    said = read(heard, "--humidity", "56 %", "--temperature", "24 degC")
    assert sorted(said[1:]) == [
        "humidity: shelf differs: 5.6 %RH below it, more than the combined uncertainty of 5.4 %RH",
        "temperature: shelf differs: 5.4 degF below it, more than the combined uncertainty of 2.0 degF",
    ]


def test_an_instruments_own_uncertainty_is_kept_and_used(heard: Home):
    said = read(heard, "--humidity", "46 %", "--uncertainty", "12 %")
    assert said[1].endswith("within the combined uncertainty of 13.0 %RH")  # 5-12-13
    assert heard.log()[-1]["body"]["uncertainty"] == {"air_humidity": 12.0}


def test_an_uncertainty_of_nothing_is_refused(heard: Home):
    result = heard("log", "reading", "den", "--humidity", "46 %", "--uncertainty", "0 %")
    assert (result.code, result.err) == (
        2,
        "--uncertainty: 0 is not above 0 and at most 50. Take it from the instrument's data sheet\n",
    )


def test_where_no_sensor_spoke_nothing_is_compared(heard: Home):
    assert read(heard, "--humidity", "46 %", at=DELIVERED - HOUR) == ["entry 7: reading"]


def test_the_report_shows_what_each_hand_reading_says_of_the_sensors(heard: Home):
    read(heard, "--humidity", "56 %")
    heard.done("report", "den", "-o", heard.path / "den.html")
    page = (heard.path / "den.html").read_text(encoding="utf-8").replace("\u00a0", " ")
    assert "shelf differs: 5.6 %RH below it, more than the combined uncertainty of 5.4 %RH" in page
