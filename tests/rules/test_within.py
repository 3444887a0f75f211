"""A part of the judged span: what of it was in band, out or not known. Worked by hand, and held against the whole."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st
from rooms import MINUTE, assess, course, minutes

from monitor.rules.alarm.within import coverage_within, excursions_within
from monitor.rules.assessment import Coverage

ROOM = course(("in", 60), ("wet", 30), ("silent", 20), ("in", 40))
parts = st.lists(
    st.tuples(st.sampled_from(["in", "wet", "dry", "hot", "silent"]), st.integers(1, 20).map(lambda k: 10 * k)),
    min_size=1,
    max_size=8,
)


def covered(start: float, end: float, until: float = 150) -> tuple[float, ...]:
    """Elapsed, known and in-band minutes of [start, end) of ROOM."""
    found = coverage_within(assess(ROOM, until, hold=10), minutes(start), minutes(end))
    return found.elapsed / MINUTE, found.known / MINUTE, found.in_band / MINUTE


def test_a_part_has_what_lies_in_it():
    assert covered(50, 120) == (70, 50, 20)  # 10 in band, 30 wet, 20 silent, 10 in band


def test_a_part_is_cut_to_what_was_judged():
    assert covered(-100, 10) == (10, 10, 10)
    assert covered(140, 300) == (10, 10, 10)
    assert covered(150, 300) == covered(-100, 0) == (0, 0, 0)


def test_an_open_excursion_lasts_to_the_end():
    assert covered(0, 75, until=75) == (75, 75, 60)


def test_before_anything_is_known_nothing_has_passed():
    assert coverage_within(assess([], 60, delivered=None), minutes(0), minutes(60)) == Coverage()


def test_what_touches_a_part_is_in_it_as_a_whole():
    found = assess(ROOM, 150, hold=10)
    assert excursions_within(found, minutes(80), minutes(81)) == found.excursions
    assert excursions_within(found, minutes(90), minutes(150)) == ()


def test_an_open_excursion_is_in_every_later_part():
    found = assess(ROOM, 75, hold=10)
    assert excursions_within(found, minutes(500), minutes(600)) == found.excursions


@given(parts)
@settings(max_examples=40, deadline=None)
def test_the_whole_is_the_assessments_own_coverage_and_two_halves_make_the_whole(said):
    until = sum(length for _, length in said)
    found = assess(course(*said), until, hold=10)
    whole = coverage_within(found, minutes(0), minutes(until))
    assert whole == found.span
    halves = [coverage_within(found, minutes(a), minutes(b)) for a, b in ((0, until // 2), (until // 2, until))]
    assert [sum(getattr(one, name) for one in halves) for name in ("elapsed", "known", "in_band")] == [
        whole.elapsed,
        whole.known,
        whole.in_band,
    ]
