"""What is said of a chart: what it shows, and how much of the record is drawn."""

from __future__ import annotations

from collections.abc import Sequence

from monitor.basis.values import Quantity
from monitor.config.profile import Profile
from monitor.rules.assessment import Assessment, Excursion
from monitor.tell import words
from monitor.tell.words import Display


def drawn(number: int, total: int) -> str:
    """How much of the record the drawing shows."""
    if number == total:
        return f"All {total} readings are drawn."
    return (
        f"{number} of {total} points drawn: of each short stretch the first, lowest, highest and last. "
        "All of them stand in the CSV of the bundle (wallclime bundle)."
    )


def finding(
    assessment: Assessment,
    profile: Profile,
    quantity: Quantity,
    read: tuple[float, float] | None,
    display: Display,
    partial: Sequence[Excursion] = (),
) -> str:
    """What a chart shows, in words: lowest and highest `read`, and how often and how long the band was left.

    `partial` are those of the Assessment's excursions that last beyond what is shown: their worst may lie there.
    """
    name = words.QUANTITY[quantity].capitalize()
    if read is None:
        return f"{name}: nothing has been heard."
    low, high = (words.measure(quantity, value, display) for value in read)
    text = f"{name} read from {low} to {high}."
    found = [each for each in assessment.excursions if each.quantity is quantity]
    if not found:
        return f"{text} It never left the band in the time that is known."
    out = words.length(sum((assessment.as_of if each.end is None else each.end) - each.start for each in found))
    furthest = max(found, key=lambda each: abs(each.peak - words.limit_of(each, profile)))
    of = " in the whole excursion, which lasts beyond what is shown" if furthest in partial else ""
    often, far = words.times(len(found)), words.worst(furthest, profile, display)
    return f"{text} It left the band {often}, for {out} in all, at worst {far}{of}."
