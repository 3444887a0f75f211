"""Whether what a sensor says looks like another unit than it is taken for."""

from __future__ import annotations

import pytest

from monitor.basis.values import Quantity
from monitor.rules.plausible import looks_like

T, RH = Quantity.AIR_TEMPERATURE, Quantity.AIR_HUMIDITY


@pytest.mark.parametrize(
    ("quantity", "value", "unit", "beside", "found"),
    [
        (T, 63.1, "degC", (), "degF"),  # (63.1 - 32) / 1.8 = 17.3 degC
        (T, 63.1, "degC", (63.4,), "degF"),  # both are
        (T, 45.1, "degC", (), "degF"),
        (T, 45.0, "degC", (), None),  # a hot room
        (T, 39.6, "degC", (), None),
        (T, 39.6, "degC", (4.1,), "degF"),  # (39.6 - 32) / 1.8 = 4.2 degC
        (T, 39.6, "degC", (36.0, 38.0), None),
        (T, 39.6, "degC", (20.0,), None),  # neither fits: that is another matter than the unit
        (T, 17.2, "degF", (17.0,), "degC"),
        (T, 17.2, "degF", (), None),
        (T, 200.0, "degC", (), None),  # 93.3 degC is no room's air either
        (T, 290.0, "K", (), None),
        (RH, 0.58, "%", (), "1"),
        (RH, 1.1, "%", (), None),
        (RH, 0.0, "%", (), None),
        (RH, 0.58, "1", (), None),
    ],
)
def test_a_value_looks_like_another_unit_where_only_that_fits_a_room_or_the_neighbours(
    quantity, value, unit, beside, found
):
    assert looks_like(quantity, value, unit, beside) == found
