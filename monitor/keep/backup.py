"""A copy of the store in one file, taken while others read and write."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path
from urllib.parse import quote

from sqlalchemy import Engine, NullPool, create_engine

from monitor.basis.errors import StoreError
from monitor.keep.connect import door


def _copy(engine: Engine, path: Path) -> None:
    file = os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600)
    try:
        # VACUUM INTO, not a copy of the file: it sees what is still in the -wal, and its copy opens on read-only media.
        with door(str(path)), engine.connect().execution_options(begin="") as conn:
            conn.exec_driver_sql("VACUUM INTO ?", (str(path),))
        os.fsync(file)
    except BaseException:
        path.unlink()
        raise
    finally:
        os.close(file)


def back_up(engine: Engine, path: Path) -> None:
    """Write the whole SQLite store to the new file `path`. Raises StoreError; what was begun is removed then."""
    if engine.dialect.name != "sqlite":
        raise StoreError("only an SQLite store is copied to a file", where=str(path), mend="Use pg_dump for PostgreSQL")
    try:
        _copy(engine, path)
    except FileExistsError as exc:
        raise StoreError(
            "there is a file already, and a backup overwrites nothing", where=str(path), mend="Name another file"
        ) from exc
    except OSError as exc:
        raise StoreError(
            f"the backup can't be written ({exc.strerror})", where=str(path), mend="Name a folder this user may write"
        ) from exc


def engine_of_copy(path: Path) -> Engine:
    """The engine of an SQLite file that nobody writes to; it changes nothing, and leaves nothing beside the file."""
    address = f"file:{quote(str(path.absolute()))}?mode=ro&immutable=1"

    def connect() -> sqlite3.Connection:
        return sqlite3.connect(address, uri=True, isolation_level=None)

    return create_engine("sqlite://", creator=connect, poolclass=NullPool, hide_parameters=True)
