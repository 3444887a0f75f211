"""Backup and restore: a copy of the store that was checked, and a store that says from which copy it goes on."""

from __future__ import annotations

import hashlib
import os
import shutil
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, NamedTuple

from monitor.basis.clock import Clock, SystemClock
from monitor.basis.errors import StoreError
from monitor.basis.times import SECOND, datetime_of
from monitor.basis.values import SENSORS_CHAIN, Draft, Entry, Kind
from monitor.config.settings import load_settings
from monitor.keep.store import Store, open_copy, open_store
from monitor.seal import chain
from monitor.seal.heads import SignedHead
from monitor.watch.book import linked
from monitor.watch.desk import Desk, make_home, open_desk
from monitor.watch.disk import SQLITE, store_file
from monitor.watch.evidence import keyring
from monitor.watch.evidence.sealing import signed_of
from monitor.watch.service.awake import lives

_MAGIC = b"SQLite format 3\0"  # how such a file begins: sqlite.org, "Database File Format", section 1.3
SCHEDULED = "wallclime-scheduled-{}.db"  # not the name of a backup that somebody makes: only the daemon's own go
_UNTOLD = "it waited in a backup that was restored"
_ANOTHER = "Use another backup, and keep this one unchanged"


class Found(NamedTuple):
    """What a store holds: its chains by name with their entries, its newest head, the latest instant it knows of [ms].

    The latest instant is that of an entry, a reading's arrival, a head or a daemon's sign of life; 0 without any.
    """

    chains: Mapping[str, Sequence[Entry]]
    head: SignedHead | None
    until: int

    @property
    def entries(self) -> int:
        """How many entries there are in all chains."""
        return sum(map(len, self.chains.values()))

    def said(self) -> dict[str, Any]:
        """It in short, JSON-safe, as the entry of a restore has it."""
        head = None if self.head is None else {"number": self.head.head.number, "hash": self.head.hash}
        return {"head": head, "entries": self.entries, "until": self.until}


class BackedUp(NamedTuple):
    """A backup that was written and checked; `key` is the key in use, `key_copy` where it was copied to."""

    path: Path
    found: Found
    key: Path | None
    key_copy: Path | None


class Restored(NamedTuple):
    """A store that was put in place, the entry that says so, and where the one that was there lies now.

    `before` is what the replaced store held, None where there was none or it could not be read; `key` the key it is to
    be sealed with, None before the first head, and `key_there` whether that is in the home.
    """

    path: Path
    found: Found
    entry: Entry
    replaced: Path | None
    before: Found | None
    key: Path | None
    key_there: bool


# --- what a store holds -----------------------------------------------------------------------------------------------


def examine(store: Store, where: str) -> Found:
    """What a store holds, once its file is whole and all its chains hang together. Raises StoreError of `where`."""
    if damage := store.damage():
        raise StoreError(f"the file is not whole: {damage[0]}", where=where, mend=_ANOTHER)
    chains = {name: store.entries(name) for name in store.chains()}
    for entries in chains.values():
        for fault in chain.faults(linked(entries)):
            raise StoreError(f"{fault.where}: {fault.what}", where=where, mend=_ANOTHER)
    row, state = store.newest_head(), store.daemon_state()
    known = [entries[-1].entered for entries in chains.values() if entries]
    known += [one for one in (store.newest_arrival(), row and row.made, state and state.last) if one]
    return Found(chains, None if row is None else signed_of(row), max(known, default=0))


def goes_on(found: Found, store: Store) -> bool:
    """Whether a store is one that goes on from what was found: its head and its entries are there, and as they were."""
    same = all(
        [one.link for one in store.entries(name)[: len(entries)]] == [one.link for one in entries]
        for name, entries in found.chains.items()
    )
    heads = {signed_of(row).hash for row in store.heads()}
    return same and (found.head is None or found.head.hash in heads)


# --- backup -----------------------------------------------------------------------------------------------------------


def backup(desk: Desk, target: Path, *, with_key: bool = False) -> BackedUp:
    """Copy the store to a new file, or into a folder under a dated name, while others go on; and check the copy.

    `with_key` copies the signing key beside it. Raises StoreError; a copy that is not whole is removed.
    """
    path = target / f"wallclime-{stamp(desk.clock.now())}.db" if target.is_dir() else target
    known = keyring.epochs(desk)
    key = keyring.key_path(desk, len(known)) if known else None
    beside = key_beside(path, key) if with_key and key is not None else None
    if beside is not None and os.path.lexists(beside):
        raise StoreError("there is a file already", where=str(beside), mend="Name another file for the backup")
    desk.store.backup(path)
    try:
        found = _checked_copy(desk, path)
    except BaseException:
        path.unlink()
        raise
    if beside is not None and key is not None:
        copy_new(key, beside)
    return BackedUp(path, found, key, beside)


def _checked_copy(desk: Desk, path: Path) -> Found:
    store = open_copy(path, clock=desk.clock, link=chain.link)
    if store is None:
        raise StoreError("it is of an older version than the store", where=str(path), mend="Make it again")
    with store:
        found = examine(store, str(path))
    if not goes_on(found, desk.store):
        mend = "Look at the disk and the memory of this computer, then make it again"
        raise StoreError("the copy is not what the store holds", where=str(path), mend=mend)
    return found


def stamp(at: int) -> str:
    """ "20260105T064000Z": a time as a part of a file's name."""
    return f"{datetime_of(at):%Y%m%dT%H%M%SZ}"


def copies_in(folder: Path) -> list[Path]:
    """The copies of stores that a daemon has made on schedule."""
    return sorted(folder.glob(SCHEDULED.format("*")))


def key_beside(path: Path, key: Path) -> Path:
    """Where a key lies that belongs to a backup."""
    return path.with_name(f"{path.name}.{key.name}")


def copy_new(source: Path, target: Path) -> str:
    """Copy a file to a new one, for its owner alone; the SHA-256 of what was copied. Raises StoreError."""
    try:
        with (
            source.open("rb") as there,
            os.fdopen(os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as new,
        ):
            shutil.copyfileobj(there, new)
            new.flush()
            os.fsync(new.fileno())
        with target.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as exc:
        mend = "Check the path, its rights and the room on the disk"
        raise StoreError(f"it can't be copied ({exc.strerror})", where=str(exc.filename or source), mend=mend) from exc


# --- restore ----------------------------------------------------------------------------------------------------------


def restore(
    home: Path,
    file: Path,
    *,
    replace: bool = False,
    who: str,
    environ: Mapping[str, str] = os.environ,
    clock: Clock | None = None,
) -> Restored:
    """Put a backup in the place of the home's store, once it was checked and says so itself.

    A store that is there is kept beside it under a dated name, if `replace`. Messages that waited in the backup are
    given up. Raises StoreError, SettingsError.
    """
    clock = clock or SystemClock()
    make_home(home)
    path = store_file(load_settings(home, environ))
    if path is None:
        mend = "Use pg_restore, then start wallclime"
        raise StoreError("the store of this home is no file", where=str(home / "wallclime.toml"), mend=mend)
    _check_backup(file, clock)
    before = _to_be_replaced(path, replace, clock)
    with _aside(path) as work:
        copy = work / path.name
        digest = copy_new(file, copy)
        with open_store(f"{SQLITE}{copy}", clock=clock, link=chain.link) as store:
            found = examine(store, str(file))
            replaced = None if before is None else before.said()
            # What waited was told since, or is told of no more: nobody is told today what was so at the backup.
            untold = store.outbox_give_up(clock.now(), _UNTOLD)
            body = {**found.said(), "file": file.name, "sha256": digest, "replaced": replaced, "untold": untold}
            [entry] = store.append(SENSORS_CHAIN, [Draft(Kind.RESTORED, clock.now(), who, body)])
        kept = _move_away(path, clock.now())
        os.replace(copy, path)
    key, there = _put_key(home, file, environ, clock)
    return Restored(path, found, entry, kept, before, key, there)


def _check_backup(file: Path, clock: Clock) -> None:
    """Raises StoreError where a file can't be a backup."""
    wal = file.with_name(f"{file.name}-wal")
    if not file.is_file():
        raise StoreError("there is no such file", where=str(file), mend="Name a file that wallclime backup wrote")
    if wal.exists() and wal.stat().st_size:
        what = f"a part of it still lies in {wal.name}: it is no backup, but a store in use or a copy of one"
        raise StoreError(what, where=str(file), mend="Make a backup of it: wallclime --home DIR backup FILE")
    store = open_copy(file, clock=clock, link=chain.link)
    if store is not None:
        store.close()


def _to_be_replaced(path: Path, replace: bool, clock: Clock) -> Found | None:
    """What the store holds that is there, if it can be read. Raises StoreError where it may not be replaced."""
    if not os.path.lexists(path):
        return None
    if not replace:
        mend = "Add --replace: it is kept beside under another name"
        raise StoreError("there is a store already", where=str(path), mend=mend)
    with path.open("rb") as file:
        if file.read(len(_MAGIC)) not in (b"", _MAGIC):  # SQLite would remove what lies beside such a file
            return None
    try:
        with open_store(f"{SQLITE}{path}", clock=clock, link=chain.link) as store:
            state, found = store.daemon_state(), examine(store, str(path))
    except StoreError:
        return None
    if state is not None and lives(state, clock.now()):
        what = f"wallclime serve was there {(clock.now() - state.last) // SECOND} s ago"
        raise StoreError(what, where=str(path), mend="Stop it first; if it was killed, wait two minutes")
    return found


@contextmanager
def _aside(path: Path) -> Iterator[Path]:
    """A folder beside a file, removed with all that is left in it."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        work = Path(tempfile.mkdtemp(prefix=".restoring-", dir=path.parent))
    except OSError as exc:
        what = f"the folder can't be written ({exc.strerror})"
        raise StoreError(what, where=str(path.parent), mend="Let this user write it") from exc
    try:
        yield work
    finally:
        shutil.rmtree(work, ignore_errors=True)


def _move_away(path: Path, now: int) -> Path | None:
    """Give the store that is there, with what lies beside it, a dated name. Raises StoreError."""
    if not os.path.lexists(path):
        return None
    kept = path.with_name(f"{path.stem}.replaced-{stamp(now)}{path.suffix}")
    if os.path.lexists(kept):
        raise StoreError("there is a file already", where=str(kept), mend="Try again in a second")
    for ending in ("-wal", "-shm", ""):
        with suppress(FileNotFoundError):
            os.rename(f"{path}{ending}", f"{kept}{ending}")
    return kept


def _put_key(home: Path, file: Path, environ: Mapping[str, str], clock: Clock) -> tuple[Path | None, bool]:
    """Where the key in use belongs, and whether it is there; one that lies beside the backup is put there."""
    with open_desk(home, environ=environ, clock=clock) as desk:
        known = keyring.epochs(desk)
        if not known:
            return None, False
        key = keyring.key_path(desk, len(known))
        beside = key_beside(file, key)
        if beside.is_file() and not os.path.lexists(key):
            key.parent.mkdir(mode=0o700, exist_ok=True)
            copy_new(beside, key)
        return key, keyring.is_there(desk, known)


def forgotten_since(restored: Restored) -> list[tuple[str, Entry]]:
    """What the replaced store had forgotten or thinned and the restored one has not: (chain, the entry that told)."""
    if restored.before is None:
        return []
    return [
        (name, entry)
        for name, entries in sorted(restored.before.chains.items())
        for entry in entries
        if entry.kind in (Kind.FORGOTTEN, Kind.THINNED)
        and entry.link not in {one.link for one in restored.found.chains.get(name, ())}
    ]
