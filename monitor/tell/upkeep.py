"""The upkeep of the record in words: holds, what was forgotten, restores."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from monitor.basis.values import Entry, Kind
from monitor.tell import words
from monitor.tell.words import Display, visible

READINGS_STAY = "the readings, which hold no name and are sealed by sensor and day for every job of the place"
COPIES_STAY = "copies made before still say it: backups, bundles, reports, what was sent"


def numbered(numbers: Sequence[int]) -> str:
    """ "entry 7" or "entries 1 to 3, 7" of ascending numbers."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1] = [runs[-1][0], number]
        else:
            runs.append([number])
    told = ", ".join(" to ".join(map(str, run)) for run in runs)
    return f"{'entry' if len(numbers) == 1 else 'entries'} {told}"


# --- what was done ----------------------------------------------------------------------------------------------------


def forgotten(
    entry: Entry | None, numbers: Sequence[int], files: int, names: Mapping[str, Sequence[int]]
) -> Iterator[str]:
    """What was erased and what stays, a line each."""
    if entry is None:
        yield "nothing is left to erase; the store was cleaned once more of what was erased before"
        return
    with_files = f" and {words.counted_things(files, 'file')}" if files else ""
    yield f"entry {entry.number}: erased {numbered(numbers)}{with_files}"
    yield f"stays: {READINGS_STAY}"
    if entry.body["whole"]:
        yield "stays: the job's name, when its entries were written, and the sensors' log"
    for name, where in sorted(names.items()):
        yield f"stays: the name {visible(name)} in {numbered(where)}, on which the record rests"
    yield f"mind: {COPIES_STAY}"


# --- entries ----------------------------------------------------------------------------------------------------------


def _erased(body: Mapping[str, Any], _display: Display) -> str:
    return f"see entry {body['by']}"


def _hold(body: Mapping[str, Any], _display: Display) -> str:
    what = "nothing of it may be thinned or forgotten" if body["held"] else "released"
    return f"{what}: {visible(body['reason'])}"


def _forgotten(body: Mapping[str, Any], _display: Display) -> str:
    kinds = ", ".join(f"{number} {visible(kind)}" for kind, number in body["kinds"].items())
    what = "the whole job" if body["whole"] else numbered(body["entries"])
    return f"{what} ({kinds}): {visible(body['reason'])}"


SENTENCES: Mapping[Kind, Callable[[Mapping[str, Any], Display], str]] = {
    Kind.ERASED: _erased,
    Kind.HOLD: _hold,
    Kind.FORGOTTEN: _forgotten,
}


def sentence(entry: Entry, display: Display) -> str:
    """What an entry of the upkeep says, "" for an entry of another kind."""
    tell = SENTENCES.get(entry.kind)
    return "" if tell is None else tell(entry.body, display)
