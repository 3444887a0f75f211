"""Rows, joints and cuts. Every layout is checked by an inspector who knows only the finished wall."""

import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from wall_inspector import carpentry, joints, stagger_faults, stretches, tiling_faults

from monitor.basis.errors import QuantityError
from monitor.basis.units import INCH
from monitor.rules.install import rows
from monitor.rules.install.rows import Layout, OffCut, Plank, Run, Stagger, Stuck, by_run, lay, row_widths

KERF = 0.003
EIGHT = Stagger(8 * INCH, INCH)


def wall_of(length, count):
    return [Run(0, row, 0.2, 0.005, 0.005 + length) for row in range(count)]


def starts(layout):
    return [run[0].length for run in by_run(layout.pieces)]


# --- rows -------------------------------------------------------------------------------------------------------------


def narrowest(face):
    return max(face / 3, 2 * INCH)


def test_91_inches_of_7_and_a_half_inch_planks_are_balanced():
    # 91 in - 2 x 3/16 in = 90 5/8 in = 12 x 7 1/2 in + 5/8 in; 5/8 in is narrower than 2 1/2 in:
    # (7 1/2 + 5/8) / 2 = 4 1/16 in first and last, 11 full between: 2 x 4 1/16 + 11 x 7 1/2 = 90 5/8
    found = row_widths(90.625 * INCH, 7.5 * INCH, narrowest=narrowest(7.5 * INCH))
    assert found.balanced
    assert found.full == 12
    assert [width / INCH for width in found.widths] == pytest.approx([4.0625, *[7.5] * 11, 4.0625])


def test_a_wide_enough_last_row_is_ripped_alone():
    found = row_widths(2.59, 0.2, narrowest=narrowest(0.2))
    assert not found.balanced
    assert found.widths == pytest.approx([*[0.2] * 12, 0.19])


def test_a_last_row_of_exactly_the_narrowest_width_is_not_balanced():
    third, two_inches = narrowest(9 * INCH), narrowest(5 * INCH)
    assert (third, two_inches) == pytest.approx((3 * INCH, 2 * INCH))
    assert not row_widths(93 * INCH, 9 * INCH, narrowest=third).balanced
    assert row_widths(92.9 * INCH, 9 * INCH, narrowest=third).balanced
    assert not row_widths(92 * INCH, 5 * INCH, narrowest=two_inches).balanced
    assert row_widths(91.9 * INCH, 5 * INCH, narrowest=two_inches).balanced


def test_rows_that_fit_exactly_are_all_whole():
    found = row_widths(2.4, 0.2, narrowest=narrowest(0.2))  # 2.4 / 0.2 is 11.999... in binary
    assert (found.full, found.left, found.balanced) == (12, 0.0, False)
    assert found.widths == (0.2,) * 12


def test_one_row_and_a_bit_become_two_equal_rows():
    assert row_widths(0.22, 0.2, narrowest=narrowest(0.2)).widths == pytest.approx([0.11, 0.11])


def test_a_wall_lower_than_one_row_is_one_ripped_row():
    found = row_widths(0.03, 0.2, narrowest=narrowest(0.2))
    assert (found.widths, found.balanced) == ((0.03,), False)


@given(net=st.floats(0.06, 4), face=st.floats(0.05, 0.4))
def test_rows_fill_the_height_and_none_is_narrower_than_asked(net, face):
    found = row_widths(net, face, narrowest=narrowest(face))
    assert sum(found.widths) == pytest.approx(net, abs=1e-6)
    assert max(found.widths) <= face + 1e-9
    if net >= face:
        assert min(found.widths) >= min(narrowest(face), face / 2) - 1e-6


# --- off-cuts ---------------------------------------------------------------------------------------------------------


def test_what_is_cut_off_at_the_right_starts_the_next_row():
    # 2.7 m of 1 m planks: 1 + 1 + 0.7, which leaves 0.3 less the saw's 3 mm with its right end. It starts row 2, whose
    # joints at 0.297 and 1.297 and 2.297 are 0.297 from those at 1 and 2; its end of 0.403 is cut from a plank
    laid = lay(wall_of(2.7, 2), Plank(0.2, (1.0,)), EIGHT, KERF)
    assert isinstance(laid, Layout)
    assert starts(laid) == pytest.approx([1.0, 0.297])
    assert [piece.off_cut for piece in laid.pieces] == [False, False, False, True, False, False, False]
    assert laid.pieces[3].source == pytest.approx(0.297)


def test_what_is_cut_off_at_the_left_ends_a_row():
    # 2.9 m: row 1 is 1 + 1 + 0.9, its rest of 97 mm is too short to start a row. Row 2 can't start with a whole plank:
    # the longest that leaves an end of 8 in is 2.9 - 2 - 0.2032 = 0.6968; its left rest of 0.3002 gives the 0.2032
    laid = lay(wall_of(2.9, 2), Plank(0.2, (1.0,)), EIGHT, KERF)
    assert isinstance(laid, Layout)
    last = laid.pieces[-1]
    assert (last.off_cut, last.length, last.source) == (True, pytest.approx(0.2032), pytest.approx(0.3002))
    assert laid.stock.planks == {1.0: 6}


@pytest.mark.parametrize(("joint", "planks", "last_is_off_cut"), [("end-matched", 4, False), ("square", 3, True)])
def test_an_off_cut_with_a_right_end_ends_a_row_only_where_ends_are_square(joint, planks, last_is_off_cut):
    # two runs of 0.6 m leave two off-cuts of 0.397 with their right ends. A run of 1.75 m is 0.397 + 1 + 0.353: the one
    # off-cut starts it; its end needs a left profile, which the other has lost
    runs = [Run(0, 0, 0.2, 0.0, 0.6), Run(0, 1, 0.2, 0.0, 0.6), Run(0, 2, 0.2, 0.0, 1.75)]
    laid = lay(runs, Plank(0.2, (1.0,), joint), EIGHT, KERF)
    assert isinstance(laid, Layout)
    assert [piece.length for piece in laid.pieces[2:]] == pytest.approx([0.397, 1.0, 0.353])
    assert (laid.pieces[2].off_cut, laid.pieces[-1].off_cut) == (True, last_is_off_cut)
    assert laid.stock.planks == {1.0: planks}


def test_a_run_with_a_wall_at_both_ends_takes_any_off_cut():
    runs = [Run(0, 0, 0.2, 0.0, 0.7), Run(0, 1, 0.2, 0.0, 0.2), Run(0, 2, 0.2, 0.0, 0.09)]
    laid = lay(runs, Plank(0.2, (1.0,)), EIGHT, KERF)
    assert isinstance(laid, Layout)
    assert [piece.off_cut for piece in laid.pieces] == [False, True, True]
    # 1 - 0.7 - 0.003 = 0.297; - 0.2 - 0.003 = 0.094; - 0.09 leaves the saw 4 mm, of which it takes 3
    assert laid.stock.off_cuts == (OffCut(pytest.approx(0.001), "right"),)
    assert laid.stock.dust == pytest.approx(0.009)


def test_the_smallest_off_cut_that_will_do_is_taken():
    # 0.3 leaves 0.697 of a plank; 0.75 is more than that, so it leaves 0.247 of another; 0.2 takes the smaller
    runs = [Run(0, row, 0.2, 0.0, length) for row, length in enumerate((0.3, 0.75, 0.2))]
    laid = lay(runs, Plank(0.2, (1.0,)), EIGHT, KERF)
    assert isinstance(laid, Layout)
    assert [(p.off_cut, round(p.source, 3)) for p in laid.pieces] == [(False, 1.0), (False, 1.0), (True, 0.247)]


def test_a_rest_thinner_than_the_saw_goes_to_dust():
    laid = lay([Run(0, 0, 0.2, 0.0, 0.998)], Plank(0.2, (1.0,)), EIGHT, KERF)
    assert isinstance(laid, Layout)
    assert (laid.stock.dust, laid.stock.off_cuts) == (pytest.approx(0.002), ())


def test_a_run_of_exactly_one_plank_is_not_cut():
    laid = lay([Run(0, 0, 0.2, 0.005, 1.005)], Plank(0.2, (1.0,)), EIGHT, KERF)
    assert isinstance(laid, Layout)
    assert (laid.stock.dust, laid.stock.off_cuts, laid.stock.planks) == (0.0, (), {1.0: 1})


def test_a_run_of_exactly_two_planks_is_not_cut():
    laid = lay([Run(0, 0, 0.2, 0.005, 2.005)], Plank(0.2, (1.0,)), EIGHT, KERF)
    assert isinstance(laid, Layout)
    assert [piece.length for piece in laid.pieces] == pytest.approx([1.0, 1.0])
    assert (laid.stock.dust, laid.stock.off_cuts) == (0.0, ())


def test_no_run_takes_nothing():
    laid = lay([], Plank(0.2, (1.0,)), EIGHT, KERF)
    assert isinstance(laid, Layout)
    assert (laid.pieces, laid.stock.planks) == ((), {1.0: 0})


# --- random lengths ---------------------------------------------------------------------------------------------------


def test_boxes_of_random_lengths_empty_evenly():
    # 30 rows of 4.2 m are 126 m, 30 boxes of 1.2 + 0.9 + 0.9 + 0.6 + 0.6 m; of no length is much more taken
    laid = lay(wall_of(4.2, 30), Plank(0.2, (1.2, 0.9, 0.9, 0.6, 0.6)), EIGHT, KERF)
    assert isinstance(laid, Layout)
    planks = laid.stock.planks
    boxes = [planks[1.2], planks[0.9] / 2, planks[0.6] / 2]
    assert min(boxes) >= 28
    assert max(boxes) <= 32


def test_of_random_lengths_one_that_needs_no_cut_is_taken_first():
    # of the two planks of 0.6 m one is used and of the one of 1.2 m none: the next 0.6 is a plank of 0.6 m all the same
    laid = lay(wall_of(0.6, 3), Plank(0.2, (1.2, 0.6, 0.6)), EIGHT, KERF)
    assert isinstance(laid, Layout)
    assert laid.stock.planks == {1.2: 0, 0.6: 3}
    assert laid.stock.dust == 0.0


def test_a_box_counts_its_planks_by_length():
    plank = Plank(0.2, (0.6, 1.2, 0.9, 0.6))
    assert plank.in_a_box == {1.2: 1, 0.9: 1, 0.6: 2}
    assert plank.box_area == pytest.approx(0.66)


# --- the rule ---------------------------------------------------------------------------------------------------------


def test_a_rule_that_can_not_be_met_is_found_out_in_the_second_row():
    # 1.3 m of 1.2 m planks with ends of 0.5 m or more: each row's one joint lies between 0.5 and 0.8, never 0.5 apart
    laid = lay(wall_of(1.3, 12), Plank(0.2, (1.2,)), Stagger(0.5, INCH), KERF)
    assert laid == Stuck(wall_of(1.3, 12)[1])


def test_a_row_that_leaves_no_third_one_is_laid_again():
    # 1.2 m of 1 m planks, 0.33 apart: each row's one joint is between 0.33 and 0.87. 0.87 and then 0.54 would leave
    # only 0.87 again, which stands over the first; so the second goes further down, to leave the third some room
    laid = lay(wall_of(1.2, 9), Plank(0.2, (1.0,)), Stagger(0.33, INCH), KERF)
    assert isinstance(laid, Layout)
    assert stagger_faults(laid.pieces, 0.33, INCH) == []
    assert starts(laid)[0] == pytest.approx(0.87)
    assert starts(laid)[1] < 0.54 - INCH + 1e-9


@pytest.mark.parametrize(("length", "least"), [(6.04, 0.33), (6.62, 0.3)])
def test_random_lengths_that_need_a_search_are_laid(length, least):
    # found by trying: the first needs the search to look at each joint once, the second joints to the right of others
    laid = lay(wall_of(length, 4), Plank(0.2, (1.2, 0.9, 0.6, 0.3)), Stagger(least, INCH), KERF)
    assert isinstance(laid, Layout)
    assert stagger_faults(laid.pieces, least, INCH) == []


def test_the_search_gives_up_after_its_tries(monkeypatch):
    monkeypatch.setattr(rows, "TRIES", 0)
    assert isinstance(lay(wall_of(2.5, 3), Plank(0.2, (1.0,)), EIGHT, KERF), Stuck)


def test_end_pieces_that_can_not_be_met_are_found_out_in_the_first_row():
    assert lay(wall_of(1.3, 12), Plank(0.2, (1.2,)), Stagger(0.7, INCH), KERF) == Stuck(wall_of(1.3, 12)[0])


def test_a_third_row_that_would_stand_over_the_first_is_found_out():
    # 24 in planks, 8 in: joints of a row 15 in longer than whole planks start between 15 and 24 in. Two rows find room
    # at 15 and 23, the third only within an inch of the first
    laid = lay(wall_of((24 * 13 + 15.1) * INCH, 4), Plank(0.2, (24 * INCH,)), EIGHT, KERF)
    assert isinstance(laid, Stuck)
    assert laid.run.row == 2


def test_a_search_without_hope_ends():
    # thousands of ways to mix the lengths, and no third row in any: planks of 0.4 m leave no room for joints 0.3 apart
    laid = lay(wall_of(12.0, 40), Plank(0.2, (0.4, 0.41, 0.42, 0.43)), Stagger(0.3, INCH), KERF)
    assert isinstance(laid, Stuck)


def test_without_a_stagger_no_piece_is_nothing():
    # 2.0005 m: after two whole planks half a millimetre would be left
    laid = lay(wall_of(2.0005, 6), Plank(0.2, (1.0,)), Stagger(0.0, 0.0), KERF)
    assert isinstance(laid, Layout)
    assert min(piece.length for piece in laid.pieces) == pytest.approx(0.001)


def test_the_inspector_sees_each_kind_of_breach():
    laid = lay(wall_of(2.5, 3), Plank(0.2, (1.0,)), EIGHT, KERF)
    assert isinstance(laid, Layout)
    rows = [laid.pieces[k] for k in range(3)]
    again = [piece._replace(row=1) for piece in rows]
    assert stagger_faults([*rows, *again], 0.2032, INCH)
    assert stagger_faults([*rows, *(piece._replace(row=2) for piece in rows)], 0.2032, INCH)
    assert stagger_faults(rows, 0.51, INCH)
    assert not stagger_faults(rows, 0.5, INCH)


lengths_of_a_box = st.sampled_from(
    [(1.2,) * 5, (1.38,) * 7, (0.915,) * 4, (1.8, 1.2, 0.9), (1.2, 1.2, 0.6), (48 * INCH, 36 * INCH, 24 * INCH)]
)


@settings(max_examples=200)
@given(
    lengths=lengths_of_a_box,
    run=st.floats(0.3, 9.0),
    count=st.integers(1, 14),
    door=st.none() | st.tuples(st.floats(0.05, 0.8), st.integers(1, 10)),
    joint=st.sampled_from(["end-matched", "square"]),
    least=st.sampled_from([0.1, 0.15, 8 * INCH, 0.25]),
)
@example(lengths=(1.2,) * 5, run=3.6, count=6, door=None, joint="end-matched", least=8 * INCH)
@example(lengths=(24 * INCH,) * 6, run=144 * INCH, count=6, door=None, joint="end-matched", least=8 * INCH)
def test_every_layout_passes_the_inspector(lengths, run, count, door, joint, least):
    runs = wall_of(run, count)
    if door is not None and run > 1.5:
        at = 0.005 + door[0] * (run - 1.0)
        beside = [part for r in runs for part in (r._replace(end=at), r._replace(start=at + 0.9)) if r.row < door[1]]
        runs = beside + [r for r in runs if r.row >= door[1]]
    plank = Plank(0.2, lengths, joint)
    laid = lay(runs, plank, Stagger(least, INCH), KERF)
    assume(isinstance(laid, Layout))
    assert tiling_faults(laid.pieces, runs) == []
    assert stagger_faults(laid.pieces, least, INCH) == []
    whole = sum(length * count for length, count in laid.stock.planks.items())
    scrap = sum(cut.length for cut in laid.stock.off_cuts)
    assert sum(p.length for p in laid.pieces) + laid.stock.dust + scrap == pytest.approx(whole, abs=1e-5)
    if joint == "end-matched":
        used, dust, left = carpentry(laid.pieces, plank.lengths, KERF)
        assert used == {round(length, 6): count for length, count in laid.stock.planks.items() if count}
        assert dust == pytest.approx(laid.stock.dust, abs=1e-5)
        assert sum(left) == pytest.approx(scrap, abs=1e-5)


def test_most_ordinary_walls_can_be_laid():
    # the property above assumes a layout; this counts how often there is one, so that it can't pass on nothing
    walls = [wall_of(0.8 + 0.13 * k, 13) for k in range(60)]
    laid = [lay(runs, Plank(0.2, (1.2,)), EIGHT, KERF) for runs in walls]
    assert all(isinstance(found, Layout) for found in laid)
    assert all(len(joints(found.pieces)) == 13 and len(stretches(found.pieces)) == 13 for found in laid)


# --- the plank --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("face", "lengths", "message"),
    [
        (
            0.005,
            (1.2,),
            "plank: its face width is 0.005 m. Give the width that shows, without the tongue, 1 cm to 2 m",
        ),
        (0.2, (), "plank: its lengths are missing (m). Give the length of each plank of a box, 10 cm to 10 m"),
        (0.2, (1.2, 0.0), "plank: its lengths are 1.2, 0 (m). Give the length of each plank of a box, 10 cm to 10 m"),
    ],
)
def test_a_plank_that_can_not_be_is_refused(face, lengths, message):
    with pytest.raises(QuantityError) as refused:
        Plank(face, lengths)
    assert str(refused.value) == message
