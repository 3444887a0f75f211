"""JSON pointers (RFC 6901): where a value stands in a JSON document."""

from __future__ import annotations

import re
from typing import Any, Final

from monitor.basis.errors import SettingsError

MISSING: Final = object()  # what a pointer that points at nothing gives; null is a value and is not this

_INDEX = re.compile(r"0|[1-9][0-9]{0,9}")  # RFC 6901 section 4: no sign, no leading zero
_WRONG_ESCAPE = re.compile(r"~(?![01])")


def parse_pointer(text: str, *, where: str) -> tuple[str, ...]:
    """The reference tokens of a pointer, unescaped; () for "", the whole document. Raises SettingsError."""
    if text and (not text.startswith("/") or _WRONG_ESCAPE.search(text)):
        raise SettingsError(
            f"{text!r} is not a JSON pointer",
            where=where,
            mend='Write it like "/climate/temperature" (RFC 6901); a ~ in a name is ~0, a / is ~1',
        )
    return tuple(token.replace("~1", "/").replace("~0", "~") for token in text.split("/")[1:])


def resolve(document: Any, tokens: tuple[str, ...]) -> Any:
    """The value that `tokens` lead to in a decoded JSON document, or MISSING."""
    for token in tokens:
        if isinstance(document, dict):
            document = document.get(token, MISSING)
        elif isinstance(document, list) and _INDEX.fullmatch(token) and int(token) < len(document):
            document = document[int(token)]
        else:
            return MISSING
    return document
