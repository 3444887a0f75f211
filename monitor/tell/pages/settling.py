"""What to do about a condition that does not pass, in a sentence or two."""

from __future__ import annotations

from itertools import chain

from monitor.rules.assessment import Condition
from monitor.rules.readiness import RECORD_ENDS

_TO_DO = (  # each fits on one line of a screen
    ("delivered", "Close the boxes, lay them flat, and correct the entry."),
    ("acclimation", "Leave the boxes closed and flat; keep the room in band."),
    ("band", "Heat, cool, humidify or dry the room until it is back in band."),
    ("fresh", "See to the sensor: its battery, its range, the broker."),
    ("flat", "The same number for hours: restart the sensor or replace it."),
    ("agree", "Put the sensors side by side, off heaters, windows and sun."),
    ("instrument", "Check it against a better one: wallclime sensor check."),
    ("box core", "Give the boxes time, or measure the temperature inside one."),
    ("site check", "Mend the wall, then say so: wallclime log check."),
    ("moisture", "Find the water, let the wall dry, then measure again."),
    ("suitability", "Mend it, or say what holds by now: wallclime job place."),
    ("size", "Break the run into shorter ones, or ask the maker in writing."),
)
_UNKNOWN = (  # where something else is to be done than for a failure
    ("delivered", "Enter when the boxes came, and how many: wallclime log deliver."),
    ("band", "Let the room be heard: see that a sensor there sends."),
    ("site check", "Walk along the wall, answer what is open: wallclime log check."),
    ("moisture", "Measure it beside a dry place of it: wallclime log moisture."),
    ("suitability", "Say what it is like: wallclime job place."),
)
_BY_EVIDENCE = (  # where the reason itself says what is missing
    (RECORD_ENDS, "Import a newer file, or see to the sensor."),
    ("no sensor is assigned", "Assign one: wallclime sensor assign. Or import a logger's file."),
    ("no sensor speaks", "Let the room be heard first; then this is judged."),
    (
        "nobody said how the boxes lie",
        "Say it with the delivery: wallclime log deliver JOB --stack-height LENGTH. One that is logged without it is "
        "withdrawn first: wallclime log correct. Or put a sensor in the boxes.",
    ),
    ("nothing is heard from the sensor in the boxes", "See to the sensor in the boxes: its battery, its range."),
)


def to_do(condition: Condition) -> str:
    """What to do about a condition that does not pass."""
    said = (advice for words, advice in _BY_EVIDENCE if condition.evidence.startswith(words))
    known = (*_UNKNOWN, *_TO_DO) if condition.verdict == "unknown" else _TO_DO
    named = (advice for word, advice in known if word in condition.name)
    return next(chain(said, named), "See the evidence; enter what is missing.")
