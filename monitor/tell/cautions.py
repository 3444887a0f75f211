"""What can hurt at a step, in words: a short block where it is done, all of it where somebody asks."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from monitor.rules.cautions import CAUTIONS, Caution, Step, at_step

WIDTH = 80


def cautions_text(step: Step, chosen: Sequence[Caution] | None = None) -> str:
    """The headlines of a step, or of those `chosen` from it, and where the whole texts are."""
    every = at_step(step) if chosen is None else chosen
    lines = [line for caution in every for line in _wrapped(f"mind: {CAUTIONS[caution].headline}", 6)]
    return "\n".join([*lines, f"in full: wallclime cautions {step}"])


def catalogue(cautions: Sequence[Caution]) -> str:
    """The whole text of each, with its source."""
    blocks = [_wrapped(CAUTIONS[c].text, 0) + _wrapped(f"  source: {CAUTIONS[c].source}", 4) for c in cautions]
    return "\n\n".join("\n".join(block) for block in blocks)


def _wrapped(text: str, indent: int) -> list[str]:
    return textwrap.wrap(text, WIDTH, subsequent_indent=" " * indent, break_on_hyphens=False)
