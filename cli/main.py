"""wallclime: the commands, gathered. A command's file is named after its noun."""

from __future__ import annotations

import gc
import inspect
import os
import sys
from collections.abc import Callable
from functools import cached_property
from pathlib import Path
from typing import Annotated, Any, NoReturn

import typer
from typer.core import TyperCommand, TyperGroup

from cli import (
    advise,
    alarm,
    board,
    bundle,
    care,
    cautions,
    dispute,
    form,
    handover,
    importing,
    job,
    log,
    profile,
    quarantine,
    record,
    report,
    schedule,
    seal,
    sensor,
    serve,
    simulate,
    status,
    summary,
    upkeep,
    witness,
)
from cli import takeoff as taking_off
from cli.common import Session, say
from monitor.basis.clock import Clock
from monitor.basis.errors import RecordError, WallclimeError

app = typer.Typer(
    name="wallclime",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Proves what air a plank wall had: acclimation counted, excursions flagged, the condition log kept.\n\n"
    "Data goes to stdout, talk to stderr. Exit status: 0 yes, 1 no (not ready), 2 usage or bad input, "
    "3 the store or broker can't be reached or is newer than this program.",
)


@app.callback()
def root(
    context: typer.Context,
    home: Annotated[
        Path | None,
        typer.Option(help="The folder of wallclime.toml and the store; else $WALLCLIME_HOME, else your data folder."),
    ] = None,
) -> None:
    """Take what all commands share."""
    context.ensure_object(Session).home = home


COMMANDS: dict[str, Callable[..., None]] = {
    "init": serve.init,
    "serve": serve.serve,
    "import": importing.import_file,
    "status": status.status,
    "ready": status.ready,
    "assess": status.assess,
    "report": report.report,
    "record": record.record,
    "form": form.form,
    "handover": handover.handover,
    "board": board.board,
    "summary": summary.summary,
    "dispute": dispute.dispute,
    "advise": advise.advise,
    "takeoff": taking_off.takeoff,
    "cautions": cautions.cautions,
    "simulate": simulate.simulate,
    "witness": witness.witness,
    "bundle": bundle.bundle,
    "verify": bundle.verify,
    "disclose": bundle.disclose,
    "backup": upkeep.backup,
    "restore": upkeep.restore,
    "doctor": upkeep.doctor,
    "schedule": schedule.schedule,
}
NOUNS = {
    "alarm": alarm.app,
    "job": job.app,
    "sensor": sensor.app,
    "log": log.app,
    "care": care.app,
    "profile": profile.app,
    "quarantine": quarantine.app,
    "seal": seal.app,
}


_SWEPT_AFTER = 200_000  # things made and not given up, more than a status makes; Python itself says 700


class _Word(TyperCommand):
    """A command of one word, made when it is asked for: making all of them takes longer than most commands."""

    def __init__(self, name: str, function: Callable[..., None]) -> None:
        super().__init__(name=name, help=inspect.getdoc(function), rich_markup_mode=None)
        self._function = function
        del self.params, self.callback  # what is below takes their place

    @cached_property
    def _made(self) -> Any:
        one = typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False)
        one.command(self.name)(self._function)
        return typer.main.get_command(one)

    @cached_property
    def params(self) -> Any:  # type: ignore[override]
        """Its arguments and options."""
        return self._made.params

    @cached_property
    def callback(self) -> Any:  # type: ignore[override]
        """What it does."""
        return self._made.callback


class _Noun(TyperGroup):
    """A noun, whose commands are made when they are asked for."""

    def __init__(self, name: str, noun: typer.Typer) -> None:
        super().__init__(name=name, help=noun.info.help, no_args_is_help=True, rich_markup_mode=None)
        self._noun = noun
        del self.commands  # what is below takes its place

    @cached_property
    def commands(self) -> Any:  # type: ignore[override]
        """The commands by name."""
        self._noun.rich_markup_mode = app.rich_markup_mode
        return typer.main.get_group(self._noun).commands


def tree() -> TyperGroup:
    """All commands: those of a word, and the nouns."""
    root = typer.main.get_group(app)
    for name, function in COMMANDS.items():
        root.add_command(_Word(name, function), name)
    for name, noun in NOUNS.items():
        root.add_command(_Noun(name, noun), name)
    return root


def run(args: list[str] | None = None, *, clock: Clock | None = None) -> NoReturn:
    """Run one command and exit; `clock` is the system's unless a test sets one."""
    try:
        words = _texts(sys.argv[1:] if args is None else args)
        tree()(words, prog_name="wallclime", obj=Session(clock=clock))
    except WallclimeError as exc:
        for fault in exc.faults:  # each is one line, whatever name is in it
            say(str(fault).replace("\n", "\\n"))
        sys.exit(exc.exit_code)
    except SystemExit as ended:
        if isinstance(ended.__context__, BrokenPipeError):  # typer's exit 1 for a reader that has gone: no "no" of ours
            sys.exit(0)
        raise
    sys.exit(0)


def main() -> NoReturn:
    """What the installed command runs: `run`, seldom swept and ended at once.

    To look at all that was imported, again and again, for what nothing holds any more is an eighth of a status; to take
    it apart at the end is another. Nothing hangs on that: stores, files and connections are closed where they were
    opened.
    """
    gc.set_threshold(_SWEPT_AFTER)
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # its threads spin while there is nothing for them, as always
    try:
        run()
    except SystemExit as ended:
        if isinstance(ended.code, int) and _written():
            os._exit(ended.code)
        raise


def _written() -> bool:
    """Whether all that was printed has gone out. Where it has not, Python says why."""
    try:
        sys.stdout.flush()
        sys.stderr.flush()
    except OSError:
        return False
    return True


def _texts(args: list[str]) -> list[str]:
    """The words of a command. Raises RecordError for bytes that are no UTF-8: the log could not be sealed over them."""
    for word in args:
        if not word.isascii() and word != word.encode("utf-8", "ignore").decode():
            raise RecordError(
                f"{word!r} is not UTF-8 text", where="command line", mend="Write it, or name the file, anew"
            )
    return args
