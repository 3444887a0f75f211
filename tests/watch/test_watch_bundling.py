"""Bundles of real stores: whole, judged anew from themselves alone, silent about others, and what forgeries betray."""

from __future__ import annotations

import json
import shutil
import sys
from pathlib import Path

import pytest
import tiny_pictures as tiny
from desks import HUMIDITY, NOW, T0, TEMPERATURE, Row, furnish, hear, opening, readings, steady

from monitor.basis.clock import SetClock
from monitor.basis.errors import RecordError, ReportError, StoreError
from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import BACK_FILL, Refused
from monitor.rules.assessment import RULES_VERSION
from monitor.seal import layout
from monitor.seal.canonical import text_of, value_of
from monitor.tell.pages.evidence import with_digest
from monitor.watch.desk import open_desk
from monitor.watch.evidence import keyring, sealing
from monitor.watch.evidence.bundling import write_bundle
from monitor.watch.evidence.disclosing import Asked, write
from monitor.watch.evidence.forgetting import forget
from monitor.watch.evidence.verifying import check, differences
from monitor.watch.evidence.witness import reply
from monitor.watch.job.attach import File, Shown, photos
from monitor.watch.job.delivery import deliver
from monitor.watch.job.diary import correct, note
from monitor.watch.job.installing import Installing, install
from monitor.watch.job.jobs import change_profile, close_job, open_job
from monitor.watch.judging import assess
from monitor.watch.sensing.sensors import MAKER, add_sensor, assign_sensor, release_sensor

sys.path.append(str(Path(__file__).parents[1] / "seal"))
from independent_verify import is_whole
from record_scene import packed_again

SHELF = "site/shelf/climate"


@pytest.fixture(autouse=True)
def after_the_night(desk, monkeypatch) -> None:
    """Three hours after a midnight; and pages without the drawing program, which takes a second to pack."""
    desk.clock.at_ms = NOW + 3 * HOUR
    monkeypatch.setattr("monitor.tell.pages.page._packed", lambda _program: "")


def live(desk) -> None:
    """A job of twelve days with an excursion and a gap."""
    furnish(desk)
    hear(desk, steady(T0, 60, step=20))
    hear(desk, [Row(T0 + 60 * HOUR + k * 20 * MINUTE, 21.0 + 0.1 * (k % 3), 70.0 + 0.2 * (k % 5)) for k in range(6)])
    hear(desk, steady(T0 + 66 * HOUR, 200, step=20))


@pytest.fixture
def den(desk):
    """A desk with that job."""
    live(desk)
    return desk


def whole(desk, target: Path, job: str = "den"):
    """The bundle of a job, checked twice; what the check found."""
    write_bundle(desk, job, target)
    found = check(target)
    assert ([str(one) for one in found.found.faults], found.faults, found.judged) == ([], (), True)
    assert is_whole(target) == (True, "")
    return found


def stated(target: Path) -> dict:
    return json.loads((target / "data" / layout.ASSESSMENT).read_text())


# --- what is in it


def test_a_bundle_is_whole_and_its_verdict_is_the_desks_own_judged_from_the_bundle_alone(den, tmp_path):
    whole(den, tmp_path / "b")
    own = json.loads(json.dumps(assess(den, "den").to_json()))
    assert list(differences(own, stated(tmp_path / "b"))) == []
    assert (len(own["excursions"]), len(own["gaps"])) == (1, 2)


def test_all_that_was_heard_is_in_it(den, tmp_path):
    found = whole(den, tmp_path / "b").found
    for quantity in (TEMPERATURE, HUMIDITY):
        assert found.series(SHELF, quantity).t.tolist() == den.store.series(SHELF, quantity).t.tolist()


def test_readings_of_today_and_late_ones_count(den, tmp_path):
    sealing.close_due(den)
    hear(den, steady(NOW, 3))
    hear(den, steady(T0 + 62 * HOUR, 4), origin=BACK_FILL)
    found = whole(den, tmp_path / "b").found
    late = "48 readings came after it was sealed (sent later by the sensor)"
    assert f"Amended: 2026-01-07 of site/shelf/climate: {late}." in found.remarks
    assert found.series(SHELF, HUMIDITY).t[-1] == NOW + 3 * HOUR - 10 * MINUTE


def test_the_same_record_gives_the_same_bundle_but_for_what_tells_when_it_was_made(den, tmp_path):
    write_bundle(den, "den", tmp_path / "a")
    den.clock.move(MINUTE)
    write_bundle(den, "den", tmp_path / "b")
    files = sorted(p.relative_to(tmp_path / "a").as_posix() for p in (tmp_path / "a").rglob("*") if p.is_file())
    assert files == sorted(p.relative_to(tmp_path / "b").as_posix() for p in (tmp_path / "b").rglob("*") if p.is_file())
    differing = [one for one in files if (tmp_path / "a" / one).read_bytes() != (tmp_path / "b" / one).read_bytes()]
    assert set(differing) <= set(layout.VARYING)


def test_a_room_judged_with_all_that_bears_on_it_is_judged_so_from_the_bundle(den, tmp_path):
    note(den, "den", "heater on", at=T0 + HOUR, who="kim")
    correct(den, "den", 4, at=T0 + 2 * HOUR, reason="came later", who="kim")
    told = Installing(T0 + 100 * HOUR, T0 + 120 * HOUR, True, "guests", "kim", (), {})
    install(den, "den", told, who="kim")
    deliver(den, "den", at=T0 + 4 * HOUR, lot="B", place="loft", boxes=3, facts={}, who="kim")
    whole(den, tmp_path / "b")
    assert stated(tmp_path / "b")["phase"] == "after"


def test_a_start_that_was_moved_is_told_in_the_bundle_with_the_conditions_of_that_minute(den, tmp_path):
    told = Installing(T0 + 50 * HOUR, not_ready=True, reason="guests")
    number = install(den, "den", told, who="kim").number
    moved = correct(den, "den", number, at=T0 + 20 * HOUR, reason="wrong day", who="kim")
    assert moved.open_after != moved.open_before
    whole(den, tmp_path / "bundle")


def test_verdicts_under_other_profiles_are_computed_anew_too(den, tmp_path):
    mild = tmp_path / "mild.toml"
    mild.write_text('name = "mild"\n[band]\nhumidity = ["20 %", "80 %"]\ntemperature = ["50 degF", "95 degF"]\n')
    change_profile(den, "den", str(mild), reason="the maker said so", who="kim")
    whole(den, tmp_path / "b")
    assert len(stated(tmp_path / "b")["other_verdicts"]) == 1
    assert (tmp_path / "b/data/profile.toml").read_text().startswith('name = "mild"\n')


def test_readings_in_conflict_are_counted_and_proven(den, tmp_path):
    others = [one._replace(value=one.value + 1) for one in readings(SHELF, steady(T0, 1, step=20))]
    den.store.keep_readings(others, [Refused("site/other/climate", "unreadable", "?", b"secret", NOW)])
    found = whole(den, tmp_path / "b").found
    assert (stated(tmp_path / "b")["conflicts"], len(found.refused)) == (6, 6)
    assert {one.topic for one in found.refused} == {SHELF}


def test_a_sensor_that_was_stuck_before_it_came_is_judged_by_what_it_said_before(desk, tmp_path):
    furnish(desk, sensor=None)
    open_job(desk, opening("loft"), who="robin")
    add_sensor(desk, "shelf", SHELF, hold=30 * MINUTE, uncertainty=MAKER, who="robin")
    assign_sensor(desk, "shelf", "loft", at=T0 + 2 * DAY, facts={}, who="robin")
    release_sensor(desk, "shelf", at=T0 + 4 * DAY, who="robin")
    assign_sensor(desk, "shelf", "den", at=T0 + 4 * DAY, facts={}, who="robin")
    stuck = [Row(T0 + 4 * DAY - 6 * HOUR + k * 10 * MINUTE, 21.0, 50.0) for k in range(60)]
    hear(desk, [*steady(T0 + 2 * DAY, 42), *stuck, *steady(T0 + 4 * DAY + 4 * HOUR, 40)])
    whole(desk, tmp_path / "b")
    own = json.loads(json.dumps(assess(desk, "den").to_json()))
    assert list(differences(own, stated(tmp_path / "b"))) == []


# --- what is not


def test_sensors_and_places_of_others_are_withheld(den, tmp_path):
    open_job(den, opening("secret job"), who="robin")
    add_sensor(den, "secret sensor", "site/secret/climate", hold=30 * MINUTE, uncertainty=MAKER, who="robin")
    assign_sensor(den, "secret sensor", "secret job", at=T0, facts={}, who="robin")
    hear(den, steady(T0, 24), stream="site/secret/climate")
    release_sensor(den, "shelf", at=T0 + 11 * DAY, who="robin")
    assign_sensor(den, "shelf", "secret job", at=T0 + 11 * DAY, facts={}, who="robin")
    found = whole(den, tmp_path / "b").found
    everything = b"".join(path.read_bytes() for path in (tmp_path / "b").rglob("*") if path.is_file())
    assert b"secret" not in everything
    assert found.withheld == 3
    assert found.about.sensors == (SHELF,)


def test_what_was_forgotten_stays_forgotten(den, tmp_path):
    entry = note(den, "den", "call Kim at home", at=None, who="kim")
    close_job(den, "den", at=None, reason="done", who="kim")
    forget(den, "den", numbers=[entry.number], reason="asked to", who="robin")
    found = whole(den, tmp_path / "b").found
    assert found.withheld == 1
    assert b"call Kim" not in (tmp_path / "b/data/log/job.jsonl").read_bytes()


# --- files, statement, time-stamps


def test_photos_are_in_it_as_they_were_taken_and_a_disclosure_leaves_out_those_that_say_more(den, tmp_path):
    taken, bare = tiny.jpeg(tiny.exif()), tiny.plain_jpeg()
    files = [File("a.jpg", taken, None), File("b.jpg", bare, None)]
    photos(den, "den", files, Shown("the wall", None), at=T0 + HOUR, who="kim")
    written = write_bundle(den, "den", tmp_path / "b")
    assert written.photos == 1
    there = {path.read_bytes() for path in (tmp_path / "b/data/attachments").iterdir()}
    assert there == {taken, bare}
    assert check(tmp_path / "b").whole
    assert write(tmp_path / "b", tmp_path / "d", Asked(), clock=den.clock) == ["a.jpg"]
    assert {path.read_bytes() for path in (tmp_path / "d/data/attachments").iterdir()} == {bare}
    assert check(tmp_path / "d").whole
    assert write(tmp_path / "b", tmp_path / "e", Asked(photos=True), clock=den.clock) == []
    assert check(tmp_path / "e").whole


def test_the_statement_says_what_the_record_knows(den, tmp_path):
    sealing.seal_now(den, "start", "den", anyway=True)
    head = sealing.signed_of(den.store.heads()[-1])
    reply(den, "den", head.hash, text="", at=None, who="Kim \\1")
    write_bundle(den, "den", tmp_path / "b")
    text = (tmp_path / "b/data/statement.md").read_text()
    assert "holds the record of the job den from 2026-01-05 to 2026-01-17." in text
    assert "Sensors shelf [kinds] measured temperature and humidity in den." in text
    assert f"A computer program, {sealing.SOFTWARE}, received" in text
    assert f"the key of the fingerprint {head.head.key}, which" in text
    assert "of head 1 was confirmed by Kim \\1 on 2026-01-17, the log says [by means]." in text


def test_time_stamps_go_with_their_heads(den, tmp_path):
    head = sealing.seal_now(den, "seal")
    den.store.keep_timestamp(head.hash, b"\x30\x03ts!")
    den.store.keep_timestamp("ab" * 32, b"\x30\x03of another")
    whole(den, tmp_path / "b")
    assert [path.name for path in (tmp_path / "b/data/timestamps").iterdir()] == [f"{head.hash}.tsr"]


# --- what can't be bundled


def test_without_the_key_there_is_no_bundle(den, tmp_path):
    sealing.seal_now(den, "seal")
    keyring.key_path(den, 1).unlink()
    with pytest.raises(StoreError, match="the key can't be read"):
        write_bundle(den, "den", tmp_path / "b")
    assert not (tmp_path / "b").exists()


def test_a_bundle_is_written_over_nothing(den, tmp_path):
    with pytest.raises(ReportError) as refused:
        write_bundle(den, "den", tmp_path)
    assert str(refused.value) == f"{tmp_path}: there is something already. Name a new folder with -o DIR"
    assert den.store.newest_head() is None


def test_a_job_that_is_not_there_has_no_bundle(den, tmp_path):
    with pytest.raises(RecordError, match="there is no job 'attic'"):
        write_bundle(den, "attic", tmp_path / "b")


# --- forgeries by the holder of the key


@pytest.fixture(scope="module")
def made(tmp_path_factory, empty):
    """A bundle, and the key that it was signed with."""
    folder = tmp_path_factory.mktemp("made")
    shutil.copytree(empty, folder / "home")
    with open_desk(folder / "home", environ={}, clock=SetClock(NOW + 3 * HOUR)) as desk:
        live(desk)
        write_bundle(desk, "den", folder / "b")
        return folder / "b", keyring.key_in_use(desk, keyring.epochs(desk))


@pytest.fixture
def forged(made, tmp_path):
    """Changes documents of a bundle and signs it anew, as only the holder of the key can; answers the faults."""
    shutil.copytree(made[0], tmp_path / "b")
    key = made[1]

    def forge(*, change=None, assessment=None, drop=None, digest=False) -> list[str]:
        folder = tmp_path / "b/data"
        if assessment is not None:
            said = value_of((folder / layout.ASSESSMENT).read_text()[:-1])
            assessment(said)
            (folder / layout.ASSESSMENT).write_text(f"{text_of(said)}\n")
        if digest:
            page = (folder / layout.REPORT).read_text().replace('name="assessment-sha256"', 'name="old"')
            (folder / layout.REPORT).write_text(with_digest(page, (folder / layout.ASSESSMENT).read_bytes()))
        if change is not None:
            page = (folder / layout.REPORT).read_text()
            assert change[0] in page
            (folder / layout.REPORT).write_text(page.replace(*change))
        if drop is not None:
            (folder / drop).unlink()
        packed_again(tmp_path / "b", key)
        found = check(tmp_path / "b")
        assert found.found.faults == ()
        assert found.whole == (not found.faults)
        return list(found.faults)

    return forge


def test_a_verdict_that_does_not_follow_from_the_record_is_found(forged):
    def ready(said):
        said["acclimation"]["counted_h"] = 48
        said["excursions"] = []

    assert forged(assessment=ready, digest=True) == [
        f"data/assessment.json: {where} is not what readings and log say. It was not made from this record"
        for where in ("acclimation.counted_h", "excursions")
    ]


def test_a_verdict_as_of_another_time_is_found(forged):
    def earlier(said):
        said["as_of"] = "2026-01-16T03:00:00Z"

    assert forged(assessment=earlier, digest=True) != []


def test_a_report_of_another_assessment_is_found(forged):
    assert forged(change=('content="', 'content="00')) == [
        "data/report.html: it was made from another Assessment. Rely on neither"
    ]


def test_a_report_that_says_something_else_is_found(forged):
    tag = "READY"
    assert forged(change=("NOT READY", tag))[0] == (
        "data/report.html: it does not show the verdict in a word as it is: 'NOT READY'. The page says something else"
    )


@pytest.mark.parametrize("name", [layout.ASSESSMENT, layout.REPORT])
def test_a_verdict_that_is_left_out_is_told(forged, name):
    assert forged(drop=name) == ["data/assessment.json: it or the report is not there. There is no verdict to compare"]


def test_a_profile_that_is_not_that_of_the_log_is_found(forged):
    assert forged(drop=layout.PROFILE) == [
        "data/profile.toml: it is not the profile that the log has in force. The verdict rests on that of the log"
    ]


def test_an_assessment_that_is_none_is_told(forged):
    def strange(said):
        del said["as_of"]

    assert forged(assessment=strange) == [
        "data/assessment.json: the verdict can't be computed anew ('as_of'). It rests on the report alone"
    ]


def test_a_verdict_by_other_rules_is_not_compared(forged, tmp_path):
    def older(said):
        said["rules_version"] = RULES_VERSION + 1

    assert forged(assessment=older, digest=True) == []
    found = check(tmp_path / "b")
    assert (found.judged, found.remarks) == (
        False,
        (
            f"The verdict was computed by rules of version {RULES_VERSION + 1} and not anew: this program has "
            f"version {RULES_VERSION}.",
        ),
    )


def test_a_bundle_with_faults_is_not_judged(made, tmp_path):
    shutil.copytree(made[0], tmp_path / "b")
    (tmp_path / "b/data/profile.toml").write_text("other")
    found = check(tmp_path / "b")
    assert (found.whole, found.judged, found.faults) == (False, False, ())
    assert found.remarks == ("The verdict was not computed anew, as the bundle has faults.",)


@pytest.mark.parametrize(
    ("a", "b", "where"),
    [
        ({"a": 1}, {"a": 1.0 + 1e-12}, []),
        ({"a": 1}, {"a": 1.001}, ["a"]),
        ({"a": {"b": [1, 2]}}, {"a": {"b": [1, 3]}}, ["a.b[1]"]),
        ({"a": [1]}, {"a": [1, 2]}, ["a"]),
        ({"a": None}, {"b": None}, ["a", "b"]),
        ({"a": True}, {"a": 1}, ["a"]),
        ({"a": "x"}, {"a": "x"}, []),
    ],
)
def test_where_two_values_differ(a, b, where):
    assert list(differences(a, b)) == where
