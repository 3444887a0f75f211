"""Heads: what they bind, and when two can't belong to one record. Codes: every slip is seen."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st
from record_scene import MONDAY, key_of

from monitor.basis.errors import RecordError
from monitor.basis.times import DAY
from monitor.seal import codes, keys
from monitor.seal.canonical import text_of
from monitor.seal.heads import NO_HEAD, SignedHead, conflicts, next_head, read_head


def head_after(previous: SignedHead | None, size: int = 3, root: bytes = bytes(32)) -> SignedHead:
    return next_head(
        key_of(1), previous, size=size, root=root, made=MONDAY + DAY, reason="day", software="wallclime 0.1.0",
        closes="2026-01-05", clock_offset=-3,
    )  # fmt: skip


FIRST = head_after(None)


def test_a_head_is_signed_and_says_what_was_told():
    assert json.loads(FIRST.text) == {
        "number": 1, "size": 3, "root": "00" * 32, "previous": NO_HEAD, "made": MONDAY + DAY, "closes": "2026-01-05",
        "reason": "day", "clock_offset": -3, "software": "wallclime 0.1.0", "key": FIRST.head.key,
    }  # fmt: skip
    assert keys.is_signed(keys.public_of(key_of(1)), keys.HEAD, FIRST.text, FIRST.signature)
    assert read_head(FIRST.text) == FIRST.head


def test_a_head_follows_on_the_one_before():
    second = head_after(FIRST, 4)
    assert (second.head.number, second.head.previous) == (2, FIRST.hash)


@pytest.mark.parametrize(
    "change",
    [
        {"number": 0},
        {"size": 0},
        {"size": True},
        {"root": "00"},
        {"made": 1.5},
        {"closes": "5 Jan"},
        {"closes": 5},
        {"clock_offset": "3"},
        {"software": None},
        {"more": 1},
    ],
)
def test_what_is_no_head_is_refused(change):
    with pytest.raises(ValueError):
        read_head(text_of({**FIRST.head._asdict(), **change}))


def test_two_trees_of_one_size_or_number_cannot_be_one_record():
    second = head_after(FIRST, 4)
    other = head_after(FIRST, 4, b"\x01" * 32)
    later = head_after(second, 9)
    assert conflicts([FIRST, second], [FIRST, second, later]) == []
    assert conflicts([FIRST, second], [FIRST, other]) == [(second, other)]
    assert conflicts([FIRST, second, later], [FIRST]) == []


# --- codes ------------------------------------------------------------------------------------------------------------

CODE = codes.code_of(FIRST.hash)
hashes = st.binary(min_size=32, max_size=32).map(bytes.hex)


def test_a_code_worked_by_hand():
    # 31 = 0 + 1 x 31: signs 0, 1, then zeros; 1 x 0 + 2 x 1 = 2; 24 x = -2 = 29 (mod 31): 24 x 9 = 216 = 6 x 31 + 30,
    # and 24 x 18 = 432 = 13 x 31 + 29, so the check sign is number 18, "J".
    assert codes.SIGNS[18] == "J"
    assert codes.code_of(f"{31:064x}") == "0100-0000-0000-0000-0000-000J"


def test_the_signs_are_a_prime_number_of_signs_that_are_not_mistaken():
    assert len(set(codes.SIGNS)) == 31
    assert not set("ILOQU") & set(codes.SIGNS)


@given(
    hashes, st.sampled_from([str.lower, lambda c: c.replace("-", " "), lambda c: c.replace("0", "O").replace("1", "l")])
)
def test_a_code_is_read_however_it_was_typed(digest, typed):
    code = codes.code_of(digest)
    assert codes.read_code(typed(code)) == code
    assert codes.fits(codes.read_code(typed(code)), digest)


@given(hashes, st.integers(0, 23), st.integers(1, 30))
def test_every_wrong_sign_is_seen(digest, place, by):
    signs = list(codes.code_of(digest).replace("-", ""))
    signs[place] = codes.SIGNS[(codes.SIGNS.index(signs[place]) + by) % 31]
    with pytest.raises(RecordError, match="the check sign does not fit"):
        codes.read_code("".join(signs))


@given(hashes, st.integers(0, 23), st.integers(0, 23))
def test_every_two_signs_that_changed_places_are_seen(digest, one, other):
    signs = list(codes.code_of(digest).replace("-", ""))
    signs[one], signs[other] = signs[other], signs[one]
    if signs[one] == signs[other]:
        assert codes.fits(codes.read_code("".join(signs)), digest)
    else:
        with pytest.raises(RecordError, match="the check sign does not fit"):
            codes.read_code("".join(signs))


@given(hashes, hashes)
def test_another_head_has_another_code(one, other):
    assert (one == other) == codes.fits(codes.code_of(one), other)


def test_a_full_hash_is_taken_as_well():
    assert codes.fits(codes.read_code(codes.grouped(FIRST.hash).upper()), FIRST.hash)
    assert not codes.fits(codes.read_code("0" * 64), FIRST.hash)


@pytest.mark.parametrize(
    ("typed", "message"),
    [
        ("U" + CODE[1:], "'U' is no sign of a code"),
        ("1234", "a code has 24 signs, not 4"),
        ("", "a code has 24 signs, not 0"),
    ],
)
def test_what_is_no_code_is_refused_in_one_line(typed, message):
    with pytest.raises(RecordError) as caught:
        codes.read_code(typed)
    assert str(caught.value) == f"code {typed}: {message}. Compare it sign by sign with what was sent"


def test_a_slip_is_refused_in_one_line():
    typed = CODE[:-1] + ("0" if CODE[-1] != "0" else "1")
    with pytest.raises(RecordError) as caught:
        codes.read_code(typed)
    assert str(caught.value) == (
        f"code {typed}: the check sign does not fit: a sign is wrong, or two changed places. "
        "Compare it sign by sign with what was sent"
    )
