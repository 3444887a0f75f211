"""Files as they came, on SQLite and on PostgreSQL; they come with the second schema."""

from __future__ import annotations

import hashlib
import sqlite3
from pathlib import Path

import pytest
from sqlalchemy import text

from monitor.basis.errors import StoreError
from monitor.basis.values import Draft, Kind
from monitor.keep.attachments import Attachment

HERE = Path(__file__).parent
PICTURE = b"\xff\xd8\x00invented\xff\xd9"
SHA256 = hashlib.sha256(PICTURE).hexdigest()


def test_a_file_comes_back_byte_for_byte_under_its_sha256(store):
    assert store.keep_attachment(PICTURE, "image/jpeg") == SHA256
    assert store.attachment(SHA256) == Attachment("image/jpeg", PICTURE)


def test_the_same_file_twice_is_one(store):
    assert {store.keep_attachment(PICTURE, kind) for kind in ("image/jpeg", "text/plain")} == {SHA256}
    with store._reading() as conn:
        assert conn.execute(text("SELECT media_type, size FROM attachment")).all() == [("image/jpeg", 13)]


def test_a_file_that_never_came_is_none(store):
    assert store.attachment("00" * 32) is None


def test_a_file_of_many_megabytes_is_kept(store):
    large = bytes(range(256)) * (50 * 4096)  # 50 MiB, the largest a document may be and more
    assert store.attachment(store.keep_attachment(large, "application/pdf")) == Attachment("application/pdf", large)


def test_a_file_that_has_become_another_is_not_handed_out(store):
    store.keep_attachment(PICTURE, "image/jpeg")
    with store._writing() as conn:
        conn.execute(text("UPDATE attachment SET bytes = :other"), {"other": b"another"})
    with pytest.raises(StoreError) as refused:
        store.attachment(SHA256)
    assert str(refused.value) == (
        f"{store._where}: the file {SHA256[:12]} is not what it was. "
        "Put the store aside unchanged and continue from a backup"
    )


def test_a_store_of_the_first_schema_takes_files_once_it_is_moved_and_keeps_its_log(open_at, sqlite_url, tmp_path):
    database = sqlite3.connect(tmp_path / "store.db")
    database.executescript((HERE / "kept" / "0001.sql").read_text(encoding="utf-8"))
    database.close()
    store = open_at(sqlite_url)
    sha256 = store.keep_attachment(PICTURE, "image/jpeg")
    store.append("hall", [Draft(Kind.PHOTO, 0, "Ada", {"sha256": sha256})])
    assert [entry.kind for entry in store.entries("hall")] == [Kind.JOB, Kind.NOTE, Kind.CORRECTION, Kind.PHOTO]
    assert store.attachment(sha256) == Attachment("image/jpeg", PICTURE)


def test_a_kept_store_has_the_file_that_it_was_given(open_at, sqlite_url, tmp_path):
    database = sqlite3.connect(tmp_path / "store.db")
    database.executescript((HERE / "kept" / "0002.sql").read_text(encoding="utf-8"))
    database.close()
    content = b"\x00invented\xff"
    assert open_at(sqlite_url).attachment(hashlib.sha256(content).hexdigest()) == Attachment("image/jpeg", content)
