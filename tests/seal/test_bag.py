"""The bag against RFC 8493, and what its check finds."""

import hashlib
import os
from pathlib import Path

import pytest

from monitor.basis.errors import RecordError, ReportError
from monitor.seal.bag import check_bag, decoded, encoded, read_manifest, write_bag
from monitor.seal.findings import Findings
from monitor.seal.folder import look_through

PAYLOAD = [("a.txt", b"one"), ("sub/b 100%.txt", b"two!")]
INFO = [("Bagging-Date", "2026-01-08"), ("External-Description", "two\nlines")]


@pytest.fixture
def bag(tmp_path) -> Path:
    write_bag(tmp_path / "bag", PAYLOAD, INFO)
    return tmp_path / "bag"


def found(root: Path) -> list[str]:
    findings = Findings()
    check_bag(look_through(root, findings), findings, besides="signature.json")
    return [f"{one.kind.value}: {one.where}: {one.what}" for one in findings.faults]


# --- written ----------------------------------------------------------------------------------------------------------


def test_the_files_are_those_of_rfc_8493(bag):
    # 2.1.1 the declaration; 2.1.3 a manifest's line: checksum, whitespace, name, with % written %25; 2.2.2 Payload-Oxum
    one, two = hashlib.sha256(b"one").hexdigest(), hashlib.sha256(b"two!").hexdigest()
    assert (bag / "bagit.txt").read_bytes() == b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
    assert (bag / "manifest-sha256.txt").read_text() == f"{one}  data/a.txt\n{two}  data/sub/b 100%25.txt\n"
    assert (bag / "bag-info.txt").read_text() == (
        "Bagging-Date: 2026-01-08\nExternal-Description: two lines\nPayload-Oxum: 7.2\n"
    )
    assert (bag / "data/sub/b 100%.txt").read_bytes() == b"two!"


def test_the_tag_manifest_lists_the_other_tag_files_and_its_digest_is_answered(tmp_path):
    # 2.2.1: it lists tag files, itself not
    digest = write_bag(tmp_path / "bag", PAYLOAD, INFO)
    written = (tmp_path / "bag/tagmanifest-sha256.txt").read_bytes()
    assert hashlib.sha256(written).hexdigest() == digest
    assert sorted(read_manifest(written)) == ["bag-info.txt", "bagit.txt", "manifest-sha256.txt"]


def test_the_same_content_gives_the_same_bag_in_whatever_order(tmp_path):
    assert write_bag(tmp_path / "one", PAYLOAD, INFO) == write_bag(tmp_path / "two", PAYLOAD[::-1], INFO)


@pytest.mark.parametrize(("name", "text"), [("a\nb", "a%0Ab"), ("a\rb", "a%0Db"), ("50%", "50%25"), ("é 1", "é 1")])
def test_names_are_encoded_as_section_2_1_3_says(name, text):
    assert encoded(name) == text
    assert decoded(text) == name


def test_a_name_encoded_in_small_letters_is_read_too():
    assert decoded("a%0ab%0dc%41") == "a\nb\rc%41"


def test_nothing_is_written_over(bag):
    with pytest.raises(ReportError) as caught:
        write_bag(bag, PAYLOAD, INFO)
    assert str(caught.value) == f"{bag}: there is something already. Name a new folder with -o DIR"


def test_a_place_that_cannot_be_written_is_said(tmp_path):
    (tmp_path / "file").touch()
    with pytest.raises(ReportError) as caught:
        write_bag(tmp_path / "file" / "bag", PAYLOAD, INFO)
    assert str(caught.value) == (
        f"{tmp_path / 'file' / 'bag'}: it can't be written (Not a directory). Make room, or name another folder"
    )


# --- checked ----------------------------------------------------------------------------------------------------------


def test_a_bag_as_it_was_written_has_no_fault(bag):
    assert found(bag) == []


def test_a_change_of_the_same_length_is_found(bag):
    # what a check of names and Payload-Oxum alone does not see
    (bag / "data/a.txt").write_bytes(b"onE")
    assert found(bag) == ["altered: data/a.txt: it is not the file that the manifest lists"]


def test_a_lost_file_and_an_added_one_are_found(bag):
    (bag / "data/a.txt").unlink()
    (bag / "data/c.txt").write_bytes(b"new")
    assert found(bag) == [
        "missing: data/a.txt: the manifest lists it and it is not there",
        "added: data/c.txt: no manifest lists it",
    ]


def test_an_added_tag_file_is_found(bag):
    (bag / "note.txt").touch()
    (bag / "signature.json").touch()
    assert found(bag) == ["added: note.txt: no manifest lists it"]


def test_a_lost_tag_manifest_is_found(bag):
    (bag / "tagmanifest-sha256.txt").unlink()
    assert "missing: tagmanifest-sha256.txt: it can't be read (not there)" in found(bag)


def test_a_tag_manifest_that_lists_less_is_found(bag):
    kept = (bag / "tagmanifest-sha256.txt").read_text().splitlines(keepends=True)
    (bag / "tagmanifest-sha256.txt").write_text("".join(line for line in kept if "bagit.txt" not in line))
    assert found(bag) == [
        "altered: tagmanifest-sha256.txt: it does not list just bag-info.txt, bagit.txt, manifest-sha256.txt",
        "added: bagit.txt: no manifest lists it",
    ]


def test_another_version_is_no_bag_of_ours(bag):
    (bag / "bagit.txt").write_bytes(b"BagIt-Version: 0.97\nTag-File-Character-Encoding: UTF-8\n")
    assert found(bag)[0] == "altered: bagit.txt: it does not declare a bag of version 1.0"


def test_a_wrong_payload_oxum_is_found(bag):
    (bag / "bag-info.txt").write_text("Payload-Oxum: 8.2\n")
    assert found(bag)[-1] == "altered: bag-info.txt: it states 8.2 Payload-Oxum and the payload has 7.2"
    (bag / "bag-info.txt").write_text("")
    assert found(bag)[-1] == "altered: bag-info.txt: it states no Payload-Oxum and the payload has 7.2"


@pytest.mark.parametrize("name", ["data/../../etc/passwd", "/etc/passwd", "..\\x", "C:/x", "../x"])
def test_a_manifest_that_leads_out_of_the_bag_is_refused_and_not_followed(bag, name):
    with (bag / "manifest-sha256.txt").open("a") as file:
        file.write(f"{'0' * 64}  {name}\n")
    assert f"refused: {name}: the manifest leads out of the bundle" in found(bag)


@pytest.mark.parametrize("line", ["abc  data/a.txt\n", f"{'0' * 64} data/a.txt\n", f"{'0' * 64}  data/a.txt", "\n"])
def test_a_line_that_is_none_of_a_manifest_is_refused(line):
    with pytest.raises(ValueError):
        read_manifest(line.encode())


def test_a_file_that_stands_twice_in_a_manifest_is_refused():
    with pytest.raises(ValueError, match="a second one for its file"):
        read_manifest(f"{'0' * 64}  a\n{'1' * 64}  a\n".encode())


# --- what is no plain file --------------------------------------------------------------------------------------------


def test_links_pipes_and_empty_folders_are_refused_and_not_followed(bag):
    (bag / "data/loop").symlink_to(bag, target_is_directory=True)
    (bag / "data/out").symlink_to("/etc/hostname")
    os.mkfifo(bag / "data/pipe")
    (bag / "data/nothing").mkdir()
    assert found(bag) == [
        "refused: data/loop: it is a link to somewhere else",
        "refused: data/out: it is a link to somewhere else",
        "refused: data/pipe: it is no plain file",
        "added: data/nothing/: the folder is empty",
    ]


def test_a_listed_file_that_became_a_link_to_the_same_content_is_refused(bag, tmp_path):
    (bag / "data/a.txt").rename(tmp_path / "a.txt")
    (bag / "data/a.txt").symlink_to(tmp_path / "a.txt")
    assert found(bag)[:2] == [
        "refused: data/a.txt: it is a link to somewhere else",
        "missing: data/a.txt: the manifest lists it and it is not there",
    ]


def test_folders_without_end_are_refused(bag):
    deep = bag / "data" / "/".join("d" * 12)
    deep.mkdir(parents=True)
    (deep / "x").touch()
    assert found(bag) == ["refused: data/d/d/d/d/d/d/d/d: folders too deep"]


def test_a_name_that_is_no_text_is_refused(bag):
    Path(os.fsdecode(os.fsencode(bag / "data") + b"/\xff\x1b[2J")).touch()
    assert found(bag) == ["refused: 'data/\\udcff\\x1b[2J': its name is no text"]


def test_a_name_that_would_play_with_the_terminal_is_printed_as_what_it_is(bag):
    (bag / "data/\x1b[2J\nx").touch()
    assert found(bag)[:1] == ["added: data/\\x1b[2J\\nx: no manifest lists it"]


def test_where_there_is_no_folder_it_is_said(tmp_path):
    with pytest.raises(RecordError) as caught:
        look_through(tmp_path / "none", Findings())
    assert str(caught.value) == f"{tmp_path / 'none'}: there is no such folder. Give the folder of a bundle"


def test_more_files_than_one_can_look_at_are_refused(bag, monkeypatch):
    monkeypatch.setattr("monitor.seal.folder.MOST_FILES", 1)
    with pytest.raises(RecordError) as caught:
        look_through(bag, Findings())
    assert str(caught.value) == f"{bag}: there are more than 1 files. Give the folder of a bundle"


def test_faults_without_end_are_counted(bag, monkeypatch):
    monkeypatch.setattr("monitor.seal.findings.MOST", 1)
    (bag / "x").touch()
    (bag / "y").touch()
    findings = Findings()
    check_bag(look_through(bag, findings), findings, besides="signature.json")
    assert (len(findings.faults), findings.unlisted) == (1, 1)
