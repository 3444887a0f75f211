"""Thinning: what goes and what is left, what is never touched, and that the record of it stays whole and proven."""

from __future__ import annotations

import shutil
import sqlite3
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from desks import HUMIDITY, T0, TEMPERATURE, furnish, hear, readings, steady

from monitor.basis.clock import SetClock
from monitor.basis.errors import RecordError, StoreError
from monitor.basis.times import DAY, HOUR, MINUTE, rfc3339
from monitor.basis.values import BACK_FILL, SENSORS_CHAIN, Draft, Kind
from monitor.rules.stays import Stay
from monitor.rules.thinning import ThinnedDays, thinned_days
from monitor.seal.thinned import thinned_leaves
from monitor.tell import diary as told
from monitor.tell import upkeep as tell
from monitor.tell.upkeep import thinned
from monitor.watch.desk import Desk, open_desk
from monitor.watch.evidence import sealing
from monitor.watch.evidence.bundling import write_bundle
from monitor.watch.evidence.disclosing import Asked, write
from monitor.watch.evidence.forgetting import hold
from monitor.watch.evidence.sealcheck import check_leaves
from monitor.watch.evidence.thinning import thin
from monitor.watch.evidence.verifying import check
from monitor.watch.job.entering import add
from monitor.watch.job.jobs import close_job
from monitor.watch.judging import assess
from monitor.watch.papers.pages import report_page
from monitor.watch.papers.shown import display
from monitor.watch.papers.walls import _wall
from monitor.watch.upkeep import backup, forgotten_since, restore

sys.path.append(str(Path(__file__).parents[1] / "seal"))
from independent_verify import is_whole

SHELF = "site/shelf/climate"
FINISH = T0 + 4 * DAY
END = FINISH + 30 * DAY  # up to here the den's record rests on what was heard
LIMIT = END + 6 * DAY
LATER = T0 + 200 * DAY
WHY = {"reason": "five years are over", "who": "ada"}


@pytest.fixture(scope="module")
def lived_in(tmp_path_factory) -> Path:
    """A wall finished long ago; of its later life eight days of readings every 5 min, all sealed."""
    home = tmp_path_factory.mktemp("lived in") / "home"
    with open_desk(home, environ={}, clock=SetClock(LATER)) as desk:
        furnish(desk)
        hear(desk, steady(T0, 100, step=30))
        add(desk, "den", Draft(Kind.INSTALL, T0 + 3 * DAY, "robin", {"finish": FINISH, "lots": [], "not_ready": []}))
        hear(desk, steady(END - DAY, 8 * 24, step=5))
        sealing.close_due(desk)
    return home


@pytest.fixture
def den(lived_in, tmp_path) -> Iterator[Desk]:
    """A desk over a copy of that home."""
    shutil.copytree(lived_in, tmp_path / "den")
    with open_desk(tmp_path / "den", environ={}, clock=SetClock(LATER)) as desk:
        yield desk


@pytest.fixture(scope="module")
def bundle(lived_in, tmp_path_factory) -> Path:
    """The bundle of that home after it was thinned to a few readings a day."""
    home = tmp_path_factory.mktemp("thinned") / "home"
    shutil.copytree(lived_in, home)
    with open_desk(home, environ={}, clock=SetClock(LATER)) as desk, pytest.MonkeyPatch.context() as patched:
        patched.setattr("monitor.tell.pages.page._packed", lambda _program: "")  # packing it takes a second
        thin(desk, "shelf", before=LIMIT, each=DAY, **WHY)
        write_bundle(desk, "den", home.parent / "b")
    return home.parent / "b"


def refusal(desk: Desk, **options) -> str:
    with pytest.raises(RecordError) as error:
        thin(desk, "shelf", **{"before": LIMIT, **WHY, **options})
    return str(error.value)


def counts(desk: Desk, quantity=HUMIDITY) -> list[int]:
    """How many readings there are on each of the eight days."""
    return [len(desk.store.series(SHELF, quantity, day, day + DAY)) for day in range(END - DAY, LIMIT + DAY, DAY)]


def faults(desk: Desk) -> list[str]:
    return list(check_leaves(desk))


# --- what goes, and what is left


def test_days_between_the_last_on_which_a_job_rests_and_the_limit_are_thinned(den):
    done = thin(den, "shelf", before=LIMIT, **WHY)
    was, least = 288, 2 * 48
    found = counts(den)
    assert (found[0], found[-1]) == (was, was)
    assert all(least <= count < was for count in found[1:-1])
    assert (done.readings, done.left) == (2 * 6 * was, sum(found[1:-1]) + sum(counts(den, TEMPERATURE)[1:-1]))


def test_of_each_stretch_the_first_the_lowest_the_highest_and_the_last_stay(den):
    before = den.store.series(SHELF, HUMIDITY, END, LIMIT)
    thin(den, "shelf", before=LIMIT, each=6 * HOUR, **WHY)
    left = den.store.series(SHELF, HUMIDITY, END, LIMIT)
    for start in range(END, LIMIT, 6 * HOUR):
        was, now = (one.value[(one.t >= start) & (one.t < start + 6 * HOUR)] for one in (before, left))
        assert (now[0], now.min(), now.max(), now[-1]) == (was[0], was.min(), was.max(), was[-1])
        assert len(now) <= 4


def test_with_the_hold_for_a_stretch_no_known_time_is_lost(den):
    before = assess(den, "den").to_json()
    thin(den, "shelf", before=LIMIT, **WHY)
    after = assess(den, "den").to_json()
    assert after["coverage"] == before["coverage"]
    assert after["acclimation"] == before["acclimation"]
    assert np.diff(den.store.series(SHELF, HUMIDITY, END, LIMIT).t).max() <= 30 * MINUTE


def test_what_is_derived_anew_equals_what_is_recomputed(den):
    assess(den, "den")
    thin(den, "shelf", before=LIMIT, each=DAY, **WHY)
    assert assess(den, "den") == assess(den, "den", recompute=True)


def test_an_entry_of_the_sensors_log_says_which_days_by_which_rule_and_how_what_is_left_hashes(den):
    done = thin(den, "shelf", before=LIMIT, each=DAY, **WHY)
    [entry] = done.entries
    assert (entry.chain, entry.kind, entry.who) == (SENSORS_CHAIN, Kind.THINNED, "ada")
    body = entry.body
    assert (body["sensor"], body["stream"], body["each_ms"], body["reason"]) == ("shelf", SHELF, DAY, WHY["reason"])
    assert [one["day"] for one in body["days"]] == [rfc3339(day)[:10] for day in range(END, LIMIT, DAY)]
    assert (body["readings"], body["left"]) == (3456, sum(one["readings"] for one in body["days"]))
    assert told.body(entry, display(den, "den")) == (
        f"shelf, 2026-02-08 to 2026-02-13, 6 days: of 3456 readings {body['left']} are left, of each 24 h the first, "
        "lowest, highest and last: five years are over"
    )


def test_what_was_done_is_told_and_that_copies_hold_all_of_it(den):
    done = thin(den, "shelf", before=LIMIT, each=DAY, **WHY)
    assert list(thinned(done.entries, (Path("old.db"),))) == [
        "mind: an older store still holds all of it, until you remove it: old.db",
        f"entry {done.entries[0].number} of the sensors' log: 6 days from 2026-02-08 to 2026-02-13; of 3456 readings "
        f"{done.left} are left",
        "stays: the seals of these days; what is left of them rests on that entry, and is judged anew",
        "mind: copies made before still hold all of it: backups, bundles, reports, what was sent",
    ]


def test_what_was_thinned_is_thinned_again_only_to_less(den):
    thin(den, "shelf", before=LIMIT, **WHY)
    again = thin(den, "shelf", before=LIMIT, **WHY)
    assert (again.entries, list(thinned(again.entries, ()))) == (
        (), ["nothing is left to go; the store was cleaned once more of what was erased before"],
    )  # fmt: skip
    assert thin(den, "shelf", before=LIMIT, each=DAY, **WHY).entries
    assert faults(den) == []


def test_the_bytes_leave_the_file(den):
    # A value that nothing else has, as the double it is in the table and among the packed bytes of its day.
    path = den.settings.home / "wallclime.db"
    thin(den, "shelf", before=LIMIT, each=DAY, **WHY)
    with closing(sqlite3.connect(path)) as conn:
        [free] = conn.execute("PRAGMA freelist_count").fetchone()
    assert (free, path.with_name("wallclime.db-wal").stat().st_size) == (0, 0)


# --- what is never touched


def test_nothing_is_thinned_under_a_hold(den):
    hold(den, "den", reason="the court wants it", who="ada")
    number = len(den.book.log("den"))
    assert refusal(den) == (
        f"job den: it is held since entry {number}: the court wants it. "
        "Release it first: wallclime job release den --reason TEXT"
    )
    assert counts(den) == [288] * 8


def test_a_hold_that_comes_while_it_is_thinned_stops_it(den, monkeypatch):
    def held_meanwhile(*args):
        hold(den, "den", **WHY)
        return True

    monkeypatch.setattr("monitor.watch.evidence.thinning._draft", lambda *args, then=thin.__globals__["_draft"]: (
        held_meanwhile(), then(*args))[1])  # fmt: skip
    assert refusal(den).startswith("job den: it is held since entry")
    assert counts(den) == [288] * 8
    assert not [one for one in den.store.entries(SENSORS_CHAIN) if one.kind is Kind.THINNED]


def test_nothing_is_thinned_for_a_wall_that_is_not_finished(desk):
    furnish(desk)
    hear(desk, steady(T0, 48))
    desk.clock.at_ms = LATER
    assert refusal(desk, before=T0 + 40 * DAY) == (
        "job den: its wall is not finished, and it is still open. Close it first: wallclime job close den --reason TEXT"
    )


def test_nothing_is_thinned_while_what_a_job_rests_on_reaches_past_the_limit(den):
    assert refusal(den, before=END - DAY) == (
        "job den: what it rests on goes up to 2026-02-08T00:00:00Z. What is older than 2026-02-08T00:00:00Z can be "
        "thinned then"
    )


def test_a_job_that_was_closed_without_a_wall_keeps_all_until_30_days_later(desk):
    furnish(desk)
    hear(desk, steady(T0, 24 * 40, step=20))
    desk.clock.at_ms = T0 + 2 * DAY
    close_job(desk, "den", at=None, **WHY)
    desk.clock.at_ms = LATER
    sealing.close_due(desk)
    done = thin(desk, "shelf", before=T0 + 60 * DAY, each=DAY, **WHY)
    assert done.entries[0].body["days"][0]["day"] == rfc3339(T0 + 32 * DAY)[:10]


def test_what_is_not_long_past_is_not_thinned(den):
    assert refusal(den, before=LATER - 90 * DAY + 1) == (
        f"sensor thin: {rfc3339(LATER - 90 * DAY + 1)} is not long past. Name a day at least 90 days ago"
    )


def test_a_stretch_is_a_minute_to_a_day(den):
    assert refusal(den, each=DAY + 1) == "sensor thin: --each is 24 h. Give 1 min to 24 h"


def test_a_thinning_wants_a_reason_and_a_sensor_that_there_is(den):
    assert refusal(den, reason=" ") == "sensor thin: no reason is given. Add --reason TEXT"
    with pytest.raises(RecordError, match="sensor attic: there is no such sensor"):
        thin(den, "attic", before=LIMIT, **WHY)


def test_a_day_that_waits_to_be_sealed_is_left_as_it_is(den):
    hear(den, steady(END + DAY + MINUTE, 1, step=5), origin=BACK_FILL)
    thin(den, "shelf", before=LIMIT, each=DAY, **WHY)
    assert counts(den)[2] == 288 + 12


def test_a_day_that_is_not_as_it_was_sealed_is_not_thinned(den):
    with closing(sqlite3.connect(den.settings.home / "wallclime.db")) as conn, conn:
        conn.execute("UPDATE reading SET value = 20 WHERE t = ?", (END + DAY,))
    assert refusal(den) == (
        "seals: 2 readings of 2026-02-09 of site/shelf/climate are not as they were sealed. "
        "Nothing is thinned; see wallclime doctor"
    )
    assert counts(den) == [288] * 8


# --- what comes later


def test_what_comes_late_of_a_thinned_day_is_not_kept_and_that_is_told(den):
    thin(den, "shelf", before=LIMIT, each=DAY, **WHY)
    before = counts(den)
    rows = readings(SHELF, steady(END - DAY, 8 * 24, step=5), BACK_FILL)
    late = [one._replace(arrival=LATER) for one in rows]
    kept = den.store.keep_readings(late)
    assert (counts(den), kept.new) == (before, 0)
    refused = [row for row in den.store.refused_on(LATER) if row.reason == "thinned"]
    assert [(row.topic, row.raw.decode(), row.detail) for row in refused][:1] == [
        (SHELF, "2026-02-08", "2026-02-08 was thinned: what comes of it is not kept")
    ]
    assert len(refused) == 6
    assert [mark for mark in den.store.unsealed() if mark.kind == "sensor"] == []


# --- the record stays whole


def test_the_seals_stay_whole_and_the_head_is_the_same(den):
    head = den.store.newest_head()
    thin(den, "shelf", before=LIMIT, each=DAY, **WHY)
    assert (faults(den), den.store.newest_head()) == ([], head)
    sealing.seal_now(den, "asked")
    assert faults(den) == []


def test_what_is_left_is_bound_too(den):
    thin(den, "shelf", before=LIMIT, each=DAY, **WHY)
    with closing(sqlite3.connect(den.settings.home / "wallclime.db")) as conn, conn:
        conn.execute("DELETE FROM reading WHERE t = ?", (END,))
    assert faults(den) == ["2 readings of 2026-02-08 of site/shelf/climate are not as they were sealed"]


def test_a_bundle_shows_what_is_left_as_left_and_its_verdict_follows_from_that(bundle):
    found = check(bundle)
    assert ([str(one) for one in found.found.faults], found.faults, found.judged) == ([], (), True)
    assert is_whole(bundle) == (True, "")
    [entry] = [one for one in found.found.sensors_log if one.kind is Kind.THINNED]
    assert (
        f"Thinned: of 6 days of the sensor {SHELF}, 2026-02-08 to 2026-02-13, there are {entry.body['left']} of 3456 "
        f"readings; they rest on the sensors' log (entry {entry.number}), not on the seals of these days."
    ) in found.found.remarks


@pytest.mark.parametrize(
    ("asked", "days"),
    [({"first": "2026-02-07", "last": "2026-02-09"}, 2), ({"entries": "1-5"}, 6)],
)
def test_a_disclosure_shows_thinned_days_with_the_entry_that_proves_them(bundle, tmp_path, asked, days):
    write(bundle, tmp_path / "part", Asked(**asked), clock=SetClock(LATER))
    found = check(tmp_path / "part").found
    assert (found.faults, is_whole(tmp_path / "part")) == ((), (True, ""))
    assert [one for one in found.remarks if one.startswith(f"Thinned: of {days} days")]


def test_of_one_channel_alone_nothing_of_a_thinned_day_can_be_proven_and_it_is_withheld(bundle, tmp_path):
    write(bundle, tmp_path / "part", Asked(channels=("air_humidity",)), clock=SetClock(LATER))
    found = check(tmp_path / "part").found
    assert (found.faults, is_whole(tmp_path / "part")) == ((), (True, ""))
    assert len(found.series(SHELF, HUMIDITY)) == 200 + 2 * 288
    assert [one for one in found.remarks if one.startswith("Withheld: 576 readings of 2026-02-08")]


def test_what_no_sealed_entry_says_is_left_is_a_fault(bundle, monkeypatch):
    monkeypatch.setattr(
        "monitor.seal.comparing.thinned_leaves", lambda entries, sealed: thinned_leaves(entries, sealed - 1)
    )
    texts = [str(one) for one in check(bundle).found.faults]
    assert len([one for one in texts if "it is not what leaf" in one]) == 6


def test_an_entry_that_says_nonsense_of_leaves_says_nothing(bundle):
    [entry] = [one for one in check(bundle).found.sensors_log if one.kind is Kind.THINNED]
    for days in (None, [1], [{"leaf": 1}], [{"leaf": "x", "readings": 1, "sha256": "00" * 32}], [{"sha256": "0"}]):
        assert thinned_leaves([entry._replace(body={"days": days})]) == {}


def test_a_backup_from_before_holds_all_of_it_and_its_restore_says_so(den, tmp_path):
    copied = backup(den, tmp_path / "copies").path
    thin(den, "shelf", before=LIMIT, each=DAY, **WHY)
    den.store.close()
    done = restore(den.settings.home, copied, who="ben", replace=True, environ={}, clock=den.clock)
    [(chain, entry)] = forgotten_since(done)
    assert tell.forgotten_since(chain, entry) == (
        "mind: shelf was thinned since up to 2026-02-13, thin it again: "
        "wallclime sensor thin shelf --before DAY --each '24 h' --reason TEXT"
    )


def test_a_reading_that_came_meanwhile_stops_it(den, monkeypatch):
    then = thin.__globals__["_draft"]

    def heard_meanwhile(*args):
        hear(den, steady(END + MINUTE, 1, step=10), origin=BACK_FILL)
        return then(*args)

    monkeypatch.setattr("monitor.watch.evidence.thinning._draft", heard_meanwhile)
    with pytest.raises(StoreError) as error:
        thin(den, "shelf", before=LIMIT, **WHY)
    assert str(error.value).endswith(
        f"readings of 2026-02-08 of {SHELF} came while it was thinned; nothing was erased. Try again"
    )
    assert counts(den)[1] == 288 + 6


def test_the_report_and_the_board_mark_the_days_that_were_thinned(den):
    thin(den, "shelf", before=LIMIT, **WHY)
    days = tuple(range(END, LIMIT, DAY))
    assert report_page(den, "den").thinned == (ThinnedDays("shelf", 30 * MINUTE, days),)
    assert _wall(den, "den", ()).thinned == len(days)
    assert report_page(den, "den", span=(T0, END)).thinned == ()
    thin(den, "shelf", before=LIMIT, each=DAY, **WHY)
    assert report_page(den, "den").thinned == (ThinnedDays("shelf", DAY, days),)


def test_days_of_a_sensor_that_stood_elsewhere_then_are_no_thinned_days_of_the_wall(den):
    thin(den, "shelf", before=LIMIT, **WHY)
    log, moved = den.store.entries(SENSORS_CHAIN), LIMIT - DAY
    stays = (Stay("shelf", "den", moved + 1, None), Stay("other", "den", T0, None))
    assert thinned_days(log, stays, T0, LATER) == (ThinnedDays("shelf", 30 * MINUTE, (moved,)),)
