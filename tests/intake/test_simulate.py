import json
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.basis.errors import PayloadError, QuantityError, RecordError, SettingsError
from monitor.basis.times import DAY, HOUR, MINUTE, SECOND, parse_time, zone_of
from monitor.basis.units import to_base
from monitor.basis.values import SIMULATED, Quantity
from monitor.config.settings import Field, Source
from monitor.intake.happening import LASTS, OF_ONE_SENSOR, Event, Name, happening, parse_event
from monitor.intake.payload import decode
from monitor.intake.simulate import Plan, messages, source_of, topics_of

START = 1_767_595_200_000  # 2026-01-05T06:40:00Z
T, H = Quantity.AIR_TEMPERATURE, Quantity.AIR_HUMIDITY
SOURCE = Source(
    "site/{sensor}/climate",
    "json",
    {T: Field("/temperature", "degC"), H: Field("/humidity", "%")},
    "site/{sensor}/climate",
    "/time",
)
TOPICS = {"boxes": "site/boxes/climate", "wall": "site/wall/climate"}
LOW = (60 - 32) / 1.8  # of the default profile's band [degC]


def plan(*events, hours=12.0, **changes):
    read = tuple(parse_event(text, list(TOPICS)) for text in events)
    made = Plan(SOURCE, TOPICS, START, round(START + hours * HOUR), every=5 * MINUTE, events=read)
    return made._replace(**changes)


class Heard(list):
    """What one sensor said: (sent, stamp, temperature, humidity), times in ms from the start."""

    def __init__(self, a_plan, sensor="boxes"):
        for sent, topic, payload in messages(a_plan):
            said = json.loads(payload)
            if topic == TOPICS[sensor]:
                stamp = parse_time(said["time"], zone_of("UTC"), where="payload") if said["time"] >= "2000" else None
                row = (sent - START, stamp and stamp - START, said["temperature"], said["humidity"])
                self.append(row)

    def of(self, begin, end):
        return [row for row in self if begin * HOUR <= row[0] < end * HOUR]

    def temperatures(self, begin, end):
        return [row[2] for row in self.of(begin, end)]

    def humidities(self, begin, end):
        return [row[3] for row in self.of(begin, end)]


@pytest.fixture(scope="module")
def undisturbed():
    return Heard(plan(hours=24))


def mean(values):
    return sum(values) / len(values)


# --- the same plan, the same messages ---------------------------------------------------------------------------------


def test_the_same_plan_gives_the_same_messages():
    assert list(messages(plan("door at 2 h", hours=6))) == list(messages(plan("door at 2 h", hours=6)))


def test_another_seed_gives_other_readings():
    assert list(messages(plan(hours=2))) != list(messages(plan(hours=2, seed=2)))


def test_a_plan_without_an_end_begins_as_one_with_an_end():
    endless = messages(plan(end=None))
    assert [next(endless) for _ in range(48)] == list(messages(plan(hours=2)))


def test_a_sensor_says_the_same_whoever_is_beside_it():
    alone = plan(hours=4, topics={"boxes": TOPICS["boxes"]})
    assert Heard(alone) == Heard(plan(hours=4))


def test_an_event_changes_nothing_before_it(undisturbed):
    for name in Name:
        disturbed = Heard(plan(f"{name} at 6 h for 1 h"))
        assert disturbed.of(0, 6) == undisturbed.of(0, 6)
        assert disturbed.of(6, 8) != undisturbed.of(6, 8)


# --- what a plain room says -------------------------------------------------------------------------------------------


def test_each_sensor_speaks_in_its_own_turn_every_five_minutes():
    for sensor in TOPICS:
        sent = [row[0] for row in Heard(plan(hours=2), sensor)]
        assert len(sent) == 24
        assert {after - before for before, after in pairwise(sent)} == {5 * MINUTE}
    assert Heard(plan(hours=1))[0][0] != Heard(plan(hours=1), "wall")[0][0]


def test_nights_are_cooler_than_days_in_the_rooms_own_zone():
    # START is 06:40 in UTC and 01:40 in New York; nights are 22 h to 6 h
    london, york = (Heard(plan(hours=3, zone=zone_of(name))) for name in ("Europe/London", "America/New_York"))
    assert mean(london.temperatures(1, 3)) > mean(york.temperatures(1, 3)) + 1


def test_a_steady_room_in_winter_is_in_the_band_that_planks_ask_for(undisturbed):
    assert all(LOW < row[2] < 25 and 40 < row[3] < 55 for row in undisturbed)


def test_numbers_have_one_decimal(undisturbed):
    assert all(round(number, 1) == number for row in undisturbed for number in row[2:])


def test_sensors_that_speak_on_change_say_something_new_or_an_hour_has_passed():
    plain, on_change = (Heard(plan(hours=12, every=MINUTE, on_change=change)) for change in (False, True))
    assert len(on_change) < len(plain) / 2
    for (before, _, t_c, rh_pct), (after, _, then_c, then_pct) in pairwise(on_change):
        news = abs(then_c - t_c) >= 0.5 - 1e-9 or abs(then_pct - rh_pct) >= 2 - 1e-9
        assert news or after - before == HOUR


def test_a_stuck_sensor_that_speaks_on_change_is_heard_every_hour():
    stuck = Heard(plan("stuck at 1 h", hours=9, on_change=True)).of(2, 9)
    assert {after[0] - before[0] for before, after in pairwise(stuck)} == {HOUR}


# --- events -----------------------------------------------------------------------------------------------------------


def test_an_open_door_chills_the_room_at_once_and_it_recovers_within_an_hour(undisturbed):
    heard = Heard(plan("door at 6 h for 2 h"))
    assert max(heard.temperatures(6.5, 8)) < min(undisturbed.temperatures(6.5, 8)) - 3
    assert mean(heard.temperatures(9, 12)) == pytest.approx(mean(undisturbed.temperatures(9, 12)), abs=0.3)


def test_a_humidifier_run_dry_lets_the_air_dry_for_hours_and_then_moistens_it_again(undisturbed):
    heard = Heard(plan("dry at 2 h for 18 h", hours=24))
    assert mean(heard.humidities(4, 5)) > mean(heard.humidities(10, 11)) > mean(heard.humidities(18, 20))
    assert max(heard.humidities(18, 20)) < 35 < 40 < min(undisturbed.humidities(18, 20))
    assert min(heard.humidities(22, 24)) > 40


def test_a_heating_failure_of_a_night_takes_the_room_out_of_the_band(undisturbed):
    heard = Heard(plan("heating-failure at 2 h", hours=18))
    assert all(later < before for before, later in pairwise([mean(heard.temperatures(h, h + 1)) for h in range(2, 14)]))
    assert max(heard.temperatures(12, 14)) < LOW
    assert min(heard.temperatures(16, 18)) > LOW


def test_a_heating_failure_at_the_start_begins_with_a_cold_room_that_warms_up():
    heard = Heard(plan("heating-failure at 0 h for 30 min"))
    assert max(heard.temperatures(0, 0.5)) < 12
    assert min(heard.temperatures(3, 12)) > LOW


def test_a_room_dry_at_the_start_begins_with_dry_air():
    assert max(Heard(plan("dry at 0 h", hours=2)).humidities(0, 2)) < 35


def test_what_is_measured_while_the_gateway_is_out_is_never_heard(undisturbed):
    heard = Heard(plan("outage at 4 h for 3 h"))
    assert heard == undisturbed.of(0, 4) + undisturbed.of(7, 12)


def test_back_fill_sends_everything_with_its_own_time_when_the_gateway_is_back(undisturbed):
    heard = Heard(plan("back-fill at 4 h for 3 h"))
    assert [row[1:] for row in heard] == [row[1:] for row in undisturbed.of(0, 12)]
    late = [row for row in heard if row[0] - row[1] > 0]
    assert [row[1] for row in late] == [row[0] for row in undisturbed.of(4, 7)]
    assert len({row[0] for row in late}) == 1
    assert 7 * HOUR <= late[0][0] < 7 * HOUR + 5 * MINUTE


def test_a_gateway_that_is_not_back_has_sent_nothing(undisturbed):
    assert Heard(plan("back-fill at 4 h for 30 h", hours=12)) == undisturbed.of(0, 4)


def test_a_stuck_sensor_repeats_its_last_reading_and_the_other_does_not(undisturbed):
    heard = Heard(plan("stuck at 4 h for 5 h"))
    assert {row[2:] for row in heard.of(4, 9)} == {undisturbed.of(0, 4)[-1][2:]}
    assert heard.of(9, 12) == undisturbed.of(9, 12)
    assert Heard(plan("stuck at 4 h for 5 h"), "wall") == Heard(plan(), "wall")
    assert Heard(plan("stuck at 4 h for 5 h on wall")) == undisturbed.of(0, 12)


def test_a_drifting_sensor_gains_a_quarter_percent_an_hour_and_keeps_what_it_gained(undisturbed):
    heard = Heard(plan("drift at 2 h for 6 h"))
    gained = [said[3] - true[3] for said, true in zip(heard, undisturbed.of(0, 12), strict=True)]
    # 0.25 %/h for 6 h is 1.5 %; both numbers are rounded to 0.1
    assert gained[5 * 12] == pytest.approx(0.75, abs=0.15)
    assert all(gain == pytest.approx(1.5, abs=0.11) for gain in gained[8 * 12 :])
    assert [row[2] for row in heard] == [row[2] for row in undisturbed.of(0, 12)]


def test_a_clock_that_is_ahead_stamps_an_hour_later(undisturbed):
    heard = Heard(plan("clock-ahead at 4 h for 2 h"))
    assert {row[1] - row[0] for row in heard.of(4, 6)} == {HOUR}
    assert [(row[0], *row[2:]) for row in heard] == [(row[0], *row[2:]) for row in undisturbed.of(0, 12)]


def test_a_clock_that_is_unset_starts_in_1970():
    unset = plan("clock-unset at 1 h for 1 h", hours=3, topics={"boxes": TOPICS["boxes"]})
    stamps = [json.loads(payload)["time"] for sent, _, payload in messages(unset) if HOUR <= sent - START < 2 * HOUR]
    assert len(stamps) == 12
    assert all(stamp.startswith("1970-01-01T00:") for stamp in stamps)
    assert stamps == sorted(stamps)


# --- what the daemon makes of it --------------------------------------------------------------------------------------


def decoded(message, source=SOURCE):
    """As a daemon reads it when it is sent."""
    at, state = message.t_ms, {"trusted_live": True, "retained": False, "newest": None, "back_fill": 7 * DAY}
    return decode(source, message.topic, message.payload, arrival=at, now=at, **state)


def test_every_message_is_read_as_simulated_and_at_its_time():
    for message in messages(plan(hours=2)):
        t, h = decoded(message)
        assert (t.quantity, h.quantity) == (T, H)
        assert (t.t, t.origin, h.origin) == (message.t_ms, SIMULATED, SIMULATED)
        assert t.stream == message.topic


@pytest.mark.parametrize(("event", "reason"), [("clock-ahead", "time-ahead"), ("clock-unset", "time-before-2000")])
def test_a_wrong_clock_ends_in_quarantine_when_it_is_heard_live(event, reason):
    first, *_ = messages(plan(f"{event} at 0 h", hours=1, topics={"boxes": TOPICS["boxes"]}))
    with pytest.raises(PayloadError) as refused:
        decoded(first)
    assert refused.value.reason == reason


@pytest.mark.parametrize(("unit", "of_humidity"), [("degF", "1"), ("K", "%"), ("degC", "1")])
@pytest.mark.parametrize("form", ["rfc3339", "seconds", "milliseconds"])
def test_a_source_finds_what_it_asks_for_where_it_asks_for_it(unit, of_humidity, form):
    fields = {H: Field("/air/0/rh~1pct", of_humidity), T: Field("/air/1", unit)}
    source = Source("{house}/{sensor}", "json", fields, "{house}/{sensor}", "/meta/at", form)
    topics = topics_of("{house}/{sensor}", ["boxes"])
    odd = plan(hours=1, source=source, topics=topics)
    same = plan(hours=1, topics={"boxes": TOPICS["boxes"]})
    for message, plain in zip(messages(odd), messages(same), strict=True):
        as_asked = {r.quantity: (to_base(r.value, r.unit), r.t) for r in decoded(message, source)}
        for reading in decoded(plain):
            assert as_asked[reading.quantity] == (pytest.approx(reading.value, abs=1e-3), reading.t)


def test_a_source_of_humidity_alone_gets_humidity_alone():
    source = SOURCE._replace(fields={H: SOURCE.fields[H]})
    (message, *_) = messages(plan(hours=1, source=source))
    assert json.loads(message.payload).keys() == {"simulated", "humidity", "time"}


EVENTS = st.builds(
    lambda name, at, lasts: Event(name, at, at + lasts, "boxes" if name in OF_ONE_SENSOR else None),
    st.sampled_from(list(Name)),
    st.integers(0, 5 * HOUR),
    st.integers(SECOND, 8 * HOUR),
)


@settings(max_examples=25, deadline=None)
@given(st.lists(EVENTS, max_size=4), st.integers(0, 1 << 40), st.integers(0, 364), st.booleans())
def test_whatever_happens_air_stays_air_and_time_runs_forward(events, seed, day, on_change):
    start = START + day * DAY
    made = list(messages(plan(start=start, end=start + 6 * HOUR, events=tuple(events), seed=seed, on_change=on_change)))
    assert all(before.t_ms <= after.t_ms for before, after in pairwise(made))
    names = {event.name for event in events}
    for topic in TOPICS.values():
        mine = [json.loads(message.payload) for message in made if message.topic == topic]
        assert all(-5 <= said["temperature"] <= 30 and 0 <= said["humidity"] <= 100 for said in mine)
        if not names & {Name.CLOCK_AHEAD, Name.CLOCK_UNSET}:
            assert all(before["time"] < after["time"] for before, after in pairwise(mine))
    if not names & {Name.CLOCK_AHEAD, Name.CLOCK_UNSET, Name.BACK_FILL}:
        assert all(reading.t == message.t_ms for message in made for reading in decoded(message))


# --- events, sensors and topics as people write them ------------------------------------------------------------------


def read(text):
    return parse_event(text, ["boxes", "wall"])


def test_an_event_is_a_name_a_time_and_where_given_a_length_and_a_sensor():
    assert read("door at 30 h") == Event(Name.DOOR, 30 * HOUR, 30 * HOUR + LASTS[Name.DOOR])
    assert read("heating-failure at 26 h 30 min for 6 h") == Event(
        Name.HEATING_FAILURE, 26 * HOUR + 30 * MINUTE, 32 * HOUR + 30 * MINUTE
    )
    assert read("stuck at 0 h for 1 d on wall") == Event(Name.STUCK, 0, DAY, "wall")
    assert read("  drift   at 1 h on wall ") == Event(Name.DRIFT, HOUR, HOUR + LASTS[Name.DRIFT], "wall")


def test_an_event_of_one_sensor_befalls_the_first_by_default():
    assert {read(f"{name} at 1 h").sensor for name in OF_ONE_SENSOR} == {"boxes"}


def test_an_event_is_on_at_its_first_instant_and_over_at_its_last():
    event = read("door at 1 h for 1 h")
    assert [happening([event], Name.DOOR, t) for t in (HOUR - 1, HOUR, 2 * HOUR - 1, 2 * HOUR)] == [
        None,
        event,
        event,
        None,
    ]


@pytest.mark.parametrize(
    ("text", "error", "message"),
    [
        (
            "door 30 h",
            RecordError,
            '--event: \'door 30 h\' is not an event. Write it like "door at 30 h" or "heating-failure at 40 h for 6 h"',
        ),
        (
            "doors at 30 h",
            RecordError,
            "--event: there is no event 'doors'. Use one of door, dry, heating-failure, outage, back-fill, stuck, "
            "drift, clock-ahead, clock-unset",
        ),
        (
            "door at noon",
            QuantityError,
            '--event: \'noon\' is not a duration. Write it like "30 min", "48 h" or "7 d"',
        ),
        (
            "door at 3 h for ever",
            QuantityError,
            '--event: \'ever\' is not a duration. Write it like "30 min", "48 h" or "7 d"',
        ),
        (
            "stuck at 3 h on shelf",
            RecordError,
            "--event: there is no sensor 'shelf' in the invented room. Use one of boxes, wall, or add --sensor shelf",
        ),
        ("door at 3 h on wall", RecordError, "--event: 'door' befalls no single sensor. Leave out \"on wall\""),
    ],
)
def test_an_event_that_can_not_be_read_says_so(text, error, message):
    with pytest.raises(error) as caught:
        read(text)
    assert str(caught.value) == message


def test_a_topic_has_the_sensors_name_and_simulated_at_other_named_levels():
    assert topics_of("site/{house}/{sensor}", ["a", "b"]) == {"a": "site/simulated/a", "b": "site/simulated/b"}


@pytest.mark.parametrize(
    ("template", "names", "error", "message"),
    [
        (
            "site/climate",
            ["a"],
            SettingsError,
            "--topic-template: 'site/climate' has no {sensor}. Name the level that tells the sensors apart {sensor}",
        ),
        (
            "site/#/{sensor}",
            ["a"],
            SettingsError,
            "--topic-template: 'site/#/{sensor}' is not a topic. "
            "Write it like home/{sensor}/climate, each named level once",
        ),
        (
            "{sensor}",
            ["a/b"],
            RecordError,
            '--sensor: \'a/b\' can\'t be a level of a topic. Give a name without "/", "+" and "#"',
        ),
        ("{sensor}", ["a", "a"], RecordError, "--sensor: 'a' is named twice. Give each sensor a name of its own"),
    ],
)
def test_sensors_and_topics_that_do_not_go_together_are_refused(template, names, error, message):
    with pytest.raises(error) as caught:
        topics_of(template, names)
    assert str(caught.value) == message


BARE = Source("bare/{sensor}/temperature", "number", {T: Field("", "degF")}, "bare/{sensor}")
UNTIMED = SOURCE._replace(topic="untimed/{sensor}", time_at=None)
OTHER = SOURCE._replace(topic="other/{sensor}", fields={Quantity.WALL_MOISTURE: Field("/moisture", "%")})
NESTED = SOURCE._replace(topic="nested/{sensor}", fields={T: Field("/a", "degC"), H: Field("/a/b", "%")})


def test_the_source_is_the_one_that_hears_the_topic():
    assert source_of([BARE, SOURCE], "site/a/climate") is SOURCE


@pytest.mark.parametrize(
    ("topic", "source"),
    [("bare/a/temperature", BARE), ("untimed/a", UNTIMED), ("other/a", OTHER), ("nested/a", NESTED)],
)
def test_a_source_that_could_not_hear_the_mark_is_refused(topic, source):
    with pytest.raises(SettingsError) as caught:
        source_of([BARE, UNTIMED, OTHER, NESTED, SOURCE], topic)
    assert str(caught.value) == (
        f"source {source.topic!r}: it can't hear that a reading is simulated, and of when it is. "
        'Give --topic-template of a source with format = "json", a time and values of the air'
    )


def test_a_topic_that_no_source_hears_is_refused():
    with pytest.raises(SettingsError) as caught:
        source_of([SOURCE], "home/a/climate")
    assert str(caught.value) == (
        "--topic-template: no source hears 'home/a/climate'. "
        "Add such a [[source]] to wallclime.toml, or give another --topic-template"
    )
