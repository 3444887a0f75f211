import invented_den as den
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.basis.errors import TimeError
from monitor.basis.times import DAY, HOUR, MINUTE, zone_of
from monitor.basis.values import Kind, Quantity
from monitor.config.profile import Acclimation, Band
from monitor.rules.assessment import ClockReading, Condition, Coverage, Excursion, Gap, Now, Restart
from monitor.tell import diary, words
from monitor.tell.drawn import chartwords
from monitor.tell.pages import settling
from monitor.tell.words import Display

T, RH = Quantity.AIR_TEMPERATURE, Quantity.AIR_HUMIDITY
US = Display(zone_of("America/New_York"), "us")
SI = Display(zone_of("America/New_York"), "si")
NOON = den.DELIVERED + 3 * HOUR + 20 * MINUTE  # 2026-01-05 12:00 in New York


def test_a_time_is_told_in_the_jobs_zone_with_its_offset():
    assert words.when(NOON + 59_999, US) == "2026-01-05 12:00 -05:00"


def test_a_promised_time_is_never_early():
    assert words.when_at_the_earliest(NOON, US) == "2026-01-05 12:00 -05:00"
    assert words.when_at_the_earliest(NOON + 1, US) == "2026-01-05 12:01 -05:00"


def test_a_stretch_says_date_and_offset_once_where_they_are_the_same():
    assert words.between(NOON, NOON + HOUR, US) == "2026-01-05 12:00 to 13:00 -05:00"
    assert words.between(NOON, NOON + DAY, US) == "2026-01-05 12:00 to 2026-01-06 12:00 -05:00"


def test_a_stretch_over_a_clock_change_says_both_offsets():
    # From memory: the United States put their clocks forward at 02:00 on the second Sunday of March, 8 March 2026.
    before = NOON + 62 * DAY  # 2026-03-08 12:00 EST would be 13:00 EDT
    assert words.between(before - 12 * HOUR, before, US) == "2026-03-08 00:00 -05:00 to 2026-03-08 13:00 -04:00"


def test_hours_just_short_of_complete_are_not_rounded_up_to_complete():
    clock = ClockReading(required=48 * HOUR, counted=48 * HOUR - 1)
    assert words.counted(clock) == "47.9 h of 48 h"


@given(st.integers(1, 400 * HOUR), st.data())
def test_counted_hours_are_never_told_as_more_than_they_are(whole, data):
    part = data.draw(st.integers(0, whole))
    assert float(words.hours(part).split()[0]) <= part / HOUR
    assert float(words.share(part, whole).split()[0]) <= part * 100 / whole + 1e-9
    assert (words.share(part, whole) == "100.0 %") == (part == whole)


def test_a_little_is_not_nothing_and_almost_all_is_not_all():
    assert [words.fraction(value) for value in (0.0, 0.0004, 0.25, 0.9996, 1.0)] == [
        "0.0 %",
        "under 0.1 %",
        "25.0 %",
        "over 99.9 %",
        "100.0 %",
    ]
    assert [words.amount(value) for value in (0.0, 0.0004, 0.0042, 0.05, 6.44)] == [
        "0.0",
        "under 0.001",
        "0.0042",
        "0.1",
        "6.4",
    ]


def test_an_excursion_is_told_by_side_length_worst_value_and_dose():
    assert words.excursion(den.EXCURSION, den.PROFILE, den.AS_OF, US) == (
        "humidity above 65.0 % for 2 h 10 min, at worst 71.3 %, 6.4 %RH-hours beyond the limit"
    )


def test_a_dose_of_temperature_is_a_difference_without_the_32():
    # Hand arithmetic: 2 K.h are 3.6 degF.h; 60 degF is 15.556 degC, 14 degC is 57.2 degF.
    cold = Excursion(T, "low", NOON, NOON + 2 * HOUR, "silence", 14.0, 2.0, "before", "good", True)
    assert words.excursion(cold, den.PROFILE, den.AS_OF, US) == (
        "temperature below 60.0 degF for 2 h, at worst 57.2 degF, 3.6 degF-hours beyond the limit"
    )
    assert words.excursion(cold, den.PROFILE, den.AS_OF, SI) == (
        "temperature below 15.6 degC for 2 h, at worst 14.0 degC, 2.0 K-hours beyond the limit"
    )


def test_an_open_excursion_lasts_so_far_and_its_doubts_are_told():
    doubtful = den.EXCURSION._replace(end=None, beyond_uncertainty=False, quality="suspect", continues=True)
    assert words.excursion(doubtful, den.PROFILE, den.WET[0] + HOUR, US) == (
        "humidity above 65.0 % for 1 h so far, at worst 71.3 %, 6.4 %RH-hours beyond the limit "
        "(within the sensors' uncertainty; on suspect readings alone; it held before the silence too)"
    )


@pytest.mark.parametrize(("peak", "told"), [(65.04, "65.04 %"), (65.1, "65.1 %"), (65.000002, "65.000002 %")])
def test_a_worst_value_never_reads_as_its_limit(peak, told):
    assert words.worst(den.EXCURSION._replace(peak=peak), den.PROFILE, US) == told


def test_an_excursion_of_the_finished_wall_is_told_against_the_life_of_the_wall():
    profile = den.PROFILE._replace(life=Band(humidity=(30.0, 60.0), temperature=(15.0, 30.0)))
    during, after = (den.EXCURSION._replace(phase=phase) for phase in ("during", "after"))
    assert words.side(during, profile, US) == "humidity above 65.0 %"
    assert words.side(after, profile, US) == "humidity above 60.0 %"


def test_a_gap_says_what_was_not_heard_and_that_it_does_not_count():
    both = Gap(NOON, NOON + 14 * HOUR + 5 * MINUTE, (T, RH))
    assert words.gap(both, US) == (
        "nothing usable heard 2026-01-05 12:00 to 2026-01-06 02:05 -05:00 (14 h 5 min): not counted"
    )
    assert words.gap(Gap(NOON, NOON + HOUR, (RH,)), US) == (
        "no usable humidity heard 2026-01-05 12:00 to 13:00 -05:00 (1 h): not counted"
    )


def test_a_restart_says_when_and_why():
    assert words.restart(Restart(NOON, "out"), den.PROFILE, US) == (
        "2026-01-05 12:00 -05:00: back to zero, out of band for more than 1 h"
    )
    assert words.restart(Restart(NOON, "unproven"), den.PROFILE, US) == (
        "2026-01-05 12:00 -05:00: back to zero, not proven in band for more than 2 h"
    )
    strict = den.PROFILE._replace(acclimation=Acclimation(48 * HOUR, 0, 0, 0))
    assert words.restart(Restart(NOON, "unproven"), strict, US) == (
        "2026-01-05 12:00 -05:00: back to zero, not proven in band"
    )


def test_the_rule_is_told_with_the_profiles_figures():
    assert words.rule(den.PROFILE) == (
        "Time in band counts once it has lasted 30 min, up to 48 h. A break pauses the clock; more than 1 h out of "
        "band in one break, or a break of more than 2 h in all, puts it back to zero."
    )
    strict = den.PROFILE._replace(acclimation=Acclimation(48 * HOUR, 0, 0, 30 * MINUTE))
    assert words.rule(strict) == (
        "Time in band counts once it has lasted 30 min, up to 48 h. Any break puts the clock back to zero."
    )


def test_an_in_band_share_is_always_two_figures():
    # Hand arithmetic: 9 of 10 known hours is 90 %; of 12 elapsed hours 9 is 75 %, and 9 + 2 unknown is 91.66 %.
    assert words.in_band(Coverage(12 * HOUR, 10 * HOUR, 9 * HOUR)) == (
        "90.0 % of known time; 75.0 % to 91.6 % of elapsed time (unknown time counted out, and in)"
    )
    assert words.in_band(Coverage(12 * HOUR, 0, 0)) == (
        "no time is known; 0.0 % to 100.0 % of elapsed time (unknown time counted out, and in)"
    )
    assert words.in_band(None) == words.in_band(Coverage()) == "no time has passed yet"


def test_a_short_in_band_share_says_the_same_without_what_its_page_says_of_the_pair():
    assert words.in_band(Coverage(12 * HOUR, 10 * HOUR, 9 * HOUR), short=True) == (
        "90.0 % of known time; 75.0 % to 91.6 % of elapsed time"
    )
    assert words.in_band(Coverage(2 * HOUR, 2 * HOUR, HOUR), short=True) == (
        "50.0 % of known time; 50.0 % of elapsed time"
    )
    assert words.in_band(Coverage(), short=True) == "-"


def test_a_size_is_of_the_sides_that_are_known():
    assert words.size(4.0, 2.4, "si") == "4.000 m x 2.400 m"
    assert words.size(None, 2.4, "si") == "2.400 m"
    assert words.size(None, None, "si") == ""


def test_a_clock_is_complete_on_its_way_or_standing():
    clock = ClockReading(required=48 * HOUR)
    assert words.clock_state(clock, US) == "not complete"
    assert words.clock_state(clock._replace(projected_at=NOON + 1), US) == (
        "complete 2026-01-05 12:01 -05:00 if the room stays in band"
    )
    assert words.clock_state(clock._replace(completed_at=NOON), US) == "complete 2026-01-05 12:00 -05:00"


def complete_lot(guarded: bool):
    clock = den.CLOCK._replace(counted=48 * HOUR, completed_at=NOON, projected_at=None)
    return den.LOT._replace(clock=clock, guarded=clock if guarded else den.CLOCK)


def test_whether_a_completion_holds_beyond_uncertainty_is_always_said():
    assert words.beyond_uncertainty(complete_lot(True)) == (
        "Simple acceptance decides; the completion holds beyond the sensors' uncertainty."
    )
    assert words.beyond_uncertainty(complete_lot(False)) == (
        "Simple acceptance decides; the completion does not hold beyond the sensors' uncertainty."
    )
    assert words.beyond_uncertainty(den.LOT) == (
        "Simple acceptance decides: a reading counts as it stands, its uncertainty is stated beside it."
    )


def test_the_verdict_of_a_clock_on_its_way_says_how_far_and_until_when():
    assert words.tag(den.ASSESSMENT) == "NOT READY"
    assert words.verdict(den.ASSESSMENT, US) == (
        "The installation may not start yet: 37.5 h of 48 h are counted, complete 2026-01-10 07:10 -05:00 if the room "
        "stays in band."
    )


def test_the_verdict_of_a_standing_clock_promises_nothing():
    standing = den.ASSESSMENT._replace(lots=(den.LOT._replace(clock=den.CLOCK._replace(projected_at=None)),))
    assert words.verdict(standing, US) == (
        "The installation may not start yet: 37.5 h of 48 h are counted, and the clock is not running."
    )


def test_a_complete_clock_alone_is_not_ready():
    found = den.ASSESSMENT._replace(lots=(complete_lot(True),), readiness=den.READINESS[2:])
    assert words.verdict(found, US) == (
        "The installation may not start yet: the acclimation is complete, but 2 conditions are not met."
    )
    one = found._replace(readiness=den.READINESS[2:7])
    assert words.verdict(one, US) == (
        "The installation may not start yet: the acclimation is complete, but 1 condition is not met."
    )


def test_the_installation_may_start_when_every_condition_passes():
    passed = tuple(Condition(condition.name, "pass", "") for condition in den.READINESS)
    ready = den.ASSESSMENT._replace(lots=(complete_lot(True),), readiness=passed)
    assert words.tag(ready) == "READY"
    assert words.verdict(ready, US) == "The installation may start: every condition is met."


def test_the_verdict_of_a_begun_wall_says_whether_it_was_acclimated():
    during = den.ASSESSMENT._replace(phase="during", lots=(complete_lot(True),))
    assert words.tag(during) == "INSTALLING"
    assert words.verdict(during, US) == (
        "The installation started after the acclimation was complete (2026-01-05 12:00 -05:00)."
    )
    assert words.verdict(during._replace(lots=(den.LOT,)), US) == (
        "The installation started before the acclimation was complete: 37.5 h of 48 h are counted."
    )


def test_the_verdict_of_a_finished_wall_says_how_it_has_been_since():
    after = Coverage(12 * HOUR, 10 * HOUR, 9 * HOUR)
    late = den.EXCURSION._replace(phase="after")
    wall = den.ASSESSMENT._replace(
        phase="after", lots=(complete_lot(True),), after=after, excursions=(den.EXCURSION, late)
    )
    assert words.tag(wall) == "WALL IS UP"
    assert words.verdict(wall, US) == (
        "The installation started after the acclimation was complete (2026-01-05 12:00 -05:00). Since the finish the "
        "room was in band 90.0 % of known time; 75.0 % to 91.6 % of elapsed time (unknown time counted out, and in), "
        "with 1 excursion."
    )
    assert words.verdict(wall._replace(after=None), US) == (
        "The installation started after the acclimation was complete (2026-01-05 12:00 -05:00). It has only just been "
        "finished."
    )


def test_failures_are_told_before_what_is_unknown():
    found = den.ASSESSMENT._replace(readiness=(*den.READINESS[6:8], den.READINESS[1]))
    assert [condition.verdict for condition in words.open_conditions(found)] == ["fail", "unknown", "unknown"]


def test_the_state_of_the_room_is_told_with_its_length():
    assert words.now_state(Now("in", NOON), NOON + 90 * MINUTE, US) == (
        "in band since 2026-01-05 12:00 -05:00 (1 h 30 min)"
    )
    assert words.now_state(Now("out", NOON), NOON + HOUR, US) == "OUT OF BAND since 2026-01-05 12:00 -05:00 (1 h)"
    assert words.now_state(Now("unknown", None), NOON, US) == "not known: nothing heard yet"


@pytest.mark.parametrize(
    "name",
    [
        "boxes delivered",
        "acclimation complete",
        "air in band now",
        "sensors fresh",
        "sensors not flat",
        "sensors agree",
        "instrument check",
        "box core",
        "site check",
        "wall moisture",
        "wall size",
        "suitability",
    ],
)
def test_every_condition_has_its_own_advice(name):
    every = [advice for _, advice in settling._TO_DO]
    assert words.to_do(Condition(name, "fail", "")) in every


def test_air_that_nobody_vouches_for_is_to_be_heard_not_heated():
    assert words.to_do(Condition("air in band now", "unknown", "")) == (
        "Let the room be heard: see that a sensor there sends."
    )


@pytest.mark.parametrize(
    ("name", "verdict", "advice"),
    [
        ("site check", "fail", "Mend the wall, then say so: wallclime log check."),
        ("site check", "unknown", "Walk along the wall, answer what is open: wallclime log check."),
        ("wall moisture", "fail", "Find the water, let the wall dry, then measure again."),
        ("wall moisture", "unknown", "Measure it beside a dry place of it: wallclime log moisture."),
        ("suitability", "fail", "Mend it, or say what holds by now: wallclime job place."),
        ("suitability", "unknown", "Say what it is like: wallclime job place."),
    ],
)
def test_what_is_wrong_with_the_wall_is_mended_and_what_is_not_known_is_looked_at(name, verdict, advice):
    assert words.to_do(Condition(name, verdict, "")) == advice


ASSIGN = "Assign one: wallclime sensor assign. Or import a logger's file."
HEAR = "Let the room be heard first; then this is judged."


@pytest.mark.parametrize(
    ("name", "evidence", "advice"),
    [
        ("sensors fresh", "no sensor is assigned to the place", ASSIGN),
        ("instrument check", "no sensor is assigned to the place", ASSIGN),
        ("sensors not flat", "no sensor speaks", HEAR),
        ("sensors agree", "no sensor speaks", HEAR),
        (
            "box core",
            "nobody said how the boxes lie, and no sensor is in them",
            "Say it with the delivery: wallclime log deliver JOB --stack-height LENGTH. One that is logged without it "
            "is withdrawn first: wallclime log correct. Or put a sensor in the boxes.",
        ),
        (
            "box core",
            "nothing is heard from the sensor in the boxes, and nobody said how they lie",
            "See to the sensor in the boxes: its battery, its range.",
        ),
        ("sensors fresh", "nothing heard from shelf", "See to the sensor: its battery, its range, the broker."),
        (
            "box core",
            "too little is known of the room since the boxes came",
            ("Give the boxes time, or measure the temperature inside one."),
        ),
    ],
)
def test_what_is_to_be_done_fits_the_reason(name, evidence, advice):
    assert words.to_do(Condition(name, "unknown", evidence)) == advice


def test_no_two_conditions_share_an_advice():
    names = ("boxes delivered", "sensors not flat", "instrument check", "box core", "site check", "wall size")
    assert len({words.to_do(Condition(name, "unknown", "")) for name in names}) == len(names)


def test_a_condition_of_a_later_kind_still_gets_an_advice():
    assert words.to_do(Condition("glue dry", "unknown", "")) == "See the evidence; enter what is missing."


@pytest.mark.parametrize(
    ("late", "told"),
    [
        (HOUR, ""),
        (HOUR + 1, "entered 1 h later"),
        (47 * HOUR + 59 * MINUTE, "entered 47 h later"),
        (2 * DAY, "entered 2 d later"),
        (-HOUR, ""),
        (-3 * HOUR, "entered 3 h before"),
    ],
)
def test_an_entry_made_more_than_an_hour_after_the_fact_says_so(late, told):
    assert diary.entered(den.entry(1, Kind.NOTE, NOON, {}, later=late)) == told


def test_an_entry_is_told_item_by_item_with_times_in_the_zone():
    body = {
        "lot": "A",
        "finish": NOON,
        "boxes": 24,
        "sealed": True,
        "near": ["heater", "window"],
        "uncertainty": {"air_humidity": 5.0},
        "photo": None,
        "note_text": "",
    }
    assert diary.body(den.entry(9, Kind.DELIVER, NOON, body, corrects=4), US) == (
        "corrects entry 4; lot: A; finish: 2026-01-05 12:00 -05:00; boxes: 24; sealed: yes; near: heater, window; "
        "uncertainty: air_humidity 5.0 %RH"
    )


def test_figures_of_an_entry_are_told_for_people():
    body = {
        "length_m": 4.9784,
        "hold_ms": 6_480_000,
        "offset": -0.8019162499999908,
        "instead": {"height_m": 2.4383999999999997},
        "not_ready": [{"condition": "box core", "verdict": "unknown", "evidence": "none measured"}],
    }
    assert diary.body(den.entry(9, Kind.NOTE, NOON, body), US) == (
        "length: 16 ft 4 in; hold: 1 h 48 min; offset: -0.8019; instead: height 8 ft; "
        "not ready: box core: unknown (none measured)"
    )


def test_a_lot_that_calls_itself_one_is_not_called_so_twice():
    assert [words.lot_named(name) for name in ("A", "lot 1", "Lot 2")] == ["lot A", "lot 1", "Lot 2"]


def test_what_was_open_at_the_start_is_said_in_the_verdict():
    during = den.ASSESSMENT._replace(phase="during")
    told = "The installation started before the acclimation was complete: 37.5 h of 48 h are counted"
    assert words.verdict(during, US) == f"{told}."
    assert words.verdict(during, US, 1) == f"{told}, with 1 condition open at the start."
    assert words.verdict(during, US, 4) == f"{told}, with 4 conditions open at the start."


def test_a_record_that_ended_asks_for_a_newer_file():
    ended = Condition("sensors fresh", "unknown", "the record ends 2026-11-25T08:50:00Z; nothing is heard now")
    assert words.to_do(ended) == "Import a newer file, or see to the sensor."


def test_a_very_long_item_of_an_entry_is_cut_and_says_so():
    told = diary.body(den.entry(1, Kind.NOTE, NOON, {"text": "x" * 500}), US)
    assert told == f"text: {'x' * 400} ..."


def test_a_profile_is_shown_by_its_name_and_hash_not_its_text():
    told = diary.body(den.entry(1, Kind.PROFILE, NOON, {"name": "planks", "sha256": "ab", "text": "[band]"}), US)
    assert told == "name: planks; sha256: ab"


def test_a_gap_says_that_no_daemon_was_there_or_that_a_sensor_was_stuck():
    gap = Gap(NOON, NOON + 10 * HOUR, (T, RH))
    away = ((NOON - HOUR, NOON + HOUR), (NOON + 2 * HOUR, NOON + 9 * HOUR))
    assert words.gap(gap, US, away) == (
        "nothing usable heard 2026-01-05 12:00 to 22:00 -05:00 (10 h): not counted; "
        "wallclime was off 2026-01-05 14:00 to 21:00 -05:00"
    )
    assert words.cause(gap, away[:1], US) == ""
    assert words.cause(Gap(NOON, NOON + HOUR, (RH,), silent=False), away, US) == "a sensor spoke, but it was stuck"


def test_control_and_direction_characters_of_a_name_are_spelled_out():
    assert words.visible("den\x1b[31m\u202edne\n") == "den\\u001b[31m\\u202edne\\u000a"
    assert words.visible("kök, 台所") == "kök, 台所"


def test_conflicts_are_counted_in_words():
    assert words.conflicts(0) == "No reading contradicted another."
    assert words.conflicts(1) == (
        "1 reading contradicted one already kept: the first stands, the other is in quarantine."
    )


def test_a_finding_gives_extremes_and_what_left_the_band():
    told = chartwords.finding(den.ASSESSMENT, den.PROFILE, RH, (42.61, 71.3), US)
    assert told == (
        "Humidity read from 42.6 % to 71.3 %. It left the band once, for 2 h 10 min in all, at worst 71.3 %."
    )
    assert chartwords.finding(den.ASSESSMENT, den.PROFILE, T, (20.0, 21.0), US) == (
        "Temperature read from 68.0 degF to 69.8 degF. It never left the band in the time that is known."
    )
    assert chartwords.finding(den.ASSESSMENT, den.PROFILE, T, None, US) == "Temperature: nothing has been heard."


def test_an_unknown_zone_is_one_clear_line():
    lost = den.ASSESSMENT._replace(zone="Nowhere/At_All")
    with pytest.raises(TimeError) as error:
        words.display_of(lost, "us")
    assert str(error.value) == (
        "job north wall of the den: there is no time zone 'Nowhere/At_All'. "
        'Give an IANA name such as "UTC" or "America/New_York"'
    )


def test_a_time_in_an_evidence_is_told_in_the_jobs_zone():
    shown = words.evidence("the record ends 2026-01-08T01:00:00Z; nothing is heard now", US)
    assert shown == "the record ends 2026-01-07 20:00 -05:00; nothing is heard now"
    assert words.evidence("within 3.0 degF, since 2026-07-08T01:00:59.250Z: 70", US) == (
        "within 3.0 degF, since 2026-07-07 21:00 -04:00: 70"
    )


def test_a_name_in_an_evidence_that_only_looks_like_a_time_stays_and_cant_dress_up_a_page():
    assert words.evidence("lot 2026-99-08T01:00:00Z\u202e", US) == "lot 2026-99-08T01:00:00Z\\u202e"


def test_one_time_is_once():
    assert [words.times(number) for number in (1, 2, 20)] == ["once", "2 times", "20 times"]
