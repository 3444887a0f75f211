import pytest

from monitor.basis.errors import SettingsError
from monitor.intake.pointer import MISSING, parse_pointer, resolve

# RFC 6901 (April 2013), section 5: the document and what each pointer evaluates to
DOCUMENT = {
    "foo": ["bar", "baz"],
    "": 0,
    "a/b": 1,
    "c%d": 2,
    "e^f": 3,
    "g|h": 4,
    "i\\j": 5,
    'k"l': 6,
    " ": 7,
    "m~n": 8,
}
EXAMPLES = {
    "": DOCUMENT,
    "/foo": ["bar", "baz"],
    "/foo/0": "bar",
    "/": 0,
    "/a~1b": 1,
    "/c%d": 2,
    "/e^f": 3,
    "/g|h": 4,
    "/i\\j": 5,
    '/k"l': 6,
    "/ ": 7,
    "/m~0n": 8,
}


@pytest.mark.parametrize("pointer", EXAMPLES)
def test_the_rfc_s_own_examples_hold(pointer):
    assert resolve(DOCUMENT, parse_pointer(pointer, where="here")) == EXAMPLES[pointer]


def test_tilde_zero_one_is_a_tilde_and_a_one_not_a_slash():
    # RFC 6901 section 4: ~1 is replaced first, so that ~01 becomes ~1
    assert parse_pointer("/~01", where="here") == ("~1",)


@pytest.mark.parametrize(
    "pointer", ["/foo/2", "/foo/-", "/foo/00", "/foo/+1", "/foo/٠", "/nowhere", "/foo/0/x", "/m~0n/0"]
)
def test_a_pointer_at_nothing_is_missing(pointer):
    assert resolve(DOCUMENT, parse_pointer(pointer, where="here")) is MISSING


def test_null_is_a_value_and_not_missing():
    assert resolve({"t": None}, ("t",)) is None


@pytest.mark.parametrize("text", ["t", "#/t", "/t~", "/t~2", "~0"])
def test_a_text_that_is_no_pointer_says_how_to_write_one(text):
    with pytest.raises(SettingsError) as caught:
        parse_pointer(text, where="source 'a', air_temperature")
    assert str(caught.value) == (
        f"source 'a', air_temperature: {text!r} is not a JSON pointer. "
        'Write it like "/climate/temperature" (RFC 6901); a ~ in a name is ~0, a / is ~1'
    )
