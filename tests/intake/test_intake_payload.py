import json

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from monitor.basis.errors import PayloadError, SettingsError
from monitor.basis.times import DAY, MINUTE, SECOND
from monitor.basis.values import BACK_FILL, LIVE, SIMULATED, Quantity, Reading
from monitor.config.settings import Field, Source
from monitor.intake.payload import Decoder, decode
from monitor.intake.refusal import Reason

T, H = Quantity.AIR_TEMPERATURE, Quantity.AIR_HUMIDITY
NOW = 1_767_595_200_000  # 2026-01-05T06:40:00Z: 20,458 days of 86,400 s and 24,000 s since 1970
TOPIC = "home/7/climate"


def source(**changes):
    made = {
        "topic": "home/{sensor}/climate",
        "format": "json",
        "fields": {T: Field("/t", "degC"), H: Field("/h", "%")},
        "stream": "home/{sensor}/climate",
    }
    return Source(**(made | changes))


STAMPED = source(time_at="/time")
IN_SECONDS = source(time_at="/time", time_form="seconds")
IN_MILLISECONDS = source(time_at="/time", time_form="milliseconds")
BARE = source(topic="bare/{sensor}/temperature", format="number", fields={T: Field("", "degF")}, stream="bare/{sensor}")


def read(payload, of=None, topic=None, **changes):
    of = of or source()
    moment = {"arrival": NOW, "now": NOW, "trusted_live": True, "retained": False, "back_fill": 7 * DAY, "newest": None}
    topic = topic or of.topic.replace("{sensor}", "7")
    payload = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
    return decode(of, topic, payload, **(moment | changes))


def refusal(payload, of=None, **changes):
    with pytest.raises(PayloadError) as caught:
        read(payload, of, **changes)
    assert isinstance(caught.value.reason, Reason)
    return caught.value.reason.value, str(caught.value)


# --- what is read


def test_a_message_gives_one_reading_a_quantity_at_its_arrival():
    assert read({"t": 21.5, "h": 45}) == [
        Reading(TOPIC, T, NOW, 21.5, "degC", NOW, LIVE),
        Reading(TOPIC, H, NOW, 45.0, "%", NOW, LIVE),
    ]


def test_a_whole_number_becomes_a_float():
    (reading,) = read({"t": 21})
    assert type(reading.value) is float


@pytest.mark.parametrize("payload", [{"t": 21.5}, {"t": 21.5, "h": None}])
def test_one_quantity_may_be_missing_or_null(payload):
    assert [reading.quantity for reading in read(payload)] == [T]


def test_values_are_kept_as_sent_in_the_unit_sent():
    (reading,) = read(b"70.25", BARE)
    assert (reading.stream, reading.value, reading.unit) == ("bare/7", 70.25, "degF")


@pytest.mark.parametrize("text", ["70", " 70\n", "+7e1", "70.", "\ufeff70"])
def test_a_bare_number_may_have_blanks_a_sign_an_exponent_or_a_byte_order_mark(text):
    assert read(text.encode(), BARE)[0].value == 70.0


def test_a_byte_order_mark_before_json_is_dropped():
    assert read(b'\xef\xbb\xbf{"t":21.5}')[0].value == 21.5


def test_pointers_reach_into_lists_and_objects():
    nested = source(fields={T: Field("/sensors/1/t", "degC")})
    assert read({"sensors": [{"t": 1}, {"t": 2}]}, nested)[0].value == 2.0


def test_a_number_alone_is_json_too_and_the_empty_pointer_takes_it():
    assert read(b"21.5", source(fields={T: Field("", "degC")}))[0].value == 21.5


def test_numbers_elsewhere_in_the_message_do_not_matter():
    assert read(b'{"t":21.5,"battery":1e999,"ok":true,"name":"x"}')[0].value == 21.5


# --- what is refused


def test_a_payload_of_64_kib_is_read_and_one_byte_more_is_not():
    assert read(b'{"t":1}' + b" " * (65_536 - 7))[0].value == 1.0
    assert refusal(b'{"t":1}' + b" " * (65_536 - 6)) == (
        "too-large",
        "home/7/climate: 65537 bytes, the most is 65536. Send one reading a message",
    )


@pytest.mark.parametrize(
    ("payload", "what"),
    [
        (b"", "the message is empty. Nothing to do if a retained message was deleted"),
        (b'{"t":\xff}', "byte 5 is not UTF-8. Send text in UTF-8"),
        (b'{"t":1', "not JSON: Expecting ',' delimiter at character 7. Send one JSON object (RFC 8259)"),
        (b'{"t":1}\x00', "not JSON: Extra data at character 8. Send one JSON object (RFC 8259)"),
        (b'{"t":NaN}', "NaN is not JSON. Send one JSON object (RFC 8259)"),
        (b'{"t":1,"x":-Infinity}', "-Infinity is not JSON. Send one JSON object (RFC 8259)"),
        (b'{"t":1,"t":2}', "the key t stands twice. Send one JSON object (RFC 8259)"),
        (b'{"t":1,"x":{"a\\u0000":1,"a\\u0000":1}}', "the key 'a\\x00' stands twice. Send one JSON object (RFC 8259)"),
        (b"[" * 60_000, "nested too deeply. Send one JSON object (RFC 8259)"),
        (b'{"t":' + b"1" * 5_000 + b"}", "a number has too many digits. Send one JSON object (RFC 8259)"),
    ],
)
def test_what_is_not_strict_json_is_unreadable(payload, what):
    assert refusal(payload) == ("unreadable", f"home/7/climate: {what}")


@pytest.mark.parametrize("payload", [{}, {"T": 1}, {"t": None, "h": None}, [], "t", 5, True, None])
def test_a_message_without_any_value_has_no_quantity(payload):
    assert refusal(payload) == (
        "no-quantity",
        "home/7/climate: there is no value at '/t', '/h'. Check the pointers of its source",
    )


@pytest.mark.parametrize(
    ("payload", "what"),
    [
        (b'{"t":"21.5"}', "air_temperature is 21.5, a text. Send the number without quotes"),
        (b'{"t":"nan\\u0000"}', "air_temperature is 'nan\\x00', a text. Send the number without quotes"),
        (b'{"t":true}', "air_temperature is True, not a finite number. Send a number, or null for no reading"),
        (b'{"t":1e999}', "air_temperature is inf, not a finite number. Send a number, or null for no reading"),
        (b'{"t":{}}', "air_temperature is an object, not a finite number. Send a number, or null for no reading"),
        (b'{"t":[1]}', "air_temperature is a list, not a finite number. Send a number, or null for no reading"),
        (b'{"h":45,"t":false}', "air_temperature is False, not a finite number. Send a number, or null for no reading"),
    ],
)
def test_what_stands_for_a_number_and_is_none_is_refused(payload, what):
    assert refusal(payload) == ("not-a-number", f"home/7/climate: {what}")


def test_a_whole_number_beyond_any_float_is_not_a_number():
    assert refusal(b'{"t":1' + b"0" * 400 + b"}")[0] == "not-a-number"


@pytest.mark.parametrize("text", ["21,5", "nan", "inf", "1_0", "٢١", "21.5 C", "0x10", "", "1\0", "--1", "."])
def test_a_bare_number_is_ascii_digits_with_a_point(text):
    reason, message = refusal(text.encode(), BARE)
    assert reason == ("not-a-number" if text else "unreadable")
    assert message.startswith("bare/7/temperature: ")


def test_a_bare_number_that_is_too_large_for_a_float_is_refused():
    assert refusal(b"1e999", BARE) == (
        "not-a-number",
        "bare/7/temperature: air_temperature is inf, not a finite number. Send a number, or null for no reading",
    )


def test_a_bare_word_is_named_with_its_mend():
    assert refusal(b"offline", BARE)[1] == (
        "bare/7/temperature: offline is not a number. Send a plain number with a decimal point"
    )


def test_a_topic_that_the_source_does_not_cover_is_named():
    assert refusal({"t": 1}, topic="away/7/climate") == (
        "no-source",
        "away/7/climate: no source of wallclime.toml covers this topic. "
        "Add a source; or the broker still serves an earlier setting, then take another client_id",
    )


@pytest.mark.parametrize(
    ("changes", "where"),
    [
        ({"topic": "home/#/x"}, "source 'home/#/x', topic"),
        ({"fields": {T: Field("t", "degC")}}, "source 'home/{sensor}/climate', air_temperature"),
        ({"time_at": "time"}, "source 'home/{sensor}/climate', time"),
        ({"stream": "{room}"}, "source 'home/{sensor}/climate', stream"),
    ],
)
def test_a_source_that_is_not_well_formed_is_refused_once_and_for_all(changes, where):
    with pytest.raises(SettingsError) as caught:
        Decoder(source(**changes))
    assert caught.value.faults[0].where == where


# --- the time of a reading: its own


@pytest.mark.parametrize(
    "text",
    [
        "2026-01-05T06:40:00Z",
        "2026-01-05t06:40:00z",
        "2026-01-05 08:40:00+02:00",
        "2026-01-05T08:40:00+0200",
        "2026-01-05T06:40Z",
        "2026-01-05T06:40:00.000999999Z",
        "2026-01-05T06:40:00-00:00",
        "2026-01-04T22:10:00.000-08:30",
    ],
)
def test_a_written_time_with_its_offset_is_read(text):
    assert read({"t": 1, "time": text}, STAMPED)[0].t == NOW


def test_fractions_of_a_written_second_are_cut_to_the_millisecond():
    assert read({"t": 1, "time": "2026-01-05T06:40:00.0129Z"}, STAMPED)[0].t == NOW + 12


def test_seconds_since_1970_keep_their_milliseconds():
    assert read(b'{"t":1,"time":1767595200.123}', IN_SECONDS)[0].t == NOW + 123
    assert read(b'{"t":1,"time":1767595200}', IN_SECONDS)[0].t == NOW


def test_milliseconds_since_1970_are_taken_as_they_are():
    assert read({"t": 1, "time": NOW}, IN_MILLISECONDS)[0].t == NOW
    assert read({"t": 1, "time": NOW + 0.4}, IN_MILLISECONDS)[0].t == NOW


@pytest.mark.parametrize("payload", [{"t": 1}, {"t": 1, "time": None}])
def test_a_stamp_that_is_not_there_is_not_replaced_by_the_arrival(payload):
    assert refusal(payload, STAMPED) == (
        "time-unknown",
        "home/7/climate: there is no time at '/time'. Check `time` of its source in wallclime.toml",
    )


@pytest.mark.parametrize(
    ("stamp", "of", "what"),
    [
        ("2026-01-05T06:40:00", STAMPED, "the time 2026-01-05T06:40:00 has no offset"),
        ("2026-01-05", STAMPED, "the time 2026-01-05 is not RFC 3339"),
        (NOW, STAMPED, f"the time {NOW} is not RFC 3339"),
        ("soon", STAMPED, "the time soon is not RFC 3339"),
        ({"at": 1}, STAMPED, "the time an object is not RFC 3339"),
    ],
)
def test_a_written_time_without_offset_or_form_is_unknown(stamp, of, what):
    assert refusal({"t": 1, "time": stamp}, of) == (
        "time-unknown",
        f"home/7/climate: {what}. Send it like 2026-01-05T06:40:00Z, or check `time` of its source",
    )


@pytest.mark.parametrize(
    "text", ["2026-02-30T06:40:00Z", "2026-01-05T24:00:00Z", "2026-01-05T06:40:60Z", "2026-01-05T06:40:00+25:00"]
)
def test_a_written_time_that_no_calendar_has_is_unknown(text):
    assert refusal({"t": 1, "time": text}, STAMPED) == (
        "time-unknown",
        f"home/7/climate: the time {text} is not in the calendar. Send it like 2026-01-05T06:40:00Z",
    )


@pytest.mark.parametrize("stamp", ['"1767595200"', "true", "1e999", "[1]"])
def test_a_number_of_seconds_must_be_a_number(stamp):
    reason, message = refusal(f'{{"t":1,"time":{stamp}}}'.encode(), IN_SECONDS)
    assert reason == "time-unknown"
    assert message.endswith(" is not a number of seconds. Check `time` of its source in wallclime.toml")


def test_a_stamp_120_s_ahead_is_taken_and_one_more_millisecond_is_not():
    assert read({"t": 1, "time": NOW + 120 * SECOND}, IN_MILLISECONDS)[0].origin == LIVE
    assert refusal({"t": 1, "time": NOW + 120 * SECOND + 1}, IN_MILLISECONDS) == (
        "time-ahead",
        "home/7/climate: its time 1767595320001 is more than 120 s ahead of the clock. "
        "Set the sensor's clock, or check `time` of its source",
    )


def test_the_year_2000_is_taken_and_the_millisecond_before_it_is_not():
    # 2000-01-01T00:00:00Z is 10,957 days after 1970 began: 10,957 x 86,400 s
    first = 10_957 * 86_400_000
    assert read({"t": 1, "time": first}, IN_MILLISECONDS, back_fill=NOW)[0].t == first
    assert refusal({"t": 1, "time": first - 1}, IN_MILLISECONDS, back_fill=NOW) == (
        "time-before-2000",
        "home/7/climate: its time 946684799999 is before 2000. Set the sensor's clock, or check `time` of its source",
    )


def test_milliseconds_read_as_seconds_are_ahead_and_seconds_read_as_milliseconds_before_2000():
    assert refusal({"t": 1, "time": NOW}, IN_SECONDS)[0] == "time-ahead"
    assert refusal({"t": 1, "time": NOW // 1000}, IN_MILLISECONDS)[0] == "time-before-2000"
    assert refusal(b'{"t":1,"time":' + b"9" * 4_000 + b"}", IN_SECONDS)[0] == "time-ahead"


def test_a_stamp_as_old_as_back_fill_is_taken_and_one_more_millisecond_is_not():
    assert read({"t": 1, "time": NOW - 7 * DAY}, IN_MILLISECONDS)[0].origin == BACK_FILL
    assert refusal({"t": 1, "time": NOW - 7 * DAY - 1}, IN_MILLISECONDS) == (
        "too-old",
        "home/7/climate: its time 1766990399999 is older than readings are taken from the broker. "
        "Raise back_fill in wallclime.toml, or import the sensor's file",
    )


def test_a_stamp_ten_minutes_behind_its_arrival_is_live_and_one_more_millisecond_is_back_fill():
    assert read({"t": 1, "time": NOW - 10 * MINUTE}, IN_MILLISECONDS)[0].origin == LIVE
    assert read({"t": 1, "time": NOW - 10 * MINUTE - 1}, IN_MILLISECONDS)[0].origin == BACK_FILL


def test_a_stamped_message_is_kept_though_it_was_retained_or_waited_or_the_clock_is_behind():
    kept = read({"t": 1, "time": NOW}, IN_MILLISECONDS, retained=True, trusted_live=False, newest=NOW + DAY)
    assert [reading.t for reading in kept] == [NOW]


# --- the time of a reading: its arrival


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"retained": True}, "the broker had kept it (retained)"),
        ({"retained": True, "trusted_live": False}, "the broker had kept it (retained)"),
        ({"trusted_live": False}, "it may have waited at the broker"),
    ],
)
def test_an_unstamped_message_that_is_not_known_to_be_live_has_no_time(changes, why):
    assert refusal({"t": 1}, **changes) == (
        "time-unknown",
        f"home/7/climate: it carries no time, and {why}. "
        "Send the time with the reading, and name its place as `time` of its source",
    )


def test_an_unstamped_message_is_refused_while_the_clock_is_behind_the_newest_arrival():
    assert read({"t": 1}, newest=NOW)[0].t == NOW
    assert refusal({"t": 1}, newest=NOW + 1) == (
        "clock-unset",
        "home/7/climate: it carries no time, and the computer's clock is behind the readings already kept. "
        "Set the computer's clock",
    )


def test_an_unstamped_message_is_refused_while_the_clock_is_before_2000():
    assert refusal({"t": 1}, arrival=5 * SECOND, now=5 * SECOND)[0] == "clock-unset"


# --- simulated


def test_a_message_that_says_it_is_simulated_is():
    assert read({"t": 1, "simulated": True})[0].origin == SIMULATED
    assert read({"t": 1, "simulated": True, "time": NOW - DAY}, IN_MILLISECONDS)[0].origin == SIMULATED


@pytest.mark.parametrize("said", [False, None, "no", 0])
def test_a_message_that_does_not_say_so_is_not_simulated(said):
    assert read({"t": 1, "simulated": said})[0].origin == LIVE


# --- whatever comes

JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(["t", "h", "time", "simulated"]), inner)
    ),
    max_leaves=10,
)
BYTES = st.binary() | JSON.map(lambda value: json.dumps(value).encode())


@given(
    payload=BYTES,
    topic=st.text() | st.just(TOPIC),
    of=st.sampled_from([source(), STAMPED, IN_SECONDS, IN_MILLISECONDS, source(format="number")]),
    now=st.integers(0, 2**45),
    trusted_live=st.booleans(),
    retained=st.booleans(),
    newest=st.none() | st.integers(0, 2**45),
)
@example(b'{"t":' + b"[" * 900 + b"]" * 900 + b"}", TOPIC, source(), NOW, True, False, None)
@example(b'{"t":1,"time":-1e308}', TOPIC, IN_SECONDS, NOW, True, False, None)
@example(b'{"t":1,"time":"0001-01-01T00:00:00+23:59"}', TOPIC, STAMPED, NOW, True, False, None)
@example(b'{"t":1,"time":"9999-12-31T23:59:59-23:59"}', TOPIC, STAMPED, NOW, True, False, None)
@example(b'{"t":"\\ud800","\\ud800":1}', "home/\ud800/climate", source(), NOW, True, False, None)
def test_whatever_comes_it_is_read_or_refused_with_a_reason(payload, topic, of, now, trusted_live, retained, newest):
    moment = {"arrival": now, "now": now, "trusted_live": trusted_live, "retained": retained, "newest": newest}
    refused = None
    try:
        assert decode(of, topic, payload, back_fill=DAY, **moment)
    except PayloadError as exc:
        refused = exc
    if refused is not None:
        assert refused.reason in set(Reason)
        assert "\n" not in str(refused)
        str(refused).encode()
