"""Sealing over a real store: days closed, late readings amended, events, keys exchanged, two at once, crashes."""

from __future__ import annotations

import shutil

import pytest
from desks import NOW, T0, Row, furnish, hear, readings, steady

from monitor.basis.errors import StoreError
from monitor.basis.segment import content_hash, encode, readings_of
from monitor.basis.times import DAY, HOUR, MINUTE, rfc3339
from monitor.basis.values import BACK_FILL, SENSORS_CHAIN, Draft, Kind, Origin, OriginKind, Refused
from monitor.seal import keys
from monitor.seal.heads import read_head
from monitor.seal.keys import follow
from monitor.seal.merkle import Tree, leaf_hash
from monitor.seal.records import read_record
from monitor.watch.evidence import keyring, sealing
from monitor.watch.evidence.sealing import close_due, declare_lost, note_keys, rotate, seal_now, sealed_segment

SHELF = "site/shelf/climate"
FILE = Origin(OriginKind.FILE, "5e" * 32)


@pytest.fixture(autouse=True)
def after_the_night(desk) -> None:
    """The day before NOW, a midnight, is due to be closed."""
    at(desk, NOW + 3 * HOUR)


def at(desk, t: int) -> None:
    desk.clock.at_ms = t


def leaves(desk) -> list[dict]:
    return [read_record(text) for text in desk.store.leaf_texts()]


def of_kind(desk, *kinds: str) -> list[dict]:
    return [record for record in leaves(desk) if record["record"] in kinds]


def sealed(desk, stream: str = SHELF) -> list[tuple]:
    """Every reading that is sealed, in order of time."""
    found = []
    for leaf in desk.store.leaves("sensor", stream):
        if leaf.record != "gap":
            found += readings_of(sealed_segment(desk, leaf.number))
    return in_order(found)


def in_order(found: list) -> list:
    return sorted(found, key=lambda one: (one.t, one.quantity))


def heads_hold(desk) -> None:
    """Every head follows on the one before it and is a tree of the leaves; every content is the one of its leaf."""
    texts = list(desk.store.leaf_texts())
    tree, previous = Tree(leaf_hash(text.encode()) for text in texts), "00" * 32
    epochs = {one.fingerprint: one.public for one in follow(keyring.statements(desk))}
    for number, row in enumerate(desk.store.heads(), 1):
        head = read_head(row.text)
        assert (head.number, head.previous, head.root) == (number, previous, tree.root(head.size).hex())
        assert keys.is_signed(epochs[head.key], keys.HEAD, row.text, row.signature)
        previous = sealing.signed_of(row).hash
    assert desk.store.heads()[-1].size == len(texts)
    for number, text in enumerate(texts):
        record = read_record(text)
        if "sha256" in record:
            assert content_hash(encode(sealed_segment(desk, number))).hex() == record["sha256"]


def closed(desk) -> list[str]:
    return [read_head(row.text).closes for row in desk.store.heads()]


# --- days


def test_a_store_without_anything_has_no_head(desk):
    assert close_due(desk) == []
    assert seal_now(desk, "seal") is None
    assert not keyring.key_path(desk, 1).exists()


def test_a_day_is_closed_when_it_is_over_and_the_time_for_late_readings_has_passed(desk):
    hear(desk, steady(T0, 24))
    at(desk, T0 + DAY + 2 * HOUR - 1)
    assert close_due(desk) == []
    at(desk, T0 + DAY + 2 * HOUR)
    [head] = close_due(desk)
    assert (head.head.closes, head.head.reason, head.head.number) == ("2026-01-05", "day", 1)
    assert close_due(desk) == []
    assert sealed(desk) == in_order(readings(SHELF, steady(T0, 24)))
    heads_hold(desk)


def test_days_are_closed_one_by_one_without_a_hole_also_those_of_which_nothing_was_heard(desk):
    hear(desk, steady(T0, 1))
    at(desk, T0 + DAY + 3 * HOUR)
    close_due(desk)
    at(desk, T0 + 4 * DAY + 3 * HOUR)
    close_due(desk)
    assert closed(desk) == ["2026-01-05", "2026-01-06", "2026-01-07", "2026-01-08"]
    heads_hold(desk)


def test_the_first_day_that_is_closed_is_the_last_one_due_with_all_before_it(desk):
    hear(desk, steady(T0, 72))
    close_due(desk)
    assert closed(desk) == [rfc3339(NOW - DAY)[:10]] == ["2026-01-16"]
    assert [record["day"] for record in of_kind(desk, "segment")] == ["2026-01-05", "2026-01-06", "2026-01-07"]


def test_what_is_much_is_sealed_in_portions_before_its_day_is_closed(desk, monkeypatch):
    monkeypatch.setattr(sealing, "MOST", 2)
    hear(desk, steady(T0, 120))
    close_due(desk)
    assert [(read_head(row.text).reason, row.size) for row in desk.store.heads()] == [
        ("earlier days", 2), ("earlier days", 4), ("day", 5),
    ]  # fmt: skip
    assert desk.store.unsealed() == []


def test_today_is_left_out_of_a_close(desk):
    hear(desk, steady(NOW - DAY, 26))
    close_due(desk)
    assert [mark.day for mark in desk.store.unsealed()] == [NOW]
    assert {record["day"] for record in of_kind(desk, "segment")} == {"2026-01-16"}


@pytest.mark.parametrize(
    ("origin", "reason"),
    [
        (FILE, "a file was imported"),
        (BACK_FILL, "sent later by the sensor"),
    ],
)
def test_readings_that_come_after_their_day_was_closed_amend_it(desk, origin, reason):
    first, late = steady(T0, 12), steady(T0 + 12 * HOUR, 12)
    hear(desk, first)
    at(desk, T0 + DAY + 2 * HOUR)
    close_due(desk)
    hear(desk, late, origin=origin)
    at(desk, T0 + 2 * DAY + 2 * HOUR)
    close_due(desk)
    [segment, amendment] = of_kind(desk, "segment", "amendment")
    assert (amendment["record"], amendment["reason"], amendment["amends"]) == ("amendment", reason, 0)
    assert (segment["readings"], amendment["readings"]) == (144, 144)
    assert sealed(desk) == in_order([*readings(SHELF, first), *readings(SHELF, late, origin)])
    heads_hold(desk)


def test_how_late_a_live_reading_was_heard_is_said(desk):
    hear(desk, steady(T0, 1))
    at(desk, T0 + DAY + 2 * HOUR)
    close_due(desk)
    late = [one._replace(arrival=T0 + DAY + 3 * HOUR) for one in readings(SHELF, steady(T0 + 2 * HOUR, 1))]
    desk.store.keep_readings([*late, *readings(SHELF, steady(T0 + 4 * HOUR, 1), FILE)])
    seal_now(desk, "seal")
    assert [record["reason"] for record in of_kind(desk, "amendment")] == [
        "a file was imported; heard 3.0 h after the day was over"
    ]


def test_a_day_that_was_closed_without_readings_of_a_sensor_is_amended_with_nothing_before(desk):
    hear(desk, steady(T0, 1))
    at(desk, T0 + DAY + 2 * HOUR)
    close_due(desk)
    hear(desk, steady(T0, 1), stream="file:logger", origin=FILE)
    seal_now(desk, "seal")
    [amendment] = of_kind(desk, "amendment")
    assert (amendment["stream"], amendment["amends"]) == ("file:logger", None)


# --- what else is sealed


def test_every_log_that_has_grown_is_sealed_with_its_last_link(desk):
    furnish(desk)
    seal_now(desk, "seal")
    number, link = desk.store.head("den")
    assert [(one["chain"], one["number"]) for one in of_kind(desk, "log head")] == [("", 2), ("den", number)]
    assert of_kind(desk, "log head")[1]["link"] == link.hex()
    desk.store.append("den", [Draft(Kind.NOTE, T0, "robin", {"text": "dry"})])
    seal_now(desk, "seal")
    last = of_kind(desk, "log head")[-1]
    assert (last["chain"], last["number"], last["previous"]) == ("den", number + 1, 1)


def test_steps_of_the_clock_are_records_once(desk):
    desk.store.append(SENSORS_CHAIN, [Draft(Kind.CLOCK, T0 + HOUR, "wallclime", {"by_ms": -90_000})])
    seal_now(desk, "seal")
    desk.store.append(SENSORS_CHAIN, [Draft(Kind.NOTE, T0, "wallclime", {"text": "x"})])
    seal_now(desk, "seal")
    assert [(one["at"], one["by"]) for one in of_kind(desk, "clock step")] == [(T0 + HOUR, -90_000)]


def test_times_without_the_daemon_are_records_once_and_when_they_are_over(desk):
    spans = ((T0, T0 + HOUR), (T0 + 5 * HOUR, T0 + 6 * HOUR))
    for start, end in spans:
        at(desk, start)
        number = desk.store.wake()
        at(desk, end)
        desk.store.stay_awake(number, {})
    at(desk, T0 + 9 * HOUR)
    hear(desk, steady(T0, 1))
    seal_now(desk, "seal")
    at(desk, T0 + 10 * HOUR)
    desk.store.wake()
    at(desk, T0 + 10 * HOUR + MINUTE)
    seal_now(desk, "seal")
    seal_now(desk, "seal")
    assert [(one["start"], one["end"]) for one in of_kind(desk, "absence")] == [
        (T0 + HOUR, T0 + 5 * HOUR), (T0 + 6 * HOUR, T0 + 10 * HOUR),
    ]  # fmt: skip


def test_what_was_refused_on_a_day_is_sealed_once_and_what_comes_later_in_another_record(desk):
    desk.store.keep_readings([], [Refused("x", "unreadable", "?", raw, NOW - DAY) for raw in (b"a", b"b")])
    close_due(desk)
    desk.store.keep_readings([], [Refused("x", "unreadable", "?", raw, NOW - DAY + 1) for raw in (b"a", b"c")])
    seal_now(desk, "seal")
    found = of_kind(desk, "quarantine")
    assert [(one["day"], one["items"]) for one in found] == [("2026-01-16", 2), ("2026-01-16", 1)]
    items = [sealing.item_hash(sealing.refusal_of(row)) for row in desk.store.refused_on(NOW - DAY)]
    known = [one for leaf in desk.store.leaves("recorder", "") for one in sealing.sealed_items(desk, leaf.number)]
    assert sorted(known) == sorted(items)
    assert Tree(known[:2]).root(2).hex() == found[0]["root"]


def gaps(desk) -> list[tuple[float, float]]:
    """The gaps in hours since T0."""
    return [((one["start"] - T0) / HOUR, (one["end"] - T0) / HOUR) for one in of_kind(desk, "gap")]


def test_a_silence_longer_than_the_hold_is_a_record(desk):
    furnish(desk)  # the hold is 30 min
    hear(desk, steady(T0, 6) + steady(T0 + 8 * HOUR, 16.5))
    at(desk, T0 + DAY + 2 * HOUR)
    close_due(desk)
    assert gaps(desk) == [(pytest.approx(5 + 50 / 60), 8)]


def test_a_silence_over_midnight_is_cut_there_and_found_by_both_days(desk):
    furnish(desk)
    hear(desk, steady(T0, 23.5) + steady(T0 + 24.5 * HOUR, 24))  # silent from 23:20 to 00:30
    for day in (1, 2):
        at(desk, T0 + day * DAY + 2 * HOUR)
        close_due(desk)
    assert gaps(desk) == [(pytest.approx(23 + 20 / 60), 24), (24, 24.5)]


def test_a_sensor_that_says_nothing_is_silent_day_by_day_from_its_assignment_on(desk):
    furnish(desk, at=T0 + 6 * HOUR)
    hear(desk, steady(T0, 1), stream="site/other/climate")
    for day in (1, 2):
        at(desk, T0 + day * DAY + 2 * HOUR)
        close_due(desk)
    assert gaps(desk) == [(6, 24), (24, 48)]


def test_readings_less_apart_than_the_hold_leave_no_gap_at_midnight(desk):
    furnish(desk)
    hear(desk, steady(T0, 72, step=25))
    for day in (1, 2):
        at(desk, T0 + day * DAY + 2 * HOUR)
        close_due(desk)
    assert gaps(desk) == []


# --- events


def test_an_event_seals_what_the_jobs_sensors_said_today_and_the_rest_of_the_day_amends_it(desk):
    furnish(desk)
    at(desk, NOW + 12 * HOUR)
    hear(desk, steady(NOW, 12))
    hear(desk, steady(NOW, 12), stream="site/other/climate")
    head = seal_now(desk, "start", "den", anyway=True)
    assert head is not None
    assert (head.head.reason, head.head.closes) == ("start", None)
    assert [mark.thread for mark in desk.store.unsealed()] == ["site/other/climate"]
    hear(desk, steady(NOW + 12 * HOUR, 12))
    at(desk, NOW + DAY + 2 * HOUR)
    close_due(desk)
    mine = [one for one in of_kind(desk, "segment", "amendment") if one["stream"] == SHELF]
    assert [one.get("reason") for one in mine] == [None, "the rest of the day"]
    assert len(sealed(desk)) == 288
    heads_hold(desk)


def test_an_event_makes_a_head_of_the_job_though_nothing_is_new(desk):
    furnish(desk)
    seal_now(desk, "start", "den", anyway=True)
    seal_now(desk, "finish", "den", anyway=True)
    assert [(row.job, row.size) for row in desk.store.heads()] == [("den", 2), ("den", 2)]


def test_without_a_job_nothing_new_makes_no_head(desk):
    furnish(desk)
    first = seal_now(desk, "seal")
    assert seal_now(desk, "seal") == first
    assert len(desk.store.heads()) == 1


# --- the key


def test_the_key_is_made_with_the_first_head_for_its_owner_alone(desk):
    furnish(desk)
    head = seal_now(desk, "seal")
    path = keyring.key_path(desk, 1)
    assert head is not None
    assert head.head.key == keys.fingerprint(keys.public_of(keys.load_key(path)))
    assert (path.stat().st_mode & 0o777, path.parent.stat().st_mode & 0o777) == (0o600, 0o700)
    assert [one.how for one in keyring.epochs(desk)] == ["first"]


def test_an_exchange_of_the_key_is_vouched_for_by_both_and_told_in_the_log(desk):
    furnish(desk)
    seal_now(desk, "seal")
    rotate(desk, "every year")
    first, second = keyring.epochs(desk)
    assert (second.how, second.reason, second.last) == (
        "rotation", "every year", sealing.signed_of(desk.store.heads()[0]).hash,
    )  # fmt: skip
    [entry] = [entry for entry in desk.store.entries(SENSORS_CHAIN) if entry.kind is Kind.KEY]
    assert entry.body == {"how": "rotation", "fingerprint": second.fingerprint, "reason": "every year"}
    assert first.fingerprint != second.fingerprint
    heads_hold(desk)


def test_an_exchange_that_was_not_told_yet_is_told_with_the_next_head_and_once(desk, monkeypatch):
    furnish(desk)
    seal_now(desk, "seal")
    with monkeypatch.context() as dying:
        dying.setattr(sealing, "note_keys", lambda _desk: None)
        rotate(desk, "every year")
    for _ in range(2):
        seal_now(desk, "seal")
    note_keys(desk)
    assert [entry.kind for entry in desk.store.entries(SENSORS_CHAIN)].count(Kind.KEY) == 1


def test_a_lost_key_is_declared_and_the_record_goes_on(desk):
    furnish(desk)
    seal_now(desk, "seal")
    keyring.key_path(desk, 1).unlink()
    with pytest.raises(StoreError) as refused:
        seal_now(desk, "start", "den", anyway=True)
    assert str(refused.value) == (
        f"{keyring.key_path(desk, 1)}: the key can't be read (No such file or directory). "
        "Put it back from a backup, or declare it lost"
    )
    declare_lost(desk, "the disk broke")
    assert [(one.how, one.reason) for one in keyring.epochs(desk)] == [("first", ""), ("lost", "the disk broke")]
    seal_now(desk, "start", "den", anyway=True)
    heads_hold(desk)


def test_a_key_that_is_there_is_not_declared_lost(desk):
    furnish(desk)
    seal_now(desk, "seal")
    with pytest.raises(StoreError) as refused:
        declare_lost(desk, "?")
    assert str(refused.value) == (
        f"{keyring.key_path(desk, 1)}: the key is there. Exchange it: wallclime seal rotate --reason TEXT"
    )


@pytest.mark.parametrize("exchange", [rotate, declare_lost])
def test_no_key_is_exchanged_before_there_is_one(desk, exchange):
    with pytest.raises(StoreError) as refused:
        exchange(desk, "?")
    assert str(refused.value) == f"{keyring.key_path(desk, 1)}: there is no key yet. It is made with the first head"


def test_the_key_of_another_record_signs_nothing(desk):
    furnish(desk)
    seal_now(desk, "seal")
    path = keyring.key_path(desk, 1)
    path.unlink()
    keys.make_key(path)
    with pytest.raises(StoreError) as refused:
        seal_now(desk, "start", "den", anyway=True)
    assert str(refused.value) == (
        f"{path}: it is not the key of this record. "
        "Put the right one back from a backup, or declare it lost: wallclime seal lost --reason TEXT"
    )


def test_a_folder_for_keys_that_cannot_be_made_is_told(desk):
    furnish(desk)
    (desk.settings.home / "keys").write_text("in the way")
    with pytest.raises(StoreError) as refused:
        seal_now(desk, "seal")
    assert str(refused.value) == (
        f"{desk.settings.home}/keys: the folder of the keys can't be made (File exists). Let this user write the home"
    )
    assert desk.store.newest_head() is None


# --- two at once, crashes, changes from outside


def test_a_sealer_that_is_overtaken_begins_anew_and_seals_nothing_twice(sit_down, monkeypatch):
    desk, other = sit_down(), sit_down()
    furnish(desk)
    hear(desk, steady(NOW - DAY, 24))
    true_absences, overtaken = sealing.away, []

    def away(of):
        if not overtaken:
            overtaken.append(True)
            hear(other, steady(NOW - 2 * DAY, 24))
            close_due(other)
        return true_absences(of)

    monkeypatch.setattr(sealing, "away", away)
    seal_now(desk, "start", "den", anyway=True)
    assert [read_head(row.text).reason for row in desk.store.heads()] == ["day", "start"]
    assert len(sealed(desk)) == 2 * 288
    assert of_kind(desk, "amendment") == []
    heads_hold(desk)


def test_a_reading_that_comes_while_its_day_is_sealed_is_not_forgotten(sit_down, monkeypatch):
    desk, other = sit_down(), sit_down()
    hear(desk, steady(NOW - DAY, 12))
    true_absences, came = sealing.away, []

    def away(of):
        if not came:
            came.append(True)
            hear(other, steady(NOW - DAY + 12 * HOUR, 12))
        return true_absences(of)

    monkeypatch.setattr(sealing, "away", away)
    close_due(desk)
    assert len(sealed(desk)) == 144
    assert [mark.thread for mark in desk.store.unsealed()] == [SHELF]
    seal_now(desk, "seal")
    assert len(sealed(desk)) == 288
    heads_hold(desk)


def test_a_first_key_that_signed_nothing_because_of_a_crash_is_taken_up(desk, monkeypatch):
    furnish(desk)
    with monkeypatch.context() as dying:
        dying.setattr(type(desk.store), "append_head", lambda *_, **__: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            seal_now(desk, "seal")
    made = keyring.key_path(desk, 1).read_bytes()
    seal_now(desk, "seal")
    assert keyring.key_path(desk, 1).read_bytes() == made
    heads_hold(desk)


def test_a_tree_that_is_not_the_signed_one_is_not_built_upon(desk):
    furnish(desk)
    seal_now(desk, "seal")
    with desk.store._writing() as conn:
        conn.exec_driver_sql("UPDATE head SET frontier = zeroblob(32)")
    with pytest.raises(StoreError) as refused:
        seal_now(desk, "start", "den", anyway=True)
    assert str(refused.value) == (
        "seals: the tree under head 1 is not the one that was signed. "
        "Put the store aside unchanged and continue from a backup"
    )


@pytest.mark.parametrize(
    ("change", "what"),
    [
        ("DELETE FROM sealed", "nothing is kept of it"),
        ("UPDATE sealed SET bytes = zeroblob(9)", "a packed segment that is broken"),
    ],
)
def test_sealed_readings_that_are_gone_or_broken_are_told(desk, change, what):
    hear(desk, steady(T0, 1))
    seal_now(desk, "seal")
    with desk.store._writing() as conn:
        conn.exec_driver_sql(change)
    hear(desk, [Row(T0 + 2 * HOUR, 20.0, 50.0)])
    with pytest.raises(StoreError) as refused:
        seal_now(desk, "seal")
    assert str(refused.value) == (
        f"seals: what leaf 0 holds can't be read ({what}). Put the store aside unchanged and continue from a backup"
    )


def test_keys_of_a_store_that_contradicts_itself_are_told(desk):
    furnish(desk)
    seal_now(desk, "seal")
    with desk.store._writing() as conn:
        conn.exec_driver_sql("UPDATE key_statement SET new = zeroblob(64)")
    with pytest.raises(StoreError) as refused:
        seal_now(desk, "start", "den", anyway=True)
    assert str(refused.value) == (
        f"{desk.settings.home}/keys: what the store says of the keys does not hold "
        "(statement 1 about the keys: the new key did not sign it). "
        "Put the store aside unchanged and continue from a backup"
    )


def test_a_home_that_was_moved_goes_on_with_its_key(desk, tmp_path):
    from monitor.watch.desk import open_desk

    furnish(desk)
    seal_now(desk, "seal")
    shutil.copytree(desk.settings.home, tmp_path / "moved")
    with open_desk(tmp_path / "moved", environ={}, clock=desk.clock) as moved:
        seal_now(moved, "start", "den", anyway=True)
        heads_hold(moved)
    assert len(desk.store.heads()) == 1
