"""On a full disk the ballast makes room for an entry of the log."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from monitor.basis.errors import StoreError
from monitor.basis.values import SENSORS_CHAIN, Draft, Kind
from monitor.keep import ballast
from monitor.keep.ballast import SIZE, Ballast

CHILD = Path(__file__).with_name("keep_full.py")
NOTE = Draft(Kind.NOTE, 0, "Ada", {"text": "the disk is full"})


def test_the_ballast_stands_beside_the_store_under_its_name_for_its_user_alone(open_at, sqlite_url, tmp_path):
    store = open_at(sqlite_url)
    assert not (tmp_path / "store.ballast").exists()
    assert store.keep_ballast() is True
    path = tmp_path / "store.ballast"
    assert (path.stat().st_size, path.stat().st_mode & 0o777) == (SIZE, 0o600)
    made = path.stat().st_mtime_ns
    assert store.keep_ballast() is True
    assert path.stat().st_mtime_ns == made


def test_a_ballast_that_was_cut_short_is_made_anew(tmp_path):
    path = tmp_path / "store.ballast"
    path.write_bytes(b"x")
    assert Ballast(path).make() is True
    assert path.stat().st_size == SIZE


def test_no_ballast_is_made_where_it_would_take_the_last_room(tmp_path, monkeypatch):
    class Usage:
        free = 4 * SIZE - 1

    monkeypatch.setattr(ballast.shutil, "disk_usage", lambda _folder: Usage)
    assert Ballast(tmp_path / "store.ballast").make() is False
    assert list(tmp_path.iterdir()) == []


def test_a_ballast_that_cannot_be_made_is_no_error(tmp_path):
    assert Ballast(tmp_path / "nowhere" / "store.ballast").make() is False


def test_a_ballast_that_the_disk_has_no_room_for_leaves_nothing_behind(tmp_path, monkeypatch):
    def fail(_file):
        raise OSError(28, os.strerror(28))

    monkeypatch.setattr(os, "fsync", fail)
    assert Ballast(tmp_path / "store.ballast").make() is False
    assert list(tmp_path.iterdir()) == []


def test_postgresql_has_no_ballast(open_at, postgresql_url):
    assert open_at(postgresql_url).keep_ballast() is False


def test_an_error_of_another_kind_leaves_the_ballast_where_it_is(open_at, sqlite_url, tmp_path):
    store = open_at(sqlite_url)
    store.keep_ballast()
    with store._writing() as conn:
        conn.exec_driver_sql("DROP TABLE entry")
    with pytest.raises(StoreError, match="no such table"):
        store.append(SENSORS_CHAIN, [NOTE])
    assert (tmp_path / "store.ballast").exists()


def test_on_a_full_disk_an_entry_is_written_in_the_place_of_the_ballast(tmp_path):
    # A disk of 8 MiB that only the child sees; without root the kernel lets it have one in a namespace of its own.
    disk = tmp_path / "disk"
    disk.mkdir()
    own = ["unshare", "--mount"] if os.geteuid() == 0 else ["unshare", "--mount", "--map-root-user"]
    script = 'mount -t tmpfs -o size=8m tmpfs "$1" && exec "$2" "$3" "$1"'
    run = subprocess.run(
        [*own, "sh", "-c", script, "sh", str(disk), sys.executable, str(CHILD)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.stderr == ""
    assert run.stdout.splitlines() == [
        "ballast True",
        f"readings {disk}/store.db: the disk is full. Free some space; what was kept before is whole",
        f"without ballast {disk}/store.db: the disk is full. Free some space; what was kept before is whole",
        "entries 0",
        f"readings {disk}/store.db: the disk is full. Free some space; what was kept before is whole",
        "with ballast 1",
        "ballast there False",
        "ballast on the full disk False",
        "entries 1",
        "ballast once there is room True",
        "kept 50",
    ]
