"""Moves the tables from one version to the next. Imported only when it has to: Alembic is slow to load."""

from __future__ import annotations

from pathlib import Path

from alembic.operations import Operations
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, func, select

from monitor.keep.schema import VERSION_TABLE

FOLDERS = (Path(__file__).with_name("migrations"),)
_LOCK = 0x77616C6C  # "wall": the number of PostgreSQL's advisory lock while tables are made or changed


def scripts() -> ScriptDirectory:
    """The migrations of FOLDERS, in their order."""
    return ScriptDirectory(str(FOLDERS[0]), version_locations=[str(folder) for folder in FOLDERS])


def upgrade(conn: Connection) -> None:
    """Bring the tables to the newest version, inside the open transaction of `conn`: all of it or nothing."""
    if conn.dialect.name == "postgresql":
        conn.execute(select(func.pg_advisory_xact_lock(_LOCK)))
    steps = scripts()
    context = MigrationContext.configure(
        conn,
        opts={
            "fn": lambda current, _context: steps._upgrade_revs("head", current),
            "transactional_ddl": True,
            "version_table": VERSION_TABLE,
        },
    )
    with Operations.context(context):
        context.run_migrations()
