"""SenML: the examples of RFC 8428 section 5.1, named by their sections, and what is refused."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.basis.errors import PayloadError
from monitor.basis.times import DAY, HOUR, MINUTE, SECOND
from monitor.basis.values import BACK_FILL, LIVE, SIMULATED, Quantity, Reading
from monitor.config.settings import Source
from monitor.intake.payload import decode

T, H, B = Quantity.AIR_TEMPERATURE, Quantity.AIR_HUMIDITY, Quantity.BATTERY
NOW = 1_767_595_200_000  # 2026-01-05T06:40:00Z
OCT_31 = 1_320_067_464_000  # "Mon Oct 31 13:24:24 UTC 2011", section 5.1.3
ONE_WIRE = Source("senml/{ow}", "senml", {}, "urn:dev:ow:{ow}:")
SITE = Source("senml/{site}", "senml", {}, "{site}/")
DEVICE = "urn:dev:ow:10e2073a01080063"


def read(payload, of=SITE, level="house", **changes):
    moment = {"arrival": NOW, "now": NOW, "trusted_live": True, "retained": False, "back_fill": 7 * DAY, "newest": None}
    if "arrival" in changes:
        moment["now"] = changes["arrival"]
    payload = payload if isinstance(payload, str) else json.dumps(payload)
    return decode(of, f"senml/{level}", payload.encode(), **(moment | changes))


def one_wire(payload, level="10e2073a01080063", **changes):
    return read(payload, ONE_WIRE, level, **changes)


def refusal(payload, of=SITE, level="house", **changes):
    with pytest.raises(PayloadError) as caught:
        read(payload, of, level, **changes)
    return caught.value.reason, str(caught.value).removeprefix(f"senml/{level}: ")


# --- the examples of RFC 8428


def test_5_1_1_a_single_datapoint_is_a_reading_at_its_arrival():
    text = '[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]'
    assert one_wire(text) == [Reading(DEVICE, T, NOW, 23.1, "degC", NOW, LIVE)]


def test_5_1_2_voltage_and_current_are_no_quantity_of_ours():
    now = '[{"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1}, {"n":"current","u":"A","v":1.2}]'
    past = """
  [{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,
   "bu":"A","bver":5,
   "n":"voltage","u":"V","v":120.1},
  {"n":"current","t":-5,"v":1.2},
  {"n":"current","t":-4,"v":1.3},
  {"n":"current","t":-3,"v":1.4},
  {"n":"current","t":-2,"v":1.5},
  {"n":"current","t":-1,"v":1.6},
  {"n":"current","v":1.7}]"""
    said = (
        "no-quantity",
        "there is no record in Cel, K, %RH, %EL. Send temperatures in Cel or K, humidities in %RH, batteries in %EL",
    )
    assert refusal(now, ONE_WIRE, "10e2073a01080063") == said
    assert refusal(past, ONE_WIRE, "10e2073a0108006") == said


def test_5_1_2_a_stream_that_is_still_open_is_no_json():
    text = '[{"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":21.2},{"t":10,"v":21.3},'
    assert refusal(text, ONE_WIRE, "10e2073a01080063")[0] == "unreadable"


FIVE_1_3 = """
[
  {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,
   "bu":"%RH","v":20},
  {"u":"lon","v":24.30621},
  {"u":"lat","v":60.07965},
  {"t":60,"v":20.3},
  {"u":"lon","t":60,"v":24.30622},
  {"u":"lat","t":60,"v":60.07965},
  {"t":120,"v":20.7},
  {"u":"lon","t":120,"v":24.30623},
  {"u":"lat","t":120,"v":60.07966},
  {"u":"%EL","t":150,"v":98},
  {"t":180,"v":21.2},
  {"u":"lon","t":180,"v":24.30628},
  {"u":"lat","t":180,"v":60.07967}
]"""
FIVE_1_4 = """
[
  {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067464e+09,"v":20},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067464e+09,"v":24.30621},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067464e+09,"v":60.07965},
  {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067524e+09,"v":20.3},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067524e+09,"v":24.30622},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067524e+09,"v":60.07965},
  {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067584e+09,"v":20.7},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067584e+09,"v":24.30623},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067584e+09,"v":60.07966},
  {"n":"urn:dev:ow:10e2073a01080063","u":"%EL","t":1.320067614e+09,"v":98},
  {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067644e+09,"v":21.2},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067644e+09,"v":24.30628},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067644e+09,"v":60.07967}
]"""


@pytest.mark.parametrize("text", [FIVE_1_3, FIVE_1_4], ids=["5.1.3", "5.1.4 resolved"])
def test_5_1_3_and_5_1_4_give_humidities_and_battery_at_their_times_and_nothing_of_the_place(text):
    arrival = OCT_31 + 4 * MINUTE
    assert one_wire(text, arrival=arrival) == [
        Reading(DEVICE, quantity, OCT_31 + after * SECOND, value, "%", arrival, LIVE)
        for after, quantity, value in ((0, H, 20.0), (60, H, 20.3), (120, H, 20.7), (150, B, 98.0), (180, H, 21.2))
    ]


def test_5_1_5_other_kinds_of_values_are_left_alone():
    text = """
  [{"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
  {"n":"label","vs":"Machine Room"},
  {"n":"open","vb":false},
  {"n":"nfc-reader","vd":"aGkgCg"}]"""
    assert one_wire(text) == [Reading(DEVICE, T, NOW, 23.1, "degC", NOW, LIVE)]


FIVE_1_6 = """
[
  {"bn":"2001:db8::2/","bt":1.320078429e+09,
   "n":"temperature","u":"Cel","v":25.2},
  {"n":"humidity","u":"%RH","v":30},
  {"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},
  {"n":"humidity","u":"%RH","v":67}
]"""


def test_5_1_6_the_devices_of_a_collection_are_sensors_where_the_topic_covers_them_both():
    at = 1_320_078_429_000  # "Mon Oct 31 16:27:09 UTC 2011"
    of = Source("senml/{net}", "senml", {}, "2001:{net}:")
    assert read(FIVE_1_6, of, "db8", arrival=at) == [
        Reading("2001:db8::2", T, at, 25.2, "degC", at, LIVE),
        Reading("2001:db8::2", H, at, 30.0, "%", at, LIVE),
        Reading("2001:db8::1", T, at, 12.3, "degC", at, LIVE),
        Reading("2001:db8::1", H, at, 67.0, "%", at, LIVE),
    ]


def test_5_1_6_a_device_may_not_speak_for_another():
    of = Source("senml/{host}", "senml", {}, "2001:db8::{host}/")
    assert refusal(FIVE_1_6, of, "2", arrival=1_320_078_429_000) == (
        "wrong-name",
        "record 3 speaks for 2001:db8::1/temperature, not for 2001:db8::2/. "
        "Publish it on the topic of its own site, or mend prefix in wallclime.toml",
    )


def test_5_1_7_a_set_point_cannot_be_told_from_a_reading_and_a_switch_is_no_quantity():
    text = """
  [{"bn":"urn:dev:ow:10e2073a01080063:"},
  {"n":"temp","u":"Cel","v":23.1},
  {"n":"heat","u":"/","v":1},
  {"n":"fan","u":"/","v":0}]"""
    assert [(one.stream, one.value) for one in one_wire(text)] == [(DEVICE, 23.1)]
    lights = '[{"bt":1.320078429e+09,"bu":"/","n":"2001:db8::3","v":1},{"n":"2001:db8::4","v":1}]'
    dimmed = """
  [{"bt":1.320078429e+09,"bu":"/","n":"2001:db8::3","v":0.5},
  {"n":"2001:db8::4","v":0.5},
  {"n":"2001:db8::3","t":0.1,"v":0},
  {"n":"2001:db8::4","t":0.1,"v":0}]"""
    of = Source("senml/{net}", "senml", {}, "2001:{net}:")
    assert [refusal(text, of, "db8")[0] for text in (lights, dimmed)] == ["no-quantity", "no-quantity"]


# --- names


@pytest.mark.parametrize(
    ("name", "stream"),
    [
        ("house/7", "house/7"),
        ("house/7/temperature", "house/7"),
        ("house/7:Temp", "house/7"),
        ("house/7/air_humidity", "house/7"),
        ("house/7/t", "house/7/t"),
        ("house/temperature", "house"),
        ("house/rh/7", "house/rh/7"),
        ("house/7-temperature", "house/7-temperature"),
        ("house", "house"),
        ("house/", "house/"),
    ],
)
def test_a_last_part_that_only_says_what_is_measured_does_not_belong_to_the_sensor(name, stream):
    assert read([{"n": name, "u": "%RH", "v": 45}])[0].stream == stream


def test_a_word_that_is_the_sites_own_name_stays():
    of = Source("senml/{site}", "senml", {}, "sites/{site}/")
    assert read([{"n": "sites/humidity", "u": "%RH", "v": 45}], of, "humidity")[0].stream == "sites/humidity"


@pytest.mark.parametrize("name", ["houses/7", "hous", "barn/7", "House/7", "house:7", "house-7"])
def test_a_name_outside_its_own_site_is_refused(name):
    assert refusal([{"n": name, "u": "Cel", "v": 21}]) == (
        "wrong-name",
        f"record 1 speaks for {name}, not for house/. "
        "Publish it on the topic of its own site, or mend prefix in wallclime.toml",
    )


def test_a_name_outside_its_own_site_is_refused_whatever_it_measures_and_whatever_stands_beside_it():
    pack = [{"n": "house/7", "u": "Cel", "v": 21}, {"n": "barn/7", "u": "V", "v": 3}]
    assert refusal(pack)[0] == "wrong-name"


@pytest.mark.parametrize("name", ["", "/7", "house/7 ", "house/ü", "house/7\n", "house/a+b", "-house"])
def test_a_name_has_the_signs_of_section_4_5_1(name):
    reason, said = refusal([{"n": name, "u": "Cel", "v": 21}])
    assert reason == "wrong-name"
    assert said == (
        f"record 1 has the name {name!r}. Use letters, digits and "
        "- : . / _, and begin with a letter or digit (RFC 8428 section 4.5.1)"
    )


@pytest.mark.parametrize(("of", "level"), [(SITE, ""), (ONE_WIRE, "a:b"), (ONE_WIRE, "")])
def test_a_level_that_would_give_the_names_of_another_is_refused(of, level):
    # urn:dev:ow:a: is the beginning of urn:dev:ow:a:b: too
    assert refusal([{"n": "x", "u": "Cel", "v": 21}], of, level) == (
        "wrong-name",
        f"its level {level!r} can't begin a name. "
        "Let no level be empty or have a : in it, or write a / after it in prefix",
    )


def test_a_level_with_a_colon_is_no_danger_before_a_slash():
    assert read([{"n": "a:b/7", "u": "Cel", "v": 21}], SITE, "a:b")[0].stream == "a:b/7"


# --- units and values


@pytest.mark.parametrize(("unit", "quantity", "kept"), [("Cel", T, "degC"), ("K", T, "K"), ("%RH", H, "%")])
def test_the_unit_says_what_is_measured_whatever_the_name(unit, quantity, kept):
    (found,) = read([{"n": "house/humidity", "u": unit, "v": 293.15}])
    assert (found.quantity, found.unit, found.value) == (quantity, kept, 293.15)


def test_base_fields_hold_until_they_are_set_anew():
    pack = [
        {"bn": "house/", "bu": "Cel", "bv": 20, "bt": NOW / 1000},
        {"n": "a", "v": 1.5},
        {"n": "b", "t": -60},
        {"bv": 0, "n": "c", "u": "%RH", "v": 45},
        {"bn": "house/d", "bt": NOW / 1000 - 30, "v": 1},
    ]
    assert [(one.stream, one.quantity, one.t - NOW, one.value) for one in read(pack)] == [
        ("house/a", T, 0, 21.5),
        ("house/b", T, -60_000, 20.0),
        ("house/c", H, 0, 45.0),
        ("house/d", T, -30_000, 1.0),
    ]


def test_a_sum_is_no_reading():
    pack = [{"bn": "house/7", "bu": "Cel", "s": 5}, {"v": 21, "s": 6}]
    assert [one.value for one in read(pack)] == [21.0]
    assert refusal(pack[:1])[0] == "no-quantity"
    assert refusal([{"n": "house/7", "u": "Cel", "bs": 5}])[0] == "no-quantity"


def test_a_field_that_is_not_known_is_ignored():
    assert read([{"n": "house/7", "u": "Cel", "v": 21, "battery": "low", "x_y": None, "ut": 60}])[0].value == 21.0


@pytest.mark.parametrize(
    ("record", "reason", "said"),
    [
        ({"x_": 1}, "unreadable", "record 1 has x_, which must be understood and is not"),
        ({"bver": 11}, "unreadable", "record 1 is of version 11, the newest that is known is 10"),
        ({"vs": "warm"}, "unreadable", "record 1 has two values, v and vs"),
        ({"vb": True}, "unreadable", "record 1 has two values, v and vb"),
        ({"n": 7}, "unreadable", "record 1 has n 7, not a text"),
        ({"bn": None}, "unreadable", "record 1 has bn None, not a text"),
        ({"u": ["Cel"]}, "unreadable", "record 1 has u a list, not a text"),
        ({"vb": 0}, "unreadable", "record 1 has vb 0, neither true nor false"),
    ],
)
def test_what_section_4_and_5_forbid_makes_the_whole_pack_unreadable(record, reason, said):
    pack = [{"n": "house/7", "u": "Cel", "v": 21, **record}, {"n": "house/8", "u": "Cel", "v": 21}]
    assert refusal(pack) == (reason, f"{said}. Send SenML as RFC 8428 has it")


def test_version_10_is_known_and_so_are_those_before_it():
    assert read([{"bver": 10, "n": "house/7", "u": "Cel", "v": 21}])[0].value == 21.0


def test_a_record_without_value_or_sum_is_unreadable():
    said = ("unreadable", "record 2 has no value. Send SenML as RFC 8428 has it")
    assert refusal([{"n": "house/7", "u": "Cel", "v": 21}, {"n": "house/8"}]) == said


@pytest.mark.parametrize("value", ['"21"', "true", "1e999", "null", "{}", "1" + "0" * 400])
def test_a_value_is_a_finite_number(value):
    reason, said = refusal(f'[{{"n":"house/7","u":"Cel","v":{value}}}]')
    assert reason == "not-a-number"
    assert said.startswith("record 1 has v ")
    assert said.endswith(", not a finite number. Send a number in its place")


@pytest.mark.parametrize("record", [{"vs": "21"}, {"vb": True}, {"vd": "MjE"}, {"bv": 1.7e308, "v": 1.7e308}])
def test_a_record_in_a_unit_of_ours_must_have_a_number(record):
    assert refusal([{"n": "house/7", "u": "Cel", **record}]) == (
        "not-a-number",
        "record 1 is in Cel, but its value is no number. Send the number as v",
    )


@pytest.mark.parametrize("document", ["{}", "5", "null", '"x"', "[1]", "[[]]", '{"e":[]}'])
def test_a_pack_is_a_list_of_records(document):
    assert refusal(document) == (
        "unreadable",
        "it is no list of records. Send a JSON array of SenML records (RFC 8428)",
    )


def test_a_pack_without_records_has_no_quantity():
    assert refusal("[]")[0] == "no-quantity"
    assert refusal('[{"bn":"house/"}]')[0] == "no-quantity"


# --- times


def pack_of(t, value=21):
    return [{"n": "house/7", "u": "Cel", "v": value, "t": t}]


def test_a_time_below_2_to_the_28_counts_from_now():
    # RFC 8428 section 4.5.3: 2**28 = 268,435,456; that second of 1978 is before any reading of ours
    assert read(pack_of(0))[0].t == NOW
    assert read(pack_of(-5.25))[0].t == NOW - 5_250
    assert read(pack_of(60))[0].t == NOW + MINUTE
    assert refusal(pack_of(268_435_455.9))[0] == "time-ahead"
    assert refusal(pack_of(268_435_456))[0] == "time-before-2000"


@pytest.mark.parametrize("t", [0, -60])
@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"retained": True}, "the broker had kept it (retained)"),
        ({"trusted_live": False}, "it may have waited at the broker"),
    ],
)
def test_a_time_that_counts_from_now_is_known_only_in_a_live_message(t, changes, why):
    assert refusal(pack_of(t), **changes) == (
        "time-unknown",
        f"it carries no time, and {why}. Send the time with the reading, and name its place as `time` of its source",
    )


def test_a_time_that_counts_from_now_is_refused_while_the_clock_is_unset():
    assert refusal(pack_of(0), newest=NOW + 1)[0] == "clock-unset"


def test_an_absolute_time_is_taken_from_a_retained_message_and_from_a_backlog():
    assert read(pack_of(NOW / 1000), retained=True, trusted_live=False, newest=NOW + 1)[0].t == NOW


def test_old_and_early_times_are_refused_as_everywhere():
    assert read(pack_of(-HOUR / 1000))[0].origin == BACK_FILL
    assert read(pack_of((NOW - HOUR) / 1000))[0].origin == BACK_FILL
    assert read(pack_of(-7 * DAY / 1000))[0].origin == BACK_FILL
    assert refusal(pack_of(-7 * DAY / 1000 - 1))[0] == "too-old"
    assert refusal(pack_of(121)) == (
        "time-ahead",
        "its time 121.0 is more than 120 s ahead of the clock. Set the sensor's clock, or check `time` of its source",
    )
    assert refusal(pack_of(-1e300))[0] == "time-before-2000"
    assert refusal(pack_of(1e300))[0] == "time-ahead"


@pytest.mark.parametrize("t", ['"2026-01-05T06:40:00Z"', "1e999", "null", "false"])
def test_a_time_is_a_finite_number_of_seconds(t):
    reason, said = refusal(f'[{{"n":"house/7","u":"Cel","v":21,"t":{t}}}]')
    assert (reason, said.startswith("record 1 has t ")) == ("time-unknown", True)


def test_a_pack_that_says_it_is_simulated_is_wholly():
    pack = [*pack_of(0), {"n": "house/8", "u": "%RH", "v": 45, "simulated": True}]
    assert [one.origin for one in read(pack)] == [SIMULATED, SIMULATED]
    assert read([{**pack_of(0)[0], "simulated": "no"}])[0].origin == LIVE


# --- whatever comes

FIELDS = st.dictionaries(
    st.sampled_from(["bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut", "z_"]),
    st.sampled_from(["house/", "house/7", "barn/7", "house", "Cel", "K", "%RH", "temperature"])
    | st.integers(-(2**70), 2**70)
    | st.integers(0, 10)
    | st.floats()
    | st.booleans(),
    max_size=6,
)


@given(st.lists(FIELDS, max_size=4), st.sampled_from(["house", "barn", ""]), st.booleans())
def test_whatever_a_pack_says_its_readings_are_of_its_own_site(pack, level, live):
    try:
        found = read(pack, SITE, level, trusted_live=live)
    except PayloadError:
        return
    assert found
    assert all(one.stream == level or one.stream.startswith(f"{level}/") for one in found)
