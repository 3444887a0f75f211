import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.climate.lag import Modes, State, bar, follow, follow_each, level, modes, settled

MINUTE, HOUR, DAY = 60_000, 3_600_000, 86_400_000
MIDNIGHT = 1_767_225_600_000  # 2026-01-01T00:00Z
STACK = modes(0.15, 1.2e-7, 9.6, at=0.0)
SLOW = modes(1.5, 1.2e-7, 60.0)  # remembers months: a digit lost on the way is still there at the end
LAG = Modes((1.0 / 3600.0,), (1.0,))
FAST = modes(0.001, 1.2e-7, 0.05)  # milliseconds to minutes: decays that vanish between two readings


def times(*values):
    return np.array(values, np.int64)


def floats(*values):
    return np.array(values, float)


def plain(body, state, t, value, until):
    """The definition, one reading at a time: each mode goes its own way towards the room at its rate."""
    stood = [state.held + lag for lag in state.lag]
    room, now = state.held, state.at_ms
    for at, after in [*((at, v) for at, v in zip(t, value, strict=True) if at < until), (until, None)]:
        shrink = [np.exp(-rate * (at - now) / 1000.0) for rate in body.rate]
        stood = [room + (s - room) * f for s, f in zip(stood, shrink, strict=True)]
        room, now = (room if after is None else after), at
    return body.share * room + sum(w * (s - room) for w, s in zip(body.weight, stood, strict=True))


@st.composite
def histories(draw, days=3, most=120):
    """A room: irregular readings over some days, some on midnights, some days with none."""
    start = MIDNIGHT + draw(st.integers(0, DAY))
    end = start + draw(st.integers(1, days * DAY))
    inside = st.integers(start, end - 1)
    on_the_hour = inside.map(lambda at: max(start, at - at % HOUR))
    at_midnight = inside.map(lambda at: max(start, at - at % DAY))
    t = sorted(draw(st.sets(st.one_of(inside, on_the_hour, at_midnight), max_size=most)))
    value = draw(st.lists(st.floats(-40, 100), min_size=len(t), max_size=len(t)))
    held = draw(st.floats(-40, 100))
    return np.array(t, np.int64), np.array(value, float), settled(STACK, start, held), end


# the answer


def test_after_one_step_a_lag_is_where_its_formula_says():
    # One lag of 1 h: 20 + 10 (1 - exp(-2)) after two hours at 30.
    body = Modes((1.0 / 3600.0,), (1.0,))
    answer, state = follow(body, settled(body, MIDNIGHT, 20.0), times(MIDNIGHT), floats(30.0), MIDNIGHT + 2 * HOUR)
    assert answer == pytest.approx(20.0 + 10.0 * (1.0 - np.exp(-2.0)), abs=1e-12)
    assert state == State(MIDNIGHT + 2 * HOUR, 30.0, (pytest.approx(-10.0 * np.exp(-2.0), abs=1e-12),))


def test_a_pulse_by_hand():
    # One lag of 1 h: an hour at 30, then 20 again: 10 (1 - 1/e) left to die out, over e after another hour.
    body = Modes((1.0 / 3600.0,), (1.0,))
    t, v = times(MIDNIGHT, MIDNIGHT + HOUR), floats(30.0, 20.0)
    answer, _ = follow(body, settled(body, MIDNIGHT, 20.0), t, v, times(MIDNIGHT + HOUR, MIDNIGHT + 2 * HOUR))
    peak = 10.0 * (1.0 - np.exp(-1.0))
    assert answer == pytest.approx([20.0 + peak, 20.0 + peak * np.exp(-1.0)], abs=1e-12)


@given(history=histories())
def test_any_history_gives_what_the_definition_gives(history):
    t, value, state, end = history
    asked = np.sort(np.append(t, [state.at_ms, (state.at_ms + end) // 2, end]))
    answers, _ = follow(STACK, state, t, value, asked)
    for at, answer in zip(asked[:: max(1, len(asked) // 12)], answers[:: max(1, len(asked) // 12)], strict=True):
        assert answer == pytest.approx(plain(STACK, state, t, value, at), abs=1e-9)


@pytest.mark.parametrize("count", [1, 30, 31, 32, 33, 63, 64, 65, 1000, 5000])
def test_days_of_any_fullness_give_what_the_definition_gives(count):
    # Around the length of a row (32) and its multiples; readings all in one day and the next day empty.
    rng = np.random.default_rng(count)
    t = np.sort(rng.choice(DAY, count, replace=False)) + MIDNIGHT
    value, state, end = rng.normal(20.0, 5.0, count), settled(STACK, MIDNIGHT, 15.0), MIDNIGHT + 2 * DAY
    asked = np.sort(np.append(t[:: max(1, count // 20)] + 1, [MIDNIGHT + DAY, end]))
    answers, _ = follow(STACK, state, t, value, asked)
    expected = [plain(STACK, state, t, value, at) for at in asked]
    assert answers == pytest.approx(expected, abs=1e-9)


def test_a_body_faster_than_its_readings_follows_without_overflow():
    rng = np.random.default_rng(7)
    t = MIDNIGHT + np.arange(3000, dtype=np.int64) * 40_000
    value = rng.normal(20.0, 5.0, 3000)
    answer, state = follow(FAST, settled(FAST, MIDNIGHT, 0.0), t, value, int(t[-1]) + 600 * MINUTE)
    assert answer == pytest.approx(value[-1], abs=1e-9)
    assert np.isfinite(state.lag).all()


def test_with_no_readings_the_body_goes_on_towards_what_the_room_was():
    body = Modes((1.0 / 3600.0,), (1.0,))
    state = State(MIDNIGHT, 20.0, (-8.0,))
    answer, later = follow(body, state, times(), floats(), MIDNIGHT + HOUR)
    assert answer == pytest.approx(20.0 - 8.0 * np.exp(-1.0), abs=1e-12)
    assert later.held == 20.0


def test_asked_at_once_nothing_has_happened():
    state = State(MIDNIGHT + 5, 20.0, (-8.0,) * 6)
    answer, same = follow(STACK, state, times(), floats(), MIDNIGHT + 5)
    assert answer == level(STACK, state)
    assert same == state


def test_a_reading_changes_the_body_only_after_it():
    # The body is continuous: at the instant of a step it is where it was.
    state = settled(STACK, MIDNIGHT, 20.0)
    answer, _ = follow(STACK, state, times(MIDNIGHT + HOUR), floats(90.0), times(MIDNIGHT + HOUR, MIDNIGHT + 9 * HOUR))
    assert answer[0] == pytest.approx(20.0, abs=1e-12)
    assert answer[1] > 20.0


def test_a_body_that_arrives_cold_starts_from_its_own_temperature():
    state = settled(STACK, MIDNIGHT, -5.0)
    answer, _ = follow(STACK, state, times(MIDNIGHT), floats(20.0), times(MIDNIGHT, MIDNIGHT + 60 * DAY))
    assert answer == pytest.approx([-5.0, 20.0], abs=1e-6)


def test_a_body_held_back_by_a_floor_takes_its_share():
    room = modes(0.3, 1.2e-7, 15.0, at=0.5, biot_behind=50.0)
    floor = modes(0.3, 1.2e-7, 15.0, at=0.5, biot_behind=50.0, drive="behind")
    until = MIDNIGHT + 90 * DAY
    warm, _ = follow(room, settled(room, MIDNIGHT, 0.0), times(MIDNIGHT), floats(21.0), until)
    cold, _ = follow(floor, settled(floor, MIDNIGHT, 0.0), times(MIDNIGHT), floats(5.0), until)
    assert warm + cold == pytest.approx(21.0 * room.share + 5.0 * floor.share, abs=1e-9)


# properties


@given(value=st.floats(-40, 100), history=histories(most=40))
def test_a_constant_room_is_a_fixed_point_to_the_last_digit(value, history):
    t, other, state, end = history
    answer, after = follow(STACK, settled(STACK, state.at_ms, value), t, np.full_like(other, value), np.append(t, end))
    assert (answer == value).all()
    assert after == settled(STACK, end, value)


@given(history=histories(most=40), scale=st.floats(-3, 3), seed=st.integers(0, 1000))
def test_two_histories_laid_over_each_other_add_up(history, scale, seed):
    t, first, state, end = history
    second = np.random.default_rng(seed).normal(10.0, 10.0, len(t))
    other = settled(STACK, state.at_ms, 7.0)
    both = settled(STACK, state.at_ms, state.held + scale * 7.0)
    a, _ = follow(STACK, state, t, first, end)
    b, _ = follow(STACK, other, t, second, end)
    together, _ = follow(STACK, both, t, first + scale * second, end)
    assert together == pytest.approx(a + scale * b, abs=1e-9)


@given(history=histories(), cut=st.floats(0, 1))
def test_splitting_anywhere_changes_nothing_beyond_1e_9(history, cut):
    t, value, state, end = history
    at = state.at_ms + round(cut * (end - state.at_ms))
    whole, _ = follow(STACK, state, t, value, end)
    _, middle = follow(STACK, state, t[t < at], value[t < at], at)
    split, _ = follow(STACK, middle, t[t >= at], value[t >= at], end)
    assert split == pytest.approx(whole, abs=1e-9)


@settings(deadline=None)
@given(history=histories(days=6, most=300), which=st.sets(st.integers(1, 6)), body=st.sampled_from(["stack", "bar"]))
def test_splitting_at_midnights_changes_nothing_at_all(history, which, body):
    lagging = STACK if body == "stack" else bar(modes(0.15, 1.2e-7, 9.6), modes(0.1, 1.2e-7, 6.4), count=11)
    t, value, state, end = history
    state = settled(lagging, state.at_ms, state.held)
    first_midnight = state.at_ms - state.at_ms % DAY
    midnights = np.arange(first_midnight + DAY, end, DAY)
    asked = np.unique(np.concatenate((t, np.arange(state.at_ms, end, 7 * HOUR), midnights, [end])))
    whole, whole_end = follow(lagging, state, t, value, asked)
    cuts = [at for at in (first_midnight + day * DAY for day in sorted(which)) if state.at_ms < at < end]
    parts, begin = [], state.at_ms - 1
    for at in [*cuts, end]:
        mine, told = (t >= state.at_ms) & (t < at), (asked > begin) & (asked <= at)
        answers, state = follow(lagging, state, t[mine], value[mine], np.append(asked[told], at))
        parts.extend(answers[:-1].tolist())
        begin = at
    assert parts == whole.tolist()
    assert state == whole_end


def in_one_go_and_by_days(body, t, value, begin, end):
    midnights = np.arange(begin - begin % DAY + DAY, end, DAY)
    asked = np.append(midnights, end)
    in_one_go = follow(body, settled(body, begin, 20.0), t, value, asked)
    state, answers = settled(body, begin, 20.0), []
    for until in asked.tolist():
        mine = slice(*np.searchsorted(t, [state.at_ms, until]))
        answer, state = follow(body, state, t[mine], value[mine], until)
        assert answer == level(body, state), "where the state stands is what was answered, to the last digit"
        answers.append(answer)
    return (in_one_go[0].tolist(), in_one_go[1]), (answers, state)


@pytest.mark.parametrize("begin", [MIDNIGHT, MIDNIGHT + 7 * HOUR + 13])
@pytest.mark.parametrize("body", [STACK, SLOW])
def test_full_days_with_readings_on_midnight_are_the_same_to_the_last_digit_by_days(begin, body):
    t = MIDNIGHT + np.arange(5 * 288, dtype=np.int64) * 5 * MINUTE
    end = MIDNIGHT + 5 * DAY - 1
    t = t[(t >= begin) & (t < end)]
    value = np.random.default_rng(5).normal(20.0, 4.0, len(t))
    in_one_go, by_days = in_one_go_and_by_days(body, t, value, begin, end)
    assert in_one_go == by_days


@pytest.mark.parametrize("body", [STACK, SLOW])
def test_a_hundred_days_of_minutes_are_the_same_to_the_last_digit_by_days(body):
    # More than is held at once, with jitter and a silent week, so that days stand beside days of another fullness.
    rng = np.random.default_rng(3)
    t = MIDNIGHT + np.arange(100 * 1440, dtype=np.int64) * MINUTE + rng.integers(0, 5000, 100 * 1440)
    t = t[(t < MIDNIGHT + 40 * DAY) | (t > MIDNIGHT + 47 * DAY)]
    value = 20.0 + np.cumsum(rng.normal(0.0, 0.2, len(t)))
    in_one_go, by_days = in_one_go_and_by_days(body, t, value, MIDNIGHT, MIDNIGHT + 100 * DAY)
    assert in_one_go == by_days


def test_what_is_asked_for_does_not_change_the_state():
    t, value = MIDNIGHT + np.arange(500, dtype=np.int64) * 11 * MINUTE, np.sin(np.arange(500.0))
    end = MIDNIGHT + 5 * DAY
    _, few = follow(STACK, settled(STACK, MIDNIGHT, 0.0), t, value, end)
    _, many = follow(STACK, settled(STACK, MIDNIGHT, 0.0), t, value, np.arange(MIDNIGHT, end + 1, MINUTE))
    assert few == many


@pytest.mark.parametrize("step", [HOUR, 5 * MINUTE])
def test_bodies_side_by_side_are_to_the_last_bit_what_each_is_alone(step):
    bodies = [STACK, SLOW, FAST, STACK]
    t = MIDNIGHT + HOUR + np.arange(9 * DAY // step, dtype=np.int64) * step + 77
    values = [np.random.default_rng(seed).normal(20.0, 4.0, len(t)) for seed in range(4)]
    states = [settled(body, MIDNIGHT + 5, 10.0 + k) for k, body in enumerate(bodies)]
    ends = MIDNIGHT + np.arange(1, 11) * DAY
    for asked in (ends, np.sort(np.concatenate((t, t + 1, ends))), np.append(MIDNIGHT + 5, ends)):
        answers, after = follow_each(bodies, states, t, values, asked)
        for k, body in enumerate(bodies):
            alone, state = follow(body, states[k], t, values[k], asked)
            assert answers[k].tobytes() == alone.tobytes()
            assert after[k] == state


@given(history=histories(most=40))
def test_a_mean_stays_between_the_lowest_and_the_highest_the_room_has_been(history):
    t, value, state, end = history
    body = modes(0.15, 1.2e-7, 9.6)
    answer, _ = follow(body, settled(body, state.at_ms, state.held), t, value, end)
    seen = np.append(value, state.held)
    assert seen.min() - 1e-9 <= answer <= seen.max() + 1e-9


def test_from_a_value_that_is_unknown_on_the_body_is_unknown():
    t, value = MIDNIGHT + np.arange(100, dtype=np.int64) * HOUR, np.full(100, 20.0)
    value[60] = np.nan
    answer, state = follow(STACK, settled(STACK, MIDNIGHT, 10.0), t, value, np.append(t + 1, MIDNIGHT + 9 * DAY))
    assert np.isfinite(answer[:60]).all()
    assert np.isnan(answer[60:]).all()
    assert np.isnan(state.lag).all()


# errors


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda s: follow(STACK, s, times(MIDNIGHT), floats(), MIDNIGHT + 1),
            "t_ms of shape (1,) and value of shape (0,) are not two equal rows",
        ),
        (
            lambda s: follow(STACK, s, times(MIDNIGHT - 1), floats(1.0), MIDNIGHT + 1),
            f"t_ms must rise, from the state's {MIDNIGHT} to before the last of until_ms {MIDNIGHT + 1}",
        ),
        (
            lambda s: follow(STACK, s, times(MIDNIGHT + 1), floats(1.0), MIDNIGHT + 1),
            f"t_ms must rise, from the state's {MIDNIGHT} to before the last of until_ms {MIDNIGHT + 1}",
        ),
        (
            lambda s: follow(STACK, s, times(MIDNIGHT, MIDNIGHT), floats(1.0, 2.0), MIDNIGHT + 1),
            f"t_ms must rise, from the state's {MIDNIGHT} to before the last of until_ms {MIDNIGHT + 1}",
        ),
        (
            lambda s: follow(STACK, s, times(), floats(), MIDNIGHT - 1),
            f"until_ms must not fall, nor begin before the state's {MIDNIGHT}",
        ),
        (
            lambda s: follow(STACK, s, times(), floats(), times(MIDNIGHT + 2, MIDNIGHT + 1)),
            f"until_ms must not fall, nor begin before the state's {MIDNIGHT}",
        ),
        (
            lambda s: follow(STACK, s, times(), floats(), times()),
            f"until_ms must not fall, nor begin before the state's {MIDNIGHT}",
        ),
        (
            lambda s: follow(STACK, s._replace(lag=(0.0,)), times(), floats(), MIDNIGHT + 1),
            "a state of 1 modes is not one of this body of 6",
        ),
        (
            lambda s: follow_each(
                [STACK, LAG], [s, settled(LAG, MIDNIGHT, 0.0)], times(), [floats()] * 2, times(MIDNIGHT)
            ),
            "a body of 1 modes is not of the 6 of the first",
        ),
        (
            lambda s: follow_each([STACK] * 2, [s, s._replace(at_ms=5)], times(), [floats()] * 2, times(MIDNIGHT)),
            f"a state at 5 does not stand where the first does, at {MIDNIGHT}",
        ),
    ],
)
def test_times_out_of_order_are_refused(call, message):
    with pytest.raises(ValueError, match=f"^{re.escape(message)}$"):
        call(settled(STACK, MIDNIGHT, 20.0))
