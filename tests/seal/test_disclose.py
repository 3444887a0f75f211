"""A disclosure shows what was chosen and nothing else, proven under the same heads."""

from pathlib import Path

import pytest
from independent_verify import is_whole
from record_scene import ATTIC, HALL, JOB, MONDAY, RH, C, key_of, packed_again, whole_bundle

from monitor.basis.errors import RecordError
from monitor.basis.times import DAY
from monitor.seal import layout
from monitor.seal.bag import write_bag
from monitor.seal.disclose import Choice, disclose
from monitor.seal.verify import BLIND_TO_A_CHOICE, Verified, verify


@pytest.fixture(scope="module")
def source(tmp_path_factory) -> Verified:
    root = tmp_path_factory.mktemp("source") / "bundle"
    whole_bundle(root)
    return verify(root)


def shown(source: Verified, target: Path, choice: Choice, key=None) -> Verified:
    disclose(source, target, choice, made=MONDAY + 9 * DAY, software="wallclime 0.1.0", key=key)
    found = verify(target)
    assert (found.faults, is_whole(target)[0]) == ((), True)
    return found


def everything(root: Path) -> bytes:
    return b"".join(path.read_bytes() for path in sorted(root.rglob("*")) if path.is_file())


def test_days_that_were_not_chosen_are_not_there(source, tmp_path):
    found = shown(source, tmp_path / "part", Choice(days=("2026-01-05", "2026-01-05")))
    series = found.series(HALL, C)
    assert len(series) == 24
    assert series.t[-1] < MONDAY + DAY
    assert found.heads == source.heads
    assert "2026-01-06T01" not in everything(tmp_path / "part/data/readings").decode()
    assert found.about.disclosure
    assert BLIND_TO_A_CHOICE in found.blind


def test_an_amendment_goes_with_the_day_that_it_amends(source, tmp_path):
    found = shown(source, tmp_path / "part", Choice(days=("2026-01-05", "2026-01-05")))
    assert (
        "Amended: 2026-01-05 of site/hall: 4 readings came after it was sealed (a logger was read out later)."
        in found.remarks
    )


def test_a_channel_that_was_not_chosen_is_not_there(source, tmp_path):
    found = shown(source, tmp_path / "part", Choice(channels=frozenset({(HALL, RH)})))
    assert found.about.sensors == (HALL,)
    assert len(found.series(HALL, RH)) == 3 * 24
    assert len(found.series(HALL, C)) == 0
    assert len(found.series(ATTIC, RH)) == 0
    assert "Withheld: 24 of 48 readings of leaf 6." in found.remarks
    tables = everything(tmp_path / "part/data/readings") + everything(tmp_path / "part/data/senml")
    assert b"air_temperature" not in tables
    assert found.refused == ()


def test_entries_that_were_not_chosen_show_as_withheld(source, tmp_path):
    found = shown(source, tmp_path / "part", Choice(entries=frozenset({(JOB, 2)})))
    assert [entry.number for entry in found.log] == [2]
    assert found.sensors_log == ()
    assert found.withheld == 5
    assert "Withheld or erased: what 3 of 4 entries of data/log/job.jsonl say." in found.remarks
    assert b"length_m" not in everything(tmp_path / "part")
    assert not (tmp_path / "part/data/attachments").exists()


def test_a_photo_goes_with_its_entry(source, tmp_path):
    shown(source, tmp_path / "part", Choice(entries=frozenset({(JOB, 3)})))
    assert len(list((tmp_path / "part/data/attachments").iterdir())) == 1


def test_report_assessment_and_what_is_not_sealed_stay_out(source, tmp_path):
    found = shown(source, tmp_path / "part", Choice())
    assert {found.document(name) for name in (layout.REPORT, layout.ASSESSMENT, layout.PROFILE)} == {None}
    assert found.folder.under("data/unsealed/") == []
    assert len(found.series(HALL, C)) == 3 * 24


def test_a_disclosure_says_that_it_is_not_signed_or_is_signed(source, tmp_path):
    unsigned = shown(source, tmp_path / "one", Choice())
    assert (
        "The disclosure is not signed as a whole. What it shows of readings and entries is proven by the signed heads; "
        "VERIFY.md, statement.md and bundle.json are not."
    ) in unsigned.remarks
    signed = shown(source, tmp_path / "two", Choice(), key_of(2))
    assert not any("not signed as a whole" in remark for remark in signed.remarks)


def test_a_disclosure_of_a_disclosure_shows_less(source, tmp_path):
    first = shown(source, tmp_path / "one", Choice(days=("2026-01-05", "2026-01-06")))
    second = shown(first, tmp_path / "two", Choice(days=("2026-01-06", "2026-01-07"), channels=frozenset({(ATTIC, C)})))
    assert len(second.series(ATTIC, C)) == 24


def test_a_value_changed_in_a_disclosure_that_nobody_signed_is_found(source, tmp_path):
    shown(source, tmp_path / "part", Choice(channels=frozenset({(HALL, RH)})))
    (path,) = (tmp_path / "part/data/segments/001").glob("2026-01-06-*")
    data = bytearray(path.read_bytes())
    data[-1] ^= 2
    path.write_bytes(data)
    packed_again(tmp_path / "part", None)
    found = verify(tmp_path / "part")
    assert str(found.faults[0]) == f"data/segments/001/{path.name}: it is not what leaf 6 sealed. It was altered"
    assert not is_whole(tmp_path / "part")[0]


def test_a_record_left_out_of_a_disclosure_is_said_to_be_withheld(source, tmp_path):
    found = shown(source, tmp_path / "part", Choice(days=("2026-01-05", "2026-01-05")))
    assert "Withheld: records of the sensor site/hall before leaf 8." in found.remarks


def test_a_report_put_into_a_disclosure_that_nobody_signed_is_found(source, tmp_path):
    shown(source, tmp_path / "part", Choice())
    (tmp_path / "part/data/report.html").write_bytes(b"all is well")
    (tmp_path / "part/data/VERIFY.md").write_bytes(b"Just believe it.")
    packed_again(tmp_path / "part", None)
    found = verify(tmp_path / "part")
    assert [str(one) for one in found.faults] == [
        "data/report.html: nothing vouches for it. A disclosure without a signature has none"
    ]
    assert "data/VERIFY.md is not the one of this version of the program; do not rely on it." in found.remarks


def test_from_a_bundle_with_faults_nothing_is_disclosed(source, tmp_path):
    write_bag(tmp_path / "broken", [("bundle.json", b"{}")], [])
    broken = verify(tmp_path / "broken")
    with pytest.raises(RecordError) as caught:
        disclose(broken, tmp_path / "part", Choice(), made=0, software="", key=None)
    assert str(caught.value) == (
        f"{tmp_path / 'broken'}: the bundle has faults. Check it first, and disclose from a whole one"
    )


def test_days_the_wrong_way_round_are_refused(source, tmp_path):
    with pytest.raises(RecordError) as caught:
        disclose(source, tmp_path / "x", Choice(days=("2026-01-06", "2026-01-05")), made=0, software="", key=None)
    assert str(caught.value) == "days: the last day is before the first. Give the first day, then the last"


def test_a_file_can_stay_out_though_its_entry_is_shown(source, tmp_path):
    [photo] = [path.stem for path in (source.folder.root / "data/attachments").iterdir()]
    found = shown(source, tmp_path / "part", Choice(withhold=frozenset({photo})))
    assert not (tmp_path / "part/data/attachments").exists()
    assert f"Withheld: the file that entry 3 of {JOB} names." in found.remarks
