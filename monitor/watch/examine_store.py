"""What the doctor looks at in the store: that it opens and is written, its file, logs, files, key, heads and seals."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

from monitor.basis.times import rfc3339
from monitor.basis.values import Entry, Kind
from monitor.keep.schema import VERSIONS
from monitor.seal import chain, codes
from monitor.tell.words import counted_things as counted
from monitor.watch.book import linked
from monitor.watch.desk import Desk
from monitor.watch.evidence import keyring
from monitor.watch.evidence.sealcheck import check_heads, check_leaves, overdue
from monitor.watch.examining import IllError, Look, UnknownError, none

_ASIDE = "Put the store aside unchanged and continue from a backup: wallclime restore FILE --replace"


def store_looks(desk: Desk, file: Path | None, progress: Callable[[float], None]) -> dict[str, Look]:
    """What is looked at in an open store, by name; `progress` is told of the longest look, 0 to 1."""
    return {
        "store": lambda: _opened(desk, file),
        "writing": lambda: _written(desk),
        "store file": lambda: none(iter(desk.store.damage()), "it is whole", _ASIDE),
        "logs": lambda: _logs(desk),
        "files": lambda: _files(desk),
        "signing key": lambda: _key(desk),
        "heads": lambda: _heads(desk),
        "seals": lambda: _seals(desk, progress),
        "days to seal": lambda: _unsealed(desk),
    }


def _written(desk: Desk) -> str:
    desk.store.try_writing()
    return "the store can be written"


def _opened(desk: Desk, file: Path | None) -> str:
    readings = sum(heard.readings for heard in desk.store.heard())
    jobs = len(desk.book.names())
    where = "PostgreSQL" if file is None else str(file)
    return f"{where}, version {VERSIONS[-1]}, {counted(jobs, 'job')}, {counted(readings, 'reading')}"


def _logs(desk: Desk) -> str:
    chains = {name: desk.store.entries(name) for name in desk.store.chains()}
    faults = (f"{fault.where}: {fault.what}" for entries in chains.values() for fault in chain.faults(linked(entries)))
    erased = (told for entries in chains.values() for told in _untold(entries))
    count = sum(map(len, chains.values()))
    return none((told for found in (faults, erased) for told in found), f"entries hang together: {count}", _ASIDE)


def _untold(entries: list[Entry]) -> Iterator[str]:
    """Erased entries of which no entry says that they were forgotten."""
    told = {number for entry in entries if entry.kind is Kind.FORGOTTEN for number in entry.body["entries"]}
    for entry in entries:
        if entry.kind is Kind.ERASED and entry.number not in told:
            yield f"entry {entry.number} of {entry.chain or 'the sensors'} was erased, and no entry says why"


def _files(desk: Desk) -> str:
    named = [
        (entry, str(entry.body["sha256"]))
        for name in desk.store.chains()
        for entry in desk.store.entries(name)
        if {"sha256", "media_type"} <= set(entry.body)
    ]
    lost = (
        f"the file {sha256[:12]} that entry {entry.number} of {entry.chain} names is not there"
        for entry, sha256 in named
        if desk.store.attachment(sha256) is None
    )
    return none(lost, f"photos and documents are there: {len(named)}", _ASIDE)


# --- the seals --------------------------------------------------------------------------------------------------------


def _key(desk: Desk) -> str:
    known = keyring.epochs(desk)
    if not known:
        raise UnknownError("there is none yet", "It is made with the first head: wallclime seal now")
    keyring.key_in_use(desk, known)
    return f"{keyring.key_path(desk, len(known))} is the one of this record: {codes.grouped(known[-1].fingerprint)}"


def _sealed(desk: Desk) -> int:
    newest = desk.store.newest_head()
    if newest is None:
        raise UnknownError("nothing is sealed yet", "Run wallclime serve, or seal by hand: wallclime seal now")
    return newest.number


def _heads(desk: Desk) -> str:
    last = _sealed(desk)
    return none(check_heads(desk), f"signed, and each follows on the one before: {last}", _ASIDE)


def _seals(desk: Desk, progress: Callable[[float], None]) -> str:
    _sealed(desk)
    return none(check_leaves(desk, progress), "logs, readings and refused things are as they were sealed", _ASIDE)


def _unsealed(desk: Desk) -> str:
    days = overdue(desk)
    if days:
        told = f"of days that are over {len(days)} wait to be sealed, the first is {rfc3339(days[0])[:10]}"
        mend = "Run wallclime serve, or seal by hand: wallclime seal now"
        raise UnknownError(told, mend) if desk.store.newest_head() is None else IllError(told, mend)
    return "no day that is over waits to be sealed"
