"""The chain of the condition log: what it binds, what it finds, and what it cannot see."""

import hashlib
import json
import math
import struct

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from monitor.basis.values import Draft, Entry, Kind
from monitor.seal.chain import GENESIS, body_hash, faults, link


def chained(drafts: list[Draft], chain: str = "attic wall") -> list[Entry]:
    """A whole chain of `drafts`, with salts that a test can repeat."""
    entries: list[Entry] = []
    for number, draft in enumerate(drafts, 1):
        entry = Entry(
            chain, number, draft.kind, draft.at, 1_767_595_200_000 + number, draft.who, draft.body, draft.corrects,
            salt=hashlib.md5(bytes([number])).digest(), link=b"",
        )  # fmt: skip
        entries.append(entry._replace(link=link(entries[-1].link if entries else GENESIS, entry)))
    return entries


NOTES = [Draft(Kind.NOTE, 1_767_595_200_000, "ann", {"text": text}) for text in ("one", "two", "three", "four")]

bodies = st.dictionaries(st.text(max_size=5), st.integers(-1000, 1000) | st.text(max_size=5) | st.none(), max_size=3)
drafts = st.builds(
    Draft, st.sampled_from(Kind), st.integers(0, 2**42), st.text(max_size=6), bodies, st.none() | st.integers(1, 9)
)


def test_a_link_is_what_the_docstring_says_computed_by_hand():
    entry = chained([Draft(Kind.NOTE, 5, "ann", {"text": "dry"})])[0]._replace(
        entered=7, salt=bytes(range(16)), chain="c", link=b""
    )
    body = hashlib.sha256(
        b"\x03" + bytes(range(16)) + b'{"at":5,"body":{"text":"dry"},"corrects":null,"kind":"note","who":"ann"}'
    ).digest()
    expected = hashlib.sha256(b"\x02" + bytes(32) + body + b'{"chain":"c","entered":7,"number":1}').digest()
    assert body_hash(entry) == body
    assert link(GENESIS, entry) == expected


def test_the_second_link_binds_the_first():
    first, second = chained(NOTES[:2])
    frame = json.dumps(
        {"chain": "attic wall", "entered": second.entered, "number": 2}, separators=(",", ":"), sort_keys=True
    )
    assert second.link == hashlib.sha256(b"\x02" + first.link + body_hash(second) + frame.encode()).digest()


def test_a_withheld_body_leaves_the_link_computable_from_its_hash():
    entry = chained(NOTES)[0]
    frame = b'{"chain":"attic wall","entered":1767595200001,"number":1}'
    assert hashlib.sha256(b"\x02" + GENESIS + body_hash(entry) + frame).digest() == entry.link


def test_the_salt_hides_which_of_two_short_bodies_was_written():
    entry = chained(NOTES)[0]
    assert body_hash(entry) != body_hash(entry._replace(salt=bytes(16)))


@given(st.lists(drafts, max_size=6))
def test_a_chain_as_it_was_written_has_no_fault(written):
    assert faults(chained(written)) == []


@given(st.lists(drafts, min_size=1, max_size=6), st.data())
def test_any_change_of_one_entry_is_found_at_that_entry(written, data):
    entries = chained(written)
    at = data.draw(st.integers(0, len(entries) - 1))
    entry = entries[at]
    change = data.draw(
        st.sampled_from(
            [
                {"chain": entry.chain + "x"},
                {"kind": Kind.CLOSE if entry.kind is not Kind.CLOSE else Kind.NOTE},
                {"at": entry.at + 1},
                {"entered": entry.entered - 1},
                {"who": entry.who + "x"},
                {"body": {**entry.body, "more": 1}},
                {"corrects": (entry.corrects or 0) + 1},
                {"salt": bytes(16)},
                {"link": bytes(32)},
            ]
        )
    )
    entries[at] = entry._replace(**change)
    assert f"entry {at + 1} of " in str(faults(entries)[0])


@given(st.lists(drafts, min_size=2, max_size=6), st.data())
def test_an_entry_dropped_before_the_last_is_found(written, data):
    entries = chained(written)
    del entries[data.draw(st.integers(0, len(entries) - 2))]
    assert faults(entries)


@given(st.lists(drafts, min_size=2, max_size=6), st.data())
def test_a_drop_with_the_numbers_closed_up_is_found(written, data):
    entries = chained(written)
    gone = data.draw(st.integers(0, len(entries) - 2))
    kept = [entry._replace(number=number) for number, entry in enumerate(entries[:gone] + entries[gone + 1 :], start=1)]
    assert faults(kept)


@given(st.lists(drafts, min_size=2, max_size=6), st.data())
def test_two_entries_that_changed_places_are_found(written, data):
    entries = chained(written)
    at = data.draw(st.integers(0, len(entries) - 2))
    entries[at], entries[at + 1] = entries[at + 1], entries[at]
    assert faults(entries)


def test_an_entry_moved_to_another_chain_is_found():
    one, other = chained(NOTES[:1], "attic wall"), chained(NOTES[:1], "hall wall")
    assert one[0].link != other[0].link
    assert faults([one[0]._replace(chain="hall wall")])


def test_dropping_the_last_entries_is_not_seen_without_a_link_kept_elsewhere():
    entries = chained(NOTES)
    assert faults(entries[:-1]) == []
    assert faults([]) == []
    assert entries[-1].link != entries[-2].link


def test_a_rewritten_chain_hangs_together_so_only_a_link_kept_elsewhere_tells():
    rewritten = chained([*NOTES[:1], Draft(Kind.NOTE, 1, "ann", {"text": "another"}), *NOTES[2:]])
    assert faults(rewritten) == []
    assert rewritten[-1].link != chained(NOTES)[-1].link


def test_every_break_is_told_not_only_the_first():
    entries = chained(NOTES)
    entries[0] = entries[0]._replace(who="bob")
    del entries[2]
    assert [str(fault) for fault in faults(entries)] == [
        "entry 1 of attic wall: the entry or one before it was altered. Compare with a copy kept elsewhere",
        "entry 4 of attic wall: entry 3 is missing or out of order. Compare with a copy kept elsewhere",
    ]


def test_a_fault_in_the_sensors_chain_is_named_so():
    entries = chained(NOTES, "")
    entries[1] = entries[1]._replace(at=0)
    assert [fault.where for fault in faults(entries)] == ["entry 2 of the sensors"]


@pytest.mark.parametrize("body", [{"x": math.nan}, {"x": math.inf}, {"x": 2**53}, {"x": "\ud800"}, {"\ud800": 1}])
def test_a_body_that_has_no_canonical_form_is_an_altered_entry(body):
    entries = chained(NOTES)
    entries[2] = entries[2]._replace(body=body)
    assert [fault.where for fault in faults(entries)] == ["entry 3 of attic wall"]


# RFC 8785 appendix B, "Number Serialization Samples": the 24 finite ones, as IEEE 754 bits in hex.
APPENDIX_B = {
    "0000000000000000": "0",
    "8000000000000000": "0",
    "0000000000000001": "5e-324",
    "8000000000000001": "-5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308",
    "ffefffffffffffff": "-1.7976931348623157e+308",
    "4340000000000000": "9007199254740992",
    "c340000000000000": "-9007199254740992",
    "4430000000000000": "295147905179352830000",
    "44b52d02c7e14af5": "9.999999999999997e+22",
    "44b52d02c7e14af6": "1e+23",
    "44b52d02c7e14af7": "1.0000000000000001e+23",
    "444b1ae4d6e2ef4e": "999999999999999700000",
    "444b1ae4d6e2ef4f": "999999999999999900000",
    "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7",
    "3eb0c6f7a0b5ed8d": "0.000001",
    "41b3de4355555553": "333333333.3333332",
    "41b3de4355555554": "333333333.33333325",
    "41b3de4355555555": "333333333.3333333",
    "41b3de4355555556": "333333333.3333334",
    "41b3de4355555557": "333333333.33333343",
    "becbf647612f3696": "-0.0000033333333333333333",
    "43143ff3c1cb0959": "1424953923781206.2",
}


@pytest.mark.parametrize(("bits", "text"), APPENDIX_B.items())
def test_a_number_is_written_as_in_appendix_b_of_rfc_8785(bits, text):
    assert rfc8785.dumps(struct.unpack(">d", bytes.fromhex(bits))[0]).decode() == text


@pytest.mark.parametrize("bits", ["7fffffffffffffff", "7ff0000000000000"])
def test_nan_and_infinity_are_refused_as_appendix_b_of_rfc_8785_asks(bits):
    with pytest.raises(ValueError, match="not representable in JCS"):
        rfc8785.dumps(struct.unpack(">d", bytes.fromhex(bits))[0])


def test_keys_are_sorted_as_in_section_3_2_3_of_rfc_8785():
    # By UTF-16 code units: the emoji, outside the basic plane, comes before the Hebrew letter U+FB33.
    sample = {
        "\u20ac": "Euro Sign",
        "\r": "Carriage Return",
        "\ufb33": "Hebrew Letter Dalet With Dagesh",
        "1": "One",
        "\U0001f600": "Emoji: Grinning Face",
        "\x80": "Control",
        "\xf6": "Latin Small Letter O With Diaeresis",
    }
    assert list(json.loads(rfc8785.dumps(sample)).values()) == [
        "Carriage Return",
        "One",
        "Control",
        "Latin Small Letter O With Diaeresis",
        "Euro Sign",
        "Emoji: Grinning Face",
        "Hebrew Letter Dalet With Dagesh",
    ]


def test_the_sample_of_section_3_2_2_of_rfc_8785_has_the_bytes_of_section_3_2_4():
    sample = {
        "numbers": [333333333.33333329, 1e30, 4.50, 2e-3, 0.000000000000000000000000001],
        "string": '\u20ac$\x0f\nA\'B"\\\\"/',
        "literals": [None, True, False],
    }
    assert rfc8785.dumps(sample).hex() == (
        "7b226c69746572616c73223a5b6e756c6c2c747275652c66616c73655d2c226e756d62657273223a"
        "5b3333333333333333332e333333333333332c31652b33302c342e352c302e3030322c31652d3237"
        "5d2c22737472696e67223a22e282ac245c75303030665c6e4127425c225c5c5c5c5c222f227d"
    )
