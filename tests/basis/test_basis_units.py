"""Quantities: what is read, what is printed, what is refused, and in which words."""

import math

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from monitor.basis.errors import QuantityError
from monitor.basis.times import DAY, HOUR, MINUTE, SECOND
from monitor.basis.units import (
    FOOT,
    INCH,
    SQUARE_FOOT,
    format_duration,
    format_length,
    format_percent,
    format_temperature,
    format_temperature_difference,
    parse_duration,
    parse_length,
    parse_percent,
    parse_size,
    parse_temperature,
    parse_temperature_difference,
    to_base,
    unit_of,
)
from monitor.basis.values import Quantity

PARSERS = [parse_temperature, parse_temperature_difference, parse_percent, parse_duration, parse_length]
TEMPERATURES = [quantity for quantity in Quantity if quantity.value.endswith("temperature")]
systems = st.sampled_from(["us", "si"])


def refusal(parse, text):
    with pytest.raises(QuantityError) as caught:
        parse(text)
    return str(caught.value)


# --- temperatures -----------------------------------------------------------------------------------------------------


def test_60_degf_is_the_same_temperature_in_every_unit():
    # (60 - 32) / 1.8 = 15.555...; + 273.15 = 288.70555... K (SI Brochure, 9th ed., 2.3.1)
    assert parse_temperature("60 degF") == pytest.approx(15.555555555555555, abs=1e-9)
    assert parse_temperature("288.70555555555555 K") == pytest.approx(15.555555555555555, abs=1e-9)
    assert parse_temperature("15.555555555555555 degC") == 15.555555555555555


@pytest.mark.parametrize(
    ("degf", "degc"),
    [(32, 0), (212, 100), (-40, -40)],  # the fixed points of the scales, hand arithmetic
)
def test_the_fixed_points_of_the_two_scales_agree(degf, degc):
    assert parse_temperature(f"{degf} degF") == pytest.approx(degc, abs=1e-12)
    assert to_base(float(degf), "degF") == pytest.approx(degc, abs=1e-12)


@pytest.mark.parametrize("text", ["68 degF", "68F", "68 °F", " 68  DEGF ", "+68.0 fahrenheit", "6.8e1 [degF]"])
def test_a_temperature_is_read_in_the_usual_spellings(text):
    assert parse_temperature(text) == pytest.approx(20.0, abs=1e-12)


def test_a_difference_has_no_32_in_it():
    assert parse_temperature_difference("3 degF") == pytest.approx(3 / 1.8, abs=1e-12)
    assert parse_temperature_difference("2 K") == parse_temperature_difference("2 degC") == 2.0
    assert format_temperature_difference(3 / 1.8, "us") == "3.0 degF"
    assert format_temperature_difference(0.0, "us") == "0.0 degF"


@given(st.floats(-100, 200), st.floats(-100, 200))
def test_a_difference_is_the_difference_of_two_temperatures(one, other):
    apart = parse_temperature(f"{one!r} degF") - parse_temperature(f"{other!r} degF")
    assert parse_temperature_difference(f"{one - other!r} degF") == pytest.approx(apart, abs=1e-9)


def test_a_hair_below_zero_is_printed_without_a_sign():
    assert format_temperature(-0.04) == "0.0 degC"
    assert format_temperature_difference(-0.01) == "0.0 K"
    assert format_percent(-0.0) == "0.0 %"


def test_a_temperature_that_cannot_be_read_says_how_to_write_it():
    assert refusal(parse_temperature, "warm") == (
        """temperature: 'warm' is not a number with a unit. Write it like "68 degF" or "20 degC\""""
    )
    assert refusal(parse_temperature, "20") == (
        """temperature: '20' is not a temperature. Write it like "68 degF" or "20 degC\""""
    )
    assert refusal(parse_temperature, "1e999 K") == (
        """temperature: '1e999 K' is not a number with a unit. Write it like "68 degF" or "20 degC\""""
    )


def test_a_difference_that_cannot_be_read_says_how_to_write_it():
    assert refusal(parse_temperature_difference, "3 %") == (
        """difference: '3 %' is not a difference of temperatures. Write it like "3 degF" or "2 K\""""
    )
    assert refusal(parse_temperature_difference, "") == (
        """difference: '' is not a number with a unit. Write it like "3 degF" or "2 K\""""
    )


# --- units as sent ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("quantity", TEMPERATURES)
@pytest.mark.parametrize(("sent", "unit"), [("°F", "degF"), ("CEL", "degC"), (" k ", "K"), ("degC", "degC")])
def test_the_unit_of_a_temperature_is_known_in_many_spellings(quantity, sent, unit):
    assert unit_of(sent, quantity, where="topic") == unit


@pytest.mark.parametrize("quantity", [Quantity.AIR_HUMIDITY, Quantity.WALL_MOISTURE])
@pytest.mark.parametrize(("sent", "unit"), [("%", "%"), ("%RH", "%"), ("fraction", "1"), ("/", "1")])
def test_the_unit_of_a_humidity_is_a_percentage_or_a_fraction(quantity, sent, unit):
    # "/" is SenML's ratio, "%RH" its relative humidity: RFC 8428 section 12.1
    assert unit_of(sent, quantity, where="topic") == unit


def test_a_unit_of_another_quantity_is_refused():
    with pytest.raises(QuantityError) as caught:
        unit_of("%", Quantity.AIR_TEMPERATURE, where="source 1")
    assert str(caught.value) == "source 1: '%' is no unit of air_temperature. Use one of degC, degF, K"
    with pytest.raises(QuantityError) as caught:
        unit_of("degC", Quantity.AIR_HUMIDITY, where="source 1")
    assert str(caught.value) == "source 1: 'degC' is no unit of air_humidity. Use one of %, fraction"


def test_arrays_and_single_values_are_converted_alike():
    sent = np.array([60.0, 85.0])
    assert to_base(sent, "degF").tolist() == [to_base(60.0, "degF"), to_base(85.0, "degF")]
    assert to_base(np.array([0.45]), "1").tolist() == [45.0]
    assert to_base(293.15, "K") == 20.0
    assert to_base(45.0, "%") == 45.0


def test_a_unit_that_unit_of_never_gives_is_a_mistake_of_ours():
    with pytest.raises(ValueError, match="no such unit: furlong"):
        to_base(1.0, "furlong")


# --- percentages ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("text", ["45 %", "45%", "45 %RH", "45 percent", "45.0 pct"])
def test_a_percentage_is_read_in_the_usual_spellings(text):
    assert parse_percent(text) == 45.0


@pytest.mark.parametrize("text", ["45", "0.45 fraction", "0.45 1", "45 degC"])
def test_a_percentage_needs_its_sign(text):
    assert refusal(parse_percent, text) == f"""humidity: {text!r} is not a percentage. Write it like "45 %\""""


def test_a_text_is_no_percentage():
    assert refusal(parse_percent, "damp") == ("""humidity: 'damp' is not a number with a unit. Write it like "45 %\"""")


# --- durations --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "ms"),
    [
        ("200 ms", 200), ("90 s", 90 * SECOND), ("30 min", 30 * MINUTE), ("48 h", 48 * HOUR), ("7 d", 7 * DAY),
        ("47.5 h", 47 * HOUR + 30 * MINUTE), ("26 h 30 min", 26 * HOUR + 30 * MINUTE), ("1h30min", 90 * MINUTE),
        ("0 min", 0), ("1 1/2 h", 90 * MINUTE),
    ],
)  # fmt: skip
def test_a_duration_is_a_number_and_its_unit_or_a_sum_of_them(text, ms):
    assert parse_duration(text) == ms


@pytest.mark.parametrize(
    "text", ["", "48", "h", "-5 min", "1 h -30 min", "5 weeks", "30 min 1 h", "1 h 1 h", "9" * 400 + " d", "1:30"]
)
def test_what_is_no_duration_is_refused(text):
    assert refusal(parse_duration, text) == (
        f"""duration: {text!r} is not a duration. Write it like "30 min", "48 h" or "7 d\""""
    )


@pytest.mark.parametrize(
    ("ms", "text"),
    [
        (0, "0 s"), (1_500, "1.5 s"), (59_999, "59.999 s"), (MINUTE, "1 min"), (61_400, "1 min 1 s"),
        (HOUR, "1 h"), (26 * HOUR + 30 * MINUTE + 29_000, "26 h 30 min"), (60 * HOUR, "60 h"), (-90_000, "-1 min 30 s"),
    ],
)  # fmt: skip
def test_a_duration_is_printed_to_the_minute_above_an_hour(ms, text):
    assert format_duration(ms) == text


# --- lengths ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("3/16 in", 3 / 16 * 0.0254), ("16 ft 4 in", 4.9784), ("16' 4 1/2\"", 4.9911), ("4.2 m", 4.2), ("5 mm", 0.005),
        ("12 cm 3 mm", 0.123), ("40 feet", 12.192), ("1 1/2 ft", 0.4572), (".5 in", 0.0127), ("16ft4in", 4.9784),
        ("0 in", 0.0),
    ],
)  # fmt: skip
def test_a_length_is_read_in_both_systems(text, metres):
    # the international inch is 25.4 mm exactly (1959 agreement); the sums by hand
    assert parse_length(text) == pytest.approx(metres, abs=1e-12)


@pytest.mark.parametrize(
    "text",
    [
        "", "4", "in", "-1 m", "4 in 2 ft", "5 ft 5 ft", "1/0 in", "1 2 in", "3 furlong", "16 ft 4", "1/99999 in",
        "9" * 400 + " m", "9/" + "9" * 5000 + " in",
    ],
)  # fmt: skip
def test_what_is_no_length_is_refused(text):
    assert refusal(parse_length, text) == (
        f"""length: {text!r} is not a length. Write it like "3/16 in", "16 ft 4 in" or "4.2 m\""""
    )


def test_the_foot_is_twelve_inches_and_its_square_follows():
    assert pytest.approx(0.3048, abs=1e-15) == FOOT
    assert pytest.approx(0.09290304, abs=1e-15) == SQUARE_FOOT  # 0.3048 squared, by hand


@pytest.mark.parametrize(
    ("metres", "text"),
    [
        (0.0, "0 in"), (3 / 16 * INCH, "3/16 in"), (8 * INCH, "8 in"), (FOOT, "1 ft"), (40 * FOOT, "40 ft"),
        (16 * FOOT + 4.5 * INCH, "16 ft 4 1/2 in"), (11.99 * INCH, "1 ft"), (-INCH, "-1 in"),
    ],
)  # fmt: skip
def test_a_length_is_printed_to_the_sixteenth_of_an_inch(metres, text):
    assert format_length(metres, "us") == text


def test_a_length_is_printed_in_metres_or_below_one_in_millimetres():
    assert format_length(4.2) == "4.200 m"
    assert format_length(0.0047625) == "4.8 mm"


# --- round trips: what is printed is read again, to the last place printed --------------------------------------------


@given(st.floats(-60, 120), systems, st.integers(0, 4))
@example(-0.04, "si", 1)
def test_a_printed_temperature_is_read_again(degc, system, places):
    read = parse_temperature(format_temperature(degc, system, places=places))
    assert read == pytest.approx(degc, abs=0.51 * 10**-places)


@given(st.floats(-100, 100), systems, st.integers(0, 4))
def test_a_printed_difference_is_read_again(kelvin, system, places):
    read = parse_temperature_difference(format_temperature_difference(kelvin, system, places=places))
    assert read == pytest.approx(kelvin, abs=0.51 * 10**-places)


@given(st.floats(0, 105), st.integers(0, 4))
def test_a_printed_percentage_is_read_again(percent, places):
    assert parse_percent(format_percent(percent, places=places)) == pytest.approx(percent, abs=0.51 * 10**-places)


@given(st.integers(0, 400 * DAY))
@example(HOUR - 1)
@example(MINUTE - 1)
def test_a_printed_duration_is_read_again(ms):
    step = 1 if ms < MINUTE else SECOND if ms < HOUR else MINUTE
    assert abs(parse_duration(format_duration(ms)) - ms) <= step / 2


@given(st.floats(0, 400), st.sampled_from([2, 4, 8, 16, 32]))
def test_a_printed_length_is_read_again_in_feet_and_inches(metres, denominator):
    read = parse_length(format_length(metres, "us", denominator=denominator))
    assert read == pytest.approx(metres, abs=0.51 * INCH / denominator)


@given(st.floats(0, 400))
def test_a_printed_length_is_read_again_in_metres(metres):
    assert parse_length(format_length(metres)) == pytest.approx(metres, abs=0.00051 if metres >= 1 else 0.000051)


@pytest.mark.parametrize("parse", PARSERS)
@given(text=st.text() | st.from_regex(r"[-+0-9./e ]{0,12} ?(degF|K|%|min|h|ft|in|mm)?", fullmatch=True))
def test_any_text_is_a_finite_quantity_or_one_clear_line(parse, text):
    value, said = 0.0, repr(text)
    try:
        value = parse(text)
    except QuantityError as exc:
        said = str(exc)
    assert math.isfinite(value)
    assert repr(text) in said
    assert "\n" not in said


# --- sizes


@pytest.mark.parametrize(("text", "size"), [("500 MB", 500_000_000), ("2GB", 2_000_000_000), ("1.5 kB", 1_500)])
def test_a_size_counts_in_thousands_as_disks_do(text, size):
    # SI Brochure 9th ed. section 3.1: k, M, G, T are powers of ten
    assert parse_size(text) == size


@pytest.mark.parametrize("text", ["500", "5 GiB"])
def test_a_size_without_a_known_unit_is_refused(text):
    with pytest.raises(QuantityError) as caught:
        parse_size(text)
    assert str(caught.value) == f'size: {text!r} is not a size. Write it like "500 MB" or "2 GB"'
