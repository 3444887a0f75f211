"""What `log correct --set KEY=VALUE` sets: a value of the kind that the entry has there now."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from shlex import quote
from typing import TYPE_CHECKING, Any

from cli.common import time_of

if TYPE_CHECKING:
    from monitor.basis.values import Entry
    from monitor.watch.desk import Desk

FROM_THE_RECORD = ("conditions", "not_ready")  # nobody told them: the program took them from the readings
TIMES = ("finish", "until", "from", "to")  # of a body, None where nobody said
COUNTS = ("boxes",)


def settings_of(opened: Desk, job: str, number: int, texts: Sequence[str]) -> dict[str, Any]:
    """What an entry is to say instead, by key. "KEY.NAME=VALUE" sets one of the values under a key.

    Raises RecordError, QuantityError, TimeError for each that can't be set so.
    """
    from monitor.watch.job.diary import standing_entry

    if not texts:
        return {}
    entry = standing_entry(opened, job, number)
    instead: dict[str, Any] = {}
    for text in texts:
        key, _, value = text.partition("=")
        if not key or not value:
            raise _no_setting(text)
        outer, _, name = key.partition(".")
        now = instead.get(outer, _now(entry, outer))
        if isinstance(now, Mapping) or name:
            instead[outer] = _with_name(opened, job, entry, outer, now, name, value)
        else:
            instead[outer] = _value(opened, job, entry, key, now, value)
    return instead


def _no_setting(text: str) -> Exception:
    from monitor.basis.errors import RecordError

    return RecordError(
        f"{text!r} sets nothing", where="--set", mend='Write it like "boxes=12", "lot=B7" or "finish=TIME"'
    )


def _now(entry: Entry, key: str) -> Any:
    """What the entry says of `key` now. Raises RecordError where it says nothing, or where nobody told it."""
    from monitor.basis.errors import RecordError

    if key not in entry.body:
        mend = f"See wallclime log list {quote(entry.chain)} --json"
        raise RecordError(f"entry {entry.number} ({entry.kind.value}) has no {key}", where="--set", mend=mend)
    if key in FROM_THE_RECORD:
        mend = "Correct what the record rests on, or withdraw the entry and write it anew"
        raise RecordError(f"{key} of entry {entry.number} was told by nobody", where="--set", mend=mend)
    return entry.body[key]


def _with_name(opened: Desk, job: str, entry: Entry, outer: str, now: Any, name: str, value: str) -> dict[str, Any]:
    """The values under `outer` with the one called `name` set."""
    from monitor.basis.errors import RecordError

    if not isinstance(now, Mapping) or name not in now:
        names = ", ".join(f"{outer}.{one}" for one in now) if isinstance(now, Mapping) else outer
        asked = f"{outer}.{name}" if name else outer
        raise RecordError(f"{asked} of entry {entry.number} is no one value", where="--set", mend=f"Set {names}")
    unit = outer if outer.endswith(("_m", "_ms")) else name
    return {**now, name: _value(opened, job, entry, f"{outer}.{name}", now[name], value, unit)}


def _value(opened: Desk, job: str, entry: Entry, key: str, now: Any, text: str, unit: str = "") -> Any:
    """A text as a value of the kind of `now`; what `unit`, or else its key, says of its unit comes first.

    Raises WallclimeError.
    """
    from monitor.basis.errors import RecordError
    from monitor.basis.times import EARLIEST

    where = f"--set {key}"
    if (key in TIMES and not isinstance(now, str)) or (
        isinstance(now, int) and not isinstance(now, bool) and now >= EARLIEST
    ):
        return time_of(opened, job, text, where)
    read = _reader(unit or key, now)
    if read is None:
        mend = f"Withdraw the entry and write it anew: wallclime log correct {quote(job)} {entry.number} --withdraw"
        raise RecordError(f"{key} of entry {entry.number} can't be set", where="--set", mend=mend)
    return read(text, where)


def _reader(key: str, now: Any) -> Callable[[str, str], Any] | None:
    """What reads a value: by the unit in its key, else by the kind of what stands there; None where nothing can."""
    from monitor.basis import units

    by_unit: dict[str, Callable[..., Any]] = {
        "_m": units.parse_length,
        "_ms": units.parse_duration,
        "temperature": units.parse_temperature,
        "humidity": units.parse_percent,
    }
    for ending, parse in by_unit.items():
        if key.endswith(ending) and not isinstance(now, str | list):
            return lambda text, where: parse(text, where=where)
    if key in COUNTS:
        return _whole
    if isinstance(now, list | tuple):
        return _texts if all(isinstance(one, str) for one in now) else None
    kinds: list[tuple[type, Callable[[str, str], Any]]] = [
        (bool, _yes_or_no),
        (int, _whole),
        (float, _number),
        (str, _text),
        (type(None), _text),
    ]
    return next((read for kind, read in kinds if isinstance(now, kind)), None)


def _bad(text: str, where: str, what: str, mend: str) -> Exception:
    from monitor.basis.errors import RecordError

    return RecordError(f"{text!r} is no {what}", where=where, mend=mend)


def _whole(text: str, where: str) -> int:
    if not (text.isascii() and text.isdecimal() and len(text) < 10):
        raise _bad(text, where, "whole number", "Write it like 12")
    return int(text)


def _number(text: str, where: str) -> float:
    import math

    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise _bad(text, where, "number", "Write it like 1.5")
    return value


def _yes_or_no(text: str, where: str) -> bool:
    if text not in ("yes", "no"):
        raise _bad(text, where, "yes or no", 'Write "yes" or "no"')
    return text == "yes"


def _text(text: str, where: str) -> str:
    return text


def _texts(text: str, where: str) -> list[str]:
    return [part.strip() for part in text.split(";") if part.strip()]
