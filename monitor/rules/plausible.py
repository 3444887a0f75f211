"""Whether what a sensor says looks like another unit than it is taken for: a hint for people, nothing hangs on it."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import fmean

from monitor.basis.units import to_base
from monitor.basis.values import Quantity

HOTTEST = 45.0  # no room in which planks are laid is warmer; figure ours [degC]
COLDEST = 5.0  # ... or, where it is meant to be warmed, much colder; figure ours [degC]
LEAST = 1.0  # nor is its air so dry; figure ours [%]
NEAR, FAR = 3.0, 10.0  # from the neighbours: so near it agrees, so far it can't; figures ours [K]

_OTHER = {"degC": "degF", "degF": "degC", "%": "1"}


def looks_like(quantity: Quantity, value: float, unit: str, beside: Sequence[float] = ()) -> str | None:
    """The unit that a value, sent and taken for `unit`, looks like it is in; None where it looks right.

    `beside`: what other sensors of the place say. [degC, %]
    """
    other = _OTHER.get(unit)
    if other is None:
        return None
    taken, instead = to_base(value, unit), to_base(value, other)
    if quantity is Quantity.AIR_HUMIDITY:
        return other if unit == "%" and 0.0 < taken <= LEAST else None
    if unit == "degC" and taken > HOTTEST and COLDEST <= instead <= HOTTEST:
        return other
    agrees = bool(beside) and abs(taken - fmean(beside)) > FAR and abs(instead - fmean(beside)) <= NEAR
    return other if agrees else None
