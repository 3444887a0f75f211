"""What a checkpoint hangs on beyond its own days: sensors that stand still or fall silent over a midnight."""

import random

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rooms import HUMIDITY, PROFILE, TEMPERATURE, Room, Row, Shelf, frame, heard, minutes, steady

from monitor.basis.times import HOUR, MINUTE
from monitor.rules.channel import Reach, Window
from monitor.rules.frame import Frame
from monitor.rules.judge import judge

DAY = 1440  # minutes


def still(quantity: str, value: float, start: float, end: float, step: float = 30) -> list[Row]:
    """One quantity that says one thing from `start` up to and with `end`."""
    times = [start + k * step for k in range(int((end - start) // step) + 1)]
    return [(m, value, None) if quantity == "temperature" else (m, None, value) for m in times]


def arrive(room: Room, shelf: Shelf, fr: Frame, until: float, **rows: list[Row]) -> None:
    """Readings come, are noted as news, and the room is judged."""
    for stream, said in rows.items():
        shelf.touch(stream, room.hear(stream, said))
    judge(fr, minutes(until), room, shelf)


def same(room: Room, shelf: Shelf, fr: Frame, until: float) -> bool:
    """Whether what was remembered gives the answer of one pass."""
    return judge(fr, minutes(until), room, shelf).to_json() == judge(fr, minutes(until), room).to_json()


def test_a_late_reading_that_speaks_over_midnight_is_heard_after_it():
    # b is outside until 00:15, whatever a says; a's late reading of 23:52:30 speaks until 00:22:30.
    # The state at midnight is the same with and without it: all lengths are whole eighths of an hour.
    fr, room, shelf, end = frame("a", "b"), Room(), Shelf(), 2 * DAY + 60
    outside: list[Row] = [(m, 21.0, 66.0 + m % 2) for m in range(DAY - 135, DAY - 14, 15)]
    arrive(room, shelf, fr, end, b=[*outside, (DAY - 3.75, 21.0, None)], a=[(2 * DAY, 21.0, 50.0)])
    arrive(room, shelf, fr, end, a=[(DAY - 7.5, 21.0, 64.0)])
    assert same(room, shelf, fr, end)
    assert judge(fr, minutes(end), room, shelf).gaps[-2].start == minutes(DAY + 22.5)


def test_a_late_reading_that_splits_a_stuck_stretch_is_seen_on_the_days_after_it():
    # a stands still from noon to 06:00 two days later; b holds the room outside over the midnight between.
    # The late reading at 23:22:30 leaves 6 h after it: no longer flat.
    fr, room, shelf, end = frame("a", "b"), Room(), Shelf(), 3 * DAY + 60
    stuck: list[Row] = [(m, 21.0, 50.0) for m in range(720, 2 * DAY + 361, 30)]
    outside: list[Row] = [(m, 21.0, 66.0 + m % 2) for m in range(2 * DAY - 240, 2 * DAY + 1, 15)]
    alive: list[Row] = [(2 * DAY + 600, 21.5, 50.5), (3 * DAY + 30, 21.0, 50.0)]
    arrive(room, shelf, fr, end, a=stuck + alive, b=outside)
    assert judge(fr, minutes(end), room, shelf).span.in_band == HOUR  # the half hours of the last two readings
    arrive(room, shelf, fr, end, a=[(2 * DAY - 37.5, 21.1, 50.5)])
    assert same(room, shelf, fr, end)
    # and from 00:30, when b has fallen silent, until 06:30
    assert judge(fr, minutes(end), room, shelf).span.in_band == 7 * HOUR


def test_a_channel_silent_over_midnight_may_still_turn_out_to_be_stuck():
    # Humidity stands still from 12:00 to 06:00 and changes at 07:00. Temperature: still 17:00..23:00, then silent
    # until 08:00, and still the same: both were unchanged from 17:00 to 06:00.
    fr, room, shelf = frame("a", hold=60), Room(), Shelf()
    before = still("humidity", 50.0, 720, DAY + 360) + still("temperature", 21.0, 1020, 1380)
    arrive(room, shelf, fr, DAY + 450, a=[*before, (DAY + 420, None, 51.0)])
    assert judge(fr, minutes(DAY + 450), room, shelf).span.in_band == 7 * HOUR  # 17:00 to midnight
    arrive(room, shelf, fr, DAY + 490, a=[(DAY + 480, 21.0, 50.5)])
    assert same(room, shelf, fr, DAY + 490)
    assert judge(fr, minutes(DAY + 490), room, shelf).span.in_band < HOUR


def test_what_only_a_later_reading_showed_is_not_remembered_for_an_earlier_as_of():
    # Humidity stands still 12:00..23:00; temperature 12:00..17:00, is silent, and says the same at 10:00 next day:
    # only then were both unchanged from 12:00 to 23:00. As of 01:40 they were so for five hours.
    fr, room, shelf = frame("a"), Room(), Shelf()
    a = still("humidity", 50.0, 720, 1380) + still("temperature", 21.0, 720, 1020)
    arrive(room, shelf, fr, DAY + 620, a=[*a, (DAY + 600, 21.0, None)])
    assert judge(fr, minutes(DAY + 620), room, shelf).span.in_band == 0
    assert same(room, shelf, fr, DAY + 100)
    assert judge(fr, minutes(DAY + 100), room, shelf).span.in_band == 5.5 * HOUR


def test_a_channel_that_says_the_same_after_days_of_silence_was_unchanged_all_along():
    # a's humidity stands still for four days; its temperature is silent from the first morning to the third evening,
    # and says 21 before and after. b vouches for the humidity.
    fr, room, shelf = frame("a", "b"), Room(), Shelf()
    a = still("humidity", 50.0, 0, 3 * DAY) + still("temperature", 21.0, 0, 600)
    a += still("temperature", 21.0, 3 * DAY - 120, 3 * DAY, step=7)
    arrive(room, shelf, fr, 3 * DAY + 30, a=a, b=[(m, None, h) for m, _, h in steady(3 * DAY + 30)])
    later = still("humidity", 50.0, 3 * DAY + 30, 3 * DAY + 120) + still(
        "temperature", 21.0, 3 * DAY + 7, 3 * DAY + 120, 7
    )
    later.append((3 * DAY + 130, 21.5, 50.5))
    arrive(room, shelf, fr, 3 * DAY + 160, a=later, b=[(m, None, h) for m, _, h in steady(3 * DAY + 160)])
    assert same(room, shelf, fr, 3 * DAY + 160)
    # nothing but the reading of 02:10 on the fourth day lives
    assert judge(fr, minutes(3 * DAY + 160), room, shelf).span.in_band == 30 * 60_000


def test_a_channel_that_comes_back_as_it_went_stood_still_with_a_run_that_ended_a_day_before():
    # a's humidity stands still from 00:00 to 10:00 on the second day; its temperature from 00:00 to 05:00, is then
    # silent for days and says the same again: both were unchanged for ten hours. b vouches for the temperature alone.
    fr, room, shelf = frame("a", "b"), Room(), Shelf()
    humidity = [(m, None, 50.0 + m % 7) for m in range(0, DAY, 30)] + still("humidity", 50.0, DAY, DAY + 600)
    humidity += [(m, None, 50.0 + m % 7) for m in range(DAY + 605, 4 * DAY, 30)]
    temperature = [(m, 21.0 + m % 7 / 10, None) for m in range(5, DAY, 30)] + still("temperature", 21.0, DAY, DAY + 300)
    other = [(m, t, None) for m, t, _ in steady(5 * DAY)]
    for day in range(1, 4):
        hour = [[row for row in rows if row[0] < day * DAY] for rows in (humidity + temperature, other)]
        arrive(room, shelf, fr, day * DAY, a=hour[0], b=hour[1])
    assert judge(fr, minutes(3 * DAY), room, shelf).span.in_band == 3 * DAY * MINUTE
    arrive(room, shelf, fr, 3 * DAY + 70, a=[(3 * DAY + 60, 21.0, None)])
    assert same(room, shelf, fr, 3 * DAY + 70)
    # unknown from 00:00 to 10:05, when it lives again; the humidity is last heard at 23:35 and speaks for 30 min
    assert judge(fr, minutes(3 * DAY + 70), room, shelf).span.in_band == (3 * DAY + 5 - 605) * MINUTE


KINDS = ("still", "still", "silent", "silent", "living", "outside", "refused", "sparse")


def channel(rng: random.Random, quantity: str, days: int, step: int) -> list[Row]:
    """One quantity in pieces that like to stand still and to be silent for long."""
    rows: list[Row] = []
    at, rest = 0.0, 21.0 if quantity == "temperature" else 50.0
    while at < days * DAY:
        kind, end = rng.choice(KINDS), at + rng.choice((60, 300, 480, 600, DAY, 2000))
        while at < min(end, days * DAY):
            moved = rng.choice((-0.25, 0.25, 0.5))
            value = {"living": rest + moved, "outside": rest + 20 + moved, "refused": 999.0, "silent": None}.get(
                kind, rest
            )
            if value is not None:
                rows.append((at, value, None) if quantity == "temperature" else (at, None, value))
            at += step * (rng.choice((1, 10)) if kind == "sparse" else 1)
    return rows


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.integers(0, 10**9))
def test_channels_that_stand_still_and_fall_silent_each_on_its_own_are_judged_as_in_one_pass(seed):
    rng = random.Random(seed)
    step = rng.choice((15, 30, 60))
    news = [(name, row) for name in "ab" for q in ("temperature", "humidity") for row in channel(rng, q, 4, step)]
    news.sort(key=lambda one: (one[1][0], one[0]))
    for _ in range(rng.choice((0, 1, 5))):
        news.insert(rng.randrange(len(news)), news.pop(rng.randrange(len(news))))
    fr, room, shelf = frame("a", "b", hold=rng.choice((30, 90, 600))), Room(), Shelf()
    size = len(news) // rng.choice((2, 6, 12)) + 1
    for k in range(0, len(news), size):
        for name, row in news[k : k + size]:
            shelf.touch(name, room.hear(name, [row]))
        newest = max(row[0] for _, row in news[: k + size])
        for until in (newest + 1, newest + rng.randrange(200), newest - rng.randrange(3 * DAY)):
            assert until <= 0 or same(room, shelf, fr, until)


def test_a_room_that_lives_hangs_on_nothing_but_the_days_around_it():
    fr, room, shelf = frame("a"), heard(a=steady(5 * DAY)), Shelf()
    judge(fr, minutes(5 * DAY), room, shelf)
    head = shelf.rows[minutes(3 * DAY)].head
    # readings speak for 30 min, and a spike needs the reading before: an hour back, half an hour on
    assert (head.covers_from, head.depends_until) == (minutes(2 * DAY - 60), minutes(3 * DAY + 30))
    assert head.open == ()
    assert head.touched("a", minutes(2 * DAY - 60), minutes(2 * DAY - 60))
    assert not head.touched("a", minutes(0), minutes(2 * DAY - 61))
    assert not head.touched("a", minutes(3 * DAY + 31), minutes(4 * DAY))


# --- how far flags look past a midnight, and before it. Hold 30 min; the midnight is that of the second day ---


def window(rows: list[Row], *quantities: str) -> Window:
    """What one sensor, which has these channels (both, if none is named), said."""
    room = heard(a=rows)
    both = {"temperature": TEMPERATURE, "humidity": HUMIDITY}
    series = {both[name]: room.series("a", both[name]) for name in quantities or both}
    return Window("a", series, 30 * MINUTE, PROFILE.quality)


def reach(rows: list[Row], *quantities: str) -> tuple[float, bool]:
    """Minutes after the midnight, and whether the sensor's next reading may tell more."""
    found: Reach = window(rows, *quantities).reach(minutes(DAY))
    return (found.until - minutes(DAY)) / MINUTE, found.open


def test_flags_of_a_living_sensor_are_settled_within_the_hold():
    assert reach(steady(2 * DAY)) == (30, False)


def test_before_its_first_reading_there_is_nothing_to_settle():
    assert reach(steady(2 * DAY, start=DAY)) == (30, False)


def test_a_run_over_midnight_is_settled_where_it_ends():
    rows = [*still("humidity", 50.0, 1200, DAY + 300), (DAY + 330, None, 51.0)]
    assert reach(rows, "humidity") == (330, False)


def test_one_reading_before_midnight_may_begin_such_a_run():
    rows = [*still("humidity", 50.0, DAY - 30, DAY + 300), (DAY + 330, None, 51.0)]
    assert reach(rows, "humidity") == (330, False)


def test_a_run_that_goes_on_for_a_day_is_settled_by_that_day():
    assert reach(still("humidity", 50.0, 1200, 4 * DAY), "humidity") == (DAY, False)


def test_a_run_that_has_not_ended_is_open():
    # eleven hours alone are not flat yet; a day is, and then it hangs on the newest reading
    assert reach(still("humidity", 50.0, 1200, DAY + 420), "humidity") == (30, True)
    assert reach(still("humidity", 50.0, 1200, 1200 + DAY), "humidity") == (DAY - 240, True)


def test_an_earlier_stuck_stretch_does_not_hang_on_what_follows():
    rows = still("humidity", 49.0, -2 * DAY, 0) + still("humidity", 50.0, 1200, DAY + 420)
    assert reach(rows, "humidity") == (30, True)
    rows = still("humidity", 49.0, -2 * DAY, 0) + still("humidity", 50.0, 1200, 1200 + DAY)
    assert reach(rows, "humidity") == (DAY - 240, True)


def test_what_both_share_is_open_until_the_silent_one_speaks():
    # Humidity every 2 h from 20:00 to 10:00, changed at noon: eight readings. Temperature is still from 20:00 to 09:00,
    # which takes in seven of them; only what it says after its silence tells whether it takes in the eighth.
    rows = still("humidity", 50.0, DAY - 240, DAY + 600, step=120) + still("temperature", 21.0, DAY - 240, DAY + 540)
    rows += [(m, None, 51.0 + m % 7) for m in range(DAY + 720, DAY + 1200, 120)]
    rows.insert(0, (DAY - 300, 22.0, 49.0))
    assert reach(rows) == (30, True)
    assert reach([*rows, (DAY + 1170, 21.0, None)]) == (1170, False)


def test_eight_readings_of_each_are_not_yet_eight_hours():
    # both still from 23:00 on; humidity changes at 06:00, after temperature was last heard at 05:00
    rows = [*still("humidity", 50.0, DAY - 60, DAY + 330), (DAY + 360, None, 51.0)]
    assert reach(rows + still("temperature", 21.0, DAY - 60, DAY + 300)) == (30, True)


def test_a_channel_first_heard_after_midnight_may_have_been_silent_since_before():
    rows = still("temperature", 21.0, DAY - 300, DAY + 200) + still("humidity", 50.0, DAY + 30, DAY + 200)
    assert reach(rows) == (30, True)


def test_a_run_that_ends_with_the_first_reading_of_the_day_still_counts():
    # both stand still from 13:00 on; humidity changes at 00:30, temperature is silent from 23:30 on
    rows = [(DAY - 700, 22.0, 49.0), *still("humidity", 50.0, DAY - 660, DAY), (DAY + 30, None, 51.0)]
    assert reach(rows + still("temperature", 21.0, DAY - 660, DAY - 30)) == (30, True)


def test_what_both_share_is_settled_at_once_where_it_is_too_short():
    # humidity stands still all day and changes at 02:00; the temperature changed at 23:00 and is silent from 01:00 on
    rows = [*still("humidity", 50.0, 600, DAY + 90), (DAY + 120, None, 51.0)]
    rows += still("temperature", 20.0, 600, DAY - 90) + still("temperature", 21.0, DAY - 60, DAY + 60)
    assert reach(rows) == (120, False)


def test_a_run_that_ended_is_open_while_the_other_channel_is_silent():
    # humidity stands still for ten hours and lives on; the temperature has said nothing new when it falls silent
    rows = still("humidity", 50.0, DAY - 720, DAY - 120) + [
        (m, None, 51.0 + m % 7) for m in range(DAY - 115, 2 * DAY, 30)
    ]
    rows += [(DAY - 750, 22.0, 49.0)]
    silent = still("temperature", 21.0, DAY - 720, DAY - 420)
    assert reach(rows + silent) == (30, True)
    assert reach([*rows, *silent, (DAY + 300, 21.0, None)]) == (300, False)
    assert reach([*rows, *silent, (DAY + 300, 21.5, None)]) == (300, False)


def test_a_run_of_less_than_eight_hours_with_a_channel_that_fell_silent_is_settled():
    rows = still("humidity", 50.0, DAY - 570, DAY - 120) + [
        (m, None, 51.0 + m % 7) for m in range(DAY - 90, 2 * DAY, 30)
    ]
    silent = [(DAY - 750, 22.0, 49.0), *still("temperature", 21.0, DAY - 720, DAY - 420)]
    assert reach(rows + silent) == (30, False)


def test_a_run_that_ended_before_the_other_channel_fell_silent_is_settled():
    # it is known to have been stuck, or not to have been
    rows = still("humidity", 50.0, DAY - 720, DAY - 120) + [
        (m, None, 51.0 + m % 7) for m in range(DAY - 90, 2 * DAY, 30)
    ]
    assert reach([(DAY - 750, 22.0, 49.0), *rows, *still("temperature", 21.0, DAY - 720, DAY - 105, step=15)]) == (
        30,
        False,
    )


def test_what_a_silent_channel_shared_with_a_run_that_ended_counts_from_when_it_last_changed():
    # the humidity stands still for ten hours, of which the temperature has said the same for the last five
    rows = still("humidity", 50.0, DAY - 720, DAY - 120)
    rows += [(m, None, 51.0 + m % 7) for m in range(DAY - 115, 2 * DAY, 30)]
    changing: list[Row] = [(m, 22.0 + m % 7, None) for m in range(DAY - 725, DAY - 420, 20)]
    assert reach([*rows, *changing, *still("temperature", 21.0, DAY - 420, DAY - 400, step=5)]) == (30, False)


def test_a_run_that_ended_with_the_last_word_of_a_channel_that_fell_silent_is_settled():
    rows = [(DAY - 750, 22.0, 49.0), *still("humidity", 50.0, DAY - 720, DAY - 120)]
    rows += [(m, None, 51.0 + m % 7) for m in range(DAY - 115, 2 * DAY, 30)]
    assert reach([*rows, *still("temperature", 21.0, DAY - 720, DAY - 120)]) == (30, False)


def settled(rows: list[Row], *quantities: str) -> bool:
    return window(rows, *quantities).settled_before(minutes(DAY))


def test_a_run_that_began_in_sight_needs_nothing_earlier():
    assert settled(steady(2 * DAY))
    assert settled([(600, None, 49.0), *still("humidity", 50.0, 630, 2 * DAY)], "humidity")


def test_a_run_that_fills_what_is_in_sight_needs_more_until_it_is_a_day_long():
    assert not settled(still("humidity", 50.0, 30, 2 * DAY), "humidity")
    assert settled(still("humidity", 50.0, -30, 2 * DAY), "humidity")
    assert not settled(still("humidity", 50.0, DAY, 2 * DAY), "humidity")


def test_who_says_nothing_more_needs_nothing():
    assert settled(still("humidity", 50.0, 600, DAY - 30), "humidity")


def test_a_run_of_the_temperature_that_fills_what_is_in_sight_needs_more_while_the_humidity_is_silent():
    # it may come back as it went
    temperature, humidity = still("temperature", 21.0, 30, 2 * DAY), still("humidity", 50.0, 30, 120)
    assert not settled(temperature + humidity)
    assert settled([(0, 22.0, None), *temperature, *humidity])
    assert settled(still("humidity", 50.0, -30, 2 * DAY) + still("temperature", 21.0, 30, 120)), "stuck alone"


def test_what_both_share_begins_where_the_later_run_began_in_sight():
    rows = still("humidity", 50.0, -60, 2 * DAY) + still("temperature", 20.0, 0, DAY - 90)
    assert settled(rows + still("temperature", 21.0, DAY - 60, 2 * DAY))


def test_what_both_share_may_begin_out_of_sight():
    # humidity has stood still for a day, the temperature was first heard an hour ago: it may have been silent
    humidity = still("humidity", 50.0, -60, 2 * DAY)
    assert not settled(humidity + still("temperature", 21.0, DAY - 60, 2 * DAY, step=5))
    # eight hours together are enough, whatever was before
    assert not settled(humidity + still("temperature", 21.0, DAY - 480, 2 * DAY))
    assert settled(humidity + still("temperature", 21.0, DAY - 510, 2 * DAY))
    # 15:30 to 22:00 together are not
    broken = still("temperature", 21.0, DAY - 510, DAY - 120) + still("temperature", 21.0, DAY + 30, 2 * DAY)
    assert not settled(humidity + broken)


def rests_on(rows: list[Row], *quantities: str) -> float:
    """Minutes after T0 from which on readings have a say in the second day."""
    return (window(rows, *quantities).rests_on(minutes(DAY)) - minutes(0)) / MINUTE


def test_a_living_sensor_has_a_say_for_two_holds():
    assert rests_on(steady(2 * DAY)) == DAY - 60


def test_a_run_rests_on_the_reading_before_it():
    rows = [(600, None, 49.0), *still("humidity", 50.0, 660, 2 * DAY)]
    assert rests_on(rows, "humidity") == 600


def test_a_run_that_ends_with_what_is_heard_over_midnight_is_one_of_them():
    rows = [(600, None, 49.0), *still("humidity", 50.0, 660, DAY - 30 + 20, step=10), (DAY, None, 51.0)]
    assert rests_on([*rows, (DAY + 60, None, 52.0)], "humidity") == 600


def test_a_run_that_is_a_day_long_rests_on_that_day():
    assert rests_on(still("humidity", 50.0, -60, 2 * DAY), "humidity") == -60


def test_what_can_not_be_told_from_here_rests_on_everything():
    assert window(still("humidity", 50.0, 600, 2 * DAY), "humidity").rests_on(minutes(DAY)) == 0


def test_a_sensor_that_has_fallen_silent_has_a_say_for_two_holds():
    assert rests_on(steady(DAY - 100)) == DAY - 60
