"""Why a message can't become readings, in one line; shared by all formats."""

from __future__ import annotations

import math
from enum import StrEnum
from typing import Any

from monitor.basis.errors import PayloadError


class Reason(StrEnum):
    """Why a message went to quarantine."""

    TOO_LARGE = "too-large"
    TOPIC_TOO_LONG = "topic-too-long"
    TOO_MANY_TOPICS = "too-many-topics"
    UNREADABLE = "unreadable"
    NO_SOURCE = "no-source"
    NO_QUANTITY = "no-quantity"
    AMBIGUOUS = "ambiguous"
    NOT_A_NUMBER = "not-a-number"
    WRONG_NAME = "wrong-name"
    TIME_UNKNOWN = "time-unknown"
    TIME_AHEAD = "time-ahead"
    TIME_BEFORE_2000 = "time-before-2000"
    TOO_OLD = "too-old"
    CLOCK_UNSET = "clock-unset"


def refusal(reason: Reason, what: str, topic: str, mend: str) -> PayloadError:
    """The error of a message on `topic`, to be raised."""
    return PayloadError(what, where=shown(topic), mend=mend, reason=reason)


def shown(value: object) -> str:
    """The value as it can stand in a message: one line, printable, short."""
    if isinstance(value, dict | list):
        return "an object" if isinstance(value, dict) else "a list"
    text = value if isinstance(value, str) and value.isprintable() else repr(value)
    return text if len(text) <= 80 else f"{text[:77]}..."


def finite(value: Any) -> float | None:
    """A number of JSON as a float; None for what is no number or too large for one. True and "1" are no numbers."""
    if type(value) is float and math.isfinite(value):
        return value
    if type(value) is int and abs(value) < 1 << 1023:
        return float(value)
    return None
