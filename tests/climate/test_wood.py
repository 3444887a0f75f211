import csv
import re
from pathlib import Path

import numpy as np
import pytest

from monitor.climate.wood import (
    closing_rh_pct,
    equilibrium_pct,
    equilibrium_rh_pct,
    equilibrium_uncertainty_pct,
    hysteresis_band_pct,
    joint_opening_mm,
    movement_mm,
    moves_with_moisture,
    panel_emc_pct,
    solid_wood_emc_pct,
    thermal_movement_mm,
)

TABLE = Path(__file__).parents[2] / "fixtures" / "check_values" / "wood_handbook_table_4_2.csv"


def handbook_table():
    with TABLE.open(encoding="utf-8") as file:
        head, *rows = csv.reader(file)
    rh = np.array([float(name.removeprefix("rh_")) for name in head[1:]])
    cells = np.array(rows, dtype=float)
    return (cells[:, 0] - 32.0) / 1.8, rh, cells[:, 1:]


# solid wood


def test_solid_wood_agrees_with_every_cell_of_the_printed_handbook_table():
    # USDA Wood Handbook FPL-GTR-190 (2010) Table 4-2, 30 to 140 degF, 228 cells, printed to 0.1 % from the equation in
    # degF. 0.06: half a printed digit, and 0.013 by which the equation in degF and the one in degC differ at most.
    t_c, rh, printed = handbook_table()
    assert printed.shape == (12, 19)
    assert solid_wood_emc_pct(t_c[:, None], rh[None, :]) == pytest.approx(printed, abs=0.06)


@pytest.mark.parametrize(("rh", "rule"), [(30.0, 6.0), (50.0, 9.0), (65.0, 12.0), (80.0, 16.0)])
def test_solid_wood_agrees_with_the_rules_of_thumb(rh, rule):
    # G. Wengert, woodweb.com, "Ratios: relative humidity to moisture content": whole numbers, so half of one and a bit.
    assert solid_wood_emc_pct(21.0, rh) == pytest.approx(rule, abs=0.6)


def test_solid_wood_agrees_with_a_worked_example():
    # kerfworks.org, wood moisture calculator: 70 degF and 40 % give 7.7 %, printed to 0.1.
    assert solid_wood_emc_pct((70.0 - 32.0) / 1.8, 40.0) == pytest.approx(7.7, abs=0.06)


def test_dry_air_leaves_dry_wood():
    assert solid_wood_emc_pct(20.0, 0.0) == 0.0


def test_solid_wood_gives_a_float_for_floats_and_the_broadcast_shape_for_arrays():
    assert isinstance(solid_wood_emc_pct(20.0, 50.0), float)
    assert solid_wood_emc_pct(np.array([[10.0], [20.0]]), np.array([30.0, 50.0, 70.0])).shape == (2, 3)


def test_nan_passes_through_every_moisture_function():
    nan = float("nan")
    assert np.isnan(solid_wood_emc_pct(nan, 50.0))
    assert np.isnan(solid_wood_emc_pct(np.array([20.0, 20.0]), np.array([nan, 50.0]))).tolist() == [True, False]
    assert np.isnan(panel_emc_pct(nan))
    assert np.isnan(equilibrium_pct("HDF", nan, 50.0))
    assert np.isnan(equilibrium_rh_pct("HDF", 20.0, nan))
    assert np.isnan(equilibrium_rh_pct("solid wood", nan, 10.0))
    assert np.isnan(hysteresis_band_pct(nan).low)
    assert np.isnan(movement_mm("HDF", nan, 8.0, 9.0).high)
    assert np.isnan(equilibrium_uncertainty_pct("HDF", 20.0, nan, 1.0, 5.0))
    assert np.isnan(closing_rh_pct("HDF", 8.0, nan, 20.0, 50.0).low)
    assert np.isnan(thermal_movement_mm(8.0, nan, 20.0).low)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: solid_wood_emc_pct(60.1, 50.0), "t_c 60.1 is outside -20 to 60"),
        (lambda: solid_wood_emc_pct(np.array([20.0, -21.0]), 50.0), "t_c -21 is outside -20 to 60"),
        (lambda: solid_wood_emc_pct(20.0, 101.0), "rh_pct 101 is outside 0 to 100"),
        (lambda: panel_emc_pct(-0.5), "rh_pct -0.5 is outside 0 to 100"),
        (lambda: panel_emc_pct(50.0, "middle"), "there is no spread 'middle': use 'low', 'central' or 'high'"),
        (lambda: hysteresis_band_pct(120.0), "emc_pct 120 is outside 0 to 100"),
        (lambda: equilibrium_pct("HDF", 70.0, 50.0), "t_c 70 is outside -20 to 60"),
        (lambda: equilibrium_rh_pct("HDF", 20.0, -1.0), "mc_pct -1 is outside 0 to 100"),
        (lambda: equilibrium_uncertainty_pct("HDF", 20.0, 50.0, -1.0, 5.0), "u_t_k -1 is outside 0 to 20"),
        (lambda: equilibrium_uncertainty_pct("HDF", 20.0, 50.0, 1.0, 60.0), "u_rh_pct 60 is outside 0 to 50"),
        (lambda: movement_mm("HDF", 101.0, 8.0, 9.0), "length_m 101 is outside 0 to 100"),
        (lambda: movement_mm("HDF", 8.0, -1.0, 9.0), "mc_from_pct -1 is outside 0 to 100"),
        (lambda: movement_mm("HDF", 8.0, 8.0, 109.0), "mc_to_pct 109 is outside 0 to 100"),
        (lambda: closing_rh_pct("HDF", 8.0, 2.0, 20.0, 50.0), "gap_m 2 is outside 0 to 1"),
        (lambda: closing_rh_pct("HDF", 0.0, 0.005, 20.0, 50.0), "length_m 0 has no row in it"),
        (
            lambda: closing_rh_pct("HDF", 8.0, 0.005, 20.0, 50.0, "glued"),
            "there is no row 'glued': use 'free' or 'pinned'",
        ),
        (lambda: joint_opening_mm("HDF", 8.0, 9.0, 8.0, 0), "joints 0 is less than 1"),
        (lambda: thermal_movement_mm(8.0, 20.0, 61.0), "t_to_c 61 is outside -20 to 60"),
        (lambda: thermal_movement_mm(8.0, -21.0, 20.0), "t_from_c -21 is outside -20 to 60"),
        (
            lambda: moves_with_moisture("cork"),
            "there is no core 'cork': use one of 'HDF', 'plywood', 'solid wood', 'PVC or mineral'",
        ),
        (
            lambda: equilibrium_pct("PVC or mineral", 20.0, 50.0),
            "a core of PVC or mineral does not move with moisture: use thermal_movement_mm",
        ),
        (
            lambda: movement_mm("PVC or mineral", 8.0, 8.0, 9.0),
            "a core of PVC or mineral does not move with moisture: use thermal_movement_mm",
        ),
        (
            lambda: closing_rh_pct("PVC or mineral", 8.0, 0.005, 20.0, 50.0),
            "a core of PVC or mineral does not move with moisture: use thermal_movement_mm",
        ),
    ],
)
def test_a_value_out_of_range_is_named(call, message):
    with pytest.raises(ValueError, match=f"^{re.escape(message)}$"):
        call()


# panels


@pytest.mark.parametrize(
    ("rh", "low", "high"), [(30.0, 6, 8), (45.0, 7, 9), (65.0, 9, 11), (75.0, 10, 12), (90.0, 15, 16)]
)
def test_panels_stand_on_the_published_ranges(rh, low, high):
    # EWPAA, Facts about Particleboard and MDF, p. 37, table of approximate moisture contents.
    assert panel_emc_pct(rh, "low") == pytest.approx(low, abs=1e-12)
    assert panel_emc_pct(rh, "central") == pytest.approx((low + high) / 2, abs=1e-12)
    assert panel_emc_pct(rh, "high") == pytest.approx(high, abs=1e-12)


def test_panels_are_flatter_than_solid_wood_at_high_humidity():
    # EWPAA p. 37 against Wood Handbook Table 4-2: at 90 % boards hold 15 to 16, wood 20.5 %.
    assert panel_emc_pct(90.0, "high") < solid_wood_emc_pct(21.0, 90.0) - 4.0


def test_between_the_published_points_a_panel_neither_dips_nor_overshoots():
    rh = np.linspace(0.0, 100.0, 4001)
    for spread in ("low", "central", "high"):
        moisture = panel_emc_pct(rh, spread)
        assert (np.diff(moisture) > 0.0).all()
    assert (panel_emc_pct(rh, "low") <= panel_emc_pct(rh, "central")).all()
    assert (panel_emc_pct(rh, "central") <= panel_emc_pct(rh, "high")).all()


def test_the_monotone_cubic_agrees_with_its_definition_at_a_hand_worked_point():
    # Fritsch and Butland (1984), central curve, 55 %RH, by hand. Chords: 30-45 1/15, 45-65 2/20, 65-75 1/10 per %.
    # Slope at 45: (w1 + w2) / (w1 / (1/15) + w2 / (1/10)), w1 = 2 x 20 + 15 = 55, w2 = 20 + 2 x 15 = 50: 105 / 1325.
    # Slope at 65: both chords 1/10. Half way, a cubic is the mean of the ends + width / 8 x the difference of slopes.
    by_hand = (8.0 + 10.0) / 2.0 + 20.0 / 8.0 * (105.0 / 1325.0 - 0.1)
    assert panel_emc_pct(55.0) == pytest.approx(by_hand, abs=1e-12)


def test_above_90_percent_a_panel_goes_on_at_the_slope_of_75_to_90():
    # Hand: 15.5 + 10 x (15.5 - 11) / 15 = 18.5 (a rule of ours: nothing is published there).
    assert panel_emc_pct(100.0) == pytest.approx(18.5, abs=1e-12)


# hysteresis, dispatch, uncertainty


def test_wood_from_dry_holds_four_fifths_of_wood_from_wet_and_the_equation_is_half_way():
    # Ratio 0.8: Wood Handbook ch. 4, Stamm (1964), from memory.
    band = hysteresis_band_pct(9.0)
    assert band.low / band.high == pytest.approx(0.8, abs=1e-12)
    assert (band.low + band.high) / 2.0 == pytest.approx(9.0, abs=1e-12)


def test_each_core_has_its_own_balance():
    assert equilibrium_pct("HDF", 20.0, 45.0) == 8.0
    assert equilibrium_pct("HDF", 20.0, 45.0, "high") == 9.0
    assert equilibrium_pct("solid wood", 20.0, 50.0) == solid_wood_emc_pct(20.0, 50.0)
    wood = hysteresis_band_pct(solid_wood_emc_pct(20.0, 50.0))
    assert equilibrium_pct("plywood", 20.0, 50.0, "low") == wood.low
    assert equilibrium_pct("plywood", 20.0, 50.0, "high") == wood.high


def test_only_pvc_or_mineral_does_not_move_with_moisture():
    assert [moves_with_moisture(core) for core in ("HDF", "plywood", "solid wood", "PVC or mineral")] == [
        True, True, True, False,
    ]  # fmt: skip


def test_the_sensors_uncertainty_at_20_degc_and_50_pct():
    # Slopes by another implementation of the same equation: 0.161 % per %RH and -0.025 % per K, three digits.
    assert equilibrium_uncertainty_pct("solid wood", 20.0, 50.0, 0.0, 1.0) == pytest.approx(0.161, abs=0.0005)
    assert equilibrium_uncertainty_pct("solid wood", 20.0, 50.0, 1.0, 0.0) == pytest.approx(0.025, abs=0.0005)


def test_the_two_uncertainties_add_in_squares():
    # GUM (JCGM 100:2008) eq. 10: sqrt((0.161 x 5)^2 + (0.025 x 10)^2) = sqrt(0.648 + 0.0625) = 0.843.
    assert equilibrium_uncertainty_pct("solid wood", 20.0, 50.0, 10.0, 5.0) == pytest.approx(0.843, abs=0.005)


def test_at_the_ends_of_the_range_the_slope_is_taken_from_inside():
    # Between 75 and 100 %RH the central panel ends on a straight 0.3 % per %RH; by hand.
    assert equilibrium_uncertainty_pct("HDF", 20.0, 100.0, 1.0, 5.0) == pytest.approx(1.5, abs=1e-6)
    assert equilibrium_uncertainty_pct("HDF", 60.0, 50.0, 20.0, 0.0) == 0.0


def test_the_humidity_of_a_moisture_is_the_inverse_of_the_moisture_of_a_humidity():
    for core in ("HDF", "plywood", "solid wood"):
        for spread in ("low", "central", "high"):
            moisture = equilibrium_pct(core, 20.0, np.array([5.0, 42.0, 77.0]), spread)
            assert equilibrium_rh_pct(core, 20.0, moisture, spread) == pytest.approx([5.0, 42.0, 77.0], abs=1e-8)


def test_a_moisture_that_no_air_reaches_has_no_humidity():
    assert equilibrium_rh_pct("HDF", 20.0, 18.6) == np.inf
    assert equilibrium_rh_pct("HDF", 20.0, 18.4) < 100.0


# movement


@pytest.mark.parametrize(("before", "after"), [(9.0, 12.0), (12.0, 16.0)])
def test_panels_grow_a_millimetre_per_metre_over_the_published_steps(before, after):
    # EWPAA p. 37: 9 to 12 % and 12 to 16 % each 1 mm a metre run; the range holds both.
    movement = movement_mm("HDF", 1.0, before, after)
    assert movement.low <= 1.0 + 1e-9
    assert movement.high >= 1.0 - 0.011


def test_panel_movement_holds_a_panel_makers_figure():
    # holzwurm-page.de, quoting a panel maker: 0.3 mm/m per 1 %.
    movement = movement_mm("HDF", 1.0, 8.0, 9.0)
    assert movement == (pytest.approx(0.25, abs=1e-12), pytest.approx(0.33, abs=1e-12))
    assert movement.low < 0.3 < movement.high


def test_plywood_grows_as_its_trade_body_says():
    # APA, performancepanels.com: 0.2 % from dry to fibre saturation, at about 28 %; 0.2 mm/m per 10 %RH.
    movement = movement_mm("plywood", 1.0, 0.0, 28.0)
    assert movement.low == pytest.approx(2.0, abs=0.05)
    per_10_rh = solid_wood_emc_pct(20.0, 55.0) - solid_wood_emc_pct(20.0, 45.0)
    assert movement_mm("plywood", 1.0, 0.0, per_10_rh).high == pytest.approx(0.2, abs=0.02)


def test_solid_wood_along_the_grain_stays_within_the_published_shrinkage():
    # Encyclopaedia Britannica, wood: axial 0.4 % from green (30 %) to dry; the low figure is from memory.
    movement = movement_mm("solid wood", 1.0, 30.0, 0.0)
    assert movement == (pytest.approx(-0.9, abs=1e-9), pytest.approx(-4.0, abs=0.11))


def test_a_gap_closes_where_growth_meets_the_room_left():
    # Hand: 8 m, free, 2 x 5 mm. From 45 %RH (central 8 %) the row has 10 mm: 10 / (0.33 x 8) = 3.788 % more, so the
    # lowest of the three panel curves' humidities; the high end with 0.25.
    closing = closing_rh_pct("HDF", 8.0, 0.005, 20.0, 45.0)
    worst = [
        equilibrium_rh_pct("HDF", 20.0, start + 10.0 / (0.33 * 8.0), spread)
        for start, spread in ((7.0, "low"), (8.0, "central"), (9.0, "high"))
    ]
    best = [
        equilibrium_rh_pct("HDF", 20.0, start + 10.0 / (0.25 * 8.0), spread)
        for start, spread in ((7.0, "low"), (8.0, "central"), (9.0, "high"))
    ]
    assert closing.low == pytest.approx(min(worst), abs=1e-8)
    assert closing.high == pytest.approx(max(best), abs=1e-8)


def test_a_pinned_row_has_half_the_room_of_a_free_one():
    pinned = closing_rh_pct("HDF", 8.0, 0.010, 20.0, 45.0, "pinned")
    assert pinned == closing_rh_pct("HDF", 8.0, 0.005, 20.0, 45.0, "free")


def test_a_wide_gap_never_closes():
    assert closing_rh_pct("HDF", 1.0, 0.020, 20.0, 45.0) == (np.inf, np.inf)
    assert closing_rh_pct("solid wood", 0.1, 1.0, 20.0, 45.0) == (np.inf, np.inf)


def test_no_gap_is_closed_where_it_was_left():
    closing = closing_rh_pct("HDF", 8.0, 0.0, 20.0, 52.0)
    assert closing == (pytest.approx(52.0, abs=1e-8), pytest.approx(52.0, abs=1e-8))


def test_closing_humidities_keep_the_shape_of_their_inputs():
    closing = closing_rh_pct("HDF", np.array([4.0, 8.0, 12.0]), 0.005, 20.0, np.array([[40.0], [50.0]]))
    assert closing.low.shape == (2, 3)
    assert (np.diff(closing.low, axis=1) < 0.0).all(), "a longer row closes its gap sooner"


def test_joints_share_a_rows_shrinkage_or_one_takes_all():
    # Hand: 6 m from 9 to 7 %: 0.25 x 6 x 2 = 3 mm over 5 joints, or 0.33 x 6 x 2 = 3.96 mm at one.
    opening = joint_opening_mm("HDF", 6.0, 9.0, 7.0, 5)
    assert opening == (pytest.approx(0.6, abs=1e-12), pytest.approx(3.96, abs=1e-12))


def test_joints_do_not_open_when_the_row_grows():
    assert joint_opening_mm("HDF", 6.0, 7.0, 9.0, 5) == (0.0, 0.0)


def test_pvc_or_mineral_moves_with_temperature():
    # Cement 10e-6/K (tables of linear expansion coefficients); rigid PVC 4.5e-5/degF = 81e-6/K (a PVC board's data
    # sheet). Hand: 10 m, 10 K warmer: 1.0 and 8.1 mm.
    assert thermal_movement_mm(10.0, 15.0, 25.0) == (pytest.approx(1.0, abs=1e-12), pytest.approx(8.1, abs=1e-12))
    assert thermal_movement_mm(10.0, 25.0, 15.0).high == pytest.approx(-8.1, abs=1e-12)
