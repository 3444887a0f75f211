"""Plain JSON: where temperature, humidity and time stand is found by their names."""

from __future__ import annotations

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.basis.errors import PayloadError
from monitor.basis.values import BACK_FILL, LIVE, SIMULATED, Quantity
from monitor.config.settings import Source
from monitor.intake import plain
from monitor.intake.payload import decode

T, RH = Quantity.AIR_TEMPERATURE, Quantity.AIR_HUMIDITY
NOW = 1_767_600_000_000  # 2026-01-05T08:00Z
TOPIC = "flat7/hall/state"


def heard(document: object, *, now: int = NOW, live: bool = True) -> list:
    return decode(
        Source("#", "plain", {}, "{sensor}"),
        TOPIC,
        document if isinstance(document, bytes) else json.dumps(document).encode(),
        arrival=now,
        trusted_live=live,
        retained=False,
        now=now,
        back_fill=7 * 86_400_000,
        newest=None,
    )


@pytest.mark.parametrize(
    ("document", "temperature", "humidity"),
    [
        ({"temperature": 17.2, "humidity": 58}, (17.2, "degC"), 58),
        ({"Temp": 17.2, "RH": 58.1, "uptime": 99}, (17.2, "degC"), 58.1),
        ({"temp_f": 63, "hum": 58}, (63.0, "degF"), 58),
        ({"temperature": "63.1", "humidity": "58", "unit": "°F"}, (63.1, "degF"), 58),
        ({"temperature": {"value": 17.2, "unit": "C"}, "humidity": {"value": 58, "unit": "%"}}, (17.2, "degC"), 58),
        ({"room": {"temperature": {"tC": 17.2, "tF": 63}, "humidity": {"rh": 58}}}, (17.2, "degC"), 58),
        ({"air": {"climate": [{"air_temperature": 17.2, "relative_humidity": 58}]}}, (17.2, "degC"), 58),
        ({"tempC": 17.2, "tempF": 63, "humidity": 58}, (17.2, "degC"), 58),
        ({"temperature": 17.2, "humidity": 58, "board": {"temperature": 41}}, (17.2, "degC"), 58),
        ({"room": {"temp": 62, "rh": 58}, "temp_unit": "F"}, (62.0, "degF"), 58),
        ({"room": {"temp": {"value": 62}, "rh": 58}, "temp_unit": "°F"}, (62.0, "degF"), 58),
        ({"temperature": {"value": 17.2, "unit": "C"}, "rh": 58, "unit": "F"}, (17.2, "degC"), 58),
        ({"temperature": 62, "temperature_unit": "fahrenheit", "humidity": 58}, (62.0, "degF"), 58),
    ],
)
def test_common_names_are_found_however_deep_and_the_highest_counts(document, temperature, humidity):
    found = {one.quantity: (one.value, one.unit) for one in heard(document)}
    assert found == {T: temperature, RH: (humidity, "%")}
    assert {one.stream for one in heard(document)} == {TOPIC}


def test_the_unit_hangs_on_names_never_on_the_value():
    assert heard({"temperature": 63})[0].unit == "degC"
    assert heard({"humidity": 0.58})[0].unit == "%"


@pytest.mark.parametrize(
    ("stamp", "t", "origin"),
    [
        ({"time": "2026-01-05T07:58:00Z"}, NOW - 120_000, LIVE),
        ({"ts": 1_767_599_880}, NOW - 120_000, LIVE),
        ({"info": {"timestamp": 1_767_599_880_000}}, NOW - 120_000, LIVE),
        ({"time": "2026-01-05T02:00:00-05:00"}, NOW - 3_600_000, BACK_FILL),
        ({"time": "2026-01-05T09:00:00"}, NOW, LIVE),  # no offset: it says nothing
        ({"timestamp": 35}, NOW, LIVE),  # a clock that was never set
        ({"date": "Monday"}, NOW, LIVE),
        ({"simulated": True}, NOW, SIMULATED),
    ],
)
def test_a_time_that_can_be_believed_is_the_readings_own_else_its_arrival_counts(stamp, t, origin):
    (found,) = heard({"temperature": 17.2, **stamp})
    assert (found.t, found.origin) == (t, origin)


@pytest.mark.parametrize(
    ("document", "reason", "said"),
    [
        ({"power": 12}, "no-quantity",
         "no temperature and no humidity is recognized in it. Say where they stand in a [[source]] of wallclime.toml"),
        ({"temperature": "mild", "humidity": None}, "no-quantity",
         "no temperature and no humidity is recognized in it. Say where they stand in a [[source]] of wallclime.toml"),
        ([1, 2], "no-quantity",
         "no temperature and no humidity is recognized in it. Say where they stand in a [[source]] of wallclime.toml"),
        ({"in": {"temperature": 17}, "out": {"temperature": 3}}, "ambiguous",
         "air temperature stands there 2 times: /in/temperature, /out/temperature. "
         "Say which one in a [[source]] of wallclime.toml"),
        ({"temperature": 17.2, "time": "2026-01-05T09:00:00Z"}, "time-ahead",
         "its time 2026-01-05T09:00:00Z is more than 120 s ahead of the clock. "
         "Set the sensor's clock, or check `time` of its source"),
    ],
)  # fmt: skip
def test_what_is_not_clear_is_refused_with_the_reason(document, reason, said):
    with pytest.raises(PayloadError) as refused:
        heard(document)
    assert (refused.value.reason, str(refused.value)) == (reason, f"{TOPIC}: {said}")


def test_unstamped_readings_that_may_have_waited_have_no_time():
    with pytest.raises(PayloadError) as refused:
        heard({"temperature": 17.2}, live=False)
    assert refused.value.reason == "time-unknown"


def test_a_document_of_any_depth_is_read_without_a_fault_of_ours():
    deep = b'{"temperature":' * 400 + b"1" + b"}" * 400
    with pytest.raises(PayloadError) as refused:
        heard(deep)
    assert refused.value.reason == "no-quantity"


def test_a_message_of_hundreds_of_names_is_no_sensors_and_is_not_gone_through():
    document = {"temperature": 17.2, **{f"n{number}": number for number in range(plain.MOST - 1)}}
    assert heard(document)[0].value == 17.2
    with pytest.raises(PayloadError) as refused:
        heard({**document, "nested": {"one": 1}})
    assert (refused.value.reason, str(refused.value)) == (
        "no-quantity",
        f"{TOPIC}: it has 502 names, the most is 500. Say where its values stand in a [[source]] of wallclime.toml",
    )


def test_a_message_full_of_names_for_one_quantity_is_refused_in_few_words():
    names = ["temp" + "-" * number for number in range(30)]
    with pytest.raises(PayloadError) as refused:
        heard(dict.fromkeys(names, 17.2))
    assert (refused.value.reason, refused.value.faults[0].what) == (
        "ambiguous",
        "air temperature stands there 30 times: /temp, /temp-, /temp--, /temp---, /temp----, ...",
    )


def test_where_values_and_time_stand_is_told_as_pointers():
    document = {"a/b": {"temp": 17.2}, "time": "2026-01-05T08:00:00Z"}
    assert plain.look(document, TOPIC) == {T: plain.Spot("/a~1b/temp", 17.2, "degC")}
    assert plain.stamp_at(document) == "/time"
    assert plain.stamp_at({"temp": 17.2}) is None


_KEYS = st.sampled_from(["temperature", "temp_f", "rh", "time", "unit", "value", "tC", "room", "", "~/"])
_LEAVES = st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.sampled_from(["17.2", "F", "9e9"])
_DOCUMENTS = st.recursive(
    _LEAVES, lambda inner: st.dictionaries(_KEYS, inner, max_size=5) | st.lists(inner, max_size=2), max_leaves=20
)


@given(_DOCUMENTS)
def test_any_document_becomes_finite_readings_of_known_units_or_one_reason(document):
    try:
        found, reason = heard(document), ""
    except PayloadError as refused:
        found, reason = [], refused.reason
    assert bool(found) == (not reason)
    assert reason in ("", "no-quantity", "ambiguous", "time-ahead", "too-old", "unreadable")
    assert {(one.quantity, one.unit) for one in found} <= {(T, "degC"), (T, "degF"), (RH, "%")}
    assert all(math.isfinite(one.value) for one in found)
    assert len({one.quantity for one in found}) == len(found)
