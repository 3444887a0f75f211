import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.climate.wood import (
    closing_rh_pct,
    equilibrium_pct,
    joint_opening_mm,
    movement_mm,
    panel_emc_pct,
    solid_wood_emc_pct,
    thermal_movement_mm,
)

temperatures = st.floats(-20, 60)
humidities = st.floats(0, 100)
moving_cores = st.sampled_from(["HDF", "plywood", "solid wood"])
spreads = st.sampled_from(["low", "central", "high"])


@given(core=moving_cores, spread=spreads, t=temperatures, rh=st.floats(0, 99), more=st.floats(0.01, 1))
def test_a_wetter_room_makes_wetter_boards(core, spread, t, rh, more):
    assert equilibrium_pct(core, t, rh + more, spread) > equilibrium_pct(core, t, rh, spread)


@given(t=st.lists(temperatures, min_size=1, max_size=5), rh=humidities)
def test_an_array_gives_what_its_numbers_give(t, rh):
    assert solid_wood_emc_pct(np.array(t), rh).tolist() == pytest.approx(
        [solid_wood_emc_pct(x, rh) for x in t], rel=1e-13
    )
    assert panel_emc_pct(np.full(3, rh)).tolist() == [panel_emc_pct(rh)] * 3


@given(core=moving_cores, length=st.floats(0, 100), mc=st.floats(0, 100), t=temperatures)
def test_nothing_moves_between_equal_moistures_or_temperatures(core, length, mc, t):
    assert movement_mm(core, length, mc, mc) == (0.0, 0.0)
    assert joint_opening_mm(core, length, mc, mc, 3) == (0.0, 0.0)
    assert thermal_movement_mm(length, t, t) == (0.0, 0.0)


@given(core=moving_cores, length=st.floats(0, 100), a=st.floats(0, 30), b=st.floats(0, 30), c=st.floats(0, 30))
def test_movements_add_up_and_turn_back(core, length, a, b, c):
    there, on, both = (movement_mm(core, length, *step) for step in ((a, b), (b, c), (a, c)))
    assert there.high + on.high == pytest.approx(both.high, abs=1e-9)
    assert movement_mm(core, length, b, a).low == -there.low


@given(
    core=moving_cores,
    length=st.floats(0.5, 30),
    gap=st.floats(0, 0.03),
    t=st.floats(0, 40),
    rh=st.floats(1, 99),
)
def test_a_pinned_row_is_never_better_off_than_a_free_one(core, length, gap, t, rh):
    pinned, free = (closing_rh_pct(core, length, gap, t, rh, row) for row in ("pinned", "free"))
    assert pinned.low <= free.low
    assert pinned.high <= free.high
    assert rh - 1e-6 <= pinned.low <= pinned.high
