"""The upkeep of the record in words: holds, what was forgotten, restores."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from shlex import quote
from typing import Any

from monitor.basis.times import rfc3339
from monitor.basis.units import format_duration
from monitor.basis.values import Entry, Kind
from monitor.tell import words
from monitor.tell.words import Display, visible

READINGS_STAY = "the readings, which hold no name and are sealed by sensor and day for every job of the place"
COPIES_STAY = "copies made before still say it: backups, bundles, reports, what was sent"


SHORT = 8  # of a hash that stands whole elsewhere [hex digits]


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
    entry: Entry | None, numbers: Sequence[int], files: int, names: Mapping[str, Sequence[int]], older: Sequence[Path]
) -> Iterator[str]:
    """What was erased and what stays, a line each."""
    for path in older:
        yield f"mind: an older store still says it, until you remove it: {path}"
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


def thinned(entries: Sequence[Entry], older: Sequence[Path]) -> Iterator[str]:
    """What was thinned and what stays, a line each."""
    for path in older:
        yield f"mind: an older store still holds all of it, until you remove it: {path}"
    if not entries:
        yield "nothing is left to go; the store was cleaned once more of what was erased before"
        return
    for entry in entries:
        days = sorted({one["day"] for one in entry.body["days"]})
        yield (
            f"entry {entry.number} of the sensors' log: {words.counted_things(len(days), 'day')} from {days[0]} to "
            f"{days[-1]}; of {entry.body['readings']} readings {entry.body['left']} are left"
        )
    yield "stays: the seals of these days; what is left of them rests on that entry, and is judged anew"
    yield f"mind: {COPIES_STAY.replace('say it', 'hold all of it')}"


def holds(said: Mapping[str, Any]) -> str:
    """ "head 12 (9f3c0a2b), 41 entries, up to 2026-01-05T06:40:00Z": what a store holds, by its figures in short."""
    head = "no head" if said["head"] is None else f"head {said['head']['number']} ({said['head']['hash'][:SHORT]})"
    entries = f"{said['entries']} {'entry' if said['entries'] == 1 else 'entries'}"
    until = f", up to {rfc3339(said['until'])}" if said["until"] else ""
    return f"{head}, {entries}{until}"


def backed_up(path: Path, said: Mapping[str, Any], key: Path | None, key_copy: Path | None) -> Iterator[str]:
    """What a backup holds, and where the signing key is, a line each."""
    yield f"wrote {path}: {holds(said)}; it was read again and is whole"
    if key is None:
        yield "there is no signing key yet: it is made with the first head"
    elif key_copy is None:
        yield f"the signing key is not in it: keep a copy of {key} in another place, or add --with-key"
    else:
        yield f"the signing key lies beside it: {key_copy}"
        yield "mind: whoever has that file can sign in your name; keep it apart from the backup"


def restored(entry: Entry, replaced: Path | None, key: Path | None, key_there: bool) -> Iterator[str]:
    """What was put in place and what is to be done now, a line each."""
    yield f"entry {entry.number} of the sensors' log: restored from {holds(entry.body)}"
    if replaced is not None:
        before = entry.body["replaced"]
        yield f"the store that was there is kept: {replaced} ({'unreadable' if before is None else holds(before)})"
    yield "mind: what came later is not here. Codes of later heads will not fit; wallclime seal compare finds them"
    if untold := entry.body["untold"]:
        yield f"messages that waited in the backup and are not sent any more: {untold}. wallclime status counts them"
    if key is not None and not key_there:
        yield f"the signing key is not here: put it back as {key}, or declare it lost: wallclime seal lost"


def forgotten_since(job: str, entry: Entry) -> str:
    """What was forgotten or thinned in a store that was replaced, and stands again in the restored one."""
    if entry.kind is Kind.THINNED:
        name, until = quote(entry.body["sensor"]), max(one["day"] for one in entry.body["days"])
        which = f"{name} --before DAY --each {quote(format_duration(entry.body['each_ms']))} --reason TEXT"
        return f"mind: {visible(name)} was thinned since up to {until}, thin it again: wallclime sensor thin {which}"
    numbers = ",".join(map(str, entry.body["entries"]))
    which = "" if entry.body["whole"] else f" --entries {numbers}"
    return f"mind: {visible(job)} was forgotten since, forget it again: wallclime job forget {quote(job)}{which}"


def examined(name: str, verdict: str, evidence: str, mend: str) -> list[str]:
    """One thing that the doctor looked at; the mend, where there is one, in a line of its own."""
    head = f"{verdict.upper():<8} {visible(name)}: {visible(evidence)}"
    return [head, f"         > {visible(mend)}"] if mend else [head]


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


def _restored(body: Mapping[str, Any], display: Display) -> str:
    head = body["head"]
    which = "no head" if head is None else f"head {head['number']}, {head['hash']}"
    until = f", the backup of {words.when(body['until'], display)}" if body["until"] else ""
    return f"from {which}{until}; what came later is not here; file: {visible(body['file'])}; sha256: {body['sha256']}"


def _thinned(body: Mapping[str, Any], _display: Display) -> str:
    days = sorted({one["day"] for one in body["days"]})
    return (
        f"{visible(body['sensor'])}, {days[0]} to {days[-1]}, {words.counted_things(len(days), 'day')}: "
        f"of {body['readings']} readings {body['left']} are left, of each {format_duration(body['each_ms'])} the "
        f"first, lowest, highest and last: {visible(body['reason'])}"
    )


SENTENCES: Mapping[Kind, Callable[[Mapping[str, Any], Display], str]] = {
    Kind.ERASED: _erased,
    Kind.HOLD: _hold,
    Kind.FORGOTTEN: _forgotten,
    Kind.RESTORED: _restored,
    Kind.THINNED: _thinned,
}


def sentence(entry: Entry, display: Display) -> str:
    """What an entry of the upkeep says, "" for an entry of another kind."""
    tell = SENTENCES.get(entry.kind)
    return "" if tell is None else tell(entry.body, display)
