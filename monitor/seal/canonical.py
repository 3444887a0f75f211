"""Canonical JSON (RFC 8785): one text for one value, so that what is hashed can be written and read anywhere."""

from __future__ import annotations

import json
import re
from typing import Any

import rfc8785

_SAFE = 2**53
_HEX = re.compile(r"(?:[0-9a-f]{2})*")


def text_of(value: Any) -> str:
    """The canonical text of a JSON value. Raises ValueError for what has none: NaN, integers beyond 2**53."""
    return rfc8785.dumps(value).decode()


def value_of(text: str) -> Any:
    """The value of a text, which has to be its canonical one to the letter. Raises ValueError."""
    try:
        value = json.loads(text, parse_int=_number, parse_constant=_refuse)
        same = text_of(value) == text
    except RecursionError:
        raise ValueError("JSON nested too deeply") from None
    if not same:
        raise ValueError("JSON that is not in its one canonical form")
    return value


def _number(digits: str) -> int | float:
    number = int(digits)
    return number if -_SAFE < number < _SAFE else float(digits)


def _refuse(name: str) -> None:
    raise ValueError(f"{name} is no number of JSON")


def bytes_of_hex(text: Any, length: int | None = None) -> bytes:
    """The bytes of lower-case hex digits, `length` of them where it is given. Raises ValueError."""
    if not isinstance(text, str) or not _HEX.fullmatch(text) or length not in (None, len(text) // 2):
        raise ValueError("no hash or signature in hex")
    return bytes.fromhex(text)
