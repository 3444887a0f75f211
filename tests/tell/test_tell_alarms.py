"""Alarms in words: each condition's figures, the shapes of a message, what names may not do."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.basis.alarm import HOUSE, Alarm, Priority, Standing
from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import Entry, Kind
from monitor.config.alarms import Flood, Patience
from monitor.rules.alarm import whats
from monitor.rules.alarm.alarms import Change, acknowledge, shelve
from monitor.rules.alarm.grouping import Bundle
from monitor.rules.cautions import CAUTIONS, Caution
from monitor.tell import diary
from monitor.tell.alarm import alarms
from monitor.tell.alarm.alarm_facts import for_machines
from monitor.tell.alarm.alarm_log import body_of, event_of, limits_of
from monitor.tell.alarm.alarm_words import WORDS, lasting, minds, to_do
from monitor.tell.words import Display, visible

NEW_YORK = Display(ZoneInfo("America/New_York"), "us")
HELSINKI = Display(ZoneInfo("Europe/Helsinki"), "si")
T = 1_767_620_400_000  # 2026-01-05T13:40Z, 08:40 in New York [ms]
NOW = T + 2 * HOUR + 10 * MINUTE
RH, WARMTH = "air_humidity", "air_temperature"
COLD, WARM = (60 - 32) / 1.8, (85 - 32) / 1.8  # [degC]


def shown(_job: str) -> Display:
    return NEW_YORK


def made(what: str, facts: dict | None = None, **more) -> Alarm:
    said = {
        "id": "0123456789", "what": what, "job": "north wall", "where": "den", "since": T, "raised": T,
        "standing": Standing.UNACKNOWLEDGED, "priority": Priority.MEDIUM, "facts": facts or {},
    }  # fmt: skip
    return Alarm(**{**said, **more})


def of_sensor(what: str, name: str = "shelf", **facts) -> Alarm:
    stands = {"place": "den", "broker": "b.example:8883", "root": "site", "jobs": ["north wall"], "alone": True}
    return made(what, {**stands, "last_heard": T, **facts}, job=HOUSE, where=name)


def of_house(what: str, where: str, **facts) -> Alarm:
    return made(what, facts, job=HOUSE, where=where)


def bundle(*found: Alarm, form="alarm", tells="first", **more) -> Bundle:
    return Bundle("office", form, tells, found, more.pop("not_before", NOW), **more)


CLOCK = {
    "counted_ms": 31 * HOUR + 59 * MINUTE,
    "required_ms": 48 * HOUR,
    "completed": None,
    "act_by": T + HOUR + 59_000,
}
DAMP = made(
    whats.HUMIDITY_HIGH,
    {
        "quantity": RH, "side": "high", "limit": 65.0, "worst": 65.004, "value": 65.0, "outside_ms": 45 * MINUTE,
        "excursions": 1, "phase": "before", **CLOCK,
    },
)  # fmt: skip
DRY = made(
    whats.HUMIDITY_LOW,
    {
        "quantity": RH, "side": "low", "limit": 35.0, "worst": 31.04, "value": 34.99, "outside_ms": 3 * HOUR,
        "excursions": 3, "phase": "after", "board_pct": 6.9, "board_edge_pct": 6.4, "gained_pct": [-0.4, -0.2],
    },
    notice=True,
    standing=Standing.ACKNOWLEDGED,
    priority=Priority.LOW,
)  # fmt: skip
FROST = made(whats.FROST, {"limit": 5.0, "value": 4.96}, priority=Priority.HIGH)
SILENT = of_sensor(whats.SILENT, hold_ms=30 * MINUTE, ever=True)

FIGURES = [
    (
        DRY,
        "now 34.99 %, at worst 31.0 %, the limit is 35.0 %; outside for 3 h in all, 3 times; the planks hold about "
        "6.9 % water by weight, air at the limit would bring them to 6.4 %: not there yet, they lag behind",
    ),
    (
        DAMP,
        "now 65.0 %, at worst 65.004 %, the limit is 65.0 %; outside for 45 min; back in band by "
        "2026-01-05 09:40 -05:00, or the 31.9 h counted of 48 h will be lost",
    ),
    (
        made(
            whats.TEMPERATURE_LOW,
            {
                "quantity": WARMTH,
                "side": "low",
                "limit": COLD,
                "worst": 15.54,
                "value": 15.6,
                "outside_ms": 45 * MINUTE,
                "excursions": 1,
                "phase": "before",
                **CLOCK,
                "completed": T - DAY,
            },
        ),
        "now 60.1 degF, at worst 59.97 degF, the limit is 60.0 degF; outside for 45 min; back in band by "
        "2026-01-05 09:40 -05:00, or the acclimation that was complete will be lost",
    ),
    (
        made(
            whats.TEMPERATURE_HIGH,
            {"quantity": WARMTH, "side": "high", "limit": WARM, "worst": 31.0, "value": None, "outside_ms": HOUR},
        ),
        "at worst 87.8 degF, the limit is 85.0 degF; outside for 1 h",
    ),
    (
        made(
            whats.HUMIDITY_HEADING_LOW,
            {
                "quantity": RH,
                "side": "low",
                "limit": 35.0,
                "value": 36.2,
                "soonest": T + HOUR,
                "latest": T + 3 * HOUR,
                "act_by": None,
            },
        ),
        "now 36.2 %, the limit is 35.0 %; if this goes on it leaves the band about 2026-01-05 09:40 to 11:40 -05:00",
    ),
    (
        made(
            whats.HUMIDITY_HEADING_HIGH,
            {"quantity": RH, "side": "high", "limit": 65.0, "value": 63.0, "soonest": T + HOUR, "latest": None},
        ),
        "now 63.0 %, the limit is 65.0 %; if this goes on it leaves the band about 2026-01-05 09:40 -05:00",
    ),
    (
        made(whats.TEMPERATURE_HEADING_LOW, {"quantity": WARMTH, "side": "low", "limit": COLD, "value": 17.0}),
        "now 62.6 degF, the limit is 60.0 degF",
    ),
    (
        made(whats.TEMPERATURE_HEADING_HIGH, {"quantity": WARMTH, "side": "high", "limit": WARM, "value": 27.0}),
        "now 80.6 degF, the limit is 85.0 degF",
    ),
    (
        made(
            whats.RAPID,
            {"quantity": WARMTH, "side": "low", "limit": COLD, "value": 17.0, "per_hour": -6.04},
            where="den: air_temperature",
        ),
        "falls by 10.9 degF an hour; now 62.6 degF, the limit is 60.0 degF",  # 6.04 K x 1.8
    ),
    (FROST, "now 40.9 degF, the limit is 41.0 degF"),
    (made(whats.SUDDEN_DAMP, {"limit": 80.0, "value": 93.1}), "now 93.1 %, the limit is 80.0 %"),
    (
        made(whats.SURFACE_DAMP, {"humidity": 84.21, "month": None, "limit": 80.0}),
        "the last day at the surface 84.2 %, mould can grow from 80.0 %",
    ),
    (made(whats.SURFACE_WET, {"hours": 5}), "water on it in 5 of the hours since yesterday morning"),
    (made(whats.MOULD, {"index": 1.42}), "mould index 1.4 (from 1 under the microscope, from 3 to be seen)"),
    (
        made(whats.BOXES_COLD, {"boxes": 8.0, "dew_point": 9.3, "measured": False}),
        "boxes 46.4 degF, at the warmest, by estimate; below 48.7 degF water settles on them",
    ),
    (
        made(
            whats.COMPLETE,
            {"lot": "A", "counted_ms": 48 * HOUR, "required_ms": 48 * HOUR, "beyond_uncertainty": False},
        ),
        "48.0 h of 48 h are counted, lot A; it does not hold beyond the sensors' uncertainty",
    ),
    (
        made(whats.RESTARTED, {"lot": "A", "counted_ms": 0, "required_ms": 48 * HOUR, "cause": "unproven"}),
        "the room was not proven in band for too long; 0.0 h of 48 h are counted, lot A",
    ),
    (
        made(whats.LAPSED, {"lot": "A", "counted_ms": 0, "required_ms": 48 * HOUR, "completed": T - DAY}),
        "it was complete 2026-01-04 08:40 -05:00; 0.0 h of 48 h are counted, lot A",
    ),
    (made(whats.READY, {"lot": "A"}), ""),
    (
        made(whats.NO_LONGER_READY, {"conditions": {"site check": "no site check is recorded"}}),
        "site check: no site check is recorded",
    ),
    (
        made(whats.CARE_DUE, {"care": "dust", "due": T - DAY, "last": None, "overdue": True}, where="dust"),
        "dust it, overdue since 2026-01-04; done last: never",
    ),
    (
        made(whats.INSPECTION_DUE, {"care": "inspection, mid-winter", "due": T + 30 * DAY, "last": T - 200 * DAY}),
        "inspection, mid-winter, by 2026-02-04; done last: 2025-06-19",
    ),
    (made(whats.UNJUDGED, {"error": "store: it is locked"}, where=""), "store: it is locked"),
    (SILENT, "last heard 2026-01-05 08:40 -05:00; nobody else speaks for its place"),
    (of_sensor(whats.FLAT, alone=False), ""),
    (of_sensor(whats.BATTERY_LOW, battery=12.9, limit=20.0), "12 % left"),  # cut, not rounded
    (of_sensor(whats.CHECK_DUE, until=T + DAY, run_out=False), "its check runs out 2026-01-06"),
    (
        made(
            whats.DRIFTING,
            {"quantity": RH, "sensor": "shelf", "neighbour": "door", "days": 30, "by": -7.3, "combined": 7.07},
            where="shelf beside door: air_humidity",
        ),
        "humidity 7.3 %RH away from door within 30 days, 7.1 %RH may be",
    ),
    (
        made(whats.DISAGREEING, {"evidence": "8.2 %RH apart", "values": {"shelf": {RH: 41.0}, "door": {RH: 49.2}}}),
        "8.2 %RH apart; door says 49.2 %; shelf says 41.0 %",
    ),
    (of_house(whats.LINK_DOWN, "b.example:8883", error="the connection is refused"), "the connection is refused"),
    (of_house(whats.SEAL_FAILED, "seal", error="the key is not there"), "the key is not there"),
    (of_house(whats.BACKUP_FAILED, "backup", error="there is no such folder"), "there is no such folder"),
    (of_house(whats.STORE_FILLING, "disk", free=399_999_999, limit=10**9), "0.3 GB free, 1.0 GB should be"),  # cut
    (of_house(whats.WORK_FAILED, "board", error="it can't be written"), "it can't be written"),
    (of_house(whats.AWAY, "daemon", **{"from": T, "to": T + 5 * HOUR}), "away 2026-01-05 08:40 to 13:40 -05:00 (5 h)"),
]
EVERY = {value for name, value in vars(whats).items() if name.isupper() and isinstance(value, str)}


def test_every_condition_that_can_be_told_has_words_and_is_looked_at_here():
    assert set(WORDS) == {alarm.what for alarm, _ in FIGURES} == EVERY


@pytest.mark.parametrize(("alarm", "bad"), FIGURES, ids=[alarm.what for alarm, _ in FIGURES])
def test_how_bad_it_is_stands_in_the_units_and_the_zone_of_the_job(alarm, bad):
    assert alarms.how_bad(alarm, NEW_YORK) == bad


@pytest.mark.parametrize(("alarm", "_bad"), FIGURES, ids=[alarm.what for alarm, _ in FIGURES])
def test_every_message_says_what_where_since_when_and_what_to_do(alarm, _bad):
    text = alarms.text(bundle(alarm), NOW, shown)
    since = "2026-01-05 (a day of UTC)" if alarm.what in alarms.BY_DAYS else "2026-01-05 08:40 -05:00 (2 h 10 min)"
    assert all(part in text for part in ("Where: ", f"Since: {since}\n", "To do: "))
    assert "{" not in text
    assert "None" not in text


@pytest.mark.parametrize("what", sorted(EVERY))
def test_an_alarm_that_remembers_no_figures_is_told_all_the_same(what):
    for alarm in (made(what), made(what, job=HOUSE)):
        text = alarms.text(bundle(alarm), NOW, shown)
        assert "To do: " in text
        assert "Seen it? wallclime alarm ack 0123456789" in text


def test_a_condition_of_a_later_version_is_told_by_its_name():
    assert alarms.headline(made("roof leaks"), NEW_YORK) == "roof leaks, north wall, den, since 2026-01-05 08:40 -05:00"


def test_where_water_or_heat_can_hurt_someone_the_message_says_so():
    def headline(caution: Caution) -> str:
        return CAUTIONS[caution].headline

    for what in (whats.SUDDEN_DAMP, whats.SURFACE_WET, whats.SURFACE_DAMP, whats.MOULD, whats.HUMIDITY_HIGH):
        assert headline(Caution.WATER_AND_POWER) in minds(made(what))
    assert headline(Caution.MOULD) in minds(made(whats.MOULD))
    assert minds(FROST)[:2] == [headline(Caution.PIPES), headline(Caution.HEATER_FUEL)]
    assert headline(Caution.HEATER_UNATTENDED) in minds(made(whats.TEMPERATURE_LOW))
    assert minds(made(whats.RAPID, {"quantity": WARMTH})) == []
    assert minds(made(whats.RAPID, {"quantity": RH})) == [headline(Caution.WATER_AND_POWER)]


# --- the shapes of a message -----------------------------------------------------------------------


def test_one_alarm_is_told_whole():
    assert alarms.subject(bundle(FROST)) == "URGENT: pipes may freeze, north wall, den"
    assert alarms.text(bundle(FROST), NOW, shown) == (
        "URGENT: pipes may freeze\n"
        "Where: north wall, den\n"
        "Since: 2026-01-05 08:40 -05:00 (2 h 10 min)\n"
        "How bad: now 40.9 degF, the limit is 41.0 degF\n"
        "To do: Get the heating on now and open the doors to where pipes run. Know where the water is shut off; if the "
        "heat can't be had, have it shut off and the pipes drained.\n"
        "Mind: Pipes freeze before planks mind the cold, those in outside walls first: keep some heat on, or have the "
        "water shut off and the pipes drained.\n"
        "Mind: Heat with electric or vented heaters only.\n"
        "Mind: Leave no portable heater running unattended or overnight; a night is for the building's own heating.\n"
        "Mind: Call licensed trades: a plumber for pipes, an electrician for wiring, a heating firm for the heater.\n"
        "Seen it? wallclime alarm ack 0123456789\n"
    )


def test_a_job_is_told_in_its_own_units_and_zone():
    text = alarms.text(bundle(FROST), NOW, lambda _job: HELSINKI)
    assert "Since: 2026-01-05 15:40 +02:00 (2 h 10 min)\nHow bad: now 4.96 degC, the limit is 5.0 degC\n" in text


def test_a_notice_asks_for_no_answer():
    told = bundle(DRY, form="notice")
    assert alarms.subject(told) == "Note: air too dry, north wall, den"
    assert "alarm ack" not in alarms.text(told, NOW, shown)


@pytest.mark.parametrize(
    ("tells", "opening"),
    [("first", "Alarm"), ("again", "Alarm, still so"), ("second contact", "Alarm, nobody answered")],
)
def test_a_message_opens_with_how_it_comes_to_be_told(tells, opening):
    assert alarms.subject(bundle(DAMP, tells=tells)) == f"{opening}: air too damp, north wall, den"
    assert alarms.text(bundle(DAMP, tells=tells), NOW, shown).startswith(f"{opening}: air too damp\n")


def test_a_returned_alarm_says_from_when_to_when_and_that_nobody_acknowledged_it():
    over = replace(DAMP, standing=Standing.RETURNED, returned=T + 45 * MINUTE, facts={**DAMP.facts, "act_by": None})
    assert alarms.text(bundle(over, form="returned", tells="returned"), NOW, shown) == (
        "Over: air too damp\n"
        "Where: north wall, den\n"
        "When: 2026-01-05 08:40 to 09:25 -05:00 (45 min), over by now\n"
        "How bad: last 65.0 %, at worst 65.004 %, the limit is 65.0 %; outside for 45 min\n"
        "Seen it? wallclime alarm ack 0123456789\n"
    )
    seen = replace(over, standing=Standing.NORMAL, acknowledged_by="robin", acknowledged_at=NOW)
    assert "alarm ack" not in alarms.text(bundle(seen, form="returned", tells="returned"), NOW, shown)


def test_what_stands_only_until_the_air_has_stayed_well_asks_for_nothing():
    back = replace(DAMP, facts={**DAMP.facts, "value": 44.0, "limit": 65.0})
    assert to_do(back) == "Nothing for now: it is back within the limit, and over once it has stayed so."
    assert minds(back) == []
    assert to_do(replace(back, facts={**back.facts, "value": 65.1})).startswith("Find where the damp comes from")


def test_what_is_over_has_no_hour_by_which_to_act():
    over = replace(DAMP, standing=Standing.RETURNED, returned=T + 45 * MINUTE)
    assert "act_by" in DAMP.facts
    assert "back in band by" not in alarms.text(bundle(over, form="returned", tells="returned"), NOW, shown)


def test_what_is_counted_by_days_of_utc_began_on_a_day_and_not_at_an_hour():
    wet = made(whats.SURFACE_WET, {"hours": 4}, since=1_767_571_200_000, returned=NOW, standing=Standing.RETURNED)
    text = alarms.text(bundle(wet, form="returned", tells="returned"), NOW, shown)
    assert "When: 2026-01-05 (a day of UTC) to 2026-01-05 10:50 -05:00, over by now\n" in text


def test_a_surface_is_never_damper_than_full():
    damp = made(whats.SURFACE_DAMP, {"humidity": 140.2, "limit": 80.0})
    assert alarms.how_bad(damp, NEW_YORK) == (
        "the last day at the surface 100.0 % (water settles), mould can grow from 80.0 %"
    )


def test_sensors_that_speak_again_together_are_one_short_message():
    again = {"standing": Standing.RETURNED, "returned": NOW}
    eight = [replace(SILENT, id=f"{n:010x}", where=f"room-{n}", **again) for n in range(8)]
    told = bundle(*eight, form="returned", tells="returned", behind="topics", named="mill")
    assert alarms.text(told, NOW, shown) == (
        "Over: 8 sensors silent, all below mill\n"
        "Where: room-0, room-1, room-2, room-3, room-4 and 3 more\n"
        "When: 2026-01-05 08:40 to 10:50 -05:00 (2 h 10 min), over by now\n"
        "How bad: they speak again; what they did not say meanwhile is not known.\n"
        "Seen them? All at once: wallclime alarm ack --all\n"
    )


def test_what_is_over_is_told_without_its_error_and_what_speaks_again_with_since_when():
    over = {"standing": Standing.RETURNED, "returned": T + HOUR}
    failed = replace(of_house(whats.BACKUP_FAILED, "backup", error="no such folder. Make it"), **over)
    assert "How bad" not in alarms.text(bundle(failed, form="returned", tells="returned"), NOW, shown)
    assert alarms.headline(failed, NEW_YORK).endswith(", over by now")
    assert "How bad: no such folder. Make it\n" in alarms.text(bundle(replace(failed, returned=None)), NOW, shown)
    told = alarms.text(bundle(replace(SILENT, **over), form="returned", tells="returned"), NOW, shown)
    assert "How bad: it speaks again since 2026-01-05 09:40 -05:00\n" in told


@pytest.mark.parametrize(
    ("ms", "told"),
    [
        (0, "0 s"),
        (130 * MINUTE + 999, "2 h 10 min"),
        (2 * DAY - MINUTE, "47 h 59 min"),
        (2 * DAY, "2 d"),
        (780 * DAY, "780 d"),
        (3 * DAY + 2 * HOUR - 1, "3 d 1 h"),
    ],
)
def test_from_two_days_on_a_length_is_told_in_days(ms, told):
    assert lasting(ms) == told
    stands = alarms.text(bundle(replace(FROST, since=NOW - ms)), NOW, shown)
    assert f"({told})\n" in stands


def test_what_came_and_went_unseen_is_told_as_over():
    over = replace(FROST, standing=Standing.RETURNED, returned=T + HOUR)
    assert alarms.subject(bundle(over)) == "URGENT, over by now: pipes may freeze, north wall, den"


def test_several_of_one_wall_are_one_message():
    text = alarms.text(bundle(FROST, replace(DAMP, id="abcdef0123")), NOW, shown)
    assert text.startswith("URGENT: north wall: pipes may freeze, air too damp\n\nPipes may freeze\nWhere: north wall")
    assert text.count("To do: ") == 2
    assert text.count("Mind: Keep out of the water") == 1
    assert text.endswith("Seen them? wallclime alarm ack 0123456789 abcdef0123\n")


def test_what_fell_silent_behind_one_gateway_is_one_short_message():
    forty = [replace(SILENT, id=f"{n:010x}", where=f"room-{n:02d}", since=T + n) for n in range(10)]
    told = bundle(*forty, behind="topics", named="gateway-7", more=30)
    assert alarms.subject(told) == "Alarm: 40 sensors silent, all below gateway-7"
    assert alarms.text(told, NOW, shown) == (
        "Alarm: 40 sensors silent, all below gateway-7\n"
        "Where: room-00, room-01, room-02, room-03, room-04 and 35 more\n"
        "Since: 2026-01-05 08:40 -05:00 (2 h 10 min)\n"
        "How bad: nothing they say since then is known, so nothing of it counts.\n"
        "To do: They fell silent together: look first at what they share, its power and its network.\n"
        "Seen them? All at once: wallclime alarm ack --all\n"
    )


@pytest.mark.parametrize(
    ("behind", "told"), [("place", "all in den"), ("broker", "all on broker den"), ("topics", "all below den")]
)
def test_a_group_names_what_its_sensors_share(behind, told):
    two = bundle(SILENT, replace(SILENT, where="door"), behind=behind, named="den")
    assert alarms.subject(two) == f"Alarm: 2 sensors silent, {told}"


def test_several_walls_with_the_same_to_say_are_one_message_with_the_figures_of_the_worst():
    worst = {**DAMP.facts, "worst": 75.0, "value": 74.0}
    found = [replace(DAMP, id=f"{n:010x}", job=f"wall {n}", where=f"room {n // 2}") for n in range(6)]
    found[4] = replace(found[4], facts=worst)
    told = bundle(*found, behind="walls", named="mill house")
    assert alarms.subject(told) == "Alarm: air too damp, 6 walls of mill house"
    lines = alarms.text(told, NOW, shown).splitlines()
    assert lines[:3] == [
        "Alarm: air too damp, 6 walls of mill house",
        "Where: room 0, room 1, room 2",
        "Since: 2026-01-05 08:40 -05:00 (2 h 10 min)",
    ]
    assert lines[3].startswith("How bad: room 2: now 74.0 %, at worst 75.0 %, the limit is 65.0 %")
    assert [line.partition(":")[0] for line in lines[4:]] == ["To do", "Mind", "Mind", "Seen them? All at once"]


def test_of_several_cold_rooms_the_coldest_is_named():
    rooms = [
        replace(FROST, job=f"wall {n}", where=f"room {n}", facts={"limit": 5.0, "value": 4.0 - n}) for n in range(3)
    ]
    text = alarms.text(bundle(*rooms, behind="walls", named="mill house"), NOW, shown)
    assert "How bad: room 2: now 35.6 degF, the limit is 41.0 degF\n" in text


def test_several_walls_with_two_conditions_are_told_of_each_once():
    both = [replace(one, job=f"wall {n}", where=f"room {n}") for n in range(3) for one in (FROST, DAMP)]
    text = alarms.text(bundle(*both, behind="walls", named="mill house"), NOW, shown)
    assert text.startswith("URGENT: pipes may freeze, air too damp, 3 walls of mill house\n\nPipes may freeze\nWhere: ")
    assert (text.count("To do: "), text.count("Where: wall 0, wall 1, wall 2\n")) == (2, 2)


def test_walls_that_are_over_together_have_nothing_to_do():
    over = [replace(DAMP, job=f"wall {n}", standing=Standing.RETURNED, returned=NOW) for n in range(3)]
    text = alarms.text(bundle(*over, form="returned", tells="returned", behind="walls", named="den"), NOW, shown)
    assert text.startswith(
        "Over: air too damp, 3 walls of den\nWhere: wall 0, wall 1, wall 2\nWhen: 2026-01-05 08:40 to 10:50"
    )
    assert "To do" not in text


def test_a_flood_is_summed_up_the_most_pressing_first():
    found = (FROST, *(replace(DAMP, job=f"wall {n}") for n in range(9)))
    told = bundle(*found, form="summary", more=14)
    text = alarms.text(told, NOW, shown)
    assert alarms.subject(told) == "URGENT: 24 alarms at once, first pipes may freeze, north wall, den"
    assert text.startswith(
        "URGENT: 24 alarms at once. The most pressing first:\n"
        "- URGENT: pipes may freeze, north wall, den, since 2026-01-05 08:40 -05:00: now 40.9 degF, the limit is "
        "41.0 degF\n"
        "- Alarm: air too damp, wall 0, den, since"
    )
    assert "and 14 more: wallclime alarm list\n" in text
    assert "Mind: Heat with electric or vented heaters only.\n" in text
    assert text.endswith(
        "While so many come, messages on what is less pressing wait.\n"
        "Seen them? All at once: wallclime alarm ack --all\n"
    )
    assert len(text) < 4_000


def test_what_waited_for_the_quiet_hours_says_as_of_when_it_speaks():
    text = alarms.text(bundle(DAMP, not_before=NOW + 8 * HOUR), NOW, shown)
    assert text.endswith("Kept back for your quiet hours: so it was 2026-01-05 10:50 -05:00.\n")


def test_a_sensor_names_the_walls_that_hang_on_it():
    many = of_sensor(whats.SILENT, jobs=["den", *(f"wall {n}" for n in range(7))])
    assert "For: wall 0, wall 1, wall 2, wall 3, wall 4 and 2 more\n" in alarms.text(bundle(many), NOW, shown)


def test_a_training_job_says_so():
    assert alarms.TRAINING in alarms.text(bundle(made(whats.READY, {"training": True})), NOW, shown)


# --- names ------------------------------------------------------------------------------------------

HOSTILE = "wall\x1b[31m\u202e{0}; rm -rf ~ <b>\u2066'\"`$(id)`"


@given(name=st.text(max_size=120), where=st.text(max_size=120), what=st.sampled_from(sorted(EVERY)))
def test_no_name_breaks_a_subject_or_hides_in_a_text(name, where, what):
    for job in (name, HOUSE):
        told = bundle(made(what, {"place": where, "jobs": [name]}, job=job, where=where))
        subject, text = alarms.subject(told), alarms.text(told, NOW, shown)
        assert len(subject) <= 70
        assert [visible(subject), *map(visible, text.split("\n"))] == [subject, *text.split("\n")]


def test_a_hostile_name_comes_out_as_text_and_is_one_word_of_a_command():
    found = made(whats.READY, job=HOSTILE)
    spelled = "wall\\u001b[31m\\u202e{0}; rm -rf ~ <b>\\u2066"
    assert alarms.headline(found, NEW_YORK).startswith(f"ready to install, {spelled}'\"`$(id)`, den, since")
    assert to_do(found) == (f"You may start. Look once more just before: wallclime ready '{spelled}'\"'\"'\"`$(id)`'.")


# --- lists and entries ------------------------------------------------------------------------------


def test_a_list_shows_each_alarm_with_how_it_stands_and_what_to_do():
    shelved = replace(
        DAMP, id="abcdef0123", shelved_until=NOW + DAY, shelved_by="robin", shelved_reason="painters are at work"
    )
    assert alarms.listing([FROST, shelved, DRY], shown) == (
        "0123456789  high: pipes may freeze, north wall, den, since 2026-01-05 08:40\n"
        "            -05:00: now 40.9 degF, the limit is 41.0 degF\n"
        "            nobody has acknowledged it\n"
        "            > Get the heating on now and open the doors to where pipes run. Know\n"
        "              where the water is shut off; if the heat can't be had, have it\n"
        "              shut off and the pipes drained.\n"
        "abcdef0123  medium: air too damp, north wall, den, since 2026-01-05 08:40\n"
        "            -05:00: now 65.0 %, at worst 65.004 %, the limit is 65.0 %; outside\n"
        "            for 45 min; back in band by 2026-01-05 09:40 -05:00, or the 31.9 h\n"
        "            counted of 48 h will be lost\n"
        "            shelved until 2026-01-06 10:50 -05:00 by robin: painters are at work\n"
        "            > Find where the damp comes from, then dry the room: warm it a\n"
        "              little, air it while it is drier outside, or run a dehumidifier.\n"
        "              How much: wallclime advise 'north wall'.\n"
        "0123456789  notice: air too dry, north wall, den, since 2026-01-05 08:40 -05:00:\n"
        "            now 34.99 %, at worst 31.0 %, the limit is 35.0 %; outside for 3 h\n"
        "            in all, 3 times; the planks hold about 6.9 % water by weight, air at\n"
        "            the limit would bring them to 6.4 %: not there yet, they lag behind\n"
        "            a notice\n"
        "            > Moisten the room little by little, or heat it less. How much:\n"
        "              wallclime advise 'north wall'.\n"
    )
    assert alarms.listing([], shown) == "No alarm stands.\n"


def test_the_line_of_a_status_names_the_most_pressing_and_counts_the_rest():
    line = alarms.standing_line([DAMP, FROST, DRY], shown)
    assert line.startswith("URGENT: pipes may freeze, north wall, den, since")
    assert line.endswith("the limit is 41.0 degF; 1 more (wallclime alarm list)")
    seen = replace(FROST, standing=Standing.ACKNOWLEDGED)
    assert alarms.standing_line([seen, DAMP], shown).startswith("Alarm: air too damp")
    assert alarms.standing_line([seen], shown).startswith("Seen, still so: pipes may freeze")
    assert alarms.standing_line([DRY, replace(FROST, standing=Standing.RETURNED)], shown) == ""
    assert alarms.standing_line([replace(FROST, shelved_until=NOW)], shown) == ""


def entry(kind: Kind, body: dict) -> Entry:
    return Entry("north wall", 7, kind, NOW, NOW, "wallclime", body, None, bytes(16), bytes(32))


def test_the_diary_tells_each_transition_in_a_sentence():
    def said(change: Change) -> str:
        return diary.body(entry(Kind.ALARM, body_of(change)), NEW_YORK)

    frost = "pipes may freeze, north wall, den, since 2026-01-05 08:40 -05:00: now 40.9 degF, the limit is 41.0 degF"
    assert said(Change(FROST, "raised", "first")) == f"raised, high: {frost} [0123456789]"
    silent = replace(FROST, facts={"limit": 5.0, "value": None, "unheard_since": T})
    assert said(Change(silent, "corrected", "")).endswith(
        "not heard since 2026-01-05 08:40 -05:00: nobody knows that it is over; the limit is 41.0 degF [0123456789]"
    )
    assert said(acknowledge(FROST, "robin", NOW)) == f"acknowledged, high: {frost} [0123456789]"
    on_shelf = shelve(FROST, NOW + DAY, "painters", "robin", NOW, at_most=DAY)
    assert said(on_shelf) == f"shelved, high: {frost} [0123456789]; until 2026-01-06 10:50 -05:00; painters"


def test_an_entry_of_a_sensors_alarm_says_whose_it_is_and_names_no_job():
    body = body_of(Change(SILENT, "raised", "first"))
    assert (body["sensor"], body["place"]) == ("shelf", "den")
    assert "north wall" not in str(body)
    assert diary.body(entry(Kind.ALARM, body), NEW_YORK).startswith(
        "raised, medium: sensor silent, sensor shelf in den"
    )
    failed = body_of(Change(of_house(whats.WORK_FAILED, "board", error="job north wall: it can't be read"), "raised"))
    assert "north wall" not in str(failed)
    assert not {"sensor", "name", "place"} & failed.keys()


def test_why_a_sensor_was_shelved_stands_in_no_log_that_goes_to_others():
    body = body_of(shelve(SILENT, NOW + DAY, "the tenants are away", "robin", NOW, at_most=DAY))
    assert "the tenants are away" not in str(body)
    assert (body["transition"], body["until"]) == ("shelved", NOW + DAY)


def test_a_reason_that_was_forgotten_leaves_no_gap_in_words():
    assert alarms.standing(replace(SILENT, shelved_until=NOW), NEW_YORK) == "shelved until 2026-01-05 10:50 -05:00"


def test_the_diary_tells_which_settings_changed():
    before = limits_of(Patience())
    after = limits_of(Patience()._replace(on_delay_humidity=45 * MINUTE, disk_below=2 * 10**9, flood=Flood(5, MINUTE)))
    assert diary.body(entry(Kind.ALARM_SETTINGS, {"before": before, "after": after}), NEW_YORK) == (
        "on delay humidity 30 min, now 45 min; disk below 1 GB, now 2 GB; flood number 10, now 5; "
        "flood within 10 min, now 1 min"
    )
    first = diary.body(entry(Kind.ALARM_SETTINGS, {"before": {}, "after": before}), NEW_YORK)
    assert first.startswith("as first set: on delay humidity 30 min, ")
    assert "rapid humidity 15 %RH an hour" in first


def test_an_event_for_machines_says_all_of_it():
    assert event_of(Change(FROST, "raised", "first"), NOW, NEW_YORK) == {
        "at": "2026-01-05T15:50:00Z",
        "transition": "raised",
        "alarm": "0123456789",
        "what": "pipes may freeze",
        "title": "pipes may freeze",
        "job": "north wall",
        "where": "den",
        "since": "2026-01-05T13:40:00Z",
        "returned": None,
        "priority": "high",
        "standing": "unacknowledged",
        "notice": False,
        "how_bad": "now 40.9 degF, the limit is 41.0 degF",
        "facts": {"limit": 5.0, "value": 4.96},
        "who": None,
    }


def test_an_event_for_machines_names_no_file_of_this_computer():
    failed = of_house(whats.BACKUP_FAILED, "backup", error="/home/robin/copies: there is no such folder")
    assert "robin" not in str(event_of(Change(failed, "raised", "first"), NOW, NEW_YORK))


def test_the_facts_of_every_alarm_are_told_to_machines_with_their_times_as_times():
    for alarm, _ in FIGURES:
        told = for_machines(alarm.facts)
        late = {name for name, said in told.items() if isinstance(said, int) and said > T - 400 * DAY}
        assert late == set(), alarm.what
    assert for_machines({"until": T, "last": None, "limit": 5}) == {
        "until": "2026-01-05T13:40:00Z",
        "last": None,
        "limit": 5,
    }
