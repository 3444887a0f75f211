"""Canonical JSON against RFC 8785, and what is no canonical text."""

import struct

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from monitor.seal.canonical import bytes_of_hex, text_of, value_of


def test_the_sample_of_section_3_2_2_becomes_the_bytes_of_section_3_2_4():
    sample = {
        "numbers": [333333333.33333329, 1e30, 4.50, 2e-3, 0.000000000000000000000000001],
        "string": "\u20ac$\u000f\u000aA'\u0042\u0022\u005c\\\"/",
        "literals": [None, True, False],
    }
    assert text_of(sample).encode() == bytes.fromhex(
        "7b226c69746572616c73223a5b6e756c6c2c747275652c66616c73655d2c226e756d62657273223a5b33333333333333"
        "33332e333333333333332c31652b33302c342e352c302e3030322c31652d32375d2c22737472696e67223a22e282ac24"
        "5c75303030665c6e4127425c225c5c5c5c5c222f227d"
    )


def test_keys_stand_in_the_order_of_section_3_2_3():
    # Section 3.2.3: by UTF-16 code units, so that the emoji (D83D DE00) stands before U+FB33.
    keys = {"\u20ac": 1, "\r": 2, "\ufb33": 3, "1": 4, "\U0001f600": 5, "\u0080": 6, "\u00f6": 7}
    assert list(value_of(text_of(keys))) == ["\r", "1", "\u0080", "\u00f6", "\u20ac", "\U0001f600", "\ufb33"]


@pytest.mark.parametrize(
    ("bits", "text"),
    [  # RFC 8785, appendix B
        ("0000000000000000", "0"),
        ("8000000000000000", "0"),
        ("0000000000000001", "5e-324"),
        ("7fefffffffffffff", "1.7976931348623157e+308"),
        ("4340000000000000", "9007199254740992"),
        ("4430000000000000", "295147905179352830000"),
        ("44b52d02c7e14af5", "9.999999999999997e+22"),
        ("44b52d02c7e14af6", "1e+23"),
        ("444b1ae4d6e2ef50", "1e+21"),
        ("3eb0c6f7a0b5ed8c", "9.999999999999997e-7"),
        ("3eb0c6f7a0b5ed8d", "0.000001"),
        ("becbf647612f3696", "-0.0000033333333333333333"),
        ("43143ff3c1cb0959", "1424953923781206.2"),
    ],
)
def test_numbers_are_written_as_appendix_b_says_and_read_back(bits, text):
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    assert text_of(number) == text
    assert value_of(text) == number


@pytest.mark.parametrize("bits", ["7fffffffffffffff", "7ff0000000000000", "fff0000000000000"])
def test_numbers_that_appendix_b_refuses_are_refused(bits):
    with pytest.raises(ValueError):
        text_of(struct.unpack(">d", bytes.fromhex(bits))[0])


plain = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53) + 1, 2**53 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(codec="utf-8")),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.text(st.characters(codec="utf-8"), max_size=4), inner, max_size=3)
    ),
    max_leaves=8,
)


@given(plain)
def test_every_value_is_read_back_from_its_text(value):
    assert value_of(text_of(value)) == value
    assert text_of(value).encode() == rfc8785.dumps(value)


@pytest.mark.parametrize(
    "text",
    [
        '{"b":1,"a":2}',
        '{"a": 1}',
        '{"a":1}\n',
        '{"a":1,"a":1}',
        '"\\u0041"',
        "1.0",
        "1e2",
        "-0",
        "NaN",
        "Infinity",
        "01",
        "",
        '"\\ud800"',
        "[" * 3000,
        "1" * 5000,
    ],
)
def test_a_text_that_is_not_the_canonical_one_is_refused(text):
    with pytest.raises(ValueError):
        value_of(text)


def test_hex_is_lower_case_and_of_its_length():
    assert bytes_of_hex("00ff") == b"\x00\xff"
    for text in ("0F", "0", "0g", 15, None):
        with pytest.raises(ValueError, match="no hash or signature in hex"):
            bytes_of_hex(text)
    with pytest.raises(ValueError, match="no hash"):
        bytes_of_hex("00ff", 3)
