"""Schema versions: made, moved with a backup, refused; and a kept store of every version still opens."""

from __future__ import annotations

import ast
import logging
import re
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text
from sqlalchemy.exc import OperationalError

from monitor.basis.errors import StoreError, StoreTooNewError
from monitor.basis.times import DAY, MINUTE
from monitor.basis.values import LIVE, SENSORS_CHAIN, Draft, Kind, Origin, OriginKind, Quantity, Reading
from monitor.keep import migrate, versions
from monitor.keep.rows import Kept
from monitor.keep.schema import METADATA, VERSIONS
from monitor.seal.chain import faults

HERE = Path(__file__).parent
LATER = "0007"  # of the version that only the tests know, see later/
T = 1_767_571_200_000  # 2026-01-05T00:00Z, as in kept/make_kept.py [ms]
READING = Reading("home/hall", Quantity.AIR_HUMIDITY, T, 45.0, "%", T, LIVE)


@pytest.fixture
def grow(monkeypatch) -> Callable[[], None]:
    """From its call on the program's schema is one version further."""

    def one_further() -> None:
        monkeypatch.setattr("monitor.keep.versions.VERSIONS", (*VERSIONS, LATER))
        monkeypatch.setattr(migrate, "FOLDERS", (*migrate.FOLDERS, HERE / "later"))

    return one_further


def tables(path: Path) -> dict[str, str]:
    database = sqlite3.connect(path)
    found = dict(database.execute("SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL"))
    database.close()
    return found


def version(store) -> str:
    with store._reading() as conn:
        return conn.scalar(text("SELECT version_num FROM alembic_version"))


def test_the_versions_are_those_of_the_migrations_in_their_order():
    assert tuple(script.revision for script in reversed(list(migrate.scripts().walk_revisions()))) == VERSIONS


def test_the_migrations_make_the_tables_that_the_program_means(open_at, tmp_path):
    open_at(f"sqlite:///{tmp_path}/moved.db").close()
    engine = create_engine(f"sqlite:///{tmp_path}/meant.db")
    METADATA.create_all(engine)
    engine.dispose()
    moved, meant = tables(tmp_path / "moved.db"), tables(tmp_path / "meant.db")
    del moved["alembic_version"]
    assert {name: re.sub(r"\s+", "", sql) for name, sql in moved.items()} == {
        name: re.sub(r"\s+", "", sql) for name, sql in meant.items()
    }


def test_every_table_of_sqlite_is_strict_and_readings_have_no_rowid(open_at, sqlite_url, tmp_path):
    open_at(sqlite_url).close()
    database = sqlite3.connect(tmp_path / "store.db")
    # PRAGMA table_list (sqlite.org): schema, name, type, ncol, wr (WITHOUT ROWID), strict
    found = {row[1]: row[4:] for row in database.execute("PRAGMA table_list") if row[1] in METADATA.tables}
    database.close()
    assert found == {name: (int(name == "reading"), 1) for name in METADATA.tables}


def test_a_store_of_this_version_is_opened_without_alembic(open_at, sqlite_url):
    open_at(sqlite_url).close()
    program = (
        "import sys\n"
        "from monitor.basis.clock import SystemClock\n"
        "from monitor.keep.store import open_store\n"
        "open_store(sys.argv[1], clock=SystemClock(), link=None).close()\n"
        "print([name for name in ('alembic', 'mako') if name in sys.modules])"
    )
    command = [sys.executable, "-c", program, sqlite_url]
    assert ast.literal_eval(subprocess.run(command, stdout=subprocess.PIPE, text=True, check=True).stdout) == []


def test_an_older_sqlite_store_is_copied_beside_itself_and_then_moved(open_at, sqlite_url, tmp_path, grow, caplog):
    with open_at(sqlite_url) as older:
        older.keep_readings([READING])
    grow()
    caplog.set_level(logging.INFO, "monitor.keep.versions")
    store = open_at(sqlite_url)
    assert (version(store), store.keep_readings([READING])) == (LATER, Kept(0, 1, 0))
    copy, path = tmp_path / f"store.before-{LATER}-1.db", tmp_path / "store.db"
    assert "later" in tables(path)
    assert "later" not in tables(copy)
    assert copy.stat().st_mode & 0o777 == 0o600
    assert [record.getMessage() for record in caplog.records] == [
        f"store of version {VERSIONS[-1]} copied to {copy}",
        f"store {path} moved from version {VERSIONS[-1]} to {LATER}",
    ]


def test_a_copy_beside_never_overwrites_an_older_one(open_at, sqlite_url, tmp_path, grow):
    grow()
    (tmp_path / f"store.before-{LATER}-1.db").write_text("an older copy")
    load(HERE / "kept" / f"{VERSIONS[-1]}.sql", tmp_path / "store.db")
    open_at(sqlite_url)
    assert (tmp_path / f"store.before-{LATER}-1.db").read_text() == "an older copy"
    assert "later" not in tables(tmp_path / f"store.before-{LATER}-2.db")


def test_a_store_that_cannot_be_copied_is_not_moved(open_at, sqlite_url, tmp_path, grow, monkeypatch):
    grow()
    load(HERE / "kept" / f"{VERSIONS[-1]}.sql", tmp_path / "store.db")

    def refuse(_engine, path):
        raise StoreError("the disk is full", where=str(path), mend="Free some space")

    monkeypatch.setattr("monitor.keep.versions.back_up", refuse)
    with pytest.raises(StoreError, match="the disk is full"):
        open_at(sqlite_url)
    assert "later" not in tables(tmp_path / "store.db")


def test_a_migration_that_fails_changes_nothing(open_at, url, grow):
    older = open_at(url)
    with older._writing() as conn:
        conn.exec_driver_sql("CREATE TABLE later (id INTEGER)")
    grow()
    with pytest.raises(StoreError, match=r"the database refused: .*later.* already exists"):
        open_at(url)
    assert version(older) == VERSIONS[-1]


def test_an_older_postgresql_store_is_moved_in_place(open_at, postgresql_url, grow):
    open_at(postgresql_url).keep_readings([READING])
    grow()
    store = open_at(postgresql_url)
    assert (version(store), store.keep_readings([READING])) == (LATER, Kept(0, 1, 0))


def test_a_store_that_another_process_makes_just_then_is_not_taken_for_a_broken_one(open_at, url, monkeypatch):
    true_version, looked = versions._version, []

    def version_before_it_was_made(engine):
        if not looked:
            looked.append(engine)
            open_at(url)
            raise OperationalError("SELECT", {}, Exception("no such table"))
        return true_version(engine)

    monkeypatch.setattr(versions, "_version", version_before_it_was_made)
    assert open_at(url).keep_readings([READING]) == Kept(1, 0, 0)


def test_a_store_of_a_newer_program_is_refused_and_left_alone(open_at, url):
    store = open_at(url)
    with store._writing() as conn:
        conn.execute(text("UPDATE alembic_version SET version_num = '0999'"))
    with pytest.raises(StoreTooNewError) as error:
        open_at(url)
    assert str(error.value) == (
        f"{store._where}: the store is of version 0999, this wallclime knows versions up to {VERSIONS[-1]}. "
        "Install a newer wallclime, or open the backup that was made before the store was moved on"
    )
    assert error.value.exit_code == 3
    assert version(store) == "0999"


# --- the kept stores


def load(dump: Path, path: Path) -> None:
    database = sqlite3.connect(path)
    database.executescript(dump.read_text(encoding="utf-8"))
    database.close()


def test_there_is_a_kept_store_of_every_version():
    assert tuple(sorted(path.stem for path in (HERE / "kept").glob("*.sql"))) == VERSIONS


@pytest.mark.parametrize("number", VERSIONS)
def test_a_kept_store_opens_and_says_what_it_said_when_it_was_made(open_at, sqlite_url, tmp_path, number):
    load(HERE / "kept" / f"{number}.sql", tmp_path / "store.db")
    store = open_at(sqlite_url)
    humid, warm = (
        store.series("home/hall", quantity) for quantity in (Quantity.AIR_HUMIDITY, Quantity.AIR_TEMPERATURE)
    )
    assert (humid.t.tolist(), humid.value.tolist()) == (
        [T + i * MINUTE for i in range(5)],
        [44.5, 45.5, 46.5, 47.5, 48.5],
    )
    assert (warm.units, warm.value.tolist()) == (("degF",), [68.0, 69.0, 70.0, 71.0, 72.0])
    logger = store.series("file:logger", Quantity.AIR_HUMIDITY)
    assert (logger.units, logger.origins) == (("1",), (Origin(OriginKind.FILE, "5e" * 32),))
    assert [(one.stream, one.name, one.readings) for one in store.heard()] == [
        ("file:logger", None, 3), ("home/hall", "hall sensor", 10),
    ]  # fmt: skip
    assert store.quarantine_counts() == {("home/hall", "conflict"): 1, ("home/hall", "unreadable"): 2}
    assert store.quarantine_loss() == {"unreadable": 1}
    assert [(mark.stream, mark.first_t, mark.last_t) for mark in store.dirty()] == [("file:logger", T, T + 2 * MINUTE)]
    assert [head.open for head in store.checkpoint_heads("hall", "own")] == [("home/hall",)]
    assert store.checkpoint_state("hall", "own", T + DAY) == b"\x00s"
    assert {(mark.kind, mark.thread, mark.day) for mark in store.unsealed() if mark.day == T} == {
        ("recorder", "", T), ("sensor", "file:logger", T), ("sensor", "home/hall", T),
    }  # fmt: skip


@pytest.mark.parametrize("number", VERSIONS)
def test_the_log_of_a_kept_store_is_whole_and_goes_on(open_at, sqlite_url, tmp_path, number):
    load(HERE / "kept" / f"{number}.sql", tmp_path / "store.db")
    store = open_at(sqlite_url)
    assert store.chains() == [SENSORS_CHAIN, "hall"]
    assert [(one.kind, one.body, one.corrects) for one in store.entries("hall")] == [
        (Kind.JOB, {"zone": "UTC", "length_m": 4.8768}, None),
        (Kind.NOTE, {"text": "déjà\nvu"}, None),
        (Kind.CORRECTION, {}, 2),
    ]
    store.append("hall", [Draft(Kind.NOTE, T, "Ada")])
    assert [faults(store.entries(name)) for name in store.chains()] == [[], []]
