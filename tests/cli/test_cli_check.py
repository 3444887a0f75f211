"""wallclime sensor check: what is written, what is said, and what it changes."""

from __future__ import annotations

import pytest
from homes import COLUMNS, DELIVERED, NOON, Home, csv_of, steady

from monitor.basis.times import DAY, HOUR, rfc3339
from monitor.basis.values import Kind
from monitor.watch.desk import open_desk

NACL_22 = 75.5164 + 0.0398321 * 22 - 2.65459e-3 * 22**2 + 2.848e-5 * 22**3  # Greenspan (1977), by hand: 75.41 %


@pytest.fixture
def damp(den: Home) -> Home:
    """The den with a sensor that reads 66 % to 67 %, just above the band, since the boxes came."""
    den.done("log", "deliver", "den", "--at", rfc3339(DELIVERED))
    rows = csv_of(steady(DELIVERED, 167, humidity=66.0))
    den.done("import", "den", den.file("den.csv", rows), "--sensor", "shelf", *COLUMNS, "--by", "kim")
    den.done("sensor", "assign", "shelf", "--job", "den")
    return den


def checks(home: Home) -> list[dict]:
    """The bodies of the checks in the sensors' chain."""
    with open_desk(home.path, environ={}, clock=home.clock) as desk:
        return [dict(entry.body) for entry in desk.book.entries("") if entry.kind is Kind.CHECK]


def test_a_salt_point_gives_an_offset_what_is_left_and_how_long_it_holds(damp: Home):
    said = damp.done("sensor", "check", "shelf", "--salt", "NaCl", "--read", "76.1", "--temp", "22 degC")
    (body,) = checks(damp)
    # OIML R 121 gives 0.2 at 20 and 25 degC; with 1 to repeat and half a maker's 5 for the rest of the range
    left = (0.2**2 + 1.0**2 + 2.5**2) ** 0.5
    assert body["points"] == [[76.1, pytest.approx(NACL_22), pytest.approx(0.2)]]
    assert (body["sensor"], body["quantity"], body["level"]) == ("shelf", "air_humidity", "salt")
    assert (body["slope"], body["offset"], body["uncertainty"]) == (
        1.0,
        pytest.approx(NACL_22 - 76.1),
        pytest.approx(left),
    )
    assert (body["until"], body["as_found"], body["how"]) == (NOON + 365 * DAY, True, "NaCl at 22.0 degC")
    lines = said.err.splitlines()
    assert lines[0] == (
        "shelf, humidity: true = read - 0.7 %RH, uncertain by 2.7 %RH; holds until 2027-01-12T12:00:00Z, "
        "and for the time before it too (salt: NaCl at 22.0 degC)"
    )
    assert lines[-1].startswith("mind: Salt points: a sealed vessel at a steady temperature, hours to settle; ")


def test_two_salts_make_a_line(damp: Home):
    more = ("--salt", "MgCl2", "--read", "34 %", "--salt", "NaCl", "--read", "78 %", "--temp", "25 degC")
    said = damp.done("sensor", "check", "shelf", *more)
    (body,) = checks(damp)
    low = 33.6686 - 0.00797397 * 25 - 1.08988e-3 * 25**2  # Greenspan (1977)
    high = 75.5164 + 0.0398321 * 25 - 2.65459e-3 * 25**2 + 2.848e-5 * 25**3
    assert body["slope"] == pytest.approx((high - low) / (78 - 34))
    assert body["how"] == "MgCl2 at 25.0 degC; NaCl at 25.0 degC"
    assert said.err.startswith("shelf, humidity: true = 0.966 x read - 0.1 %RH, uncertain by 1.0 %RH; ")


def test_an_as_found_check_beside_a_second_instrument_completes_what_had_not_been(damp: Home):
    before = damp.assess()["acclimation"]["completed_at"]
    said = damp.done("sensor", "check", "shelf", "--beside", "63 %", "--read", "66 %", "--beside-uncertainty", "1.5 %")
    assert before is None
    assert damp.assess()["acclimation"]["completed_at"] == rfc3339(DELIVERED + 48 * HOUR)
    assert damp.kinds()[-1] == "completion"
    assert said.err.splitlines()[1:] == [
        "den before: The installation may not start yet: 0.0 h of 48 h are counted, and the clock is not running.",
        next(line for line in said.err.splitlines() if line.startswith("den after: ")),
    ]
    assert "the acclimation is complete" in said.err.splitlines()[2]
    (body,) = checks(damp)
    assert (body["offset"], body["level"], body["points"]) == (-3.0, "side by side", [[66.0, 63.0, 1.5]])


def test_an_adjusted_sensor_does_not_speak_for_the_time_before(damp: Home):
    said = damp.done("sensor", "check", "shelf", "--beside", "63 %", "--read", "66 %", "--adjusted")
    assert damp.assess()["acclimation"]["completed_at"] is None
    assert ", not for the time before it (side by side: beside a second instrument)" in said.err
    assert checks(damp)[0]["as_found"] is False


def test_both_quantities_beside_an_instrument_are_two_entries_with_our_uncertainties(damp: Home):
    pairs = ("--beside", "45 %", "--read", "44 %", "--beside", "70 degF", "--read", "68 degF")
    damp.done("sensor", "check", "shelf", *pairs, "--valid", "30 d", "--at", "2026-01-12T11:00Z")
    warm, damp_ = checks(damp)
    assert (warm["quantity"], warm["points"][0][2]) == ("air_temperature", 0.5)
    assert warm["offset"] == pytest.approx(2 / 1.8)
    assert (damp_["quantity"], damp_["points"][0][2], damp_["offset"]) == ("air_humidity", 2.0, 1.0)
    assert warm["until"] == damp_["until"] == NOON - HOUR + 30 * DAY


def test_a_certificate_keeps_the_uncertainty_that_it_states(damp: Home):
    pair = ("--read", "51.2 %", "--reference", "50.0 %", "--uncertainty", "0.8 %")
    said = damp.done("sensor", "check", "shelf", "--laboratory", "certificate 12", *pair)
    (body,) = checks(damp)
    assert (body["level"], body["uncertainty"], body["how"]) == ("laboratory", 0.8, "certificate 12")
    assert body["offset"] == pytest.approx(-1.2)
    assert said.err.splitlines()[0].endswith("(laboratory: certificate 12)")


def test_a_vessels_temperature_by_the_sensor_itself_is_corrected_by_its_own_check_first(damp: Home):
    damp.done("sensor", "check", "shelf", "--beside", "22 degC", "--read", "19 degC")
    own = ("--salt", "Mg(NO3)2", "--read", "53 %", "--temp", "19 degC", "--temp-by-sensor")
    damp.done("sensor", "check", "shelf", *own)
    assert checks(damp)[-1]["points"][0][1] == pytest.approx(60.3514 - 0.298153 * 22)  # Greenspan, at 22 and not 19


FAULTS = [
    (
        ("--read", "44 %"),
        "sensor check: what it was compared with is not clear. Give one of --salt, --beside and --laboratory",
    ),
    (
        ("--salt", "NaCl", "--read", "76"),
        "sensor check: 0 --temp and 1 --read do not pair. Give a --temp with each --read",
    ),
    (
        ("--beside", "45 %", "--read", "44 %", "--read", "45 %"),
        "sensor check: 1 --beside and 2 --read do not pair. Give a --beside with each --read",
    ),
    (
        ("--beside", "20 degC", "--read", "44 %"),
        "sensor check: '44 %' and '20 degC' are not one quantity. Give --beside in the order of --read",
    ),
    (
        ("--beside", "45", "--read", "44"),
        '--read: \'44\' is no humidity and no temperature. Write it like "45 %" or "20 degC"',
    ),
    (
        ("--salt", "NaCl", "--read", "76", "--temp", "50 degC"),
        "--salt: t_c of NaCl 50 is outside 10 to 35. Take a salt and a temperature that have a reference",
    ),
    (
        ("--salt", "sugar", "--read", "76", "--temp", "20 degC"),
        "--salt: there is no fixed point of 'sugar': use one of LiCl, MgCl2, K2CO3, Mg(NO3)2, NaCl, KCl, K2SO4. "
        "Take a salt and a temperature that have a reference",
    ),
    (
        ("--beside", "45 %", "--read", "44 %", "--valid", "1 h"),
        '--valid: a check can\'t hold for so long or so short. Give "1 d" to "3650 d"',
    ),
    (
        ("--beside", "45 %", "--read", "4.4 %"),
        "sensor check: 4.4 is 40.6 away from 45.0 %. "
        "Check that each --read stands with its own reference; a sensor like this is broken",
    ),
    (("--beside", "450 %", "--read", "44 %"), "sensor check: 450 % is no air of a room. Read it again: 0 to 105"),
    (
        ("--beside", "45 %", "--read", "44 %", "--beside-uncertainty", "0 %"),
        "sensor check: an uncertainty of 0 is not above 0 and at most 50. "
        "Take it from the certificate, or from the second instrument's data sheet",
    ),
    (
        ("--laboratory", "x", "--read", "44 %", "--reference", "45 %", "--uncertainty", "1 K"),
        "sensor check: the uncertainty of '44 %' is in another unit. "
        "Give an --uncertainty with each --read, in their order",
    ),
]


@pytest.mark.parametrize(("args", "said"), FAULTS)
def test_what_a_check_refuses(record: Home, args, said):
    result = record("sensor", "check", "shelf", *args)
    assert (result.code, result.out, result.err) == (2, "", said + "\n")


def test_a_sensor_that_is_not_known_cant_be_checked(record: Home):
    result = record("sensor", "check", "loft", "--beside", "45 %", "--read", "44 %")
    assert result.err == ("sensor loft: there is no such sensor. wallclime sensor seen shows those that were heard\n")
