"""wallclime backup, restore and doctor."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path
from typing import Any

import pytest
from homes import COLUMNS, DELIVERED, NOON, Home, csv_of, steady
from processes import STAMPED, Daemon, free_port

from monitor.basis.clock import SystemClock
from monitor.basis.times import DAY
from monitor.seal.heads import SignedHead

ASIDE = "Put the store aside unchanged and continue from a backup: wallclime restore FILE --replace"


@pytest.fixture(scope="module")
def sealed(tmp_path_factory) -> Path:
    """A home with a job of two days' readings, all sealed; and a head since."""
    from homes import OPEN_DEN

    home = Home(tmp_path_factory.mktemp("sealed") / "home")
    home.done(*OPEN_DEN)
    home.done("log", "deliver", "den", "--at", "2026-01-05T08:00")
    home.done("import", "den", home.file("den.csv", csv_of(steady(DELIVERED, 30))), "--sensor", "shelf", *COLUMNS)
    home.done("log", "note", "den", "heater on")
    home.done("seal", "now")
    return home.path


@pytest.fixture
def kept(wallclime: Home, sealed: Path) -> Home:
    import shutil

    shutil.copytree(sealed, wallclime.path)
    return wallclime


def checks(home: Home) -> dict[str, tuple[str, str, str]]:
    """What the doctor finds: verdict, evidence, mend by name."""
    found = json.loads(home("doctor", "--json").out)
    return {one["name"]: (one["verdict"], one["evidence"], one["mend"]) for one in found}


def change(home: Home, *statements: str) -> None:
    database = sqlite3.connect(home.path / "wallclime.db")
    for statement in statements:
        database.execute(statement)
    database.commit()
    database.close()


def newest_head(home: Home) -> str:
    """ "head 2 (9f3c0a2b)": the newest head, as it is told."""
    database = sqlite3.connect(home.path / "wallclime.db")
    text, signature = database.execute("SELECT text, signature FROM head ORDER BY number DESC").fetchone()
    database.close()
    head = SignedHead(text, signature)
    return f"head {head.head.number} ({head.hash[:8]})"


# --- backup and restore


def test_a_backup_is_written_and_told(kept, tmp_path):
    done = kept.done("backup", tmp_path / "copy.db")
    head = newest_head(kept)
    assert done.out == ""
    assert done.err.splitlines() == [
        f"wrote {tmp_path}/copy.db: {head}, 8 entries, up to 2026-01-12T12:00:00Z; it was read again and is whole",
        f"the signing key is not in it: keep a copy of {kept.path}/keys/seal-ed25519-1.pem in another place, "
        "or add --with-key",
    ]


def test_a_backup_with_its_key_warns_of_it(kept, tmp_path):
    assert kept.done("backup", tmp_path / "copy.db", "--with-key").err.splitlines()[1:] == [
        f"the signing key lies beside it: {tmp_path}/copy.db.seal-ed25519-1.pem",
        "mind: whoever has that file can sign in your name; keep it apart from the backup",
    ]


def test_before_the_first_head_a_backup_has_no_key(den, tmp_path):
    assert den.done("backup", tmp_path).err.splitlines() == [
        f"wrote {tmp_path}/wallclime-20260112T120000Z.db: no head, 3 entries, up to 2026-01-12T12:00:00Z; "
        "it was read again and is whole",
        "there is no signing key yet: it is made with the first head",
    ]


def test_a_store_on_a_server_is_backed_up_by_its_own_means(den, tmp_path):
    from unittest import mock

    with mock.patch("monitor.keep.store.Store.backup", side_effect=_refused(tmp_path)):
        refused = den("backup", tmp_path / "copy.db")
    assert (refused.code, refused.err) == (
        3,
        f"{tmp_path}/copy.db: only an SQLite store is copied to a file. Use pg_dump for PostgreSQL\n",
    )


def _refused(folder: Path) -> Exception:
    """As the store's own test has it on a real server."""
    from monitor.basis.errors import StoreError

    what, mend = "only an SQLite store is copied to a file", "Use pg_dump for PostgreSQL"
    return StoreError(what, where=str(folder / "copy.db"), mend=mend)


def test_a_backup_is_put_into_a_new_home_and_goes_on(kept, tmp_path):
    kept.done("backup", tmp_path / "copy.db", "--with-key")
    other = Home(tmp_path / "other")
    done = other.done("restore", tmp_path / "copy.db", "--by", "Ben")
    head = newest_head(kept)
    assert done.err.splitlines() == [
        f"entry 3 of the sensors' log: restored from {head}, 8 entries, up to 2026-01-12T12:00:00Z",
        "mind: what came later is not here. Codes of later heads will not fit; wallclime seal compare finds them",
    ]
    assert other.done("assess", "den", "--json").out == kept.done("assess", "den", "--json").out
    other.done("log", "note", "den", "it goes on")
    other.done("seal", "now")
    assert [verdict for verdict, *_ in checks(other).values() if verdict == "fail"] == []


def test_what_is_replaced_is_kept_and_what_lacks_is_told(kept, tmp_path):
    kept.done("backup", tmp_path / "copy.db")
    kept.done("job", "close", "den", "--reason", "done")
    kept.done("job", "forget", "den", "--entries", "6", "--reason", "asked to")
    head = newest_head(kept)
    (kept.path / "keys" / "seal-ed25519-1.pem").unlink()
    refused = kept("restore", tmp_path / "copy.db")
    assert (refused.code, refused.err) == (
        3,
        f"{kept.path}/wallclime.db: there is a store already. Add --replace: it is kept beside under another name\n",
    )
    said = kept.done("restore", tmp_path / "copy.db", "--replace").err.splitlines()
    assert said[1].startswith(
        f"the store that was there is kept: {kept.path}/wallclime.replaced-20260112T120000Z.db ({head}, "
    )
    assert said[1].endswith(", 10 entries, up to 2026-01-12T12:00:00Z)")
    assert said[3:] == [
        f"the signing key is not here: put it back as {kept.path}/keys/seal-ed25519-1.pem, "
        "or declare it lost: wallclime seal lost",
        "mind: den was forgotten since, forget it again: wallclime job forget den --entries 6",
    ]


def test_a_store_that_was_unreadable_is_kept_too(kept, tmp_path):
    kept.done("backup", tmp_path / "copy.db")
    (kept.path / "wallclime.db").write_bytes(b"no database")
    said = kept.done("restore", tmp_path / "copy.db", "--replace").err.splitlines()
    kept_as = f"{kept.path}/wallclime.replaced-20260112T120000Z.db"
    assert said[1] == f"the store that was there is kept: {kept_as} (unreadable)"


# --- doctor


def test_of_a_home_where_all_is_well_nothing_fails(kept):
    found = checks(kept)
    assert {name: verdict for name, (verdict, *_) in found.items()} == {
        "settings": "pass", "file modes": "pass", "disk room": "pass", "store": "pass", "writing": "pass",
        "store file": "pass", "logs": "pass", "files": "pass", "signing key": "pass", "heads": "pass", "seals": "pass",
        "days to seal": "pass", "clock": "pass", "clock source": "unknown", "daemon": "unknown",
        "messages": "pass", "broker 127.0.0.1:1883": "unknown",
    }  # fmt: skip
    assert found["store"][1] == f"{kept.path}/wallclime.db, version {_version()}, 1 job, 360 readings"
    assert found["logs"][1] == "entries hang together: 8"
    assert found["heads"][1] == "signed, and each follows on the one before: 2"
    assert found["clock"][1] == "it says 2026-01-12T12:00:00Z, and nothing in the store is of later"
    assert kept("doctor").code == 0


def _version() -> str:
    from monitor.keep.schema import VERSIONS

    return VERSIONS[-1]


def test_the_doctor_speaks_in_lines_and_the_mend_has_its_own(den):
    lines = den.done("doctor").out.splitlines()
    assert lines[0] == "PASS     settings: there is no wallclime.toml: all is as by default"
    assert lines[-2:] == [
        "UNKNOWN  broker 127.0.0.1:1883: there is no wallclime.toml, so it was not asked",
        "         > wallclime init writes one, to be filled in",
    ]


def test_the_doctor_makes_no_home_and_no_store(wallclime):
    gone = wallclime("doctor")
    assert (gone.code, gone.out.splitlines()) == (
        1,
        [
            f"FAIL     home: there is no folder {wallclime.path}",
            "         > Name it with --home, or begin: wallclime init",
        ],
    )
    wallclime.path.mkdir()
    assert checks(wallclime)["store"] == (
        "unknown", f"there is none yet: {wallclime.path}/wallclime.db", "It is made by the first command that needs it",
    )  # fmt: skip
    assert list(wallclime.path.iterdir()) == []


def test_every_fault_of_the_settings_is_told(den):
    (den.path / "wallclime.toml").write_text('[store]\nurl = 3\n[log]\nlevel = "loud"\n')
    found = json.loads(den("doctor", "--json").out)
    assert [(one["name"], one["verdict"]) for one in found] == [("settings", "fail")] * 2
    assert found[0]["evidence"] == f"{den.path}/wallclime.toml: store.url: this is not the URL of a store"


def test_a_store_that_can_not_be_opened_is_told(den):
    (den.path / "wallclime.db").write_bytes(b"no database" * 100)
    assert checks(den)["store"][:2] == ("fail", f"{den.path}/wallclime.db: it is no SQLite database")


@pytest.mark.parametrize(
    ("name", "mode", "what", "change"),
    [
        ("wallclime.db", 0o640, "read", "go-rwx"),
        ("keys", 0o750, "read", "go-rwx"),
        ("keys/seal-ed25519-1.pem", 0o604, "read", "go-rwx"),
        (".", 0o777, "write", "go-w"),
    ],
)
def test_what_others_may_read_or_write_is_told(kept, name, mode, what, change):
    path = kept.path / name
    path.chmod(mode)
    assert checks(kept)["file modes"] == (
        "fail", f"others than its owner may {what} {path}", f"Run: chmod {change} {path}",
    )  # fmt: skip


def test_a_disk_without_room_is_told(kept, monkeypatch):
    from collections import namedtuple

    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr("shutil.disk_usage", lambda _: usage(1, 1, 100 * 2**20))
    assert checks(kept)["disk room"] == (
        "fail", f"0.1 GiB are free in {kept.path}", "Free some space: at least 200 MiB",
    )  # fmt: skip


CHANGES = {
    "an entry": (
        "logs",
        "UPDATE entry SET body = replace(body, 'heater', 'cooler')",
        "entry 6 of den: the entry or one before it was altered",
    ),
    "a file": (
        "files",
        """UPDATE entry SET body = '{"sha256": "' || hex(zeroblob(32)) || '", "media_type": "image/jpeg"}' """
        "WHERE kind = 'note'",
        "the file 000000000000 that entry 6 of den names is not there",
    ),
    "an erased entry without a tombstone": (
        "logs",
        "UPDATE entry SET kind = 'erased', body = '{\"body_hash\": \"' || lower(hex(zeroblob(32))) || '\", \"by\": 1}' "
        "WHERE kind = 'note'",
        "entry 6 of den: the entry or one before it was altered (and 1 more)",
    ),
    "a reading": (
        "seals",
        "UPDATE reading SET value = 21.05 WHERE value = 21.0 AND t = (SELECT min(t) FROM reading)",
        "1 readings of 2026-01-05 of file:shelf are not as they were sealed (and 1 more)",
    ),
    "a reading that is gone": (
        "seals",
        "DELETE FROM reading WHERE value = 21.0 AND t = (SELECT min(t) FROM reading)",
        "1 readings of 2026-01-05 of file:shelf are not as they were sealed",
    ),
    "a reading that was added": (
        "seals",
        "INSERT INTO reading SELECT channel_id, t + 1, value, unit_id, arrival, origin_id FROM reading LIMIT 1",
        "1 readings of 2026-01-05 of file:shelf were added and are not sealed",
    ),
    "what a leaf keeps": (
        "seals",
        "UPDATE sealed SET bytes = zeroblob(10) WHERE leaf = (SELECT min(leaf) FROM sealed)",
        "what leaf 1 keeps of 2026-01-05 of file:shelf is not what was sealed",
    ),
    "a leaf": ("heads", "UPDATE leaf SET text = replace(text, 'file:shelf', 'file:other')",
               "the leaves are not those that head 2 was made over"),
    "a leaf too many": (
        "heads",
        "INSERT INTO leaf SELECT number + 100, text, kind, thread, record, day FROM leaf LIMIT 1",
        "there are leaves that no head was made over",
    ),
    "what is no leaf": ("seals", "UPDATE leaf SET text = '{}' WHERE number = 0",
                        "leaf 0 can't be read (a record of a kind that there is not)"),
    "a signature": ("heads", "UPDATE head SET signature = zeroblob(64)", "the signature of head 1 does not hold"),
    "a head": ("heads", "UPDATE head SET text = replace(text, '\"number\":1', '\"number\":2')",
               "head 2 does not follow on the head before it (and "),
    "what is no head": ("heads", "UPDATE head SET text = '{}'", "head 1 can't be read (no head: it has other keys)"),
    "the last entry": ("seals", "DELETE FROM entry WHERE kind = 'note'", "entry 6 of den is not the one that leaf"),
    "the last time": ("clock", f"UPDATE entry SET entered = {NOON + DAY} WHERE kind = 'note'",
                      "it says 2026-01-12T12:00:00Z, 24 h before the newest thing in the store"),
}  # fmt: skip


@pytest.mark.parametrize("what", CHANGES)
def test_what_was_changed_in_the_store_is_found(kept, what):
    name, statement, told = CHANGES[what]
    change(kept, statement)
    verdict, evidence, mend = checks(kept)[name]
    assert (verdict, evidence[: len(told)]) == ("fail", told)
    assert mend == ("Set the computer's clock, best by NTP" if name == "clock" else ASIDE)
    assert kept("doctor").code == 1


def test_an_entry_that_was_erased_is_no_fault(kept):
    kept.done("job", "close", "den", "--reason", "done")
    kept.done("job", "forget", "den", "--entries", "6", "--reason", "asked to")
    found = checks(kept)
    assert [found[name][0] for name in ("logs", "files", "heads", "seals")] == ["pass"] * 4


def test_an_erased_entry_is_told_by_one_that_forgot_it(kept):
    kept.done("job", "close", "den", "--reason", "done")
    kept.done("job", "forget", "den", "--entries", "6", "--reason", "asked to")
    change(kept, "UPDATE entry SET kind = 'note' WHERE kind = 'forgotten'")
    assert checks(kept)["logs"][1].endswith("(and 1 more)")


def test_days_that_wait_too_long_to_be_sealed_are_told(kept):
    kept.done("import", "den", kept.file("late.csv", csv_of(steady(DELIVERED + DAY + DAY // 4, 30))),
              "--sensor", "shelf", *COLUMNS)  # fmt: skip
    assert checks(kept)["days to seal"] == (
        "fail", "of days that are over 3 wait to be sealed, the first is 2026-01-06",
        "Run wallclime serve, or seal by hand: wallclime seal now",
    )  # fmt: skip
    kept.done("seal", "now")
    assert checks(kept)["days to seal"][0] == "pass"


def test_a_key_that_is_not_there_is_told(kept):
    (kept.path / "keys" / "seal-ed25519-1.pem").unlink()
    assert checks(kept)["signing key"][:2] == (
        "fail", f"{kept.path}/keys/seal-ed25519-1.pem: the key can't be read (No such file or directory)",
    )  # fmt: skip


def awake(home: Home, state: dict[str, Any], ago: int) -> None:
    text = json.dumps(state).replace("'", "''")
    change(home, f"INSERT INTO awake (started, last, state) VALUES ({NOON - DAY}, {NOON - ago}, '{text}')")


def test_the_daemons_last_sign_of_life_is_told(kept):
    awake(kept, {"links": []}, 3000)
    assert checks(kept)["daemon"][:2] == ("pass", "it runs since 2026-01-11T12:00:00Z, last sign of life 3 s ago")
    change(kept, f"UPDATE awake SET last = {NOON - DAY // 2}")
    assert checks(kept)["daemon"] == (
        "fail", "wallclime serve is not running; it was there last at 2026-01-12 00:00+00:00",
        "Look at its log, and at the brokers below",
    )  # fmt: skip
    change(kept, """UPDATE awake SET state = '{"stopped": true}'""")
    assert checks(kept)["daemon"] == ("unknown", "it was stopped 2026-01-12T00:00:00Z", "Start it: wallclime serve")


# --- the brokers


def settle(home: Home, port: int) -> None:
    (home.path / "wallclime.toml").write_text(f'[broker]\nport = {port}\nclient_id = "house"\n{STAMPED}')


def test_a_message_to_oneself_comes_back_beside_a_running_daemon(kept, mosquitto):
    settle(kept, mosquitto.port)
    kept.clock = SystemClock()
    file = kept.path / "wallclime.toml"
    file.write_text(file.read_text() + '[log]\nformat = "json"\n')
    daemon = Daemon(kept.path)
    daemon.start(until="backlog_over")
    try:
        found = checks(kept)
    finally:
        daemon.stop()
    verdict, evidence, mend = found[f"broker 127.0.0.1:{mosquitto.port}"]
    assert (verdict, mend) == ("pass", "")
    assert evidence.startswith("a message to wallclime/house/marker came back in ")
    assert found["daemon"][0] == "pass"
    assert [line["event"] for line in daemon.lines() if line["event"] in ("broker", "refused", "fault")] == []


def test_a_broker_that_is_away_fails(kept):
    port = free_port()
    settle(kept, port)
    assert checks(kept)[f"broker 127.0.0.1:{port}"] == (
        "fail", f"broker 127.0.0.1:{port}: Connection refused",
        "Start the broker, or mend host and port in wallclime.toml",
    )  # fmt: skip


def test_a_broker_at_which_nothing_is_heard_is_not_asked(kept):
    (kept.path / "wallclime.toml").write_text("source = []\n")
    assert checks(kept)["broker 127.0.0.1:1883"] == (
        "unknown", "nothing is heard there, so it was not asked", "Add a [[source]] to wallclime.toml",
    )  # fmt: skip
