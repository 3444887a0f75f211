"""The check of a bundle: what it finds, in which words, and that a second program written from VERIFY.md agrees."""

import base64
import hashlib
import json
import os
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from independent_verify import is_whole
from record_scene import (
    ATTIC,
    HALL,
    JOB,
    MONDAY,
    OTHER,
    RH,
    SECRET,
    C,
    contents_of,
    key_of,
    packed_again,
    readings_of_day,
    recorded,
    whole_bundle,
)

from monitor.basis.errors import RecordError
from monitor.basis.segment import encode, from_readings
from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import BACK_FILL, LIVE, Draft, Kind, Quantity, Reading
from monitor.seal import bundle, codes, keys, layout
from monitor.seal.bundle import Contents
from monitor.seal.canonical import text_of, value_of
from monitor.seal.chain import withheld
from monitor.seal.layout import ProvenHead
from monitor.seal.merkle import Tree, leaf_hash
from monitor.seal.verify import BLIND, Verified, verify

OWN = key_of(2)  # the key in force at the end of the scene


@pytest.fixture(scope="module")
def scene(tmp_path_factory):
    root = tmp_path_factory.mktemp("scene") / "bundle"
    return root, whole_bundle(root)


@pytest.fixture
def copy(scene, tmp_path) -> Path:
    shutil.copytree(scene[0], tmp_path / "bundle")
    return tmp_path / "bundle"


def checked(root: Path, codes_: tuple[str, ...] = (), **told) -> Verified:
    """What `verify` finds, where the independent check agrees on whether there is a fault."""
    found = verify(root, heads=codes_, **told)
    whole, why = is_whole(root, codes_)
    assert whole == found.whole, why or [str(one) for one in found.faults]
    return found


def faults(root: Path, codes_: tuple[str, ...] = (), **told) -> list[str]:
    return [str(one) for one in checked(root, codes_, **told).faults]


def written(tmp_path: Path, contents: Contents, key: keys.Key | None = OWN) -> Path:
    bundle.write(tmp_path / "made", contents, key)
    return tmp_path / "made"


def change(root: Path, name: str, old: bytes, new: bytes) -> None:
    path = root / "data" / name
    data = path.read_bytes()
    assert old in data
    path.write_bytes(data.replace(old, new, 1))


# --- a whole bundle ---------------------------------------------------------------------------------------------------


def test_a_bundle_as_it_was_written_is_whole(scene):
    found = checked(scene[0])
    assert found.faults == ()
    assert found.whole
    assert found.blind == BLIND
    assert (found.about.job, found.about.zone, found.about.sensors) == (JOB, "UTC", (ATTIC, HALL))


def test_what_is_no_fault_but_to_be_known_is_said(scene):
    first = codes.grouped(keys.fingerprint(keys.public_of(key_of(1))))
    assert verify(scene[0]).remarks == (
        "The key was exchanged on 2026-01-06T00:11:00Z (yearly), signed by both keys.",
        f"The key is what the bundle says it is. Compare its fingerprint with an earlier report: {first}",
        "Amended: 2026-01-05 of site/hall: 4 readings came after it was sealed (a logger was read out later).",
        "Not sealed yet: 4 readings of 2026-01-08 of the sensor site/hall; they rest on the signature of "
        "this bundle alone.",
        "Withheld or erased: what 1 of 2 entries of data/log/sensors.jsonl say.",
        "Recorded: 1 silences of sensors.",
        "Recorded: 1 times without the recorder.",
        "Recorded: 1 clock steps.",
    )


def test_what_was_kept_comes_out_of_the_bundle_for_those_who_know_the_rules(scene):
    root, made = scene
    found = verify(root)
    assert list(found.log) == made.logs[JOB]
    assert [entry.body for entry in found.sensors_log] == [{"stream": HALL}]
    assert found.withheld == 1
    series = found.series(HALL, C)
    assert len(series) == 3 * 24 + 2  # three sealed days and two readings (of each quantity) of today
    assert series.value[:24].tolist() == [one.value for one in readings_of_day(HALL, MONDAY) if one.quantity is C]
    assert sorted(one.topic for one in found.refused) == ["site/hall", "x"]
    assert found.document(layout.PROFILE) == b'name = "invented"\n'
    assert found.document("none") is None
    assert found.code == codes.code_of(made.heads[-1].hash)
    assert len(found.series(SECRET, C)) == 0


def test_nothing_of_another_job_is_in_the_bundle(scene):
    everything = b"".join(path.read_bytes() for path in scene[0].rglob("*") if path.is_file())
    assert SECRET.encode() not in everything
    assert OTHER.encode() not in everything


def test_two_bundles_of_one_record_differ_only_where_they_say_so(scene, tmp_path):
    again = written(tmp_path, contents_of(scene[1]))
    assert tree(again) == tree(scene[0])
    documents = {"report.html": b"later", "assessment.json": b"{}", "profile.toml": b'name = "invented"\n'}
    later = contents_of(scene[1], made=MONDAY + 20 * DAY, documents=documents, software="wallclime 0.2.0")
    bundle.write(tmp_path / "later", later, OWN)
    one, other = tree(scene[0]), tree(tmp_path / "later")
    assert {name for name in {*one, *other} if one.get(name) != other.get(name)} == set(layout.VARYING)


def tree(root: Path) -> dict[str, bytes]:
    return {path.relative_to(root).as_posix(): path.read_bytes() for path in root.rglob("*") if path.is_file()}


def reader_of_verify_md():
    code = bundle.template(layout.VERIFY).decode().split("```python\n")[1].split("```")[0]
    assert len([line for line in code.splitlines() if line.strip()]) <= 30
    names: dict = {}
    exec(code, names)
    return names["read_segment"]


ODD = [
    Reading(HALL, RH, MONDAY + 7, -0.0, "1", MONDAY, BACK_FILL),
    Reading(HALL, RH, MONDAY + DAY - 1, 0.1 + 0.2, "1", MONDAY + 9 * DAY, LIVE),
    Reading(HALL, C, MONDAY + 7, -12.25, "degC", MONDAY, BACK_FILL),
    Reading(HALL, C, MONDAY + 8, 1e300, "K", MONDAY + 8, LIVE),
]


@pytest.mark.parametrize("readings", [[], ODD, readings_of_day(HALL, MONDAY), readings_of_day(HALL, MONDAY, MINUTE)])
def test_the_thirty_lines_in_verify_md_read_a_segment(readings):
    stream, day, found = reader_of_verify_md()(encode(from_readings(HALL, MONDAY, readings)))
    assert (stream, day) == (HALL, "2026-01-05")
    assert sorted((q, t, repr(v), u, arrival, *origin) for q, t, v, u, arrival, origin in found) == sorted(
        (
            one.quantity,
            one.t - MONDAY,
            repr(one.value),
            one.unit,
            one.arrival - MONDAY,
            one.origin.kind,
            one.origin.detail,
        )
        for one in readings
    )


# --- whoever has no key -----------------------------------------------------------------------------------------------


def test_a_changed_value_in_the_table_is_found_by_the_manifest_and_by_the_segment(copy):
    change(copy, "readings/002/2026-01.csv", b"47.0", b"57.0")
    (manifest_, table) = faults(copy)
    assert manifest_ == (
        "data/readings/002/2026-01.csv: it is not the file that the manifest lists. Compare with another "
        "copy of the bundle"
    )
    assert table == (
        "data/readings/002/2026-01.csv: line 2 is "
        "'2026-01-05T00:00:00.000Z,1767571200000,site/hall,air_humidity,57.0,%,"
        "2026-01-05T00:00:00.130Z,1767571200130,live,,4', and sealed is "
        "'2026-01-05T00:00:00.000Z,1767571200000,site/hall,"
        "air_humidity,47.0,%,2026-01-05T00:00:00.130Z,1767571200130,live,,4'. It does not show what was "
        "sealed; the segment is "
        "what counts"
    )


def test_manifests_made_anew_are_found_by_the_signature(copy):
    change(copy, "report.html", b"Report", b"report")
    packed_again(copy, None)
    assert faults(copy) == [
        "signature.json: the signature is not there. Nothing vouches for the bundle as a whole",
    ]


def test_a_bundle_signed_with_another_key_is_found(copy):
    change(copy, "report.html", b"Report", b"report")
    packed_again(copy, key_of(9))
    assert faults(copy) == [
        "signature.json: it was made with a key that the record does not know. The bundle is not from who "
        "kept the record"
    ]


def test_a_bundle_signed_with_a_key_that_was_replaced_is_found(copy):
    packed_again(copy, key_of(1))
    assert faults(copy) == [
        "signature.json: it was made with a key that was replaced. The bundle is not from who kept the record"
    ]


def test_an_old_signature_on_new_manifests_is_found(copy):
    kept = (copy / "signature.json").read_bytes()
    change(copy, "report.html", b"Report", b"report")
    packed_again(copy, None)
    (copy / "signature.json").write_bytes(kept)
    assert faults(copy) == ["tagmanifest-sha256.txt: it is not the one that was signed. The bundle was changed"]


def test_a_signature_of_another_statement_is_found(copy):
    said = value_of((copy / "signature.json").read_text()[:-1])
    (copy / "signature.json").write_bytes(
        layout.write_signature(said["statement"].replace('"made":', '"made":1'), bytes.fromhex(said["signature"]))
    )
    assert faults(copy) == [
        "signature.json: the signature does not hold. Somebody without the key made or changed it, or it was damaged",
        "signature.json: it names another time than data/bundle.json. One was changed",
    ]


def test_a_signature_that_is_none_is_found(copy):
    (copy / "signature.json").write_bytes(b'["tagmanifest","made","head","key"]\n')
    (fault,) = faults(copy)
    assert fault.startswith("signature.json: it can't be read (it should have statement, signature)")


# --- whoever holds the key and writes the past anew -------------------------------------------------------------------


def test_a_segment_altered_by_the_holder_of_the_key_is_found(copy):
    name = "segments/002/2026-01-06-6.segment"
    readings = readings_of_day(HALL, MONDAY + DAY)
    readings[3] = readings[3]._replace(value=55.5)
    (copy / "data" / name).write_bytes(encode(from_readings(HALL, MONDAY + DAY, readings)))
    packed_again(copy, OWN)
    found = faults(copy)
    assert found[0] == f"data/{name}: it is not what leaf 6 sealed. It was altered"
    assert (
        found[1] == "the sensor site/hall: of 48 readings of leaf 6 there are 0. Sealed readings are left out or double"
    )


def test_a_segment_left_out_is_found(copy):
    (copy / "data/segments/002/2026-01-06-6.segment").unlink()
    packed_again(copy, OWN)
    assert faults(copy)[0] == (
        "the sensor site/hall: the readings of 2026-01-06 that leaf 6 is about are not there. "
        "They were sealed and are left out"
    )


def test_a_segment_of_another_day_in_its_place_is_found(copy):
    shutil.copy(copy / "data/segments/002/2026-01-07-14.segment", copy / "data/segments/002/2026-01-06-6.segment")
    packed_again(copy, OWN)
    assert faults(copy)[0] == (
        "data/segments/002/2026-01-06-6.segment: it is of another sensor or day than leaf 6. "
        "Compare with another copy of the bundle"
    )


def test_a_segment_that_nothing_is_about_is_found(copy):
    shutil.copy(copy / "data/segments/002/2026-01-06-6.segment", copy / "data/segments/002/2026-01-06-99.segment")
    packed_again(copy, OWN)
    assert faults(copy) == [
        "data/segments/002/2026-01-06-99.segment: no record is about it. It belongs to nothing that was sealed"
    ]


def test_a_record_left_out_is_found_by_the_next_one_of_its_sensor(scene, tmp_path):
    whole = contents_of(scene[1])
    leaves = [one for one in whole.leaves if one.index != 6]
    root = written(tmp_path, replace(whole, leaves=leaves))
    assert faults(root) == [
        "data/seals/records.jsonl, leaf 8: leaf 6 of the sensor site/hall, which comes before it, is not shown. "
        "A part of the record is left out"
    ]


def test_an_altered_record_is_found(copy):
    change(copy, "seals/records.jsonl", b'\\"readings\\":48', b'\\"readings\\":40')
    packed_again(copy, OWN)
    assert faults(copy)[0].startswith("data/seals/records.jsonl, leaf 6: the last head does not contain it")


def test_records_out_of_order_are_found(copy):
    path = copy / "data/seals/records.jsonl"
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join([lines[1], lines[0], *lines[2:]]))
    packed_again(copy, OWN)
    assert faults(copy) == [
        "data/seals/records.jsonl, leaf 0: it stands after a later one, or twice. Compare with another copy "
        "of the bundle"
    ]


def test_a_table_or_pack_that_is_not_there_is_found(copy):
    (copy / "data/readings/002/2026-01.csv").unlink()
    (copy / "data/senml/002/2026-01.json").rename(copy / "data/senml/002/2026-02.json")
    packed_again(copy, OWN)
    assert faults(copy) == [
        "data/readings/002/2026-01.csv: the table is not there. Make it anew from the segments",
        "data/senml/002/2026-01.json: the table is not there. Make it anew from the segments",
        "data/senml/002/2026-02.json: it is a table of readings that are not there. "
        "It does not show what was sealed; the segment is what counts",
    ]


def test_a_table_with_a_row_more_is_found(copy):
    path = copy / "data/readings/002/2026-01.csv"
    path.write_bytes(path.read_bytes() + b"one more\r\n")
    packed_again(copy, OWN)
    assert faults(copy) == [
        "data/readings/002/2026-01.csv: line 150 is 'one more', and sealed is ''. "
        "It does not show what was sealed; the segment is what counts"
    ]


def test_readings_of_a_closed_day_that_are_not_sealed_are_found(scene, tmp_path):
    late = from_readings(
        ATTIC, MONDAY + DAY, [one._replace(t=one.t + 1) for one in readings_of_day(ATTIC, MONDAY + DAY)[:2]]
    )
    root = written(tmp_path, contents_of(scene[1], unsealed=[encode(late)]))
    assert faults(root) == [
        "data/unsealed/001/2026-01-06.segment: 2 readings of 2026-01-06 are not sealed. "
        "They rest on the signature of this bundle alone, though the day was closed"
    ]


def test_a_second_reading_at_a_sealed_time_is_found(scene, tmp_path):
    made = recorded()
    made.amend(HALL, MONDAY, readings_of_day(HALL, MONDAY)[:1], 4)
    made.head(MONDAY + 4 * DAY, reason="bundle")
    found = faults(written(tmp_path, contents_of(made)))
    assert found == [
        "data/readings/002/2026-01.csv: there are two readings of air_temperature at 2026-01-05T00:00:00Z. "
        "One of them was added"
    ]
    with pytest.raises(RecordError) as caught:
        verify(tmp_path / "made").series(HALL, C)
    assert str(caught.value) == (
        "site/hall in the bundle: two readings of one channel at the same time. Compare with another copy of the bundle"
    )


def test_a_day_sealed_twice_and_an_amendment_of_nothing_are_found(tmp_path):
    made = recorded()
    made.seal(HALL, MONDAY, [one._replace(t=one.t + 1) for one in readings_of_day(HALL, MONDAY)])
    made.amend(ATTIC, MONDAY, readings_of_day(ATTIC, MONDAY)[:1], 3)
    made.head(MONDAY + 4 * DAY, reason="bundle")
    found = faults(written(tmp_path, contents_of(made)))
    assert found == [
        "data/seals/records.jsonl, leaf 17: 2026-01-05 of site/hall is sealed twice. Neither is the record",
        "data/seals/records.jsonl, leaf 18: it amends leaf 3, which is not that of 2026-01-05 of =site/attic. "
        "What was added to the day can't be told",
    ]


# --- heads ------------------------------------------------------------------------------------------------------------


def test_a_head_of_a_record_that_was_written_anew_is_found(scene, tmp_path):
    tree_ = Tree(leaf_hash(text.encode()) for text in ["another past", *scene[1].leaves[1:]])
    size = scene[1].heads[-1].head.size
    heads = [ProvenHead(one, tuple(tree_.consistency(one.head.size, size))) for one in scene[1].heads]
    found = faults(written(tmp_path, contents_of(scene[1], heads=heads)))
    assert found[0] == (
        "data/seals/heads.jsonl, head 1: the last head does not contain it. "
        "The record was rewritten after this head was made"
    )


def test_a_head_left_out_is_found(scene, tmp_path):
    whole = contents_of(scene[1])
    found = faults(written(tmp_path, replace(whole, heads=[whole.heads[0], *whole.heads[2:]])))
    assert found == [
        "data/seals/heads.jsonl, head 3: head 2 should stand here. Heads are missing or moved",
        "data/seals/heads.jsonl, head 3: no head closes the days from 2026-01-06 to the one before 2026-01-07. "
        "What was kept of these days rests on nothing",
    ]


def test_a_day_that_no_head_closes_is_found(tmp_path):
    made = recorded(days=1)
    made.seal(HALL, MONDAY + 2 * DAY, readings_of_day(HALL, MONDAY + 2 * DAY))
    made.head(MONDAY + 3 * DAY + MINUTE, "2026-01-07")
    assert faults(written(tmp_path, contents_of(made, unsealed=[]))) == [
        "data/seals/heads.jsonl, head 3: no head closes the days from 2026-01-06 to the one before 2026-01-07. "
        "What was kept of these days rests on nothing"
    ]


def test_a_day_closed_twice_or_too_early_is_found(tmp_path):
    made = recorded(days=1)
    made.head(MONDAY + 3 * DAY, "2026-01-05")
    made.head(MONDAY + 3 * DAY, "2026-01-06")
    made.head(MONDAY + 3 * DAY - 1, "2026-01-07")
    found = checked(written(tmp_path, contents_of(made, unsealed=[])))
    assert [str(one) for one in found.faults] == [
        "data/seals/heads.jsonl, head 3: it closes 2026-01-05, which was closed before. Days were sealed "
        "twice or out of order",
        "data/seals/heads.jsonl, head 5: it closes 2026-01-07 before that day was over. "
        "The clock was wrong, or the day is not whole",
    ]
    assert "Head 5 says it was made before the one before it: the clock was put back." in found.remarks


def test_a_day_sealed_late_is_said(tmp_path):
    made = recorded(days=1)
    made.head(MONDAY + 30 * DAY, "2026-01-06")
    found = checked(written(tmp_path, contents_of(made, unsealed=[])))
    assert found.whole
    assert "2026-01-06 was sealed late, on 2026-02-04T00:00:00Z." in found.remarks


def test_a_head_signed_with_the_old_key_after_the_exchange_is_found(tmp_path):
    made = recorded()
    made.key = key_of(1)
    made.head(MONDAY + 4 * DAY, reason="stolen")
    assert faults(written(tmp_path, contents_of(made))) == [
        "data/seals/heads.jsonl, head 5: it is signed with a key that was replaced before. Whoever holds the "
        "old key made it",
    ]


def test_a_head_that_the_exchange_of_the_key_does_not_know_is_found(tmp_path):
    made = recorded()
    made.rotate(key_of(3), MONDAY + 4 * DAY)
    made.key = key_of(2)
    made.head(MONDAY + 4 * DAY, reason="stolen")
    made.key = key_of(3)
    made.head(MONDAY + 4 * DAY, reason="bundle")
    assert faults(written(tmp_path, contents_of(made), key_of(3))) == [
        "data/seals/heads.jsonl, head 6: the key that signs it took over from another head than the one before it. "
        "Heads were made or taken out around the exchange of the key"
    ]


def test_a_head_with_a_signature_of_another_is_found(scene, tmp_path):
    whole = contents_of(scene[1])
    first = whole.heads[0]
    swapped = first._replace(signed=first.signed._replace(signature=whole.heads[1].signed.signature))
    assert faults(written(tmp_path, replace(whole, heads=[swapped, *whole.heads[1:]]))) == [
        "data/seals/heads.jsonl, head 1: the signature does not hold. "
        "Somebody without the key made or changed it, or it was damaged"
    ]


def test_a_lost_key_is_said_and_what_follows_is_whole(tmp_path):
    made = recorded()
    made.lose(key_of(3), MONDAY + 4 * DAY)
    made.head(MONDAY + 4 * DAY, reason="bundle")
    found = checked(written(tmp_path, contents_of(made), key_of(3)))
    assert found.whole
    new = codes.grouped(keys.fingerprint(keys.public_of(key_of(3))))
    assert found.remarks[1] == (
        f"The key before {new} was declared lost on 2026-01-09T00:00:00Z (disk broken): nothing but heads "
        "that others kept "
        "ties the record to what was before."
    )


def test_a_statement_about_a_key_that_nobody_signed_is_found(scene, tmp_path):
    broken = scene[1].statements[1]._replace(old=bytes(64))
    found = faults(written(tmp_path, contents_of(scene[1], statements=[scene[1].statements[0], broken])))
    assert found[0] == (
        "data/seals/keys.jsonl: statement 2 about the keys: the old key did not sign it. "
        "No signature of the record can be trusted"
    )


def test_a_key_that_is_not_the_expected_one_is_found(scene):
    first = codes.grouped(keys.fingerprint(keys.public_of(key_of(1))))
    assert verify(scene[0], key=first.upper()).whole
    (fault,) = verify(scene[0], key="ab" * 32).faults
    assert str(fault) == (
        f"data/seals/keys.jsonl: no key of the record has the fingerprint {codes.grouped('ab' * 32)}. "
        "It is the record of somebody else, or a forged one"
    )


# --- what others kept -------------------------------------------------------------------------------------------------


def test_a_code_that_was_sent_is_found_again(scene):
    root, made = scene
    code = codes.code_of(made.heads[1].hash)
    found = checked(root, (code, made.heads[0].hash))
    assert found.whole
    assert f"The code {code} is that of head 2: all up to there is as it was then." in found.remarks


def test_a_record_written_anew_and_signed_with_the_true_key_is_found_by_a_code_alone(tmp_path, scene):
    # The limit of all the rest: whoever holds the keys can write everything anew.
    made = recorded(every=2 * HOUR)
    root = written(tmp_path, contents_of(made))
    assert checked(root).whole
    code = codes.code_of(scene[1].heads[0].hash)
    assert faults(root, (code,)) == [
        f"code {code}: no head of the bundle has it. "
        "The record is not the one that the code was sent of, or it was written anew since"
    ]


def test_a_code_with_a_slip_is_no_fault_of_the_bundle(scene):
    with pytest.raises(RecordError, match="a code has 24 signs, not 4"):
        verify(scene[0], heads=["1234"])


# --- the log ----------------------------------------------------------------------------------------------------------


def test_an_altered_entry_is_found(copy):
    change(copy, "log/job.jsonl", b'\\"boxes\\":12', b'\\"boxes\\":13')
    packed_again(copy, OWN)
    assert faults(copy) == [
        "data/log/job.jsonl, entry 2 of Attic wall: the entry or one before it was altered. Compare with a "
        "copy kept elsewhere"
    ]


def test_entries_taken_out_at_the_end_are_found(scene, tmp_path):
    root = written(tmp_path, contents_of(scene[1], log=scene[1].logs[JOB][:-1]))
    assert faults(root) == [
        "data/log/job.jsonl: leaf 16 sealed 4 entries and there are 3. Entries were taken out at the end"
    ]


def test_an_entry_taken_out_in_the_middle_is_found(scene, tmp_path):
    entries = scene[1].logs[JOB]
    root = written(tmp_path, contents_of(scene[1], log=[entries[0], *entries[2:]]))
    assert faults(root)[0] == (
        "data/log/job.jsonl, entry 3 of Attic wall: entry 2 is missing or out of order. Compare with a copy "
        "kept elsewhere"
    )


def test_a_log_written_anew_is_found_by_what_was_sealed(scene, tmp_path):
    other = recorded()
    del other.logs[JOB]
    other.log(JOB, *[Draft(Kind.NOTE, MONDAY, "ben", {"text": text}) for text in "abcd"])
    found = faults(written(tmp_path, contents_of(scene[1], log=other.logs[JOB], attachments=[])))
    assert found == [
        "data/log/job.jsonl: entry 3 is not the one that leaf 1 sealed. The log was written anew after it was sealed",
        "data/log/job.jsonl: entry 4 is not the one that leaf 16 sealed. The log was written anew after it was sealed",
    ]


def test_entries_after_the_last_seal_are_said(scene, tmp_path):
    other = recorded()
    other.log(JOB, Draft(Kind.NOTE, MONDAY + 4 * DAY, "ben", {"text": "later"}))
    found = checked(written(tmp_path, contents_of(scene[1], log=other.logs[JOB])))
    assert found.whole
    assert "Not sealed yet: entries 5 to 5 of data/log/job.jsonl." in found.remarks


def test_an_entry_whose_body_was_erased_leaves_the_chain_whole(scene, tmp_path):
    entries = [withheld(entry) if entry.number == 2 else entry for entry in scene[1].logs[JOB]]
    found = checked(written(tmp_path, contents_of(scene[1], log=entries)))
    assert found.whole
    assert [entry.number for entry in found.log] == [1, 3, 4]
    assert "Withheld or erased: what 1 of 4 entries of data/log/job.jsonl say." in found.remarks


def test_an_entry_of_another_log_is_found(scene, tmp_path):
    root = written(tmp_path, contents_of(scene[1], sensors_log=scene[1].logs[OTHER]))
    assert (
        "data/log/sensors.jsonl: there are entries of another log. Compare with another copy of the bundle"
        in faults(root)
    )


# --- photos and refused things ----------------------------------------------------------------------------------------


def test_a_photo_left_out_put_in_or_altered_is_found(scene, copy, tmp_path):
    (path,) = (copy / "data/attachments").iterdir()
    path.write_bytes(b"another picture")
    packed_again(copy, OWN)
    assert faults(copy) == [
        f"data/attachments/{path.name}: it is not the file that entry 3 of Attic wall names. "
        "Compare with another copy of the bundle"
    ]
    assert faults(written(tmp_path, contents_of(scene[1], attachments=[]))) == [
        f"data/attachments/{path.name}: it is not there, and entry 3 of Attic wall names it. It was left out"
    ]


def test_a_photo_that_nobody_names_is_found(copy):
    (copy / "data/attachments/ab.jpg").touch()
    packed_again(copy, OWN)
    assert faults(copy) == ["data/attachments/ab.jpg: no entry names it. It is not part of the record"]


def test_a_refused_thing_that_was_altered_is_found(copy):
    change(copy, "quarantine.jsonl", base64.b64encode(b"{}"), base64.b64encode(b"[]"))
    packed_again(copy, OWN)
    assert faults(copy) == [
        "data/quarantine.jsonl, line 2: it can't be read (its bytes are not those of its hash). "
        "Compare with another copy of the bundle"
    ]


def test_a_refused_thing_in_another_place_is_found(scene, tmp_path):
    one, other = scene[1].refused
    moved = [one._replace(place=1), other._replace(leaf=0)]
    assert faults(written(tmp_path, contents_of(scene[1], refused=moved))) == [
        "data/quarantine.jsonl, item 1 of leaf 12: the record of its day does not contain it. It was altered",
        "data/quarantine.jsonl, item 1 of leaf 0: there is no record of its day. It rests on nothing",
    ]


# --- what can't be read -----------------------------------------------------------------------------------------------


def test_what_is_no_bundle_is_said(tmp_path):
    with pytest.raises(RecordError) as caught:
        verify(tmp_path)
    assert str(caught.value) == f"{tmp_path}: it is no bundle. Give the folder of a bundle"


@pytest.mark.parametrize(
    "name", ["bundle.json", *(f"seals/{one}.jsonl" for one in ("keys", "heads", "records")), "log/job.jsonl"]
)
@pytest.mark.parametrize(
    "content",
    [
        None,
        b"",
        b"\n",
        b"\x00\xff\xfe" * 99,
        b"[" * 9000 + b"\n",
        b"{}\n",
        b"null\n",
        b"[1]\n" * 3,
        b'"x"',
        b"1" * 9000 + b"\n",
    ],
    ids=["gone", "empty", "blank", "binary", "deep", "object", "null", "lists", "cut", "huge number"],
)
def test_a_file_that_is_nothing_like_it_should_be_is_a_fault_and_no_crash(copy, name, content):
    (copy / "data" / name).unlink()
    if content is not None:
        (copy / "data" / name).write_bytes(content)
    assert not verify(copy).whole
    packed_again(copy, OWN)
    found = verify(copy)
    assert found.faults or (name, content) == ("log/job.jsonl", None)


def test_a_line_without_end_is_refused_and_not_held_in_memory(copy, monkeypatch):
    monkeypatch.setattr("monitor.seal.folder.LONGEST_LINE", 500)
    found = [str(one) for one in verify(copy).faults]
    what = "it can't be read on (a line without an end, or one that is too long)"
    assert f"data/seals/heads.jsonl, after line 0: {what}. Compare with another copy of the bundle" in found


def test_a_file_that_is_far_too_large_is_refused_and_not_read(copy):
    with (copy / "data/bundle.json").open("r+b") as file:
        os.truncate(file.fileno(), 100 * 1024 * 1024)
    assert any(
        "data/bundle.json: it can't be read (longer than 67,108,864 bytes)" in str(one) for one in verify(copy).faults
    )


def test_a_folder_full_of_links_and_pipes_is_refused_line_by_line(copy):
    (copy / "data/seals/heads.jsonl").unlink()
    (copy / "data/seals/heads.jsonl").symlink_to("/dev/zero")
    (copy / "data/loop").symlink_to(copy)
    os.mkfifo(copy / "data/pipe")
    found = [str(one) for one in verify(copy).faults]
    assert (
        "data/loop: it is a link to somewhere else. A bundle has only plain files and folders; it is not looked into"
        in found
    )
    assert "data/pipe: it is no plain file. A bundle has only plain files and folders; it is not looked into" in found
    assert "data/seals/heads.jsonl: it is not there. A part of the record can't be checked" in found


JUNK = st.recursive(
    st.none() | st.booleans() | st.integers(-3, 2**60) | st.text(max_size=4) | st.just("ab" * 32) | st.just(1.5e300),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3),
    max_leaves=6,
)  # fmt: skip
FILES = (
    "bundle.json",
    "log/job.jsonl",
    "seals/keys.jsonl",
    "seals/heads.jsonl",
    "seals/records.jsonl",
    "quarantine.jsonl",
)


def replaced(line: bytes, places: list[str], junk: object) -> bytes:
    """A line with the value at a place, inside texts of JSON too, put in by junk."""
    value = json.loads(line)
    if not places or not isinstance(value, dict) or not value:
        return json.dumps(junk).encode()
    name = sorted(value)[hash_of(places[0]) % len(value)]
    inner = value[name]
    if len(places) > 1 and isinstance(inner, str) and inner.startswith("{"):
        value[name] = replaced(inner.encode(), places[1:], junk).decode()
    else:
        value[name] = junk
    try:
        return text_of(value).encode()
    except ValueError:
        return json.dumps(value).encode()


def hash_of(text: str) -> int:
    return int(hashlib.sha256(text.encode()).hexdigest(), 16)


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(st.sampled_from(FILES), st.integers(0, 9), st.lists(st.sampled_from("abcdefgh"), max_size=2), JUNK)
def test_any_value_anywhere_is_checked_without_a_crash(copy, name, line, places, junk):
    path = copy / "data" / name
    before = path.read_bytes()
    lines = before.split(b"\n")[:-1]
    lines[line % len(lines)] = replaced(lines[line % len(lines)], places, junk)
    path.write_bytes(b"\n".join(lines) + b"\n")
    try:
        found = verify(copy)
        assert path.read_bytes() == before or not found.whole
    finally:
        path.write_bytes(before)


def test_a_bundle_of_nothing_but_a_first_key_is_not_sealed(tmp_path):
    empty = replace(
        contents_of(recorded()), heads=[], leaves=[], segments={}, unsealed=[], log=[], sensors_log=[], refused=[],
        attachments=[], documents={}, statements=[keys.first_statement(key_of(1), MONDAY)],
    )  # fmt: skip
    bundle.write(tmp_path / "made", empty, key_of(1))
    assert [str(one) for one in verify(tmp_path / "made").faults] == [
        "data/seals/heads.jsonl: there is no head. Nothing of the record is sealed"
    ]


def moistures(unit: str):
    return [
        one._replace(quantity=Quantity.WALL_MOISTURE, unit=unit) for one in readings_of_day(ATTIC, MONDAY + DAY)[::2]
    ]


def test_a_moisture_stands_in_the_tables_too(tmp_path):
    made = recorded(days=1)
    made.seal(ATTIC, MONDAY + DAY, moistures("%"))
    made.head(MONDAY + 2 * DAY, "2026-01-06")
    assert checked(written(tmp_path, contents_of(made, unsealed=[]))).whole


def test_a_unit_that_there_is_not_is_found(tmp_path):
    made = recorded(days=1)
    index = made.seal(ATTIC, MONDAY + DAY, moistures("furlong"))
    made.head(MONDAY + 2 * DAY, "2026-01-06")
    shown = {4: [made.segments[4]]}
    root = written(tmp_path, contents_of(made, unsealed=[], segments=shown))
    (root / "data/segments/001").mkdir()
    (root / f"data/segments/001/2026-01-06-{index}.segment").write_bytes(made.segments[index])
    packed_again(root, OWN)
    assert [str(one) for one in verify(root).faults] == [
        "data/readings/001/2026-01.csv: no table can be made of the readings (no such unit: furlong). "
        "Compare with another copy of the bundle"
    ]


def test_a_form_that_was_filled_in_stands_in_the_place_of_the_empty_one(tmp_path):
    whole_bundle(tmp_path / "bundle", documents={layout.STATEMENT: b"I, Kim, state"})
    assert verify(tmp_path / "bundle").faults == ()
    assert (tmp_path / "bundle/data/statement.md").read_bytes() == b"I, Kim, state"
