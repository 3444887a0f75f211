"""The version of the tables: read at every start, made or moved only when it is not this program's own."""

from __future__ import annotations

import logging
from pathlib import Path

from sqlalchemy import Engine, inspect, text
from sqlalchemy.exc import OperationalError, ProgrammingError

from monitor.basis.errors import StoreError, StoreTooNewError
from monitor.keep.backup import back_up
from monitor.keep.schema import VERSION_TABLE, VERSIONS

_log = logging.getLogger(__name__)


def _stored(engine: Engine, where: str) -> str | None:
    """The version of the tables; None when there is no table at all."""
    try:
        return _version(engine)
    except (OperationalError, ProgrammingError):
        with engine.connect() as conn:
            tables = inspect(conn).get_table_names()
        if VERSION_TABLE in tables:  # another process has made it meanwhile, or the same error comes again
            return _version(engine)
    if tables:
        raise StoreError(
            f"it is a database of something else: it has a table {min(tables)!r} and no {VERSION_TABLE!r}",
            where=where,
            mend="Name an empty database or a new file",
        )
    return None


def _version(engine: Engine) -> str:
    with engine.connect() as conn:
        return str(conn.scalar(text(f"SELECT version_num FROM {VERSION_TABLE}")))


def known_version(engine: Engine, where: str) -> str | None:
    """The version of the tables, None when there is no table at all. Raises StoreError, StoreTooNewError."""
    version = _stored(engine, where)
    if version is not None and version not in VERSIONS:
        raise StoreTooNewError(
            f"the store is of version {version}, this wallclime knows versions up to {VERSIONS[-1]}",
            where=where,
            mend="Install a newer wallclime, or open the backup that was made before the store was moved on",
        )
    return version


def _back_up_beside(engine: Engine, newest: str) -> Path:
    """A copy of the SQLite file, beside it: name.before-0002-1.db, or the next number that is free."""
    path = Path(str(engine.url.database))
    number = 1
    while (copy := path.with_name(f"{path.stem}.before-{newest}-{number}.db")).exists():
        number += 1
    back_up(engine, copy)
    return copy


def bring_up_to_date(engine: Engine, where: str) -> None:
    """Make the tables where there are none, move older ones on (an SQLite file is copied first), refuse newer ones.

    PostgreSQL is moved without a copy, in one transaction. Raises StoreError, StoreTooNewError.
    """
    version, newest = known_version(engine, where), VERSIONS[-1]
    if version == newest:
        return
    if version is not None and engine.dialect.name == "sqlite":
        _log.info("store of version %s copied to %s", version, _back_up_beside(engine, newest))
    from monitor.keep import migrate

    with engine.execution_options(begin="BEGIN IMMEDIATE").begin() as conn:
        migrate.upgrade(conn)
    _log.info("store %s moved from version %s to %s", where, version, newest)
