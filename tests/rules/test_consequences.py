"""What excursions did to the boards, by superposition; and the season ahead, by hand."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rooms import PROFILE, T0

from monitor.basis.times import DAY, HOUR
from monitor.basis.values import Quantity
from monitor.climate import lag
from monitor.rules.assessment import Excursion
from monitor.rules.board.boards import plank_bodies
from monitor.rules.board.consequences import MOST, Season, effects, season_ahead
from monitor.rules.board.estimates import DAYS

HUMIDITY, TEMPERATURE = Quantity.AIR_HUMIDITY, Quantity.AIR_TEMPERATURE
BOARD = PROFILE.board
FIRST = T0 // DAY


def table(length: int, first: int = FIRST, **columns: object) -> np.ndarray:
    """Rows of days; what is not told is not known."""
    found = np.zeros(length, DAYS)
    for name in DAYS.names[6:]:
        found[name] = np.nan
    found["day"] = first + np.arange(length)
    for name, value in columns.items():
        found[name] = value
    return found


def spell(start_h: float, end_h: float | None, *, side="low", quantity=HUMIDITY, dose=1.0) -> Excursion:
    end = None if end_h is None else T0 + round(end_h * HOUR)
    ended = "open" if end is None else "return"
    return Excursion(quantity, side, T0 + round(start_h * HOUR), end, ended, 0.0, dose, "after", "good", True)


def followed(speed: int, balance: np.ndarray, days: int) -> float:
    """A board's moisture at the end of `days`, from a balance by the day on."""
    body = plank_bodies(BOARD)[speed]
    t = T0 + np.arange(days) * DAY
    return lag.follow(body, lag.settled(body, T0, 8.0), t, balance[:days], T0 + days * DAY)[0]


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.floats(5.0, 12.0), min_size=12, max_size=12),
    st.lists(st.floats(0.0, 3.0), min_size=12, max_size=12),
    st.integers(0, 8),
    st.integers(1, 4),
    st.sampled_from(["low", "high"]),
)
def test_an_effect_is_the_difference_between_the_room_with_it_and_without(within, beyond, first, length, side):
    # Whatever the balance inside the band, the lag being linear; 1e-5: a day's row is kept in four bytes.
    column = np.zeros(12, np.float32)
    column[first : first + length] = np.array(beyond[first : first + length]) + 0.01
    days = table(12, **{"too_dry" if side == "low" else "too_damp": column})
    (found,) = effects([spell(first * 24, (first + length) * 24, side=side)], days, BOARD)
    signed = column.astype(np.float64) * (-1 if side == "low" else 1)
    ends = first + length
    three = [
        followed(speed, np.array(within) + signed, ends) - followed(speed, np.array(within), ends) for speed in range(3)
    ]
    assert found.number == 0
    assert found.moved.to_json() == pytest.approx([min(three), three[1], max(three)], abs=1e-9)


def test_what_moved_the_boards_most_is_not_what_the_airs_dose_says():
    # thirty days 1 %RH below: 720 %RH-hours; two days 5 %RH below: 240. A panel loses about 0.1 % a %RH (EWPAA p. 37:
    # 2 % from 65 to 45), so the balance is 0.1 % and 0.5 % lower, and a board follows most of the way within two days.
    long, short = spell(0, 720, dose=720.0), spell(744, 792, dose=240.0)
    dry = np.zeros(33)
    dry[:30], dry[31:] = 0.1, 0.5
    found = effects([long, short], table(33, too_dry=dry), BOARD)
    assert [one.number for one in found] == [1, 0]
    step = {n: followed(1, np.full(30, 9.0), n) - 8.0 for n in (2, 30)}  # of a step of 1 %, after so many days
    assert [one.moved.central for one in found] == pytest.approx([-0.5 * step[2], -0.1 * step[30]], rel=1e-6)


def test_two_spells_of_one_day_share_what_it_added_by_their_length():
    long, short = spell(1, 7), spell(10, 12)  # 6 h and 2 h: three quarters and one quarter
    whole = effects([spell(1, 9)], table(1, too_dry=0.8), BOARD)[0].moved.central
    found = {one.number: one.moved.central for one in effects([long, short], table(1, too_dry=0.8), BOARD)}
    assert found == {0: pytest.approx(0.75 * whole), 1: pytest.approx(0.25 * whole)}


def test_a_spell_over_midnight_shares_its_second_day_with_a_brief_one():
    long, brief = spell(12, 30), spell(36, 38)  # 6 h and 2 h of the second day; the first added nothing
    dry = np.array([0.0, 0.8])
    whole = effects([spell(24, 32)], table(2, too_dry=dry), BOARD)[0].moved.central
    found = {one.number: one.moved.central for one in effects([long, brief], table(2, too_dry=dry), BOARD)}
    assert found == {0: pytest.approx(0.75 * whole), 1: pytest.approx(0.25 * whole)}


def test_dry_and_damp_of_one_day_are_not_shared():
    found = effects([spell(1, 7), spell(10, 12, side="high")], table(1, too_dry=0.4, too_damp=0.4), BOARD)
    assert found[0].moved.central == pytest.approx(-found[1].moved.central)
    assert found[0].number == 0
    assert found[0].moved.central < 0


def test_a_spell_that_lasts_still_is_counted_to_the_last_day():
    closed = effects([spell(0, 48)], table(2, too_dry=0.5), BOARD)
    assert effects([spell(0, None)], table(2, too_dry=0.5), BOARD) == closed


def test_what_ends_at_midnight_takes_nothing_of_the_next_day():
    dry = np.array([0.5, 9.0])
    assert effects([spell(0, 24)], table(2, too_dry=dry), BOARD) == effects(
        [spell(0, 24)], table(1, too_dry=0.5), BOARD
    )


@pytest.mark.parametrize(
    ("excursions", "days"),
    [
        ([spell(0, 24, quantity=TEMPERATURE)], table(1, too_dry=0.5)),
        ([spell(0, 24)], table(1, too_dry=0.0)),
        ([spell(0, 24)], table(1)),
        ([spell(48, 72)], table(1, too_dry=0.5)),
        ([spell(0, 24)], table(0)),
        ([], table(1, too_dry=0.5)),
    ],
    ids=["of temperature", "inside the band", "before the installation", "of no day", "no days", "none"],
)
def test_what_did_nothing_to_the_boards_is_left_out(excursions, days):
    assert effects(excursions, days, BOARD) == []


def test_a_core_that_moisture_does_not_move_is_not_asked():
    vinyl = BOARD._replace(core="PVC or mineral")
    assert effects([spell(0, 24)], table(1, too_dry=0.5), vinyl) == []


def test_of_very_many_those_that_added_most_are_worked_out():
    spells = [spell(24 * k, 24 * k + 24) for k in range(MOST + 10)]
    found = effects(spells, table(MOST + 10, too_dry=np.linspace(0.1, 1.0, MOST + 10)), BOARD)
    assert [one.number for one in found] == list(range(MOST + 9, 9, -1))


# --- the season ahead -------------------------------------------------------------------------------------------------

YEAR = 365


def test_the_season_ahead_is_what_the_same_ninety_days_brought_a_year_ago():
    # the record's days 0 to 399, asked on day 370: days 5 to 94 are those a year before the coming ninety
    rh, board = np.full(400, 50.0), np.full(400, 8.0)
    rh[4], rh[5], rh[94], rh[95] = 5.0, 30.0, 70.0, 95.0
    board[4], board[5], board[94], board[95] = 1.0, 6.5, 9.5, 20.0
    found = season_ahead(table(400, rh_mean=rh, board=board), T0 + 370 * DAY + 5 * HOUR)
    assert found == Season(T0 + 5 * DAY, T0 + 95 * DAY, 30.0, 70.0, 6.5, 9.5)


def test_boards_that_were_not_on_the_wall_a_year_ago_are_left_out():
    found = season_ahead(table(400, rh_mean=50.0), T0 + 370 * DAY)
    assert (found.rh_low, found.low, found.high) == (50.0, None, None)


@pytest.mark.parametrize(("known", "told"), [(45, True), (44, False), (0, False)])
def test_of_less_than_half_of_the_season_nothing_is_said(known, told):
    rh = np.full(400, np.nan)
    rh[5 : 5 + known] = 50.0
    assert (season_ahead(table(400, rh_mean=rh), T0 + 370 * DAY) is not None) == told


def test_a_record_shorter_than_a_year_knows_no_season_ahead():
    assert season_ahead(table(300, rh_mean=50.0), T0 + 300 * DAY) is None
    assert season_ahead(table(0), T0) is None
