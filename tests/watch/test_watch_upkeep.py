"""Backup and restore: what is checked, what is refused, what a restored store says of itself."""

from __future__ import annotations

import hashlib
import shutil
import sqlite3
import stat
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from desks import NOW, T0, Row, clock, furnish, hear, readings, steady

from monitor.basis.alarm import Message
from monitor.basis.errors import StoreError
from monitor.basis.times import DAY, MINUTE, SECOND, zone_of
from monitor.basis.values import SENSORS_CHAIN, Kind
from monitor.seal import chain, heads
from monitor.tell import diary as told
from monitor.tell import upkeep as tell
from monitor.tell.words import Display
from monitor.watch import upkeep
from monitor.watch.book import linked
from monitor.watch.desk import Desk, open_desk
from monitor.watch.evidence.forgetting import forget
from monitor.watch.evidence.sealing import seal_now, signed_of
from monitor.watch.job import diary
from monitor.watch.job.jobs import close_job
from monitor.watch.judging import assess
from monitor.watch.upkeep import backup, examine, forgotten_since, restore

WHO = {"who": "ben"}


@pytest.fixture(scope="module")
def kept_home(tmp_path_factory) -> Path:
    """A home with a job that heard two days, and two heads."""
    home = tmp_path_factory.mktemp("kept") / "home"
    with open_desk(home, environ={}, clock=clock()) as desk:
        furnish(desk)
        hear(desk, steady(T0, 48, step=60))
        seal_now(desk, "test")
        diary.note(desk, "den", "one", at=None, who="robin")
        seal_now(desk, "test")
    return home


@pytest.fixture
def sit_at(kept_home, tmp_path) -> Iterator[Callable[[], Desk]]:
    """Sits down at a copy of that home."""
    shutil.copytree(kept_home, tmp_path / "home")
    with ExitStack() as opened:
        yield lambda: opened.enter_context(open_desk(tmp_path / "home", environ={}, clock=clock()))


@pytest.fixture
def kept(sit_at) -> Desk:
    return sit_at()


@pytest.fixture
def copied(kept: Desk, tmp_path: Path) -> Path:
    return backup(kept, tmp_path / "copy.db", with_key=True).path


def refusal(do: Callable[[], object]) -> str:
    with pytest.raises(StoreError) as error:
        do()
    return str(error.value)


def put(home: Path, file: Path, **options) -> upkeep.Restored:
    return restore(home, file, environ={}, clock=clock(), **{**WHO, **options})


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


# --- backup


def test_a_backup_says_what_it_holds_and_is_for_its_owner_alone(kept, tmp_path):
    done = backup(kept, tmp_path / "copy.db")
    assert (done.path, mode(done.path), done.key_copy) == (tmp_path / "copy.db", 0o600, None)
    assert done.found.head == signed_of(kept.store.newest_head())
    assert (done.found.entries, done.found.until) == (7, NOW)
    assert done.key == tmp_path / "home" / "keys" / "seal-ed25519-1.pem"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["copy.db", "home"]


def test_into_a_folder_a_backup_goes_under_a_dated_name(kept, tmp_path):
    (tmp_path / "backups").mkdir()
    assert backup(kept, tmp_path / "backups").path == tmp_path / "backups" / "wallclime-20260117T000000Z.db"


def test_the_signing_key_goes_along_only_when_it_is_asked_for(kept, tmp_path):
    done = backup(kept, tmp_path / "copy.db", with_key=True)
    assert done.key_copy == tmp_path / "copy.db.seal-ed25519-1.pem"
    assert (done.key_copy.read_bytes(), mode(done.key_copy)) == (done.key.read_bytes(), 0o600)


def test_before_the_first_head_there_is_no_key(desk, tmp_path):
    done = backup(desk, tmp_path / "copy.db", with_key=True)
    assert (done.key, done.key_copy, done.found.said()) == (None, None, {"head": None, "entries": 0, "until": 0})


def test_a_backup_writes_over_nothing(kept, copied):
    before = copied.read_bytes()
    assert refusal(lambda: backup(kept, copied)) == (
        f"{copied}: there is a file already, and a backup overwrites nothing. Name another file"
    )
    copied.rename(copied.with_name("moved.db"))
    assert refusal(lambda: backup(kept, copied, with_key=True)) == (
        f"{copied}.seal-ed25519-1.pem: there is a file already. Name another file for the backup"
    )
    assert copied.with_name("moved.db").read_bytes() == before
    assert not copied.exists()


def test_a_backup_is_taken_and_whole_while_others_write(kept, sit_at, tmp_path):
    other, stop, written = sit_at(), threading.Event(), []

    def write() -> None:
        while not stop.is_set() and len(written) < 5000:
            t = T0 + 3 * DAY + len(written) * SECOND
            other.store.keep_readings(readings("site/hall/climate", [Row(t, 20.0, 50.0)]))
            written.append(diary.note(other, "den", "more", at=None, who="robin").number)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        found = [backup(kept, tmp_path / f"{number}.db").found for number in range(5)]
    finally:
        stop.set()
        writer.join()
    assert [one.entries for one in found] == sorted(one.entries for one in found)
    assert found[0].entries < found[-1].entries <= 7 + len(written)


def test_a_copy_that_came_out_otherwise_is_removed(kept, tmp_path, monkeypatch):
    monkeypatch.setattr(upkeep, "goes_on", lambda *_: False)
    assert refusal(lambda: backup(kept, tmp_path / "copy.db")) == (
        f"{tmp_path}/copy.db: the copy is not what the store holds. "
        "Look at the disk and the memory of this computer, then make it again"
    )
    assert not (tmp_path / "copy.db").exists()


def test_a_store_goes_on_from_a_copy_only_if_it_has_its_entries_and_its_head(kept, tmp_path):
    found = backup(kept, tmp_path / "copy.db").found
    diary.note(kept, "den", "two", at=None, who="robin")
    seal_now(kept, "test")
    assert upkeep.goes_on(found, kept.store)
    put(tmp_path / "second", tmp_path / "copy.db")
    with open_desk(tmp_path / "second", environ={}, clock=clock()) as second:
        shutil.copytree(tmp_path / "home" / "keys", tmp_path / "second" / "keys")
        later = seal_now(second, "other", "den")
        assert upkeep.goes_on(found, second.store)
        other = upkeep.Found({}, later, NOW)
        moved = second.store.entries("den")[:-1] + second.store.entries(SENSORS_CHAIN)
        entries = upkeep.Found({"den": moved}, None, NOW)
        assert (upkeep.goes_on(other, kept.store), upkeep.goes_on(entries, kept.store)) == (False, False)


# --- restore


def test_a_restored_store_is_the_one_of_the_backup_and_says_so(kept, copied, tmp_path):
    before = assess(kept, "den")
    diary.note(kept, "den", "after the backup", at=None, who="robin")
    done = put(tmp_path / "new", copied)
    with open_desk(tmp_path / "new", environ={}, clock=clock()) as desk:
        assert assess(desk, "den") == before
        assert desk.store.entries(SENSORS_CHAIN)[-1] == done.entry
        assert chain.faults(linked(desk.store.entries(SENSORS_CHAIN))) == []
        assert [row.number for row in desk.store.heads()] == [1, 2]
    head = done.found.head
    digest = hashlib.sha256(copied.read_bytes()).hexdigest()
    assert (done.entry.kind, done.entry.who, done.entry.at) == (Kind.RESTORED, "ben", NOW)
    assert done.entry.body == {
        "head": {"number": 2, "hash": head.hash}, "entries": 7, "until": NOW, "file": "copy.db", "sha256": digest,
        "replaced": None, "untold": 0,
    }  # fmt: skip
    assert mode(done.path) == 0o600
    assert sorted(path.name for path in (tmp_path / "new").iterdir()) == ["keys", "wallclime.db"]


def test_what_waited_to_be_told_in_the_backup_is_given_up(kept, tmp_path):
    messages = [
        Message(name, "ada", "alarm", "too dry", "den is too dry", {}, NOW, NOW) for name in ("waits", "was told")
    ]
    kept.store.record_alarms([], [], messages)
    kept.store.outbox_sent("was told", NOW)
    done = put(tmp_path / "new", backup(kept, tmp_path / "copy.db").path)
    with open_desk(tmp_path / "new", environ={}, clock=clock()) as desk:
        assert desk.store.outbox_due(NOW + DAY, 9) == []
        assert [(dead.message.id, dead.at, dead.error) for dead in desk.store.dead_letters()] == [
            ("waits", NOW, "it waited in a backup that was restored")
        ]
    assert done.entry.body["untold"] == 1
    assert (
        "messages that waited in the backup and are not sent any more: 1. wallclime status counts them"
        in tell.restored(done.entry, None, None, False)
    )
    assert [row.message.id for row in kept.store.outbox_due(NOW, 9)] == ["waits"]


def test_the_key_beside_the_backup_is_put_where_it_belongs(copied, tmp_path):
    done = put(tmp_path / "new", copied)
    assert (done.key, done.key_there) == (tmp_path / "new" / "keys" / "seal-ed25519-1.pem", True)
    assert mode(done.key) == 0o600


def test_without_the_key_the_restored_store_says_that_it_lacks(copied, tmp_path):
    Path(f"{copied}.seal-ed25519-1.pem").unlink()
    done = put(tmp_path / "new", copied)
    assert (done.key, done.key_there) == (tmp_path / "new" / "keys" / "seal-ed25519-1.pem", False)


def test_a_store_that_is_there_is_replaced_only_when_it_is_asked_for_and_is_kept(kept, copied, tmp_path):
    home = tmp_path / "home"
    diary.note(kept, "den", "after the backup", at=None, who="robin")
    third = seal_now(kept, "test")
    assert refusal(lambda: put(home, copied)) == (
        f"{home}/wallclime.db: there is a store already. Add --replace: it is kept beside under another name"
    )
    kept.store.close()
    done = put(home, copied, replace=True)
    assert done.replaced == home / "wallclime.replaced-20260117T000000Z.db"
    assert done.entry.body["replaced"] == {"head": {"number": 3, "hash": third.hash}, "entries": 8, "until": NOW}
    with sqlite3.connect(done.replaced) as old:
        assert "after the backup" in [row[0] for row in old.execute("SELECT body FROM entry")][-1]
    old.close()
    assert {path.name for path in home.glob("*.db*")} == {done.replaced.name, "wallclime.db"}


def test_two_heads_of_one_number_after_a_restore_are_found_when_they_are_compared(kept, copied, tmp_path):
    diary.note(kept, "den", "after the backup", at=None, who="robin")
    third = seal_now(kept, "test")
    put(tmp_path / "new", copied)
    with open_desk(tmp_path / "new", environ={}, clock=clock()) as desk:
        seal_now(desk, "test")
        known = [signed_of(row) for row in desk.store.heads()]
    assert [(a.head.number, b.hash) for a, b in heads.conflicts(known, [third])] == [(3, third.hash)]


def test_a_store_that_can_not_be_read_is_replaced_and_kept(copied, tmp_path):
    home = tmp_path / "broken"
    home.mkdir()
    for name in ("wallclime.db", "wallclime.db-wal"):
        (home / name).write_bytes(b"no database" * 1000)
    done = put(home, copied, replace=True)
    assert (done.before, done.entry.body["replaced"]) == (None, None)
    assert done.replaced.read_bytes() == b"no database" * 1000
    assert Path(f"{done.replaced}-wal").read_bytes() == b"no database" * 1000
    assert not (home / "wallclime.db-wal").exists()


def test_a_store_that_a_daemon_writes_to_is_not_replaced(kept, copied, tmp_path):
    number = kept.store.wake()
    kept.store.stay_awake(number, {})
    kept.clock.move(5 * SECOND)

    def again() -> upkeep.Restored:
        return restore(tmp_path / "home", copied, replace=True, environ={}, clock=kept.clock, **WHO)

    assert refusal(again) == (
        f"{tmp_path}/home/wallclime.db: wallclime serve was there 5 s ago. "
        "Stop it first; if it was killed, wait two minutes"
    )
    kept.clock.move(2 * MINUTE)
    assert again().replaced is not None


def test_a_store_of_a_daemon_that_was_stopped_is_replaced_at_once(kept, copied, tmp_path):
    kept.store.stay_awake(kept.store.wake(), {"stopped": True})
    assert put(tmp_path / "home", copied, replace=True).before is not None


def test_a_backup_of_an_older_version_is_moved_on(tmp_path):
    here = Path(__file__).parents[1] / "keep" / "kept" / "0002.sql"
    database = sqlite3.connect(tmp_path / "old.db")
    database.executescript(here.read_text(encoding="utf-8"))
    database.close()
    before = (tmp_path / "old.db").read_bytes()
    done = put(tmp_path / "new", tmp_path / "old.db")
    assert done.entry.body["head"] is None
    assert (tmp_path / "old.db").read_bytes() == before
    assert [path.name for path in (tmp_path / "new").iterdir()] == ["wallclime.db"]


@pytest.mark.parametrize("what", ["body", "link", "gone"])
def test_a_backup_whose_log_was_changed_is_refused_and_nothing_is_put(copied, tmp_path, what):
    change = {
        "body": "UPDATE entry SET body = replace(body, 'one', 'two') WHERE kind = 'note'",
        "link": "UPDATE entry SET link = zeroblob(32) WHERE kind = 'note'",
        "gone": "DELETE FROM entry WHERE kind = 'deliver'",
    }[what]
    with sqlite3.connect(copied) as database:
        database.execute(change)
    database.close()
    said = refusal(lambda: put(tmp_path / "new", copied))
    fault = "entry 4 is missing or out of order" if what == "gone" else "the entry or one before it was altered"
    assert said == f"{copied}: entry 5 of den: {fault}. Use another backup, and keep this one unchanged"
    assert list((tmp_path / "new").iterdir()) == []


def test_a_damaged_backup_is_refused_and_the_store_stays(copied, tmp_path):
    before = sorted(path.name for path in (tmp_path / "home").iterdir())
    with copied.open("r+b") as file:
        file.truncate(copied.stat().st_size - 8192)
    said = refusal(lambda: put(tmp_path / "home", copied, replace=True))
    assert said.startswith(f"{copied}: ")
    assert "not whole" in said or "damaged" in said
    assert sorted(path.name for path in (tmp_path / "home").iterdir() if "-" not in path.name) == [
        name for name in before if "-" not in name
    ]


def test_what_can_be_no_backup_is_refused(kept, tmp_path):
    store = tmp_path / "home" / "wallclime.db"
    diary.note(kept, "den", "two", at=None, who="robin")
    assert refusal(lambda: put(tmp_path / "new", store)) == (
        f"{store}: a part of it still lies in wallclime.db-wal: it is no backup, but a store in use or a copy of one. "
        "Make a backup of it: wallclime --home DIR backup FILE"
    )
    assert refusal(lambda: put(tmp_path / "new", tmp_path / "none.db")) == (
        f"{tmp_path}/none.db: there is no such file. Name a file that wallclime backup wrote"
    )


def test_a_home_whose_store_is_no_file_is_not_restored(copied, tmp_path):
    home = tmp_path / "server"
    home.mkdir()
    (home / "wallclime.toml").write_text('[store]\nurl = "postgresql://ada@db/walls"\n')
    assert refusal(lambda: put(home, copied)) == (
        f"{home}/wallclime.toml: the store of this home is no file. Use pg_restore, then start wallclime"
    )


def test_of_a_restore_that_fails_at_the_last_step_the_store_is_where_it_was(copied, tmp_path, monkeypatch):
    def fail(*_args) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(upkeep, "_move_away", fail)
    with pytest.raises(KeyboardInterrupt):
        put(tmp_path / "home", copied, replace=True)
    assert [path.name for path in (tmp_path / "home").iterdir() if "restoring" in path.name] == []
    with open_desk(tmp_path / "home", environ={}, clock=clock()) as desk:
        assert [entry.kind for entry in desk.store.entries(SENSORS_CHAIN)] == [Kind.SENSOR, Kind.ASSIGNMENT]


def test_what_was_forgotten_after_the_backup_is_told(kept, copied, tmp_path):
    close_job(kept, "den", at=None, reason="done", who="robin")
    forget(kept, "den", numbers=[5], reason="asked to", who="ada")
    done = put(tmp_path / "home", copied, replace=True)
    [(job, entry)] = forgotten_since(done)
    assert tell.forgotten_since(job, entry) == (
        "mind: den was forgotten since, forget it again: wallclime job forget den --entries 5"
    )
    assert forgotten_since(put(tmp_path / "new", copied)) == []


def test_an_erased_entry_is_no_damage_of_a_backup(kept, tmp_path):
    close_job(kept, "den", at=None, reason="done", who="robin")
    forget(kept, "den", numbers=[5], reason="asked to", who="ada")
    done = backup(kept, tmp_path / "later.db")
    assert b'"text": "one"' not in done.path.read_bytes()
    assert put(tmp_path / "new", done.path).found.entries == 9


def test_a_folder_that_can_not_be_written_is_told(copied, tmp_path, monkeypatch):
    def refuse(*_args, **_more):
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr(upkeep.tempfile, "mkdtemp", refuse)
    assert refusal(lambda: put(tmp_path / "new", copied)) == (
        f"{tmp_path}/new: the folder can't be written (Read-only file system). Let this user write it"
    )


def test_a_file_that_can_not_be_copied_is_told(tmp_path):
    assert refusal(lambda: upkeep.copy_new(tmp_path / "none", tmp_path / "a")) == (
        f"{tmp_path}/none: it can't be copied (No such file or directory). "
        "Check the path, its rights and the room on the disk"
    )


def test_a_name_that_is_taken_for_the_replaced_store_is_no_place_for_it(kept, copied, tmp_path):
    taken = tmp_path / "home" / "wallclime.replaced-20260117T000000Z.db"
    taken.write_bytes(b"mine")
    assert refusal(lambda: put(tmp_path / "home", copied, replace=True)) == (
        f"{taken}: there is a file already. Try again in a second"
    )
    assert taken.read_bytes() == b"mine"


# --- words


def test_the_diary_says_from_which_head_the_store_goes_on(copied, tmp_path):
    done = put(tmp_path / "new", copied)
    assert told.body(done.entry, Display(zone_of("UTC"), "si")) == (
        f"from head 2, {done.found.head.hash}, the backup of 2026-01-17 00:00 +00:00; what came later is not here; "
        f"file: copy.db; sha256: {done.entry.body['sha256']}"
    )


def test_a_store_without_a_head_is_examined_too(desk):
    assert examine(desk.store, "here") == upkeep.Found({}, None, 0)
    assert tell.holds({"head": None, "entries": 1, "until": 0}) == "no head, 1 entry"
