"""Keys: made once, read by their owner alone, exchanged in writing. Ed25519 against RFC 8032."""

import os

import pytest
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ec import SECP256R1, generate_private_key
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from record_scene import MONDAY, key_of

from monitor.basis.errors import StoreError
from monitor.seal import codes, keys
from monitor.seal.canonical import text_of
from monitor.seal.keys import Statement

# RFC 8032, section 7.1: TEST 1 (nothing), TEST 2 (one byte), TEST 3 (two bytes).
VECTORS = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("secret", "public", "message", "signature"), VECTORS)
def test_ed25519_is_that_of_rfc_8032_section_7_1(secret, public, message, signature):
    key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    assert keys.public_of(key).hex() == public
    assert key.sign(bytes.fromhex(message)).hex() == signature


# --- what is signed ---------------------------------------------------------------------------------------------------


def test_a_signature_is_over_the_kind_and_the_exact_text():
    key = key_of(1)
    assert keys.signed_bytes("head", "{}") == b"wallclime-head 1\n{}"
    assert keys.sign(key, keys.HEAD, "{}") == key.sign(b"wallclime-head 1\n{}")
    assert keys.is_signed(keys.public_of(key), keys.HEAD, "{}", keys.sign(key, keys.HEAD, "{}"))


def test_a_signature_holds_for_no_other_kind_text_or_key_and_never_crashes():
    public, signature = keys.public_of(key_of(1)), keys.sign(key_of(1), keys.HEAD, "{}")
    assert not keys.is_signed(public, keys.BUNDLE, "{}", signature)
    assert not keys.is_signed(public, keys.HEAD, "{ }", signature)
    assert not keys.is_signed(keys.public_of(key_of(2)), keys.HEAD, "{}", signature)
    assert not keys.is_signed(public, keys.HEAD, "{}", b"short")
    assert not keys.is_signed(b"short", keys.HEAD, "{}", signature)


def test_a_fingerprint_is_the_hash_of_the_public_key_in_groups_of_four():
    # SHA-256 of 32 zero bytes: 66687aad f862bd77 6c8fc18b 8e9f8e20 08971485 6ee233b3 902a591d 0d5f2925 (from memory)
    assert keys.fingerprint(bytes(32)) == "66687aadf862bd776c8fc18b8e9f8e20089714856ee233b3902a591d0d5f2925"
    assert codes.grouped("66687aadf8") == "6668 7aad f8"


# --- the file ---------------------------------------------------------------------------------------------------------


def test_a_key_is_read_back_and_is_for_its_owner_alone(tmp_path):
    path = tmp_path / "key.pem"
    made = keys.make_key(path)
    assert keys.public_of(keys.load_key(path)) == keys.public_of(made)
    assert os.name != "posix" or path.stat().st_mode & 0o777 == 0o600


def test_a_key_is_never_written_over(tmp_path):
    path = tmp_path / "key.pem"
    keys.make_key(path)
    before = path.read_bytes()
    with pytest.raises(StoreError) as caught:
        keys.make_key(path)
    assert str(caught.value) == f"{path}: there is a key already. Exchange it with a rotation; never write over it"
    assert path.read_bytes() == before


def test_a_link_in_the_place_of_the_key_is_not_followed(tmp_path):
    (tmp_path / "key.pem").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(StoreError, match="there is a key already"):
        keys.make_key(tmp_path / "key.pem")


def test_a_key_in_a_folder_that_is_not_there_is_said(tmp_path):
    path = tmp_path / "none" / "key.pem"
    with pytest.raises(StoreError) as caught:
        keys.make_key(path)
    assert str(caught.value) == (
        f"{path}: the key can't be written (No such file or directory). Make room, or give the folder to wallclime"
    )
    with pytest.raises(StoreError) as caught:
        keys.load_key(path)
    assert str(caught.value) == (
        f"{path}: the key can't be read (No such file or directory). Put it back from a backup, or declare it lost"
    )


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o660, 0o611])
def test_a_key_that_others_can_reach_is_refused(tmp_path, mode):
    path = tmp_path / "key.pem"
    keys.make_key(path)
    path.chmod(mode)
    with pytest.raises(StoreError) as caught:
        keys.load_key(path)
    assert str(caught.value) == (
        f"{path}: others than its owner can read the key. chmod 600 {path}, and exchange the key if in doubt"
    )


def test_where_there_are_no_such_permissions_the_key_is_read(tmp_path, monkeypatch):
    path = tmp_path / "key.pem"
    keys.make_key(path)
    path.chmod(0o644)
    monkeypatch.setattr("monitor.seal.keys.os.name", "nt")
    keys.load_key(path)


def test_what_is_no_key_of_this_kind_is_refused(tmp_path):
    path = tmp_path / "key.pem"
    path.touch(0o600)
    with pytest.raises(StoreError) as caught:
        keys.load_key(path)
    assert str(caught.value) == f"{path}: it is no key. Put it back from a backup, or declare it lost"
    other = generate_private_key(SECP256R1()).private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    path.write_bytes(other)
    with pytest.raises(StoreError) as caught:
        keys.load_key(path)
    assert str(caught.value) == f"{path}: it is a key of another kind. An Ed25519 key is needed"


# --- one key after the other ------------------------------------------------------------------------------------------

A, B, D = key_of(1), key_of(2), key_of(3)
HASH = "ab" * 32


def prints(statements):
    return [epoch.fingerprint for epoch in keys.follow(statements)]


def print_of(key):
    return keys.fingerprint(keys.public_of(key))


FIRST = keys.first_statement(A, MONDAY)
TURN = keys.rotation(A, B, at=MONDAY + 1, head=HASH, reason="yearly")


def test_keys_are_followed_through_rotations_and_losses():
    lost = keys.declared_lost(print_of(B), D, at=MONDAY + 2, head=HASH, reason="disk broken")
    epochs = keys.follow([FIRST, TURN, lost])
    assert [epoch.fingerprint for epoch in epochs] == [print_of(A), print_of(B), print_of(D)]
    assert [(epoch.how, epoch.at, epoch.last, epoch.reason) for epoch in epochs] == [
        ("first", MONDAY, None, ""),
        ("rotation", MONDAY + 1, HASH, "yearly"),
        ("lost", MONDAY + 2, HASH, "disk broken"),
    ]


@pytest.mark.parametrize(
    ("statements", "message"),
    [
        ([], "there is no statement about the key"),
        ([TURN], "statement 1 about the keys: only the first key begins the record"),
        ([FIRST, FIRST], "statement 2 about the keys: only the first key begins the record"),
        ([FIRST._replace(new=bytes(64))], "statement 1 about the keys: the new key did not sign it"),
        ([FIRST, TURN._replace(old=b"")], "statement 2 about the keys: the old key did not sign it"),
        ([FIRST, TURN._replace(new=TURN.old)], "statement 2 about the keys: the new key did not sign it"),
        ([FIRST, TURN, TURN], "statement 3 about the keys: it does not follow on the key before"),
        ([Statement("{}", b"")], "statement 1 about the keys: it is none that there is"),
        ([Statement("[]", b"")], "statement 1 about the keys: it is none that there is"),
        (
            [Statement(text_of({"statement": "first", "at": "x", "key": "00" * 32}), b"")],
            "statement 1 about the keys: its time or reason can't be read",
        ),
    ],
)
def test_a_key_that_nobody_vouches_for_is_not_followed(statements, message):
    with pytest.raises(ValueError) as caught:
        keys.follow(statements)
    assert str(caught.value) == message


def test_whoever_finds_the_new_key_alone_cannot_make_a_rotation():
    forged = keys.rotation(D, B, at=MONDAY, head=None, reason="forged")
    with pytest.raises(ValueError, match="does not follow on the key before"):
        prints([FIRST, forged])
