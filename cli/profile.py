"""wallclime profile: what a kind of plank asks for."""

from __future__ import annotations

from pathlib import Path
from shlex import quote
from typing import Annotated

import typer

from cli.common import Json, data, say

app = typer.Typer(no_args_is_help=True, help="Profiles: what a kind of plank asks of the room and the wall.")

Which = Annotated[str, typer.Argument(metavar="NAME|FILE.toml", help="A built-in profile or a file of your own.")]


@app.command("list")
def list_(as_json: Json = False) -> None:
    """The built-in profiles."""
    from monitor.config.profile import builtin_profiles, load_profile

    found = {name: load_profile(name).name for name in builtin_profiles()}
    data(found if as_json else "\n".join(f"{name}  {title}" for name, title in found.items()))


@app.command("show")
def show(which: Which) -> None:
    """The whole of a profile as a file: copy it, change it, open jobs with it."""
    from monitor.config.profile import load_profile

    data(load_profile(which).text)


@app.command("check")
def check(which: Which) -> None:
    """Read a profile and list every fault of it. Exit status 2 when there is one."""
    from monitor.config.profile import load_profile

    found = load_profile(which)
    say(f"no fault: {found.name} ({found.sha256[:12]})")


@app.command("new")
def new(
    path: Annotated[Path, typer.Argument(metavar="FILE.toml", help="The file to write; it is named after it.")],
    other: Annotated[
        str, typer.Option("--from", metavar="NAME|FILE.toml", help="The profile that it begins as.")
    ] = "laminate-planks",
) -> None:
    """Write a commented profile for other planks, to be edited; an existing file is never written over."""
    from monitor.config.profile import write_profile

    write_profile(path, other)
    say(f"wrote {path}: change what the maker of your planks asks for, and its source")
    say(f"then: wallclime profile check {quote(str(path))}")
