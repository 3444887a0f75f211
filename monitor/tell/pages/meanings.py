"""What the words and marks of a report mean, and what it cautions of."""

from __future__ import annotations

from monitor.basis.units import format_duration
from monitor.config.profile import Profile
from monitor.rules.cautions import CAUTIONS, Caution
from monitor.tell import words

MARKS = (
    ("measured", "read by a sensor or by a person, with the corrections of its checks"),
    ("computed", "from what was measured, by a rule of this page or a published formula"),
    ("estimated", "by a model, with the bounds that stand beside it"),
    ("said", "entered by a person, or set in the profile"),
)

_RECORD = (
    "This is a record of what sensors said and people entered. It is not a certificate, and it tests no plank, glue or "
    "wall."
)
_FIRST = "The maker's written instructions and local code come first."
_DAMP = (
    "Air that stays humid feeds mould: find the damp before it is covered. Have wires and pipes in the wall traced and "
    "the power off before anything is cut or fixed. Boxes are heavy: two carry. (Common practice, no published source.)"
)
_BEFORE = (Caution.HEATER_FUEL, Caution.HEATER_UNATTENDED, Caution.HEATER_PLACE, Caution.POWER, Caution.NAIL_PATH)
_AFTER = (Caution.HEATER_PLACE, Caution.FIRE_DISTANCE, Caution.SHELVES, Caution.MOULD)


def definitions(profile: Profile, *, boards: bool) -> list[tuple[str, str]]:
    """The words of the page, each in a sentence or two; those of boards only where the page speaks of them."""
    stuck = profile.quality
    found = [
        (
            "in band",
            "Temperature and humidity were both proven inside their limits. A limit itself is inside.",
        ),
        (
            "known",
            "A sensor's reading speaks until the next one, at most for the sensor's hold. Where none speaks, or only a "
            "stuck one, the room is not known; what is not known is never in band.",
        ),
        (
            "stuck",
            f"Humidity and temperature unchanged together for {format_duration(stuck.flat_together)}, or humidity "
            f"alone for {format_duration(stuck.flat_alone)}: it may show an excursion, but proves nothing in band.",
        ),
        (
            "excursion",
            "An unbroken time beyond one limit of one quantity, whichever sensor says so; no delay, no rounding. "
            "Beyond the limit in %RH-hours or degree-hours: the distance from the limit added up over time. Excursions "
            "less than 6 h apart form an episode.",
        ),
        ("the clock", words.rule(profile)),
        ("strict", "The same rule read as hours without any break."),
        (
            "guarded",
            "The profile's clock with the limits drawn in by each sensor's uncertainty. Where it is complete too, the "
            "completion holds beyond uncertainty (ISO 14253-1, ILAC-G8).",
        ),
        (
            "coverage",
            "Known time of elapsed time. An in-band share of elapsed time is two figures: time not known counted out, "
            "and counted in.",
        ),
        (
            "uncertainty",
            "How far a sensor may be off, as its maker states or a check found. A reading decides as it stands (simple "
            "acceptance); whether an excursion or the completion holds beyond the uncertainty is said.",
        ),
    ]
    return found + (_OF_BOARDS if boards else [])


_OF_BOARDS = [
    (
        "box core",
        "How warm it is inside the stack, computed as a slab of fibreboard that follows the room, from a slow to a "
        "fast board. A sensor in the boxes outranks it.",
    ),
    (
        "board moisture",
        "One plank behind its decor, followed from the hour means of the air by nine bodies: three isotherms times "
        "three speeds. Advice, never a condition.",
    ),
    (
        "pinned, free",
        "A row that is free to slide has the gaps at both ends; one that a nail, glue or a heavy shelf holds, the "
        "smaller one.",
    ),
    (
        "mould index",
        "A model of growth on a surface, 0 (none) to 6 (covered), by whole hours (VTT). An index, not an inspection.",
    ),
]


def cautions(*, begun: bool) -> list[str]:
    """What the page cautions of: before the wall is begun, or once it is up."""
    at_step = _AFTER if begun else _BEFORE
    return [_RECORD, _FIRST, _DAMP, *(f"{CAUTIONS[one].text} ({CAUTIONS[one].source}.)" for one in at_step)]
