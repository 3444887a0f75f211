"""Flatness, plumb and level: hand-worked walls, a brute force over all points, and every sentence."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from monitor.basis.errors import QuantityError
from monitor.basis.units import FOOT, INCH
from monitor.config.profile import load_profile
from monitor.rules.install.flatness import (
    DIRECTIONS,
    Drop,
    FlatnessRule,
    LevelRule,
    Line,
    PlumbRule,
    judge_flatness,
    judge_level,
    judge_line,
    judge_plumb,
    largest_step,
    off_lines,
    workings,
)

RULE = FlatnessRule()
MM = 0.001


def line(inches, direction="along", *, every=FOOT, extent=None, straightedge=None, name=""):
    """Deviations in inches, `every` so many metres from the line's start."""
    points = tuple((k * every, inch * INCH) for k, inch in enumerate(inches))
    return Line(direction, (len(inches) - 1) * every if extent is None else extent, points, straightedge, name)


def judged(inches, uncertainty=0.0, units="us", **more):
    return judge_line(line(inches, **more), RULE, uncertainty=uncertainty, units=units)


def sixteenths(worst):
    return round(worst.amount / INCH * 16, 6)


FLAT = [0.0] * 11
BOW = [4 * k / 10 * (1 - k / 10) for k in range(11)]  # a parabola over 10 ft, 1 in the middle


# --- hand-worked walls ------------------------------------------------------------------------------------------------


def test_a_flat_wall_passes():
    found = judged(FLAT)
    assert found.verdict == "pass"
    assert found.evidence == (
        "no hump (at most 3/16 in over the whole 10 ft); no hollow (at most 3/16 in over the whole 10 ft); "
        "no step (at most 1/16 in over 1 ft); points 1 ft apart or less"
    )
    assert found.spots == ()


def test_a_bow_of_exactly_the_limit_passes():
    # its ends are the pair, its middle stands 3/16 in off; each foot differs from the next by 8 h / 100 = 1/64 in
    found = judged([3 / 16 * part for part in BOW])
    assert (found.verdict, sixteenths(found.hump), sixteenths(found.hollow)) == ("pass", 3.0, 0.0)
    assert found.hump == (pytest.approx(3 / 16 * INCH), 5 * FOOT, 0.0, 10 * FOOT)
    assert found.evidence.startswith(
        "hump of 3/16 in at 5 ft, between 0 in and 10 ft (at most 3/16 in over the whole 10 ft); no hollow"
    )


def test_a_bow_beyond_the_limit_fails_and_says_where_to_sand():
    # 1/4 in: the points from 3 to 7 ft stand off by 0.25 x 0.84 = 0.21 in or more, those at 2 and 8 ft by 0.16
    found = judged([part / 4 for part in BOW])
    assert found.verdict == "fail"
    assert found.evidence == "hump of 1/4 in at 5 ft, between 0 in and 10 ft: more than 3/16 in over the whole 10 ft"
    (spot,) = found.spots
    assert (spot.work, spot.start, spot.end) == ("sand", pytest.approx(3 * FOOT), pytest.approx(7 * FOOT))
    assert spot.beyond == pytest.approx(INCH / 16)


def test_a_bow_inward_fails_and_is_filled():
    found = judged([-part / 4 for part in BOW])
    assert found.evidence == "hollow of 1/4 in at 5 ft, between 0 in and 10 ft: more than 3/16 in over the whole 10 ft"
    assert sixteenths(found.hollow) == -4.0
    assert [spot.work for spot in found.spots] == ["fill"]


def test_a_fold_outward_is_a_hump_at_the_fold():
    # 0.06 in a foot down on either side of 5 ft: 0.3 in over 5 ft. It is no step: the slope goes on behind it
    found = judged([-0.06 * abs(k - 5) for k in range(11)])
    assert found.hump == (pytest.approx(0.3 * INCH), 5 * FOOT, 0.0, 10 * FOOT)
    assert max(abs(found.hollow.amount), abs(found.step.amount)) < 1e-9
    assert found.verdict == "fail"


def test_a_fold_inward_is_a_hollow_at_the_fold():
    # straight for 4 ft, then 0.1 in a foot towards the room for 6 ft: the line from 0 to 10 ft is at 0.6 x 4/10 there
    found = judged([max(0.0, 0.1 * (k - 4)) for k in range(11)])
    assert found.hollow == (pytest.approx(-0.24 * INCH), 4 * FOOT, 0.0, 10 * FOOT)
    assert found.hump.amount < 1e-9
    assert (
        found.evidence == "hollow of 15/64 in at 4 ft, between 0 in and 10 ft: more than 3/16 in over the whole 10 ft"
    )


def test_a_narrow_ridge_is_a_hump_and_a_step_and_its_sides_hang_hollow():
    # 1/4 in at 5 ft: from the ridge to 10 ft, the line at 6 ft is at 1/4 x 4/5 = 0.2 in and the wall is not
    found = judged([0, 0, 0, 0, 0, 0.25, 0, 0, 0, 0, 0])
    assert sixteenths(found.hump) == 4.0
    assert found.hollow.amount == pytest.approx(-0.2 * INCH)
    assert sixteenths(found.step) in (4.0, -4.0)
    assert [(s.work, round(s.start / FOOT, 6), round(s.end / FOOT, 6)) for s in found.spots] == [
        ("sand", 5, 5),
        ("fill", 4, 4),
        ("fill", 6, 6),
    ]
    assert [spot.beyond / INCH for spot in found.spots] == pytest.approx([1 / 16, 0.0125, 0.0125])


def test_a_narrow_dip_is_a_hollow():
    found = judged([0, 0, 0, -0.25, 0, 0, 0, 0, 0, 0, 0])
    assert found.hollow.amount == pytest.approx(-0.25 * INCH)
    assert found.hollow.at == 3 * FOOT
    assert found.spots[0].work == "fill"


def test_a_step_of_an_eighth_fails_though_it_is_no_hump():
    # of 1/8 in between 4 and 5 ft: the point at 5 ft stands 1/8 - 1/8 x 5/6 off the line from 0 to 6 ft and so on; the
    # most is at 5 ft between 4 ft, 0 and 10 ft, 1/8: 1/8 x 5/6 = 0.104 in
    found = judged([0, 0, 0, 0, 0, *[0.125] * 6])
    assert found.hump.amount == pytest.approx(0.125 * 5 / 6 * INCH)
    assert found.step == (pytest.approx(INCH / 8), 5 * FOOT, 4 * FOOT, 5 * FOOT)
    assert (found.verdict, found.evidence) == (
        "fail",
        "step of 1/8 in between 4 ft and 5 ft: more than 1/16 in over 1 ft",
    )


def test_a_step_of_exactly_the_limit_passes():
    found = judged([*[0] * 5, *[1 / 16] * 6])
    assert (found.verdict, sixteenths(found.step)) == ("pass", 1.0)
    assert "step of 1/16 in between 4 ft and 5 ft (at most 1/16 in over 1 ft)" in found.evidence


def test_a_step_down_is_as_much_a_step():
    found = judged([*[0.125] * 5, *[0] * 6])
    assert sixteenths(found.step) == -2.0
    assert found.evidence == "step of 1/8 in between 4 ft and 5 ft: more than 1/16 in over 1 ft"


def test_a_step_that_is_spread_over_a_few_inches_is_still_one():
    # every 2 in; 1/8 in rises over 6 in, so no two neighbours differ by more than 1/24 in
    rise = [0.0] * 24 + [1 / 24, 2 / 24] + [0.125] * 24
    assert sixteenths(judged(rise, every=2 * INCH).step) == pytest.approx(2.0)


def test_a_step_on_a_leaning_wall_is_the_step_alone():
    found = judged([0.09 * k + (0.125 if k > 4 else 0) for k in range(11)])
    assert sixteenths(found.step) == 2.0


def test_a_step_at_the_very_end_is_seen_by_the_slope_on_its_one_side():
    assert sixteenths(judged([0.125, *[0] * 10]).step) == -2.0


def test_a_short_wall_is_judged_whole_at_the_same_limit():
    # 5 ft wide: a bow of 0.15 in would be more than half of 3/16, and passes; 0.2 fails
    half_bow = [4 * k / 5 * (1 - k / 5) for k in range(6)]  # 0.96 at 2 and 3 ft
    assert judged([0.15 / 0.96 * part for part in half_bow]).verdict == "pass"
    found = judged([0.2 / 0.96 * part for part in half_bow])
    assert found.evidence.startswith(
        "hump of 13/64 in at 2 ft, between 0 in and 5 ft: more than 3/16 in over the whole 5 ft"
    )


def test_points_more_than_10_feet_apart_are_not_held_against_each_other():
    # a bow over 20 ft of 0.6 in: over any 10 ft only a quarter, 0.15 in
    long = [0.6 * 4 * k / 20 * (1 - k / 20) for k in range(21)]
    found = judged(long)
    assert found.hump.amount == pytest.approx(0.15 * INCH)
    assert found.verdict == "pass"
    assert "(at most 3/16 in over 10 ft)" in found.evidence


def test_a_leaning_wall_is_flat():
    found = judged([0.5 * k for k in range(11)])
    assert found.verdict == "pass"
    assert max(found.hump.amount, -found.hollow.amount, abs(found.step.amount)) < 1e-9


def test_the_sentences_are_metric_for_a_metric_job():
    found = judged([part / 4 for part in BOW], units="si")
    assert (
        found.evidence
        == "hump of 6.3 mm at 1.524 m, between 0.0 mm and 3.048 m: more than 4.8 mm over the whole 3.048 m"
    )


# --- points -----------------------------------------------------------------------------------------------------------


def test_points_exactly_12_inches_apart_are_near_enough_and_any_wider_are_not():
    assert judged([0.0] * 9, extent=9 * FOOT).verdict == "pass"
    found = judged([0.0] * 9, extent=9 * FOOT + INCH / 4)
    assert (found.verdict, found.evidence) == (
        "unknown",
        "nothing is measured between 8 ft and 9 ft 1/4 in: points may be 1 ft apart, a narrow ridge hides between "
        "wider ones",
    )


def test_the_start_of_the_line_counts_too():
    points = tuple((1.5 * FOOT + k * FOOT, 0.0) for k in range(8))
    found = judge_line(Line("across", 8.5 * FOOT, points), RULE, uncertainty=0.0)
    assert found.evidence.startswith("nothing is measured between 0 in and 1 ft 6 in")


def test_a_hump_between_points_too_far_apart_is_proven_all_the_same():
    found = judged([0, 0, 0.25, 0, 0], every=2 * FOOT)
    assert found.verdict == "fail"
    assert found.evidence.startswith("hump of 1/4 in at 4 ft")


def test_two_points_tell_nothing():
    found = judged([0.0, 0.0], every=10 * INCH)
    assert (found.verdict, found.hump, found.hollow, found.step) == ("unknown", None, None, None)
    assert found.evidence == (
        "no three points to tell a hump; no three points to tell a hollow; "
        "no points near enough to tell a step over 1 ft"
    )


@pytest.mark.parametrize(("apart", "least", "mean", "verdict"), [(24, 0.0, 0.5, "unknown"), (12, 0.5, 0.75, "pass")])
def test_a_ridge_24_inches_wide_shows_half_its_height_at_24_inches_and_sometimes_none(apart, least, mean, verdict):
    # A triangle of 1/8 in over 24 in, points 24 in apart: one point is on it, anywhere, so 1/2 of it is seen on average
    # and nothing at worst. At 12 in two are, the better one at 1/2 or more, 3/4 on average. No step is judged here
    rule, found = FlatnessRule(step=1.0), []
    for k in range(96):
        x = np.arange(k / 96 * apart, 240.01, apart)
        y = np.maximum(0.0, 1 - abs(x - 120) / 12)
        points = tuple(zip((x * INCH).tolist(), (y * INCH / 8).tolist(), strict=True))
        judgement = judge_line(Line("along", 240.01 * INCH, points), rule, uncertainty=0.0)
        found.append(judgement.hump.amount / (INCH / 8))
        assert judgement.verdict == verdict
    assert min(found) == pytest.approx(least, abs=0.02)
    assert np.mean(found) == pytest.approx(mean, abs=0.01)


def test_a_ridge_that_hides_between_points_24_inches_apart_is_unknown_and_not_a_pass():
    found = judged([0.0] * 11, every=2 * FOOT)
    assert found.hump.amount == 0.0
    assert found.verdict == "unknown"


# --- brute force ------------------------------------------------------------------------------------------------------


def every_offset(points, span):
    """Signed distances of all points from the lines through all pairs around them, one by one."""
    found = []
    for (xa, ya), (xk, yk), (xb, yb) in combinations(sorted(points), 3):
        if xb - xa <= span:
            found.append(yk - (ya + (yb - ya) / (xb - xa) * (xk - xa)))
    return found


def every_step(points, over):
    """The rise of all pairs within `over` beyond the nearer of what the slopes on both sides would give, one by one."""
    points, found = sorted(points), []
    for (xa, ya), (xb, yb) in combinations(points, 2):
        if xb - xa > over:
            continue
        before = min((p for p in points if xa - over <= p[0] <= xa), key=lambda p: p[0])
        behind = max((p for p in points if xb <= p[0] <= xb + over), key=lambda p: p[0])
        rises = []
        if xa - before[0] >= xb - xa - 1e-9:
            rises.append((ya - before[1]) / (xa - before[0]) * (xb - xa))
        if behind[0] - xb >= xb - xa - 1e-9:
            rises.append((behind[1] - yb) / (behind[0] - xb) * (xb - xa))
        if rises:
            within = min(max(yb - ya, min(rises)), max(rises))
            found.append(abs(yb - ya - within))
    return found


walls = st.lists(
    st.tuples(st.integers(0, 400), st.floats(-0.02, 0.02)), min_size=3, max_size=24, unique_by=lambda p: p[0]
)


@settings(max_examples=100)
@given(wall=walls)
@example(wall=[(2, 0.0), (6, 0.015625), (25, 0.0), (44, 0.015625)])
def test_hump_hollow_and_step_are_those_of_a_brute_force_over_all_pairs(wall):
    # positions in steps of 13 mm, so that no pair is a rounding error from 10 ft or 12 in
    points = [(k * 0.013, y) for k, y in wall]
    found = judge_line(Line("along", 6.0, tuple(points)), RULE, uncertainty=0.0)
    offsets, steps = every_offset(points, RULE.span), every_step(points, RULE.step_over)
    assert (found.hump is None) == (not offsets)
    if offsets:
        assert found.hump.amount == pytest.approx(max(0.0, *offsets, 0.0), abs=1e-12)
        assert found.hollow.amount == pytest.approx(min(0.0, *offsets, 0.0), abs=1e-12)
    assert (found.step is None) == (not steps)
    if steps:
        assert abs(found.step.amount) == pytest.approx(max(steps), abs=1e-9)


@settings(max_examples=60)
@given(wall=walls, slope=st.floats(-0.05, 0.05), offset=st.floats(-1, 1))
def test_a_lean_and_the_place_of_the_string_change_nothing(wall, slope, offset):
    points = tuple((k * 0.013, y) for k, y in wall)
    moved = tuple((x, y + slope * x + offset) for x, y in points)
    plain, leaning = (judge_line(Line("along", 6.0, p), RULE, uncertainty=0.0) for p in (points, moved))
    for one, other in ((plain.hump, leaning.hump), (plain.hollow, leaning.hollow)):
        assert (one is None) == (other is None)
        if one is not None:
            assert other.amount == pytest.approx(one.amount, abs=1e-9)


@given(wall=walls)
def test_a_wall_turned_inside_out_has_its_hump_where_its_hollow_was(wall):
    points = tuple((k * 0.013, y) for k, y in wall)
    plain, turned = (
        judge_line(Line("along", 6.0, p), RULE, uncertainty=0.0) for p in (points, tuple((x, -y) for x, y in points))
    )
    if plain.hump is not None:
        assert turned.hollow.amount == pytest.approx(-plain.hump.amount, abs=1e-12)


def test_the_points_may_be_given_in_any_order():
    mixed = Line("along", 10 * FOOT, tuple(reversed(line([part / 4 for part in BOW]).points)))
    assert judge_line(mixed, RULE, uncertainty=0.0).hump == judged([part / 4 for part in BOW]).hump


def test_two_hundred_points_agree_with_the_brute_force():
    random = np.random.default_rng(6)
    x, y = np.sort(random.uniform(0, 12, 200)), random.normal(0, 2 * MM, 200)
    highest, lowest = off_lines(x, y, RULE.span)
    by_hand = every_offset(list(zip(x.tolist(), y.tolist(), strict=True)), RULE.span)
    assert np.nanmax(highest[0]) == pytest.approx(max(by_hand), abs=1e-12)
    assert np.nanmin(lowest[0]) == pytest.approx(min(by_hand), abs=1e-12)


def test_a_line_of_one_point_has_no_offsets_and_no_step():
    highest, _ = off_lines(np.array([1.0]), np.array([0.0]), 3.0)
    assert np.isnan(highest[0]).all()
    assert largest_step(np.array([1.0]), np.array([0.0]), 0.3) is None


# --- uncertainty ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("bow", "verdict"), [(3.3, "pass"), (3.4, "unknown"), (4.76, "unknown"), (6.1, "unknown"), (6.2, "fail")]
)
def test_a_hump_within_the_uncertainty_of_the_limit_is_unknown(bow, verdict):
    # U = 1 mm: sqrt(2) for a point against two. 3/16 in = 4.7625 mm: from 3.348 to 6.177 nobody knows.
    # The step is told apart: its limit is wide here
    rule = FlatnessRule(step=1.0)
    points = tuple((k * FOOT, bow * MM * part) for k, part in enumerate(BOW))
    assert judge_line(Line("along", 10 * FOOT, points), rule, uncertainty=MM).verdict == verdict


@pytest.mark.parametrize(("step", "verdict"), [(1.34, "pass"), (1.35, "unknown"), (1.83, "unknown"), (1.84, "fail")])
def test_a_step_within_the_uncertainty_of_its_limit_is_unknown(step, verdict):
    # U = 0.1 mm: sqrt(6) for a rise against a slope, 0.245 mm. 1/16 in = 1.5875 mm: from 1.343 to 1.832
    points = tuple((k * FOOT, step * MM * (k > 4)) for k in range(11))
    assert judge_line(Line("along", 10 * FOOT, points), RULE, uncertainty=0.1 * MM).verdict == verdict


def test_an_unclear_hump_says_with_what_uncertainty():
    found = judged([3 / 16 * part for part in BOW], uncertainty=INCH / 64)
    assert found.evidence == (
        "hump of 3/16 in at 5 ft, between 0 in and 10 ft: too near to 3/16 in over the whole 10 ft to tell with an "
        "uncertainty of 1/64 in"
    )


def test_a_fail_is_said_before_what_is_unknown():
    found = judged([0, 0, 0, 0.3, 0, 0, 0, 0], extent=20 * FOOT)
    assert found.verdict == "fail"
    assert "nothing is measured" not in found.evidence


# --- the straightedge -------------------------------------------------------------------------------------------------


def test_a_straightedge_shorter_than_10_feet_never_passes_alone():
    found = judged([0.0] * 7, extent=12 * FOOT, straightedge=6 * FOOT)
    assert (found.verdict, found.evidence) == ("unknown", "a straightedge of 6 ft can't show alone what 10 ft would")


def test_a_short_straightedge_can_fail_a_wall():
    assert judged([0, 0, 0, 0.25, 0, 0, 0], extent=12 * FOOT, straightedge=6 * FOOT).verdict == "fail"


def test_a_straightedge_of_10_feet_is_long_enough_on_a_longer_wall_but_reaches_no_further():
    found = judged([0.0] * 11, extent=12 * FOOT, straightedge=10 * FOOT)
    assert found.evidence.startswith("nothing is measured between 10 ft and 12 ft")


def test_a_straightedge_as_long_as_a_short_wall_is_long_enough():
    assert judged([0.0] * 9, straightedge=8 * FOOT).verdict == "pass"
    assert judged([0.0] * 11, straightedge=10 * FOOT).verdict == "pass"


# --- the whole wall ---------------------------------------------------------------------------------------------------


def wall(lines):
    return judge_flatness([judge_line(one, RULE, uncertainty=0.0) for one in lines], RULE)


def all_lines(**others):
    return [others.get(name.replace(" ", "_"), line(FLAT, name)) for name in DIRECTIONS]


def test_a_wall_passes_with_lines_along_across_and_both_diagonals():
    bowed = line([3 / 32 * part for part in BOW], "across")
    found = wall(all_lines(across=bowed)).condition
    assert (found.name, found.verdict) == ("flatness", "pass")
    assert found.evidence == "4 lines, hump 3/32 in at most, hollow 0 in at most"


def test_a_wall_without_a_diagonal_is_unknown():
    found = wall(all_lines()[:2]).condition
    assert (found.verdict, found.evidence) == (
        "unknown",
        "no whole line is measured: rising diagonal, falling diagonal",
    )


def test_one_line_that_fails_fails_the_wall_and_is_named():
    bowed = line([part / 4 for part in BOW], "across", name="across at the door")
    found = wall([bowed]).condition
    assert (found.verdict, found.evidence) == (
        "fail",
        "across at the door: hump of 1/4 in at 5 ft, between 0 in and 10 ft: more than 3/16 in over the whole 10 ft",
    )


def test_one_unclear_line_leaves_the_wall_unknown():
    found = wall(all_lines(along=line(FLAT, extent=12 * FOOT))).condition
    assert found.verdict == "unknown"
    assert found.evidence.startswith("along: nothing is measured between 10 ft and 12 ft")


def test_a_short_straightedge_beside_whole_lines_takes_nothing_from_a_pass():
    short = line([0.0] * 5, "along", extent=10 * FOOT, straightedge=4 * FOOT)
    assert wall([*all_lines(), short]).condition.verdict == "pass"


def test_a_short_straightedge_in_place_of_a_whole_line_is_not_enough():
    short = line([0.0] * 5, "along", extent=10 * FOOT, straightedge=4 * FOOT)
    found = wall(all_lines(along=short)).condition
    assert (found.verdict, found.evidence) == (
        "unknown",
        "no whole line is measured: along; along: a straightedge of 4 ft can't show alone what 10 ft would",
    )


def test_a_wall_that_nobody_measured_is_unknown():
    found = wall([]).condition
    assert (found.verdict, found.evidence) == ("unknown", f"no whole line is measured: {', '.join(DIRECTIONS)}")


def test_the_workings_show_each_line_and_where_to_work():
    ridge = line([0, 0, 0, 0, 0, 0.25, 0, 0, 0, 0, 0], "across")
    bowed = line([-part / 4 for part in BOW], "along")
    shown = workings(wall([bowed, ridge]), "us")
    assert shown[0].startswith("Flatness: fail: along: hollow of 1/4 in at 5 ft")
    assert shown[1].startswith("Along: fail: hollow of 1/4 in at 5 ft, between 0 in and 10 ft")
    assert shown[2] == "  fill from 3 ft to 7 ft, 1/16 in beyond the limit"
    assert shown[3].startswith("Across: fail: hump of 1/4 in at 5 ft")
    assert shown[4:] == [
        "  sand at 5 ft, 1/16 in beyond the limit",
        "  fill at 4 ft, 1/64 in beyond the limit",
        "  fill at 6 ft, 1/64 in beyond the limit",
        "  begin with the first and measure again: one often cures the others",
    ]


# --- plumb ------------------------------------------------------------------------------------------------------------


def plumb(*drops, uncertainty=0.0, units="us"):
    return judge_plumb([Drop(*drop) for drop in drops], PlumbRule(), uncertainty=uncertainty, units=units)


def test_exactly_a_quarter_inch_in_8_feet_is_plumb_enough():
    found = plumb((0.0, 8 * FOOT, INCH / 8), (4 * FOOT, 8 * FOOT, -INCH / 4))
    assert (found.name, found.verdict) == ("plumb", "pass")
    assert found.evidence == "at 4 ft it leans 1/4 in away from the room (at most 1/4 in over 8 ft)"


def test_a_lean_is_judged_in_proportion_to_the_height_it_was_measured_over():
    # 3/16 in over 4 ft is 3/8 over 8 ft; over 12 ft 3/8 in is allowed
    found = plumb((0.0, 4 * FOOT, 3 / 16 * INCH), (3 * FOOT, 12 * FOOT, 3 / 8 * INCH))
    assert (found.verdict, found.evidence) == (
        "fail",
        "at 0 in it leans 3/16 in towards the room: more than 1/8 in over 4 ft",
    )


def test_a_lean_within_the_uncertainty_of_the_limit_is_unknown():
    found = plumb((0.0, 8 * FOOT, 6 * MM), uncertainty=MM, units="si")
    assert (found.verdict, found.evidence) == (
        "unknown",
        "at 0.0 mm it leans 6.0 mm towards the room: too near to 6.3 mm over 2.438 m to tell with an uncertainty of "
        "1.0 mm",
    )
    assert plumb((0.0, 8 * FOOT, 5.3 * MM), uncertainty=MM).verdict == "pass"
    assert plumb((0.0, 8 * FOOT, -7.4 * MM), uncertainty=MM).verdict == "fail"


def test_a_plumb_line_of_which_nobody_said_where_it_was():
    assert plumb((None, 8 * FOOT, INCH / 8)).evidence == "it leans 1/8 in towards the room (at most 1/4 in over 8 ft)"


def test_no_plumb_line_is_unknown():
    found = judge_plumb([], PlumbRule(), uncertainty=0.0)
    assert (found.verdict, found.evidence) == ("unknown", "no plumb line is recorded")


# --- level ------------------------------------------------------------------------------------------------------------


def level(*points, run=16 * FOOT, uncertainty=0.0, units="us"):
    return judge_level(points, run, LevelRule(), uncertainty=uncertainty, units=units)


def test_exactly_an_eighth_over_the_run_is_level_enough():
    found = level((0.0, 0.0), (8 * FOOT, -INCH / 16), (16 * FOOT, INCH / 16))
    assert (found.name, found.verdict) == ("first row level", "pass")
    assert found.evidence == "the first row rises 1/8 in from 8 ft to 16 ft (at most 1/8 in over the run)"


def test_a_row_that_sags_in_the_middle_is_not_level():
    found = level((0.0, 0.0), (8 * FOOT, -3 / 16 * INCH), (16 * FOOT, 0.0))
    assert (found.verdict, found.evidence) == (
        "fail",
        "the first row rises 3/16 in from 8 ft to 0 in: more than 1/8 in over the run",
    )


def test_a_level_within_the_uncertainty_of_the_limit_is_unknown():
    # two heights: sqrt(2) x 1 mm about 3.175 mm
    assert level((0.0, 0.0), (16 * FOOT, 1.7 * MM), uncertainty=MM).verdict == "pass"
    assert level((0.0, 0.0), (16 * FOOT, 1.8 * MM), uncertainty=MM).verdict == "unknown"
    assert level((0.0, 0.0), (16 * FOOT, 4.5 * MM), uncertainty=MM).verdict == "unknown"
    assert level((0.0, 0.0), (16 * FOOT, 4.6 * MM), uncertainty=MM).verdict == "fail"


def test_a_run_that_is_not_measured_to_its_ends_is_unknown():
    found = level((0.0, 0.0), (14 * FOOT, 0.0))
    assert (found.verdict, found.evidence) == (
        "unknown",
        "heights reach from 0 in to 14 ft only, of a run of 16 ft",
    )
    assert level((1 * FOOT, 0.0), (15 * FOOT, 0.0)).verdict == "pass"
    assert level((2 * FOOT, 0.0), (15 * FOOT, 0.0)).verdict == "unknown"


def test_one_height_is_no_level():
    found = level((0.0, 0.0))
    assert (found.verdict, found.evidence) == (
        "unknown",
        "fewer than two heights of the first row are recorded",
    )


# --- refusals ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (
            lambda: Line("along", 3.0, ()),
            "flatness, along: it has no points or one that is no number. Give each as position, deviation",
        ),
        (
            lambda: Line("along", 3.0, ((0.0, 0.0), (1.0, float("nan")))),
            "flatness, along: it has no points or one that is no number. Give each as position, deviation",
        ),
        (
            lambda: Line("across", 3.0, ((1.0, 0.0), (0.5, 0.0), (1.0, 0.1)), name="by the door"),
            "flatness, by the door: the position 1 m is given twice. Leave one of the two out",
        ),
        (
            lambda: Line("along", 3.0, ((0.0, 0.0), (3.2, 0.0))),
            "flatness, along: the position 3.2 m is outside the line's 3 m. "
            "Measure from the line's start, and check the unit",
        ),
        (
            lambda: Line("along", 3.0, ((-0.2, 0.0), (3.0, 0.0))),
            "flatness, along: the position -0.2 m is outside the line's 3 m. "
            "Measure from the line's start, and check the unit",
        ),
        (
            lambda: Line("along", 6.0, ((0.0, 0.0), (2.5, 0.0)), straightedge=2.0),
            "flatness, along: its points reach further than a straightedge of 2 m. "
            "Give each place where the straightedge was laid as a line of its own",
        ),
        (
            lambda: plumb((0.0, 0.0, 0.001)),
            "plumb: a plumb line has no height. Give the height it was measured over",
        ),
        (
            lambda: level((0.0, 0.0), (1.0, float("inf"))),
            "first row level: a height is no number. Give each as position, height",
        ),
    ],
)
def test_impossible_measurements_are_refused_with_the_mend(make, message):
    with pytest.raises(QuantityError) as refused:
        make()
    assert str(refused.value) == message


def test_the_limit_is_that_of_the_built_in_profile():
    assert pytest.approx(load_profile("laminate-planks").wall.flatness) == RULE.limit
