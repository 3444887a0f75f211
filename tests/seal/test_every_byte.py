"""One byte changed, inserted, deleted or swapped, in any file: found. A sample; `every_byte.py` does all."""

import random

import pytest
from every_byte import KINDS, changed, files, is_found, some, tiny_bundle
from record_scene import key_of, packed_again, whole_bundle

from monitor.seal.verify import verify

# What a holder of the key can change and sign anew: nothing of it is in the tree or follows from what is.
UNPROVEN = {"VERIFY.md", "statement.md", "report.html", "assessment.json", "profile.toml", "bundle.json"}


@pytest.fixture(scope="module")
def tiny(tmp_path_factory):
    root = tmp_path_factory.mktemp("tiny") / "bundle"
    tiny_bundle(root)
    assert verify(root).whole
    return root


def test_a_change_in_every_file_of_a_small_bundle_is_found(tiny):
    assert len(files(tiny)) >= 15
    missed = [path.name for path, data in some(tiny, random.Random(1), 180) if not is_found(tiny, path, data)]
    assert missed == []


def test_the_first_and_the_last_byte_of_every_file_count(tiny):
    for path in files(tiny):
        data = path.read_bytes()
        assert is_found(tiny, path, b"x" + data), path
        assert is_found(tiny, path, data + b"\n"), path
        assert not data or is_found(tiny, path, data[:-1]), path


def test_every_byte_of_the_signature_counts(tiny):
    path = tiny / "signature.json"
    for place in range(0, len(path.read_bytes()), 3):
        assert is_found(tiny, path, changed(path.read_bytes(), KINDS[place % 4], place, 1 + place % 200))


def test_changes_here_and_there_in_a_larger_bundle_are_found(tmp_path):
    whole_bundle(tmp_path / "bundle")
    missed = [
        path
        for path, data in some(tmp_path / "bundle", random.Random(2), 60)
        if not is_found(tmp_path / "bundle", path, data)
    ]
    assert missed == []


def test_what_is_in_the_tree_cannot_be_changed_by_the_holder_of_the_key_either(tmp_path):
    chance = random.Random(3)
    root = tmp_path / "bundle"
    tiny_bundle(root)
    for path in files(root / "data"):
        before = path.read_bytes()
        if path.name in UNPROVEN or not before:
            continue
        for kind in KINDS:
            path.write_bytes(changed(before, kind, chance.randrange(len(before)), chance.randrange(1, 256)))
            same = path.read_bytes() == before
            packed_again(root, key_of(1))
            assert same or not verify(root).whole, (path.name, kind)
            path.write_bytes(before)
    packed_again(root, key_of(1))
    assert verify(root).whole
