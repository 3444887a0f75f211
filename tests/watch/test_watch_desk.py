"""The desk, the book on it, and jobs: what the log says, read once; names and times that can be written into it."""

from __future__ import annotations

import traceback
from pathlib import Path

import pytest
from desks import NOW, T0, clock, furnish, opening
from hypothesis import given
from hypothesis import strategies as st

from monitor.basis.errors import RecordError, SettingsError, StoreError
from monitor.basis.times import DAY, HOUR
from monitor.basis.values import SENSORS_CHAIN, Draft, Kind
from monitor.watch.book import Book, as_if
from monitor.watch.desk import Desk, make_home, open_desk, write_starter
from monitor.watch.job.delivery import deliver
from monitor.watch.job.jobs import change_profile, checked_name, close_job, facts_of, open_job, past
from monitor.watch.sensing.sensors import MAKER, add_sensor, assign_sensor

# --- the desk ---------------------------------------------------------------------------------------------------------


def test_a_home_is_made_with_the_folders_above_it(tmp_path: Path):
    with open_desk(tmp_path / "a" / "b", environ={}, clock=clock()) as desk:
        assert desk.settings.home == (tmp_path / "a" / "b").resolve()
        assert desk.book.names() == []


def test_a_home_in_the_way_of_a_file_is_named(tmp_path: Path):
    (tmp_path / "a").write_text("", encoding="utf-8")
    with pytest.raises(StoreError) as refused:
        make_home(tmp_path / "a" / "b")
    said = "the folder can't be made (Not a directory). Choose another with --home DIR"
    assert str(refused.value) == f"{tmp_path / 'a' / 'b'}: {said}"


def test_starter_settings_are_written_once(tmp_path: Path):
    path = write_starter(tmp_path)
    with pytest.raises(SettingsError) as refused:
        write_starter(tmp_path)
    assert str(refused.value) == f"{path}: it is there already. Edit that file, or move it away first"


def test_a_password_is_not_shown_with_the_desk_nor_with_what_goes_wrong_at_it(tmp_path: Path):
    environ = {"WALLCLIME_BROKER_PASSWORD": "hunter2", "WALLCLIME_STORE_PASSWORD": "hunter3"}
    (tmp_path / "wallclime.toml").write_text('[broker]\nuser = "kim"\n', encoding="utf-8")
    with open_desk(tmp_path, environ=environ, clock=clock()) as desk:
        assert "kim" in repr(desk)
        assert "hunter" not in repr(desk)
    text = '[store]\nurl = "postgresql://kim@127.0.0.1:1/x"\n[broker]\nuser = "kim"\n'
    (tmp_path / "wallclime.toml").write_text(text, encoding="utf-8")
    with pytest.raises(StoreError) as failed, open_desk(tmp_path, environ=environ, clock=clock()):
        pass
    assert "hunter" not in "".join(traceback.format_exception(failed.value))


# --- the book ---------------------------------------------------------------------------------------------------------


def test_a_chain_is_read_again_only_when_it_has_grown(desk: Desk, monkeypatch):
    furnish(desk)
    asked: list[str] = []
    entries = desk.store.entries
    monkeypatch.setattr(desk.store, "entries", lambda chain: (asked.append(chain), entries(chain))[1])
    book = Book(desk.store)
    first = book.log("den")
    assert book.log("den") is first
    desk.store.append("den", [Draft(Kind.NOTE, T0, "robin", {"text": "heater on"})])
    assert len(book.log("den")) == len(first) + 1
    assert asked == ["den", "den"]


def test_a_book_that_lies_open_stays_as_it_is_but_for_a_job_that_begins_meanwhile(desk: Desk):
    furnish(desk)
    still = desk.book.still()
    length = len(still.log("den"))
    desk.store.append("den", [Draft(Kind.NOTE, T0, "robin", {"text": "heater on"})])
    open_job(desk, opening("loft"), who="robin")
    assert (len(still.log("den")), still.job("loft").name) == (length, "loft")
    assert len(still.anew().log("den")) == length + 1


def test_what_a_book_has_asked_stands_until_somebody_else_enters_something(desk: Desk, monkeypatch):
    furnish(desk)
    hall = {"site/shelf/climate"}
    asked: list[str] = []
    for name in ("head", "chains_saying", "chain_heads", "chains"):
        ask = getattr(desk.store, name)
        monkeypatch.setattr(desk.store, name, lambda *of, name=name, ask=ask: (asked.append(name), ask(*of))[1])
    first = desk.book.still()
    assert first.jobs_of(hall) == {"site/shelf/climate": ["den"]}
    assert asked == ["chains_saying", "chains"]
    asked.clear()
    assert desk.book.still().jobs_of(hall) == {"site/shelf/climate": ["den"]}
    assert asked == []
    with open_desk(desk.settings.home, environ={}, clock=clock()) as other:
        open_job(other, opening("attic", boxes_place="den"), who="robin")
    assert first.jobs_of(hall) == {"site/shelf/climate": ["den"]}
    assert desk.book.still().jobs_of(hall) == {"site/shelf/climate": ["attic", "den"]}
    assert desk.book.still(every=True).jobs_of(hall) == {"site/shelf/climate": ["attic", "den"]}
    assert asked.count("chains_saying") == 1


def test_the_chain_of_the_sensors_is_no_job(desk: Desk):
    furnish(desk)
    assert desk.book.names() == ["den"]
    with pytest.raises(RecordError) as refused:
        desk.book.log(SENSORS_CHAIN)
    assert str(refused.value) == "job : there is no job ''. wallclime job list shows the jobs there are"


def test_the_profile_in_force_is_the_last_that_has_begun_else_the_first(desk: Desk, tmp_path: Path):
    furnish(desk)
    other = tmp_path / "other.toml"
    other.write_text('name = "other"\n', encoding="utf-8")
    desk.clock.move(DAY)  # type: ignore[attr-defined]
    change_profile(desk, "den", str(other), reason="trying", who="robin")
    first, second = desk.book.profiles("den")
    assert [desk.book.profile("den", at) for at in (T0, NOW, NOW + DAY - 1)] == [first] * 3
    assert desk.book.profile("den", NOW + DAY) == second


def test_a_stream_bears_on_every_job_at_whose_places_its_sensor_ever_was(desk: Desk):
    furnish(desk)
    open_job(desk, opening("stairs", boxes_place="den", wall_place="hall", outdoor_place="yard"), who="robin")
    open_job(desk, opening("loft"), who="robin")
    deliver(desk, "loft", at=T0, lot=None, place="shed", boxes=None, facts={}, who="robin")
    for name, place in (("in hall", "hall"), ("in shed", "shed"), ("in yard", "yard")):
        add_sensor(desk, name, f"site/{name}/climate", hold=None, uncertainty=MAKER, who="robin")
        assign_sensor(desk, name, place, at=T0, facts={}, who="robin")
    assert desk.book.jobs_of() == {
        "site/shelf/climate": ["den", "stairs"],
        "site/in hall/climate": ["stairs"],
        "site/in shed/climate": ["loft"],
        "site/in yard/climate": ["stairs"],
    }


def test_what_would_stand_has_every_correction_applied(desk: Desk):
    furnish(desk)
    log = desk.book.log("den")
    drafts = [
        Draft(Kind.NOTE, T0, "robin", {"text": "a"}),
        Draft(Kind.CORRECTION, T0, "robin", {"instead": {"boxes": 3}}, corrects=4),
        Draft(Kind.CORRECTION, T0, "robin", {"withdrawn": True}, corrects=5),
    ]
    standing = as_if(log, "den", drafts)
    assert [entry.number for entry in standing] == [1, 2, 3, 4]
    assert standing[3].body["boxes"] == 3
    assert len(desk.book.log("den")) == len(log)


# --- jobs -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["a", "x" * 120, "north wall, 2nd floor", "Büro ∂", "-o"])
def test_a_name_that_can_stand_in_a_line_is_taken(name):
    assert checked_name(name, "here") == name


@pytest.mark.parametrize("name", ["", " ", "x" * 121, " a", "a ", "a\nb", "a\u200bb", "a\u202eb", "\ud800", "a\u00a0b"])
def test_a_name_that_could_mislead_is_refused(name):
    with pytest.raises(RecordError, match="can't be a name"):
        checked_name(name, "here")


@given(st.text(max_size=130))
def test_a_name_is_one_visible_line_or_refused(name):
    if name.isprintable() and 1 <= len(name) <= 120 and name == name.strip():
        assert checked_name(name, "here") == name
    else:
        with pytest.raises(RecordError) as refused:
            checked_name(name, "here")
        assert len(str(refused.value).splitlines()) == 1


def test_now_is_not_in_the_future_but_a_millisecond_later_is(desk: Desk):
    assert past(desk, None, "x") == past(desk, NOW, "x") == NOW
    with pytest.raises(RecordError) as refused:
        past(desk, NOW + 1, "log note")
    said = "log note: 2026-01-17T00:00:00.001Z is in the future. The log holds what has happened; check the date"
    assert str(refused.value) == said


def test_opening_writes_the_job_its_profile_and_its_take_off_together_or_none(desk: Desk):
    job, profile, take_off = open_job(desk, opening(), who="robin")
    assert (job.kind, profile.kind, take_off.kind) == (Kind.JOB, Kind.PROFILE, Kind.TAKE_OFF)
    assert set(profile.body) == {"name", "sha256", "text"}
    with pytest.raises(RecordError, match="there is a job 'den' already"):
        open_job(desk, opening(length=3.0), who="kim")
    assert len(desk.book.log("den")) == 3


def test_a_job_closed_in_the_past_ends_there(desk: Desk):
    furnish(desk)
    close_job(desk, "den", at=T0 + HOUR, reason="sold", who="robin")
    assert facts_of(desk, "den")["closed"] == "2026-01-05T01:00:00Z"


def test_jobs_of_the_same_profile_share_its_text(desk: Desk):
    for name in ("den", "attic"):
        open_job(desk, opening(name), who="robin")
    [den], [attic] = (desk.book.profiles(name) for name in ("den", "attic"))
    assert den.text is attic.text
