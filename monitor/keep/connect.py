"""The way in: one engine a store, the settings of its connections, and the door where foreign errors become ours."""

from __future__ import annotations

import os
import sqlite3
import threading
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from sqlalchemy import (
    URL,
    BindParameter,
    Connection,
    Engine,
    Executable,
    Table,
    bindparam,
    create_engine,
    event,
    make_url,
)
from sqlalchemy.dialects import sqlite
from sqlalchemy.exc import ArgumentError, OperationalError, SQLAlchemyError

from monitor.basis.errors import StoreError

if TYPE_CHECKING:
    from sqlalchemy.dialects import postgresql

PATIENCE = 10_000  # how long a lock or a server is waited for [ms]

SQLITE = (
    f"PRAGMA busy_timeout = {PATIENCE}",
    "PRAGMA journal_mode = WAL",
    "PRAGMA synchronous = FULL",  # a message is acknowledged after the commit: it must outlive a power cut
    "PRAGMA foreign_keys = ON",
    # Pages that are written again and again, the last ones of every channel, go back to the file less often. 40 MB.
    "PRAGMA wal_autocheckpoint = 10000",
    "PRAGMA cache_size = -1000",  # KiB a connection: one in each thread, and the system remembers the file anyway
)
STATEMENTS = 32  # that a connection keeps prepared
LISTED = 256  # the longest list of a query: SQLite takes some 230 bytes for each in it
MARKS = {"sqlite": "?", "postgresql": "%s"}  # in the place of a value, in SQL that goes past SQLAlchemy
POSTGRESQL = (
    f"SET lock_timeout = {PATIENCE}",
    "SET jit = off",  # a question about hundreds of channels would be compiled for seconds, to run for a moment
)

SOME: BindParameter[Any] = bindparam("some", expanding=True)  # in the place of a list, see `over`

_T = TypeVar("_T")

_URL = "the store's URL"
_ADDRESS = 'Write it like "sqlite:///wallclime.db" or "postgresql://user@host/database"'
_BUSY = (f"another process has held it for {PATIENCE // 1000} s", "Wait for it to finish or stop it, then try again")
_UNREACHED = "Check that it runs, and its address, user and password"
_FULL = ("the disk is full", "Free some space; what was kept before is whole")

_SQLITE_FAULTS = {
    sqlite3.SQLITE_BUSY: _BUSY,
    sqlite3.SQLITE_LOCKED: _BUSY,
    sqlite3.SQLITE_FULL: _FULL,
    sqlite3.SQLITE_IOERR: ("the disk fails or is full", "Check the disk and its free space; what was kept is whole"),
    sqlite3.SQLITE_READONLY: ("it can't be written", "Let this user write the file and the folder it stands in"),
    sqlite3.SQLITE_CANTOPEN: ("it can't be opened", "Check that it is a file which this user may read and write"),
    sqlite3.SQLITE_NOTADB: ("it is no SQLite database", "Check the path; move the file away to begin a new store"),
    sqlite3.SQLITE_CORRUPT: ("the file is damaged", "Put it aside unchanged and continue from a backup"),
}
_POSTGRESQL_FAULTS = {"53100": _FULL, "55P03": _BUSY, "40P01": _BUSY}


def _fault_of(exc: Exception) -> tuple[str, str]:
    """What an error of the database or its driver says, and the mend."""
    cause: Any = getattr(exc, "orig", None) or exc
    if known := _SQLITE_FAULTS.get(getattr(cause, "sqlite_errorcode", 0) & 0xFF):
        return known
    if known := _POSTGRESQL_FAULTS.get(getattr(cause, "sqlstate", None) or ""):
        return known
    told = getattr(getattr(cause, "diag", None), "message_primary", None) or str(cause)
    mend = _UNREACHED if isinstance(exc, OperationalError) else "Nothing of this was written; mend what it names"
    return f"the database refused: {' '.join(told.split()).rstrip('.')}", mend


def is_full(error: StoreError) -> bool:
    """Whether the disk had no room; a disk that fails says the same in some places."""
    return error.faults[0].what in (_FULL[0], _SQLITE_FAULTS[sqlite3.SQLITE_IOERR][0])


@contextmanager
def door(where: str) -> Iterator[None]:
    """What the database or its driver raises inside becomes a StoreError of `where`."""
    try:
        yield
    except (SQLAlchemyError, sqlite3.Error, UnicodeError, OverflowError) as exc:
        what, mend = _fault_of(exc)
        raise StoreError(what, where=where, mend=mend) from exc


def insert(conn: Connection, table: Table) -> sqlite.Insert | postgresql.Insert:
    """INSERT with ON CONFLICT, in the words of the connection's database."""
    if conn.dialect.name == "postgresql":
        from sqlalchemy.dialects.postgresql import insert as insert_there  # slow to load, so only where it is used

        return insert_there(table)
    return sqlite.insert(table)


def bulk(conn: Connection, statements: Mapping[str, str], rows: Sequence[tuple[Any, ...]]) -> int:
    """Run the statement of the connection's database for all `rows`; how many it wrote.

    On PostgreSQL that is one statement, which takes the rows as an array a column: a statement a row takes several
    times as long, and COPY knows no ON CONFLICT.
    """
    statement = statements[conn.dialect.name]
    if conn.dialect.name != "postgresql":
        return conn.exec_driver_sql(statement, list(rows)).rowcount
    return conn.exec_driver_sql(statement, tuple(map(list, zip(*rows, strict=True)))).rowcount


def listed(some: Iterable[_T]) -> Iterator[list[_T]]:
    """`some` in parts of which each is the list of a query, its last one again and again until it has 2^n.

    With a list of another length it is another query, and every connection keeps those that it ran last prepared.
    """
    left = list(some)
    for begin in range(0, len(left), LISTED):
        part = left[begin : begin + LISTED]
        yield part + part[-1:] * ((1 << (len(part) - 1).bit_length()) - len(part))


def over(conn: Connection, query: Executable, some: Iterable[object]) -> Iterator[Any]:
    """The rows of a query in which `SOME` stands for a list, over one of any length."""
    for part in listed(some):
        yield from conn.execute(query, {"some": part})


def _private_file(path: Path) -> None:
    """A missing file is made for this user's eyes only; SQLite gives its -wal and -shm the same mode."""
    try:
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
    except FileExistsError:
        if not (os.access(path, os.R_OK | os.W_OK) and os.access(path.parent, os.W_OK)):
            what, mend = _SQLITE_FAULTS[sqlite3.SQLITE_READONLY]
            raise StoreError(what, where=str(path), mend=mend) from None
    except FileNotFoundError as exc:
        raise StoreError("its folder does not exist", where=str(path), mend="Make the folder, or name another") from exc
    except OSError as exc:
        raise StoreError(
            f"it can't be made ({exc.strerror})",
            where=str(path),
            mend="Let this user write the folder, or name another",
        ) from exc


def _prepare(engine: Engine, settings: Sequence[str]) -> None:
    """Every new connection of `engine` gets `settings` before its first use."""

    def connected(connection: Any, _record: object) -> None:
        try:
            cursor = connection.cursor()
            for setting in settings:
                cursor.execute(setting)
            cursor.close()
            connection.commit()
        except BaseException:
            connection.close()
            raise

    event.listen(engine, "connect", connected, insert=True)


def _begin(conn: Connection) -> None:
    # The sqlite3 module would begin late and deferred: a writer then meets SQLITE_BUSY that no waiting helps against.
    if begin := conn.get_execution_options().get("begin", "BEGIN"):
        conn.exec_driver_sql(begin)


def _sqlite_engine(url: URL) -> tuple[Engine, str]:
    if not url.database or url.database == ":memory:" or url.host or url.query:
        raise StoreError("it names no plain file", where=_URL, mend=_ADDRESS)
    path = Path(url.database).absolute()
    _private_file(path)
    # isolation_level None: BEGIN is ours to say, see _begin.
    options = {"timeout": PATIENCE / 1000, "isolation_level": None, "cached_statements": STATEMENTS}
    # Each connection fills a cache of pages and one of statements: the one that was given back last is taken first.
    address = URL.create("sqlite", database=str(path))
    engine = create_engine(address, connect_args=options, hide_parameters=True, pool_use_lifo=True)
    _prepare(engine, SQLITE)
    event.listen(engine, "begin", _begin)
    return engine, str(path)


def _postgresql_engine(url: URL) -> tuple[Engine, str]:
    where = url.set(query={}).render_as_string(hide_password=True)
    query = {"connect_timeout": str(PATIENCE // 1000), **url.query}
    try:
        engine = create_engine(
            url.set(drivername="postgresql+psycopg", query=query), pool_pre_ping=True, hide_parameters=True
        )
    except ModuleNotFoundError as exc:
        raise StoreError(
            "the driver psycopg is not installed", where=where, mend='Install it: pip install "wallclime[postgresql]"'
        ) from exc
    _prepare(engine, POSTGRESQL)
    return engine, where


def engine_of(address: str) -> tuple[Engine, str]:
    """The engine of a store's URL, and the words that messages name it by: they never hold the password."""
    try:
        url = make_url(address)
    except (ArgumentError, ValueError):
        # The text itself is not shown: it may hold a password.
        raise StoreError("it is no URL", where=_URL, mend=_ADDRESS) from None
    if url.drivername == "sqlite":
        return _sqlite_engine(url)
    if url.drivername in ("postgresql", "postgresql+psycopg"):
        return _postgresql_engine(url)
    raise StoreError(f"there is no store of the kind {url.drivername!r}", where=_URL, mend=_ADDRESS)


class Connected:
    """A database and the two ways into it: to read, and to write, all of one transaction or nothing."""

    def __init__(self, engine: Engine, where: str) -> None:
        self._engine = engine
        self._writer = engine.execution_options(begin="BEGIN IMMEDIATE")
        self._where = where
        self._held = threading.local()

    @contextmanager
    def together(self) -> Iterator[None]:
        """All that this thread reads inside is read over one connection, on SQLite as it stands at the first of it."""
        with door(self._where), self._engine.connect() as conn:
            self._held.conn = conn
            try:
                yield
            finally:
                self._held.conn = None

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        held = getattr(self._held, "conn", None)
        if held is not None:  # `together` stands at the door
            yield held
            return
        with door(self._where), self._engine.connect() as conn:
            yield conn

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        with door(self._where), self._writer.begin() as conn:
            yield conn
