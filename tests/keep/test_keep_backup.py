"""A copy of the store, looked into without a trace; and whether a file is whole."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from monitor.basis.clock import SetClock
from monitor.basis.errors import StoreError, StoreTooNewError
from monitor.basis.values import SENSORS_CHAIN, Draft, Kind
from monitor.keep.store import open_copy
from monitor.seal.chain import link

HERE = Path(__file__).parent
T = 1_767_571_200_000  # 2026-01-05T00:00Z [ms]


def look(path: Path):
    return open_copy(path, clock=SetClock(T), link=link)


def refusal(path: Path) -> str:
    with pytest.raises(StoreError) as error:
        look(path)
    return str(error.value)


@pytest.fixture
def copy(open_at, sqlite_url, tmp_path) -> Path:
    store = open_at(sqlite_url)
    store.append(SENSORS_CHAIN, [Draft(Kind.NOTE, T, "Ada", {"text": "x" * 5000})] * 9)
    (tmp_path / "read only").mkdir()
    store.backup(tmp_path / "read only" / "a %20?b#.db")
    return tmp_path / "read only" / "a %20?b#.db"


def test_a_copy_is_read_and_nothing_is_left_beside_it(copy):
    before = copy.read_bytes()
    with look(copy) as store:
        assert (len(store.entries(SENSORS_CHAIN)), store.newest_head(), store.damage()) == (9, None, [])
    assert [path.name for path in copy.parent.iterdir()] == [copy.name]
    assert copy.read_bytes() == before


def test_a_copy_is_not_written_to(copy):
    with look(copy) as store, pytest.raises(StoreError) as error:
        store.append(SENSORS_CHAIN, [Draft(Kind.NOTE, T, "Ada")])
    assert str(error.value) == (
        f"{copy}: it can't be written. Let this user write the file and the folder it stands in"
    )


def test_a_copy_of_an_older_version_is_not_read(tmp_path):
    database = sqlite3.connect(tmp_path / "old.db")
    database.executescript((HERE / "kept" / "0001.sql").read_text(encoding="utf-8"))
    database.close()
    assert look(tmp_path / "old.db") is None


def test_a_copy_of_a_newer_version_is_refused(copy):
    database = sqlite3.connect(copy)
    database.execute("UPDATE alembic_version SET version_num = '9999'")
    database.commit()
    database.close()
    with pytest.raises(StoreTooNewError, match="the store is of version 9999, this wallclime knows versions up to"):
        look(copy)


def test_what_is_no_store_is_refused(tmp_path):
    (tmp_path / "text.db").write_text("no database " * 500)
    sqlite3.connect(tmp_path / "empty.db").close()
    assert refusal(tmp_path / "text.db") == (
        f"{tmp_path}/text.db: it is no SQLite database. Check the path; move the file away to begin a new store"
    )
    assert refusal(tmp_path / "empty.db") == (
        f"{tmp_path}/empty.db: there is no store in it. Name a file that wallclime backup wrote"
    )
    assert refusal(tmp_path / "none.db") == (
        f"{tmp_path}/none.db: it can't be opened. Check that it is a file which this user may read and write"
    )


def test_a_whole_store_has_no_damage(store):
    assert store.damage() == []


def test_a_page_that_was_overwritten_is_damage(copy):
    with copy.open("r+b") as file:
        file.seek(-4096, 2)
        file.write(b"\xff" * 100)
    with look(copy) as store:
        assert store.damage() == ["the file is damaged"]


def test_what_sqlite_finds_is_told_in_its_own_words(copy):
    database = sqlite3.connect(copy)
    database.execute("PRAGMA writable_schema = ON")
    for was, becomes in (("name TEXT NOT NULL", "name TEXT"), ("name TEXT", "name TEXT NOT NULL")):
        swap = "UPDATE sqlite_schema SET sql = replace(sql, ?, ?) WHERE name = 'chain'"
        database.execute(swap, (was, becomes))
        database.commit()
        database.close()
        database = sqlite3.connect(copy)
        database.execute("PRAGMA writable_schema = ON")
        if becomes == "name TEXT":
            database.execute("INSERT INTO chain VALUES (9, NULL)")
    database.close()
    with look(copy) as store:
        assert store.damage() == ["NULL value in chain.name"]
