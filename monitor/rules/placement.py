"""Where a sensor hangs, held against common practice. Nothing here is a gate: it is said where the sensor is shown."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from monitor.basis.units import System, format_length

CLEAR = 1.0  # from heaters, vents and outside walls; common practice, no published source [m]
BESIDE = 2.0  # from the boxes; common practice, no published source [m]
STACK = (0.2, 1.5)  # the height of a stack of boxes, and so of the sensor; common practice, no published source [m]

_ASKED = {
    "height": "its height above the floor",
    "to_boxes": "the distance to the boxes",
    "to_heater": "the distance to the nearest heater",
    "to_vent": "the distance to the nearest air vent",
    "to_window": "the distance to the nearest window",
    "to_outside_wall": "the distance to the nearest outside wall",
    "in_sun": "whether the sun reaches it",
    "photo": "a photo",
}


class Placement(NamedTuple):
    """What was said of a sensor's place. Distances in m; None where nobody said. `photo` is a file's name."""

    height: float | None = None
    to_boxes: float | None = None
    to_heater: float | None = None
    to_vent: float | None = None
    to_window: float | None = None
    to_outside_wall: float | None = None
    in_sun: bool | None = None
    photo: str | None = None

    def to_json(self) -> dict[str, Any]:
        """What was said, without what was not."""
        return {name: value for name, value in self._asdict().items() if value is not None}

    @classmethod
    def from_json(cls, said: Mapping[str, Any]) -> Placement:
        """What `to_json` wrote."""
        return cls(**said)


def unsaid(placement: Placement) -> list[str]:
    """What nobody has said yet, in words."""
    said = placement.to_json()
    return [words for name, words in _ASKED.items() if name not in said]


def concerns(placement: Placement, units: System = "si") -> list[str]:
    """What speaks against the place, in words; an empty list where nothing that was said does."""
    found = []
    low, high = STACK
    if placement.height is not None and not low <= placement.height <= high:
        found.append(
            f"it hangs {format_length(placement.height, units)} above the floor, not at the height of the stack "
            f"({format_length(low, units)} to {format_length(high, units)})"
        )
    if placement.to_boxes is not None and placement.to_boxes > BESIDE:
        found.append(f"it is {format_length(placement.to_boxes, units)} from the boxes: their air may be another")
    for name, distance in (
        ("a heater", placement.to_heater),
        ("an air vent", placement.to_vent),
        ("a window", placement.to_window),
        ("an outside wall", placement.to_outside_wall),
    ):
        if distance is not None and distance < CLEAR:
            found.append(f"{name} is {format_length(distance, units)} away, nearer than {format_length(CLEAR, units)}")
    if placement.in_sun:
        found.append("the sun reaches it")
    return found


def described(placement: Placement, units: System = "si") -> str:
    """The place in a few words, for a table."""
    parts = [
        f"{words} {format_length(value, units)}"
        for words, value in (
            ("height", placement.height),
            ("to boxes", placement.to_boxes),
            ("to heater", placement.to_heater),
            ("to vent", placement.to_vent),
            ("to window", placement.to_window),
            ("to outside wall", placement.to_outside_wall),
        )
        if value is not None
    ]
    if placement.in_sun is not None:
        parts.append("in the sun" if placement.in_sun else "never in the sun")
    if placement.photo:
        parts.append(f"photo {placement.photo}")
    return "; ".join(parts)
