"""What sensors said of late: beyond a limit with on-delay, off-delay and dead band; and what was not known between."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.basis.times import MINUTE
from monitor.rules.alarm.spells import held
from monitor.rules.trend import Recent

START = 1_767_571_200_000  # 2026-01-05T00:00Z
DELAYS = {"on_delay": 30 * MINUTE, "off_delay": 30 * MINUTE}


def channel(*values: float, every: int = 10) -> Recent:
    """Readings every so many minutes from START on."""
    return Recent(START + every * MINUTE * np.arange(len(values), dtype=np.int64), np.array(values))


def since(at: float, *channels: Recent, side: str = "high", limit: float = 80.0) -> float | None:
    """The minute since which some channel is beyond the limit; 2 of dead band."""
    found = held(channels, limit, side, 2.0, as_of=START + round(at * MINUTE), **DELAYS)  # type: ignore[arg-type]
    return None if found is None else (found - START) / MINUTE


def test_exactly_the_on_delay_is_held():
    rises = channel(70, 81, 81, 81, 81)
    assert since(40, rises) == 10
    assert since(39.99, rises) is None


def test_it_is_held_until_it_was_inside_by_the_dead_band_for_exactly_the_off_delay():
    falls = channel(81, 81, 81, 81, 77.9, 77.9, 77.9, 77.9)
    assert since(69.99, falls) == 0
    assert since(70, falls) is None


def test_inside_but_not_by_the_dead_band_holds_it():
    assert since(200, channel(81, 81, 81, 79)) == 0
    assert since(200, channel(81, 81, 81, 78)) is None  # exactly the dead band is inside by it


def test_stretches_exactly_the_off_delay_apart_are_two_and_nearer_ones_one():
    assert since(90, channel(81, 81, 81, 70, 70, 70, 81, 81, 81)) == 60
    assert since(80, channel(81, 81, 81, 70, 70, 81, 81, 81)) == 0


def test_the_second_of_two_stretches_has_its_own_on_delay():
    assert since(80, channel(81, 81, 81, 70, 70, 70, 81, 81)) is None


def test_whoever_is_beyond_it_holds_it():
    one, other = channel(81, 81, 70, 70, 70, 70), channel(70, 70, 81, 81, 70, 70)
    assert since(40, one, other) == 0


@pytest.mark.parametrize(("value", "holds"), [(4.9, True), (5.0, False)])
def test_the_low_side_is_below_the_limit(value, holds):
    assert (since(60, channel(*[value] * 6), side="low", limit=5.0) == 0) is holds


def test_readings_in_any_order_say_the_same():
    rises = channel(70, 81, 81, 81, 81, 70)
    turned = Recent(rises.t[::-1], rises.value[::-1])
    assert since(55, turned) == since(55, rises) == 10


def test_what_was_said_from_as_of_on_does_not_count():
    assert since(20, channel(70, 70, 81, 81, 81, 81)) is None


def test_nobody_holds_nothing():
    assert since(60) is None
