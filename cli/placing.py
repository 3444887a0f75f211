"""Where a sensor hangs, as wallclime sensor assign takes it: options, questions on a terminal, what to mind."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from cli.common import say

if TYPE_CHECKING:
    from monitor.rules.placement import Placement

LENGTHS = {
    "height": "Its height above the floor",
    "to_boxes": "How far from the boxes",
    "to_heater": "How far from the nearest heater",
    "to_vent": "How far from the nearest air vent",
    "to_window": "How far from the nearest window",
    "to_outside_wall": "How far from the nearest outside wall",
}


def placed(said: Mapping[str, str | None], in_sun: bool | None, photo: Path | None) -> tuple[Placement, dict[str, Any]]:
    """What was said of a place, and of a terminal asked; and what of it the entry keeps.

    Raises QuantityError for a length, RecordError for a photo that can't be read.
    """
    from monitor.basis.units import parse_length
    from monitor.rules.placement import Placement

    known: dict[str, Any] = {
        name: parse_length(text, where=f"--{name.replace('_', '-')}") for name, text in said.items() if text
    }
    known |= {} if in_sun is None else {"in_sun": in_sun}
    if sys.stdin.isatty():
        known |= _asked(known)
    kept = {} if photo is None else {"photo_sha256": _sha256(photo)}
    known |= {} if photo is None else {"photo": photo.name}
    placement = Placement(**known)
    return placement, {"placement": placement.to_json(), **kept} if known else {}


def _asked(known: Mapping[str, Any]) -> dict[str, Any]:
    """Answers to what was not said; an empty answer skips, one that can't be read is asked again."""
    answers: dict[str, Any] = {}
    for name, question in LENGTHS.items():
        if name not in known:
            answers |= _answer(name, question)
    if "in_sun" not in known:
        sun = typer.prompt("Does the sun reach it (y/n)", default="", show_default=False, err=True).strip().lower()
        answers |= {"in_sun": sun[0] == "y"} if sun[:1] in ("y", "n") and sun else {}
    return answers


def _answer(name: str, question: str) -> dict[str, float]:
    from monitor.basis.errors import QuantityError
    from monitor.basis.units import parse_length

    while text := typer.prompt(question, default="", show_default=False, err=True).strip():
        try:
            return {name: parse_length(text, where=question)}
        except QuantityError as exc:
            say(str(exc))
    return {}


def _sha256(photo: Path) -> str:
    import hashlib

    from monitor.basis.errors import RecordError

    try:
        with photo.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as exc:
        raise RecordError(f"it can't be read ({exc.strerror})", where=str(photo), mend="Name a file") from exc


def tell(placement: Placement, units: str) -> None:
    """What speaks against the place, and what was not said of it."""
    from monitor.rules.placement import concerns, unsaid

    for concern in concerns(placement, units):  # type: ignore[arg-type]
        say(f"mind: {concern} (common practice)")
    if left := unsaid(placement):
        say(f"not said: {'; '.join(left)}")
