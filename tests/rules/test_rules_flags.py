"""What a reading is worth: refused, suspect, flat, or good. Expectations worked by hand from the definitions."""

from collections.abc import Sequence

import numpy as np
import pytest
from rooms import HUMIDITY, MS, PROFILE, TEMPERATURE, Room, Row, assess, course, frame, heard, minutes, steady

from monitor.basis.times import HOUR, MINUTE
from monitor.basis.values import LIVE, Quantity, Series
from monitor.rules.channel import Channel, Window
from monitor.rules.judge import judge

At = tuple[float, float]  # minute after T0, value as sent


def sent(readings: Sequence[At], *units: str) -> Series:
    """One channel as kept; with several units, reading k is in unit k."""
    size = len(readings)
    unit = np.arange(size, dtype=np.int16) if len(units) > 1 else np.zeros(size, np.int16)
    times = np.array([minutes(m) for m, _ in readings], np.int64)
    return Series(times, np.array([v for _, v in readings]), unit, np.zeros(size, np.int32), units, (LIVE,))


def judged(
    temperature: Sequence[At] | None = None, humidity: Sequence[At] | None = None, hold: int = 30
) -> dict[Quantity, Channel]:
    """The channels of a sensor that has those given."""
    series = {
        q: sent(said, u) for q, said, u in ((TEMPERATURE, temperature, "degC"), (HUMIDITY, humidity, "%")) if said
    }
    return Window("a", series, hold * MINUTE, PROFILE.quality).channels()


def usable(quantity: Quantity, *values: float, unit: str | None = None) -> list[float]:
    series = sent([(10 * k, v) for k, v in enumerate(values)], unit or ("degC" if quantity is TEMPERATURE else "%"))
    return Window("a", {quantity: series}, 30 * MINUTE, PROFILE.quality).channels()[quantity].value.tolist()


def flat(channel: Channel) -> list[float]:
    """The minutes of the flat readings."""
    return [(int(t) - minutes(0)) / MINUTE for t in channel.t[channel.flat]]


def suspect(channel: Channel) -> list[float]:
    return [(int(t) - minutes(0)) / MINUTE for t in channel.t[channel.suspect]]


def every(step: float, *, until: float, value: float, start: float = 0) -> list[At]:
    """Readings of one value every `step` minutes from `start` up to and with `until`."""
    return [(m, value) for m in np.arange(start, until + 0.5, step).tolist()]


def wander(step: float, *, until: float, value: float, start: float = 0) -> list[At]:
    return [
        (m, value + 0.1 * (k % 2)) for k, (m, value) in enumerate(every(step, until=until, value=value, start=start))
    ]


# --- gross range: outside -40 <= degC < 85 and 0..105 %RH a reading is refused ---


def test_exactly_85_degc_is_a_probes_power_on_value_and_just_below_is_a_reading():
    assert usable(TEMPERATURE, 84.9, 85.0, 85.1, 21.0) == [84.9, 21.0]


def test_minus_40_degc_is_a_reading_and_anything_colder_is_not():
    assert usable(TEMPERATURE, -40.0, -40.1, -127.0, 0.0) == [-40.0, 0.0]


@pytest.mark.parametrize(("unit", "power_on", "just_below"), [("degF", 185.0, 184.9), ("K", 358.15, 358.1)])
def test_the_power_on_value_is_refused_in_any_unit(unit, power_on, just_below):
    # 85 x 1.8 + 32 = 185 degF; 85 + 273.15 = 358.15 K
    assert len(usable(TEMPERATURE, power_on, unit=unit)) == 0
    assert len(usable(TEMPERATURE, just_below, unit=unit)) == 1


def test_0_and_105_percent_are_readings_and_beyond_them_is_none():
    assert usable(HUMIDITY, -0.1, 0.0, 105.0, 105.1, 999.0) == [0.0, 100.0]


def test_100_to_105_percent_is_judged_as_100_and_is_suspect():
    found = judged(humidity=[(0, 100.0), (10, 100.1), (20, 105.0), (30, 99.9)])[HUMIDITY]
    assert found.value.tolist() == [100.0, 100.0, 100.0, 99.9]
    assert suspect(found) == [10, 20]


def test_units_are_those_of_each_reading():
    # 68 degF = 36 / 1.8 = 20 degC; 293.15 K = 20 degC
    series = sent([(0, 20.0), (10, 68.0), (20, 293.15)], "degC", "degF", "K")
    found = Window("a", {TEMPERATURE: series}, HOUR, PROFILE.quality).channels()[TEMPERATURE]
    assert found.value.tolist() == pytest.approx([20.0, 20.0, 20.0], abs=1e-9)


def test_a_fraction_is_read_as_percent():
    assert usable(HUMIDITY, 0.5, 1.05, 1.06, unit="1") == [50.0, 100.0]


def test_a_refused_reading_silences_only_itself():
    # 21 degC at 0 speaks for its hold of 30 min, across the refused one at 10
    rows: list[Row] = [(0, 21.0, 50.0), (10, 85.0, -999.0)]
    assert assess(rows, 60).span.known == 30 * MINUTE


# --- the hair: outside means by more than 1e-9 of the kept unit ---


@pytest.mark.parametrize(
    ("unit", "low", "high"),
    [
        ("degF", 60.0, 85.0),
        ("K", 288.70555555555555, 302.59444444444443),
        ("degC", 15.555555555555555, 29.444444444444443),
    ],
)
def test_60_and_85_degf_are_in_band_in_any_unit(unit, low, high):
    for limit in (low, high):
        room = Room(units={TEMPERATURE: unit, HUMIDITY: "%"})
        room.hear("a", [(m, limit, 50.0 + m / 100) for m in range(0, 120, 10)])
        found = judge(frame("a"), minutes(120), room)
        assert found.excursions == ()
        assert found.span.in_band == 2 * HOUR


@pytest.mark.parametrize(("value", "side"), [(15.5555, "low"), (29.4445, "high")])
def test_a_few_hundred_thousandths_of_a_degree_beyond_are_outside(value, side):
    (found,) = assess([(0, value, 50.0)], 30).excursions
    assert (found.quantity, found.side) == (TEMPERATURE, side)


@pytest.mark.parametrize(
    ("value", "outside"),
    [(35.0, 0), (35 - 5e-10, 0), (35 - 2e-9, 1), (65.0, 0), (65 + 5e-10, 0), (65 + 2e-9, 1)],
)
def test_outside_means_by_more_than_a_billionth(value, outside):
    assert len(assess([(0, 21.0, value)], 30).excursions) == outside


# --- flat ---


@pytest.mark.parametrize(("last", "stuck"), [(480, True), (479, False)])
def test_both_unchanged_together_are_flat_from_8_hours_on(last, stuck):
    times = [*range(0, 480, 60), last]  # nine readings
    found = judged([(m, 21.0) for m in times], [(m, 50.0) for m in times])
    assert flat(found[TEMPERATURE]) == flat(found[HUMIDITY]) == (times if stuck else [])


@pytest.mark.parametrize(("step", "stuck"), [(70, True), (80, False)])
def test_eight_readings_of_each_are_needed(step, stuck):
    # every 70 min: 0, 70 .. 490 are eight in 8 h 10 min; every 80 min: 0, 80 .. 480 are seven in 8 h
    until = 490 if step == 70 else 480
    found = judged(every(step, until=until, value=21.0), every(step, until=until, value=50.0))
    assert bool(flat(found[HUMIDITY])) is bool(flat(found[TEMPERATURE])) is stuck


def test_eight_readings_of_one_and_seven_of_the_other_are_not_enough():
    found = judged(every(60, until=480, value=21.0), every(80, until=480, value=50.0))
    assert flat(found[TEMPERATURE]) == flat(found[HUMIDITY]) == []


def test_only_what_both_share_is_flat_together():
    # temperature stands still 0..600, humidity 60..540: they share 60..540, which is 8 h
    humidity = [(0, 51.0), *every(60, start=60, until=540, value=50.0), (600, 51.0)]
    found = judged(every(60, until=600, value=21.0), humidity)
    assert flat(found[TEMPERATURE]) == flat(found[HUMIDITY]) == list(range(60, 541, 60))


@pytest.mark.parametrize(("last", "stuck"), [(1440, True), (1439, False)])
def test_humidity_alone_is_flat_from_24_hours_on_and_the_temperature_is_not(last, stuck):
    times = [*range(0, 1440, 60), last]
    found = judged(wander(60, until=1440, value=21.0), [(m, 50.0) for m in times])
    assert flat(found[HUMIDITY]) == (times if stuck else [])
    assert flat(found[TEMPERATURE]) == []


def test_humidity_alone_needs_no_number_of_readings():
    assert flat(judged(wander(60, until=1440, value=21.0), [(0, 50.0), (1440, 50.0)])[HUMIDITY]) == [0, 1440]


def test_a_still_temperature_beside_a_living_humidity_is_not_flat():
    found = judged(every(60, until=3000, value=21.0), wander(60, until=3000, value=50.0))
    assert flat(found[TEMPERATURE]) == flat(found[HUMIDITY]) == []


@pytest.mark.parametrize(("last", "stuck"), [(1440, True), (1439, False)])
@pytest.mark.parametrize("quantity", [TEMPERATURE, HUMIDITY])
def test_a_sensor_with_one_air_channel_is_flat_from_24_hours_on(quantity, last, stuck):
    times = [*range(0, 1440, 60), last]
    said = [(m, 50.0) for m in times]
    found = judged(said) if quantity is TEMPERATURE else judged(humidity=said)
    assert flat(found[quantity]) == (times if stuck else [])


def test_refused_readings_do_not_end_a_stretch_and_are_not_counted():
    humidity = every(60, until=480, value=50.0)
    humidity[4] = (240, 999.0)  # eight good ones are left
    found = judged(every(60, until=480, value=21.0), humidity)
    assert flat(found[HUMIDITY]) == [m for m in range(0, 481, 60) if m != 240]
    humidity[5] = (300, -1.0)  # seven
    assert flat(judged(every(60, until=480, value=21.0), humidity)[HUMIDITY]) == []


def test_silence_does_not_end_a_stretch():
    times = [0, 10, 20, 30, 440, 450, 460, 480]
    found = judged([(m, 21.0) for m in times], [(m, 50.0) for m in times])
    assert flat(found[TEMPERATURE]) == flat(found[HUMIDITY]) == times


def test_the_first_and_last_reading_of_the_stretch_are_flat_and_their_neighbours_are_not():
    humidity = [(0, 49.0), *every(60, start=60, until=1500, value=50.0), (1560, 49.0)]
    found = judged(wander(60, until=1560, value=21.0), humidity)
    assert flat(found[HUMIDITY]) == list(range(60, 1501, 60))


def test_unchanged_means_as_sent_not_as_judged():
    # 101 and 102 %RH are both judged as 100, but the sensor lives; 101 and 101 does not
    temperature = every(60, until=480, value=21.0)
    lively = [(m, 101.0 + (m // 60) % 2) for m, _ in temperature]
    assert flat(judged(temperature, lively)[HUMIDITY]) == []
    assert len(flat(judged(temperature, every(60, until=480, value=101.0))[HUMIDITY])) == 9


def test_the_same_number_in_another_unit_is_a_change():
    times = [(60 * k, 50.0) for k in range(25)]
    series = sent(times, "degC")
    mixed = Series(series.t, series.value, np.arange(25, dtype=np.int16) % 2, series.origin, ("degC", "degF"), (LIVE,))
    found = Window("a", {TEMPERATURE: mixed}, HOUR, PROFILE.quality).channels()[TEMPERATURE]
    assert flat(found) == []


def test_a_stuck_sensor_proves_nothing_in_band():
    rows = [(m, 21.0, 50.0) for m in range(0, 600, 10)]
    found = assess(rows, 600)
    # 9 h 50 min unchanged: no reading of it is known to be true
    assert (found.span.elapsed, found.span.known, found.span.in_band) == (10 * HOUR, 0, 0)
    assert found.lot.clock.counted == 0


def test_it_still_shows_an_excursion():
    found = assess([(m, 21.0, 70.0) for m in range(0, 600, 10)], 600)
    (excursion,) = found.excursions
    assert (excursion.start, excursion.ended_by, excursion.quality) == (minutes(0), "open", "good")
    assert found.now.state == "out"
    # humidity is high, but of the temperature nothing is known
    assert found.span.known == 0


def test_a_live_sensor_beside_a_stuck_one_proves_the_room():
    stuck = [(m, 21.0, 50.0) for m in range(0, 600, 10)]
    found = judge(frame("a", "b"), minutes(600), heard(a=stuck, b=steady(600)))
    assert found.span.in_band == 10 * HOUR


def test_a_stuck_sensor_outside_puts_the_room_out_beside_a_live_one_inside():
    stuck = [(m, 21.0, 70.0) for m in range(0, 600, 10)]
    found = judge(frame("a", "b"), minutes(600), heard(a=stuck, b=steady(600)))
    assert (found.span.in_band, found.span.known) == (0, 10 * HOUR)


# --- suspect: spike and rate ---


@pytest.mark.parametrize(("value", "flagged"), [(60.0, []), (60.1, [10]), (40.0, []), (39.9, [10])])
def test_a_humidity_more_than_10_from_the_mean_of_its_neighbours_is_a_spike(value, flagged):
    assert suspect(judged(humidity=[(0, 50.0), (10, value), (20, 50.0)])[HUMIDITY]) == flagged


def test_a_spike_is_measured_from_the_middle_of_its_neighbours():
    # (40 + 50) / 2 = 45: 55 is 10 away, 55.5 is 10.5 away
    assert suspect(judged(humidity=[(0, 40.0), (10, 55.0), (20, 50.0)])[HUMIDITY]) == []
    assert suspect(judged(humidity=[(0, 40.0), (10, 55.5), (20, 50.0)])[HUMIDITY]) == [10]


@pytest.mark.parametrize(("value", "flagged"), [(24.0, []), (24.1, [10]), (18.0, []), (17.9, [10])])
def test_a_temperature_more_than_3_k_from_the_mean_of_its_neighbours_is_a_spike(value, flagged):
    assert suspect(judged([(0, 21.0), (10, value), (20, 21.0)])[TEMPERATURE]) == flagged


def test_the_newest_reading_is_not_evaluated_for_a_spike():
    assert suspect(judged(humidity=[(0, 50.0), (10, 70.0)])[HUMIDITY]) == []


@pytest.mark.parametrize(("after", "flagged"), [(1, [1]), (5, [5]), (6, [])])
def test_more_than_a_kelvin_a_minute_is_a_rate(after, flagged):
    # 5.5 K: more than 1 K in 1 min and than 5 K in 5 min, less than 6 K in 6 min
    assert suspect(judged([(0, 21.0), (after, 26.5)])[TEMPERATURE]) == flagged


def test_exactly_the_rate_is_no_rate():
    assert suspect(judged([(0, 21.0), (4, 25.0)])[TEMPERATURE]) == []
    assert suspect(judged(humidity=[(0, 50.0), (2, 70.0)])[HUMIDITY]) == []


@pytest.mark.parametrize(("value", "flagged"), [(60.0, []), (60.1, [1]), (39.9, [1])])
def test_more_than_10_percent_a_minute_is_a_rate(value, flagged):
    assert suspect(judged(humidity=[(0, 50.0), (1, value)])[HUMIDITY]) == flagged


def test_within_a_minute_the_rate_is_that_of_a_minute():
    # 0.5 K in 1 s is the step of a coarse sensor, not 30 K/min; 1.5 K is more than a minute may bring
    second = 1 / 60
    assert suspect(judged([(0, 21.0), (second, 21.5)])[TEMPERATURE]) == []
    assert len(suspect(judged([(0, 21.0), (second, 22.5)])[TEMPERATURE])) == 1


@pytest.mark.parametrize(("gap", "flagged"), [(30, [30]), (30 + MS, [])])
def test_nothing_is_compared_across_more_than_the_hold(gap, flagged):
    # 33 K in half an hour is more than 1 K/min; the hold is 30 min
    assert suspect(judged([(0, 21.0), (gap, 54.0)])[TEMPERATURE]) == flagged


@pytest.mark.parametrize("times", [(0, 31, 41), (0, 10, 41)])
def test_a_spike_needs_both_neighbours_within_the_hold(times):
    readings = list(zip(times, (50.0, 65.0, 50.0), strict=True))
    assert suspect(judged(humidity=readings)[HUMIDITY]) == []
    assert suspect(judged(humidity=readings, hold=40)[HUMIDITY]) == [times[1]]


def test_a_refused_reading_is_no_neighbour():
    # 50, 999 (refused), 61, 50: of 61 the neighbours are the two 50s
    assert suspect(judged(humidity=[(0, 50.0), (5, 999.0), (10, 61.0), (20, 50.0)])[HUMIDITY]) == [10]


def test_an_excursion_of_a_spike_alone_is_suspect():
    (found,) = assess([(0, 21.0, 50.0), (10, 21.1, 70.0), (20, 21.2, 50.0)], 30).excursions
    assert (found.start, found.end, found.quality) == (minutes(10), minutes(20), "suspect")


def test_until_the_next_reading_the_same_excursion_is_good():
    (found,) = assess([(0, 21.0, 50.0), (10, 21.1, 70.0), (20, 21.2, 50.0)], 20).excursions
    assert (found.ended_by, found.quality) == ("open", "good")


def test_one_good_reading_makes_the_excursion_good():
    # 70 is |70 - (50 + 70.4) / 2| = 9.8 from the middle of its neighbours: no spike
    (found,) = assess([(0, 21.0, 50.0), (10, 21.1, 70.0), (20, 21.2, 70.4), (30, 21.1, 60.0)], 40).excursions
    assert found.quality == "good"
    # 80 is |80 - (50 + 66) / 2| = 22: a spike; 66 is |66 - (80 + 60) / 2| = 4: good
    (found,) = assess([(0, 21.0, 50.0), (10, 21.1, 80.0), (20, 21.2, 66.0), (30, 21.1, 60.0)], 40).excursions
    assert found.quality == "good"


def test_a_good_sensor_beside_a_suspect_one_makes_the_excursion_good():
    spike = [(0, 21.0, 50.0), (10, 21.1, 70.0), (20, 21.2, 50.0)]
    slow = [(0, 21.0, 64.0), (12, 21.1, 66.0), (18, 21.2, 64.0)]
    (found,) = judge(frame("a", "b"), minutes(30), heard(a=spike, b=slow)).excursions
    assert (found.start, found.end, found.peak, found.quality) == (minutes(10), minutes(20), 70.0, "good")


def test_a_sensor_wetter_than_wet_is_suspect_and_peaks_at_100():
    (found,) = assess([(0, 21.0, 98.0), (10, 21.1, 103.0), (20, 21.2, 50.0)], 25).excursions
    assert (found.peak, found.quality) == (100.0, "good")  # 98 is good
    (found,) = assess([(0, 21.0, 103.0), (10, 21.1, 104.0)], 20).excursions
    assert (found.peak, found.quality) == (100.0, "suspect")


def test_a_slow_rise_is_no_spike():
    found = assess(course(("in", 60), ("wet", 30), ("in", 60)), 150, hold=10)
    # 50.0, then 70.0, 70.2: 20 in 10 min is no rate, and 70.0 is 9.9 from (50.0 + 70.2) / 2 = 60.1: no spike
    assert [e.quality for e in found.excursions] == ["good"]
