"""The daemon's own log: one event with its fields a line, in UTC, on stderr, where journald or a container takes it.

An event has a name and fields; what a name or a payload brings in is spelled out, so that it can't begin a line of its
own. What a library says is the event "library". Passwords and URLs are in no field.
"""

from __future__ import annotations

import json
import logging
import os
import sys
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any, TextIO

from monitor.config.settings import Logging

LIBRARY = "library"
LONGEST = 2_000  # of a value as it is written [characters]

_LOG = logging.getLogger("wallclime")
_LEVELS = logging.getLevelNamesMapping()
_PRIORITIES = {"debug": 7, "info": 6, "warning": 4, "error": 3, "critical": 2}  # sd-daemon(3)
_MAY_NAME_URLS = ("apprise", "urllib3", "requests")  # what goes wrong there is an event of ours


def log(level: str, event: str, **fields: object) -> None:
    """One event with its fields; `level` debug, info, warning or error."""
    _LOG.log(_LEVELS[level.upper()], event, extra={"fields": fields})


def set_up(settings: Logging, *, stream: TextIO | None = None, environ: Mapping[str, str] = os.environ) -> None:
    """Send what the program logs, and the warnings of its libraries, to `stream` (stderr) from now on."""
    stream = stream or sys.stderr
    handler = logging.StreamHandler(stream)
    handler.setFormatter(Lines(settings.format, priority=to_journald(stream, environ)))
    logging.basicConfig(handlers=[handler], level=logging.WARNING, force=True)
    _LOG.setLevel(settings.level.upper())
    for name in _MAY_NAME_URLS:
        library = logging.getLogger(name)
        library.propagate = False
        library.handlers = [logging.NullHandler()]  # without any, Python itself would write it


def to_journald(stream: TextIO, environ: Mapping[str, str]) -> bool:
    """Whether journald reads `stream`: systemd.exec(5), $JOURNAL_STREAM is its device and inode."""
    try:
        found = os.fstat(stream.fileno())
    except (OSError, ValueError):  # no file of the system's
        return False
    return environ.get("JOURNAL_STREAM") == f"{found.st_dev}:{found.st_ino}"


class Lines(logging.Formatter):
    """An event as one line: for people, or a JSON object for machines; with a priority in front for journald."""

    def __init__(self, form: str, *, priority: bool = False) -> None:
        super().__init__()
        self._json, self._priority = form == "json", priority

    def format(self, record: logging.LogRecord) -> str:
        """The line of a record."""
        head, fields = _event(record)
        line = _object(head, fields) if self._json else _words(head, fields)
        return f"<{_PRIORITIES.get(head['level'], 6)}>{line}" if self._priority else line


def _event(record: logging.LogRecord) -> tuple[dict[str, str], Mapping[str, Any]]:
    """When, how grave and what; and the fields. A record that is no event of ours is what a library said."""
    at = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    fields = getattr(record, "fields", None)
    name = record.getMessage()
    if fields is None:
        name, fields = LIBRARY, {"logger": record.name, "said": name, **_error_of(record)}
    return {"at": at, "level": record.levelname.lower(), "event": name}, fields


def _error_of(record: logging.LogRecord) -> dict[str, str]:
    error = record.exc_info[1] if record.exc_info else None
    return {} if error is None else {"error": repr(error)}


def _object(head: Mapping[str, str], fields: Mapping[str, Any]) -> str:
    return json.dumps({**head, **{name: _short(value) for name, value in fields.items()}, **head}, default=repr)


def _words(head: Mapping[str, str], fields: Mapping[str, Any]) -> str:
    said = (f"{_plain(name)}={_plain(repr(_short(value)))}" for name, value in fields.items())
    return " ".join([*map(_plain, head.values()), *said])


def _plain(text: str) -> str:
    """The text with every sign spelled out that is not printed, a line's end above all."""
    return "".join(sign if sign.isprintable() else sign.encode("unicode_escape").decode() for sign in text)


def _short(value: Any) -> Any:
    if isinstance(value, str) and len(value) > LONGEST:
        return f"{value[:LONGEST]}... ({len(value)} characters)"
    return value
