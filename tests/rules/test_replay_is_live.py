"""Live and replay are one: readings shuffled, split, late, with restarts anywhere, give the Assessment of one pass."""

import random

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rooms import PROFILE, Room, Row, Shelf, frame, minutes, steady

from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.rules.judge import judge
from monitor.rules.stays import Stay

PIECES = ("living", "still", "still humidity", "silent", "dry", "hot", "wet sensor", "half silent")


def piece(kind: str, start: int, length: int, step: int, seed: int) -> list[Row]:
    r = random.Random(seed)
    rows: list[Row] = []
    for m in range(start, start + length, step):
        t, h = round(21 + r.uniform(-0.3, 0.3), 1), round(50 + r.uniform(-2, 2), 1)
        row = {
            "living": (m, t, h),
            "still": (m, 21.0, 50.0),
            "still humidity": (m, t, 50.0),
            "dry": (m, t, round(34 + r.uniform(-3, 2), 1)),
            "hot": (m, round(29.4 + r.uniform(-1, 2), 1), h),
            "wet sensor": (m, t, round(103 + r.uniform(-5, 5), 1)),
            "half silent": (m, None, h),
        }.get(kind)
        if row is not None:
            rows.append(row)
    return rows


@st.composite
def rooms(draw):
    """Two sensors over a few days, each in pieces that like to lie across midnights."""
    found = {}
    for name in ("a", "b"):
        at, rows, step = 0, [], draw(st.sampled_from([20, 45, 60]))
        while at < 4 * 1440:
            length = draw(st.sampled_from([30, 100, 500, 700, 1500]))
            rows += piece(draw(st.sampled_from(PIECES)), at, length, step, draw(st.integers(0, 99)))
            at += length
        found[name] = rows
    return found


def everything(rooms_, as_of, memory=None, **more):
    room = Room()
    for name, rows in rooms_.items():
        room.hear(name, rows)
    return judge(frame("a", "b", **more), as_of, room, memory).to_json()


FRAMES = st.sampled_from(
    [
        {},
        {"delivered": 400},
        {"delivered": None},
        {"hold": 200},
        {"start": 3000, "finish": 4000},
        {"stays": [Stay("a", "hall", minutes(0), minutes(2500)), Stay("b", "hall", minutes(2000), None)]},
    ]
)


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(rooms(), FRAMES, st.randoms(use_true_random=False), st.integers(1, 12))
def test_shuffled_split_late_and_restarted_gives_the_assessment_of_one_pass(found, how, rng, parts):
    messages = [(name, row) for name, rows in found.items() for row in rows]
    for _ in range(len(messages) // 20):  # some come late, the rest in order
        a, b = rng.randrange(len(messages)), rng.randrange(len(messages))
        messages[a], messages[b] = messages[b], messages[a]
    messages.sort(key=lambda message: message[1][0] // 600)
    room, shelf = Room(), Shelf()
    fr = frame("a", "b", **how)
    size = len(messages) // parts + 1
    for k in range(0, len(messages), size):
        for name in ("a", "b"):
            shelf.touch(name, room.hear(name, [row for who, row in messages[k : k + size] if who == name]))
        newest = max((b[1] for b in (room.bounds(n, q) for n, q in room.kept) if b), default=minutes(0))
        for as_of in (newest + 1, newest + rng.randrange(1, 3 * HOUR), newest - rng.randrange(0, 2 * DAY)):
            if as_of > minutes(500):
                assert judge(fr, as_of, room, shelf).to_json() == judge(fr, as_of, room).to_json()
    end = minutes(4 * 1440 + 700)
    assert judge(fr, end, room, shelf).to_json() == everything(found, end, **how)


@settings(max_examples=20, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.integers(0, 99), st.integers(0, 90 * 24), st.integers(0, 90 * 24))
def test_a_late_day_in_a_long_record_gives_the_assessment_of_one_pass(seed, first, width):
    rows = piece("living", 0, 30 * 1440, 60, seed) + piece("dry", 30 * 1440, 1440, 60, seed)
    rows += piece("still", 31 * 1440, 3 * 1440, 60, seed) + piece("living", 34 * 1440, 60 * 1440, 60, seed)
    late = [row for row in rows if first <= row[0] // 60 < first + width % 100]
    room, shelf = Room(), Shelf()
    room.hear("a", [row for row in rows if row not in late])
    fr = frame("a", hold=180)
    end = rows[-1][0] + 600
    judge(fr, minutes(end), room, shelf)
    shelf.touch("a", room.hear("a", late))
    assert judge(fr, minutes(end), room, shelf).to_json() == judge(fr, minutes(end), room).to_json()


def test_after_a_late_reading_the_fold_rejoins_where_the_state_is_the_kept_one_again():
    # with boards on the wall it does not: what they were moved by stays with them for weeks
    room, shelf = Room(), Shelf()
    room.hear("a", [row for row in steady(20 * 1440) if row[0] != 5 * 1440 + 600])
    fr = frame("a")
    judge(fr, minutes(20 * 1440), room, shelf)
    before = dict(shelf.rows)
    shelf.touch("a", room.hear("a", [row for row in steady(20 * 1440) if row[0] == 5 * 1440 + 600]))
    judge(fr, minutes(20 * 1440), room, shelf)
    anew = [m for m in before if before[m] is not shelf.rows[m]]
    # the late day's, the one of which the room's trailing mean still sees it, and the last, which is always folded
    assert anew == [minutes(6 * 1440), minutes(7 * 1440), minutes(20 * 1440)]


def test_checkpoints_stand_at_each_midnight_of_31_days_and_before_that_every_13_weeks():
    # T0 is 5 January 2026, 20,458 days after 1970 began: 224 x 91 + 74, so the first multiple of 91 is 17 days later
    room, shelf = Room(), Shelf()
    room.hear("a", steady(250 * 1440, step=120))
    judge(frame("a", hold=180), minutes(250 * 1440), room, shelf)
    assert [(m - minutes(0)) // DAY for m in shelf.rows] == [17, 108, 199, *range(220, 251)]


def test_checkpoints_of_long_past_at_more_midnights_stand_and_after_a_late_day_are_made_anew_there():
    # they stand so where a job was judged each month, or by an earlier version
    room, shelf, end = Room(), Shelf(), minutes(200 * 1440)
    rows = steady(200 * 1440, step=120)
    late = [row for row in rows if 50 * 1440 <= row[0] < 51 * 1440]
    room.hear("a", [row for row in rows if row not in late])
    fr = frame("a", hold=180, start=2880, finish=4320)
    for day in range(30, 201, 30):
        judge(fr, minutes(day * 1440), room, shelf)
    judge(fr, end, room, shelf)
    before = dict(shelf.rows)
    assert list(before) == [minutes(day * 1440) for day in range(1, 201)]
    assert judge(fr, end, room, shelf).to_json() == judge(fr, end, room).to_json()
    assert {m for m in before if before[m] is not shelf.rows[m]} == {end}
    shelf.touch("a", room.hear("a", late))
    assert judge(fr, end, room, shelf).to_json() == judge(fr, end, room).to_json()
    anew = [m for m in before if before[m] is not shelf.rows[m]]
    assert anew == [minutes(day * 1440) for day in range(50, 201)]
    assert list(shelf.rows) == list(before)


def test_a_checkpoint_of_other_rules_or_another_frame_is_not_used():
    room, shelf = Room(), Shelf()
    room.hear("a", steady(4 * 1440))
    judge(frame("a"), minutes(4 * 1440), room, shelf)
    kept = dict(shelf.rows)
    later = judge(frame("a", delivered=1000), minutes(4 * 1440), room, shelf)
    assert later.begin == minutes(1000)
    assert later.to_json() == judge(frame("a", delivered=1000), minutes(4 * 1440), room).to_json()
    assert all(kept[m] is not shelf.rows[m] for m in kept)


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(rooms(), st.integers(0, 4 * 1440), st.integers(30, 600))
def test_unknown_time_turned_into_out_of_band_time_never_helps(found, start, length):
    """The out-of-band time is a second sensor's: a reading of the first would also end what stood still."""
    rows = [row for row in found["a"] if not start <= row[0] < start + length]
    wet = [(m, 21.0 + m % 3 / 10, 80.0 + m % 7 / 10) for m in range(start, start + length, 10)]
    quiet, loud = Room(), Room()
    quiet.hear("a", rows)
    loud.hear("a", rows)
    loud.hear("b", wet)
    end = minutes(4 * 1440 + 60)
    silent, out = judge(frame("a", "b"), end, quiet), judge(frame("a", "b"), end, loud)
    assert out.span.in_band <= silent.span.in_band
    assert out.lot.clock.counted <= silent.lot.clock.counted
    first, second = silent.lot.clock.completed_at, out.lot.clock.completed_at
    assert second is None or (first is not None and first <= second)


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(rooms())
def test_a_further_sensor_never_adds_in_band_time_to_a_room_that_a_live_one_already_covers(found):
    """Any sensor counts: another one can only find more that is out. (It may fill silence: here there is none.)"""
    covered = steady(4 * 1440 + 60)
    end = minutes(4 * 1440)
    alone, both = Room(), Room()
    alone.hear("a", covered)
    both.hear("a", covered)
    both.hear("b", found["b"])
    one = judge(frame("a"), end, alone)
    two = judge(frame("a", "b"), end, both)
    assert two.span.in_band <= one.span.in_band
    assert two.lot.clock.counted <= one.lot.clock.counted


def test_the_profile_of_these_tests_is_the_built_in_rule():
    assert (PROFILE.acclimation.settle, PROFILE.acclimation.reset_after_out) == (30 * MINUTE, 60 * MINUTE)
