"""How sensors stand to hand readings and to each other, in words."""

from __future__ import annotations

from collections.abc import Sequence

from monitor.basis.values import Quantity
from monitor.rules.hand import Compared, Drift
from monitor.tell.words import QUANTITY, Display, difference, visible


def beside(quantity: Quantity, found: Compared, display: Display) -> str:
    """ "shelf agrees: 1.2 %RH above it, within the combined uncertainty of 5.4 %RH"."""
    way = "above" if found.difference > 0 else "below"
    away = f"{difference(quantity, abs(found.difference), display)} {way} it"
    relation = "within" if found.verdict == "agrees" else "more than"
    combined = f"the combined uncertainty of {difference(quantity, found.combined, display)}"
    return f"{visible(found.sensor)} {found.verdict}: {away}, {relation} {combined}"


def all_beside(quantity: Quantity, found: Sequence[Compared], display: Display) -> str:
    """Every sensor that a hand reading was held against."""
    return "; ".join(beside(quantity, each, display) for each in found) or "no sensor spoke then"


def drift(found: Drift, display: Display) -> str:
    """ "door has moved away from boxes by 2.1 %RH in 30 days (humidity; 1.9 %RH to 2.4 %RH)"."""
    near, far = sorted((abs(found.by.low), abs(found.by.high)))
    by, low, high = (difference(found.quantity, size, display) for size in (abs(found.by.middle), near, far))
    told = (
        f"{visible(found.sensor)} has moved away from {visible(found.neighbour)} by {by} in {found.days} days "
        f"({QUANTITY[found.quantity]}; {low} to {high})"
    )
    return f"{told}: more than their uncertainty, check both" if found.beyond else told
