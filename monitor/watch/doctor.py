"""The doctor: looks at the home, the store, its seals, the clock, the daemon and the brokers, and changes nothing."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Literal

from monitor.basis.clock import Clock, SystemClock
from monitor.basis.errors import WallclimeError
from monitor.basis.times import SECOND, rfc3339
from monitor.basis.units import format_duration
from monitor.basis.values import Entry, Kind
from monitor.config.brokers import Broker
from monitor.config.settings import Settings, load_settings
from monitor.keep.schema import VERSIONS
from monitor.keep.store import open_store
from monitor.seal import chain, codes
from monitor.tell.words import counted_things as counted
from monitor.watch import keyring
from monitor.watch.book import Book, linked
from monitor.watch.desk import Desk
from monitor.watch.pages import daemon_trouble
from monitor.watch.sealcheck import check_heads, check_leaves, overdue
from monitor.watch.upkeep import store_file

LEAST_ROOM = 200 * 2**20  # free on the disk: days of many sensors, and room to make the store anew; ours [bytes]
CLOCK_SLACK = 2 * SECOND  # between two looks at one clock

_FILE = "wallclime.toml"
_ASIDE = "Put the store aside unchanged and continue from a backup: wallclime restore FILE --replace"

Verdict = Literal["pass", "fail", "unknown"]


@dataclass(frozen=True, slots=True)
class Check:
    """One thing that was looked at: what was found, and the mend where it is not well."""

    name: str
    verdict: Verdict
    evidence: str
    mend: str = ""


class _UnknownError(Exception):
    """It can't be told: what, and the mend."""


class _IllError(Exception):
    """It is not well: what, and the mend."""


def doctor(
    home: Path,
    *,
    environ: Mapping[str, str] = os.environ,
    clock: Clock | None = None,
    progress: Callable[[float], None] = lambda _: None,
) -> list[Check]:
    """All that can be looked at, in the order in which one rests on the other; `progress` of the longest, 0 to 1."""
    return list(_looked_at(home.resolve(), environ, clock or SystemClock(), progress))


def _looked_at(
    home: Path, environ: Mapping[str, str], clock: Clock, progress: Callable[[float], None]
) -> Iterator[Check]:
    if not home.is_dir():
        yield Check("home", "fail", f"there is no folder {home}", "Name it with --home, or begin: wallclime init")
        return
    try:
        settings = load_settings(home, environ)
    except WallclimeError as exc:
        for fault in exc.faults:
            yield Check("settings", "fail", f"{fault.where}: {fault.what}", fault.mend)
        return
    told = f"{home / _FILE} can be read" if (home / _FILE).exists() else f"there is no {_FILE}: all is as by default"
    yield Check("settings", "pass", told)
    yield _look("file modes", lambda: _modes(settings))
    yield _look("disk room", lambda: _room(settings))
    yield from _store(settings, clock, progress)
    for broker in settings.brokers:
        yield _look(f"broker {broker.host}:{broker.port}", partial(_broker, settings, broker))


def _look(name: str, look: Callable[[], str]) -> Check:
    """What a look answers is a pass; what it raises is none."""
    try:
        return Check(name, "pass", look())
    except _UnknownError as exc:
        return Check(name, "unknown", *exc.args)
    except _IllError as exc:
        return Check(name, "fail", *exc.args)
    except WallclimeError as exc:
        fault = exc.faults[0]
        return Check(name, "fail", f"{fault.where}: {fault.what}", fault.mend)


def _none(faults: Iterator[str], well: str, mend: str) -> str:
    """`well` where there are no faults; else the first of them, and how many more."""
    found = list(faults)
    if found:
        more = f" (and {len(found) - 1} more)" if found[1:] else ""
        raise _IllError(f"{found[0]}{more}", mend)
    return well


# --- the home ---------------------------------------------------------------------------------------------------------


def _modes(settings: Settings) -> str:
    """Nobody but the owner reads the store and the keys, or writes the settings."""
    if os.name != "posix":
        raise _UnknownError("this system has no modes of files", "See to it that nobody else can read the home")
    file, home = store_file(settings), settings.home
    secret = [Path(f"{file}{ending}") for ending in ("", "-wal", "-shm")] if file is not None else []
    secret += [home / "keys", *sorted((home / "keys").glob("*"))]
    looked = [(path, 0o077, "read", "go-rwx") for path in secret]
    looked += [(path, 0o022, "write", "go-w") for path in (home, home / _FILE)]
    for path, forbidden, what, change in looked:
        if path.exists() and path.stat().st_mode & forbidden:
            raise _IllError(f"others than its owner may {what} {path}", f"Run: chmod {change} {path}")
    return "nobody else may read the store and the keys, or write the settings"


def _room(settings: Settings) -> str:
    file = store_file(settings)
    folder = settings.home if file is None or not file.parent.is_dir() else file.parent
    free = shutil.disk_usage(folder).free
    told = f"{free / 2**30:.1f} GiB are free in {folder}"
    if free < LEAST_ROOM:
        raise _IllError(told, f"Free some space: at least {LEAST_ROOM >> 20} MiB")
    return told


# --- the store --------------------------------------------------------------------------------------------------------


def _store(settings: Settings, clock: Clock, progress: Callable[[float], None]) -> Iterator[Check]:
    file = store_file(settings)
    if file is not None and not file.exists():
        yield Check("store", "unknown", f"there is none yet: {file}", "It is made by the first command that needs it")
        return
    try:
        store = open_store(settings.store_url, clock=clock, link=chain.link)
    except WallclimeError as exc:
        yield Check("store", "fail", f"{exc.faults[0].where}: {exc.faults[0].what}", exc.faults[0].mend)
        return
    with store:
        desk = Desk(settings, store, Book(store), clock)
        looks: dict[str, Callable[[], str]] = {
            "store": lambda: _opened(desk, file),
            "store file": lambda: _none(iter(store.damage()), "it is whole", _ASIDE),
            "logs": lambda: _logs(desk),
            "files": lambda: _files(desk),
            "signing key": lambda: _key(desk),
            "heads": lambda: _heads(desk),
            "seals": lambda: _seals(desk, progress),
            "days to seal": lambda: _unsealed(desk),
            "clock": lambda: _clock(desk),
            "daemon": lambda: _daemon(desk),
        }
        for name, look in looks.items():
            yield _look(name, look)


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
    return _none((told for found in (faults, erased) for told in found), f"entries hang together: {count}", _ASIDE)


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
    return _none(lost, f"photos and documents are there: {len(named)}", _ASIDE)


# --- the seals --------------------------------------------------------------------------------------------------------


def _key(desk: Desk) -> str:
    known = keyring.epochs(desk)
    if not known:
        raise _UnknownError("there is none yet", "It is made with the first head: wallclime seal now")
    keyring.key_in_use(desk, known)
    return f"{keyring.key_path(desk, len(known))} is the one of this record: {codes.grouped(known[-1].fingerprint)}"


def _sealed(desk: Desk) -> int:
    newest = desk.store.newest_head()
    if newest is None:
        raise _UnknownError("nothing is sealed yet", "Run wallclime serve, or seal by hand: wallclime seal now")
    return newest.number


def _heads(desk: Desk) -> str:
    last = _sealed(desk)
    return _none(check_heads(desk), f"signed, and each follows on the one before: {last}", _ASIDE)


def _seals(desk: Desk, progress: Callable[[float], None]) -> str:
    _sealed(desk)
    return _none(check_leaves(desk, progress), "logs, readings and refused things are as they were sealed", _ASIDE)


def _unsealed(desk: Desk) -> str:
    days = overdue(desk)
    if days:
        told = f"of days that are over {len(days)} wait to be sealed, the first is {rfc3339(days[0])[:10]}"
        mend = "Run wallclime serve, or seal by hand: wallclime seal now"
        raise _UnknownError(told, mend) if desk.store.newest_head() is None else _IllError(told, mend)
    return "no day that is over waits to be sealed"


# --- the clock, the daemon, the brokers -------------------------------------------------------------------------------


def _clock(desk: Desk) -> str:
    row, now = desk.store.newest_head(), desk.clock.now()
    last = [entries[-1].entered for name in desk.store.chains() if (entries := desk.store.entries(name))]
    known = max([*last, desk.store.newest_arrival() or 0, row.made if row else 0], default=0)
    if known > now + CLOCK_SLACK:
        told = f"it says {rfc3339(now)}, {format_duration(known - now)} before the newest thing in the store"
        raise _IllError(told, "Set the computer's clock, best by NTP")
    return f"it says {rfc3339(now)}, and nothing in the store is of later"


def _daemon(desk: Desk) -> str:
    found, now = desk.store.daemon_state(), desk.clock.now()
    if found is None:
        raise _UnknownError("none was ever here", "wallclime serve hears the sensors; a logger's file needs none")
    if found.state.get("stopped"):
        raise _UnknownError(f"it was stopped {rfc3339(found.last)}", "Start it: wallclime serve")
    for trouble in daemon_trouble(desk):
        raise _IllError(trouble, "Look at its log, and at the brokers below")
    return f"it runs since {rfc3339(found.started)}, last sign of life {max(now - found.last, 0) // SECOND} s ago"


def _broker(settings: Settings, broker: Broker) -> str:
    from monitor.intake.roundtrip import marker_topic, round_trip

    if not (settings.home / _FILE).exists():
        raise _UnknownError(f"there is no {_FILE}, so it was not asked", "wallclime init writes one, to be filled in")
    if not settings.sources_at(broker):
        raise _UnknownError("nothing is heard there, so it was not asked", f"Add a [[source]] to {_FILE}")
    took = round_trip(broker)
    return f"a message to {marker_topic(broker)} came back in {took * 1000:.0f} ms"
