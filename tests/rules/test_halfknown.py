"""Out of band by one quantity while nothing is known of the other: out, but not known time."""

from hypothesis import given, settings
from hypothesis import strategies as st
from rooms import Room, Row, frame, minutes

from monitor.basis.times import MINUTE
from monitor.rules import replay
from monitor.rules.alarm.halfknown import half_known
from monitor.rules.assessment import Assessment
from monitor.rules.judge import judge

Found = tuple[Assessment, tuple[tuple[int, int], ...]]


def halves(rows: list[Row], until: float, window: tuple[float, float] | None = None, **more: object) -> Found:
    """The Assessment of one sensor "a" at `until`, and what it left half known in the window [min]."""
    room = Room()
    room.hear("a", rows)
    fr = frame("a", **more)  # type: ignore[arg-type]
    found = judge(fr, minutes(until), room)
    cut = (0.0, until) if window is None else window
    span = (minutes(cut[0]), minutes(cut[1]))
    heard = replay.heard(fr, minutes(until), room, *span)
    return found, half_known(fr, heard, found.days, found.gaps, span)


def test_damp_air_of_a_sensor_that_no_longer_says_how_warm_it_is_is_out_but_not_known():
    found, half = halves([(0, 21.0, 70.0), (20, None, 71.0), (40, None, 70.0)], 60)
    assert half == ((minutes(30), minutes(60)),)
    assert found.span.known == 30 * MINUTE


def test_a_record_that_is_known_wherever_it_is_out_has_none():
    found, half = halves([(0, 21.0, 70.0), (20, 21.1, 50.0)], 200)
    assert half == ()
    assert found.span.known == 50 * MINUTE


def test_it_is_cut_to_the_window_and_follows_the_limits_of_the_finished_wall():
    rows: list[Row] = [(0, 21.0, 70.0), (20, None, 71.0), (40, None, 70.0)]
    assert halves(rows, 60, (35, 50))[1] == ((minutes(35), minutes(50)),)
    assert halves(rows, 60, start=10, finish=45)[1] == ((minutes(30), minutes(60)),)


row = st.tuples(st.sampled_from([None, 21.0, 35.0]), st.sampled_from([None, 50.0, 70.0]))


@settings(deadline=None)
@given(st.lists(row, min_size=2, max_size=30), st.integers(10, 300))
def test_what_the_gaps_and_the_halves_leave_is_the_known_time(said, step):
    rows = [(k * step, t, rh) for k, (t, rh) in enumerate(said)]
    found, half = halves(rows, len(said) * step)
    gaps = sum(gap.end - gap.start for gap in found.gaps)
    assert found.span.elapsed - gaps - sum(end - start for start, end in half) == found.span.known
