"""What the commands share: the session, times and units as people write them, who speaks."""

from __future__ import annotations

import getpass
import json
import os
import sys
import threading
import time
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from monitor.basis.clock import Clock
from monitor.basis.errors import RecordError, ReportError
from monitor.basis.times import parse_time, zone_of

if TYPE_CHECKING:
    from monitor.watch.desk import Desk

PATIENCE = 2  # of somebody at a terminal before they are told what goes on [s]

Job = Annotated[str, typer.Argument(metavar="JOB", help="The job's name.")]
At = Annotated[
    str | None,
    typer.Option(metavar="TIME", help="Like 2026-01-05T06:40, in the job's zone if it has no offset; now by default."),
]
Who = Annotated[
    str | None, typer.Option("--by", "--who", metavar="NAME", help="Who says so; your user name by default.")
]
Json = Annotated[bool, typer.Option("--json", help="For machines.")]
Units = Annotated[
    str | None, typer.Option("--units", metavar="us|si", help="To show it in; those of the job by default.")
]
Reason = Annotated[str, typer.Option(metavar="TEXT", help="Why.")]


@dataclass
class Session:
    """What the root command hands down."""

    home: Path | None = None
    clock: Clock | None = None


def home_of(context: typer.Context) -> Path:
    """The home folder of this call."""
    from monitor.config.settings import home_folder

    return home_folder(context.obj.home, os.environ)


@contextmanager
def desk(context: typer.Context, units: str | None = None) -> Iterator[Desk]:
    """The desk of this call; `units` as somebody asked to be shown. Raises RecordError."""
    from monitor.watch.desk import open_desk

    shown = one_of(units, ("us", "si"), "--units")
    with open_desk(home_of(context), clock=context.obj.clock, units=shown) as opened:
        yield opened


def time_of(at_desk: Desk, job: str, text: str | None, option: str = "--at") -> int | None:
    """A time as somebody wrote it, in the job's zone unless it has an offset. [ms]"""
    return None if text is None else parse_time(text, zone_of(at_desk.book.job(job).zone), where=option)


def one_of(value: str | None, choices: tuple[str, ...], option: str) -> Any:
    """An option that takes a few words only. Raises RecordError that lists them."""
    if value is not None and value not in choices:
        raise RecordError(f"{value!r} is not understood", where=option, mend=f"Use {' or '.join(choices)}")
    return value


def spread_of(text: str, option: str) -> tuple[Any, float]:
    """An expanded uncertainty and whose it is, by its unit. Raises QuantityError. [%, K]"""
    from monitor.basis.units import parse_percent, parse_temperature_difference
    from monitor.basis.values import Quantity

    if "%" in text:
        return Quantity.AIR_HUMIDITY, parse_percent(text, where=option)
    return Quantity.AIR_TEMPERATURE, parse_temperature_difference(text, where=option)


def who_of(who: str | None) -> str:
    """The claimed speaker of an entry. Raises RecordError when nobody is named and the system has no name either."""
    from monitor.watch.job.jobs import checked_name

    try:
        return checked_name(who or getpass.getuser(), "--by")
    except (KeyError, OSError) as exc:
        raise RecordError("nobody is named", where="--by", mend="Say who claims it: --by NAME") from exc


def data(value: Any) -> None:
    """Data, to stdout: a text as it is, but on a terminal harmless; anything else as JSON that is harmless anywhere.

    Raises ReportError where it can't be written; a reader that has gone is not that.
    """
    if isinstance(value, str):
        text = value.rstrip("\n")
        text = harmless(text.expandtabs()) if sys.stdout.isatty() else text
    else:
        text = harmless(json.dumps(value, indent=2, ensure_ascii=ascii_only()))
    try:
        typer.echo(text)
    except BrokenPipeError:
        raise
    except OSError as exc:
        raise ReportError(
            f"it can't be written ({exc.strerror})", where="stdout", mend="Free some space, or send it elsewhere"
        ) from exc


def say(text: str) -> None:
    """Talk, to stderr."""
    typer.echo(harmless(text), err=True)


def harmless(text: str) -> str:
    """A text in which nothing moves a terminal's cursor or turns a line round: as in JSON, by its number instead."""
    return text if text.isascii() and text.replace("\n", "").isprintable() else "".join(map(_seen, text))


def _seen(sign: str) -> str:
    if sign == "\n" or unicodedata.category(sign) not in ("Cc", "Cf", "Zl", "Zp"):
        return sign
    return f"\\u{ord(sign):04x}" if sign.isascii() else json.dumps(sign)[1:-1]


def ascii_only() -> bool:
    """Whether stdout can't show more than ASCII, or the user asked for the plain locale."""
    if os.environ.get("LC_ALL") in ("C", "POSIX"):  # Python itself would write UTF-8 there
        return True
    encoding = (getattr(sys.stdout, "encoding", None) or "ascii").lower()
    return encoding.replace("-", "") not in ("utf8", "utf16", "utf8sig", "cp65001")


def entry_json(entry: Any) -> dict[str, Any]:
    """An entry of the log, for machines; `entered_late`: more than an hour after the time it speaks of."""
    from monitor.basis.times import HOUR, rfc3339

    return {
        "number": entry.number,
        "kind": entry.kind.value,
        "at": rfc3339(entry.at),
        "entered": rfc3339(entry.entered),
        "entered_late": entry.entered - entry.at > HOUR,
        "who": entry.who,
        "body": dict(entry.body),
        "corrects": entry.corrects,
        "link": entry.link.hex(),
    }


class Progress:
    """A bar on stderr for what takes more than two seconds: of the share done, or of the time where that is not known.

    Only on a terminal, and gone when it is done: `with Progress("report"): ...`.
    """

    def __init__(self, what: str) -> None:
        self._what, self._shown = what, ""
        self._share: float | None = None
        self._done = threading.Event()
        self._clock = threading.Thread(target=self._tick, daemon=True)

    def __call__(self, share: float) -> None:
        """Say that `share` of the work, 0 to 1, is done."""
        self._share = share

    def __enter__(self) -> Progress:
        self._began = time.monotonic()
        if sys.stderr.isatty():
            self._clock.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._done.set()
        if self._clock.ident is not None:
            self._clock.join()
        if self._shown:
            typer.echo(f"\r{' ' * len(self._shown)}\r", err=True, nl=False)

    def _tick(self) -> None:
        self._done.wait(PATIENCE)
        while not self._done.is_set():
            line = self._line()
            typer.echo(f"\r{line.ljust(len(self._shown))}", err=True, nl=False)
            self._shown = line
            self._done.wait(0.25)

    def _line(self) -> str:
        if self._share is None:
            gone, planks = time.monotonic() - self._began, "###................."
            at = -int(gone * 4) % len(planks)  # they wander
            return f"{self._what} [{planks[at:]}{planks[:at]}] {gone:.0f} s"
        return f"{self._what} [{'#' * int(self._share * 20):.<20}] {int(self._share * 100):3d} %"
