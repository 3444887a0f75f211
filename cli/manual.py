"""The manual of the command line, made from the help of every command: python -m cli.manual > cli/README.md."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from typing import Any

_WIDTH = 78  # of a help on a terminal of 80 columns
_FRONT = """\
# The commands

This page is made from the help of the commands themselves: `python -m cli.manual > cli/README.md`. A test fails when it
is stale.

**Home.** Settings (`wallclime.toml`), the store and its backups live in one folder: `--home DIR`, else
`$WALLCLIME_HOME`, else your platform's folder for a user's data. It is made when it is not there.

**Data and talk.** What a command answers goes to stdout, what it says about its work to stderr; everything that lists
takes `--json`. JSON is always in degC, %RH, K.h, %RH.h, hours and RFC 3339 UTC, whatever units a job is shown in. One
command asks questions, and only on a terminal: `sensor assign`, for what was not said of the place.

**Errors** are lines on stderr, each of where, what and the mend.

| exit status | meaning |
|---|---|
| 0 | yes: done, ready, whole |
| 1 | no: `ready` found a condition that fails or is unknown |
| 2 | usage or bad input |
| 3 | the store or the broker can't be reached, or the store is newer than this program |

**Times** are like `2026-01-05T06:40`, in the job's zone unless they have an offset (`2026-01-05T06:40+02:00`). Lengths,
temperatures, percentages and durations carry their unit: `"16 ft 4 in"`, `"68 degF"`, `"45 %"`, `"30 min"`.

| environment variable | meaning |
|---|---|
| `WALLCLIME_HOME` | the home, where `--home` is not given |
| `WALLCLIME_BROKER_PASSWORD` | the broker's password, instead of `password_file` in wallclime.toml |
| `WALLCLIME_STORE_PASSWORD` | the same of a PostgreSQL store |
"""


def manual() -> str:
    """The whole page, Markdown: the lines that hold for every command, then the help of each at 80 columns."""
    from cli.main import tree

    helps = _helps(tree(), "wallclime", None)
    return "\n".join([_FRONT, *(f"## {words}\n\n```text\n{text}\n```\n" for words, text in helps)])


def _helps(command: Any, name: str, above: Any) -> Iterator[tuple[str, str]]:
    """Each command's words and its help, a group before what is below it."""
    context = command.context_class(command, info_name=name, parent=above, terminal_width=_WIDTH)
    yield context.command_path, "\n".join(line.rstrip() for line in command.get_help(context).splitlines())
    for below in getattr(command, "commands", {}):
        yield from _helps(command.commands[below], below, context)


if __name__ == "__main__":
    sys.stdout.write(manual())
