"""Every command that a README shows is one that there is, with the options that it shows."""

import re
import shlex
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from typer.core import TyperGroup

from cli.main import tree

TOP = Path(__file__).resolve().parents[2]
PAGES = ("README.md", "deploy/README.md")
SHOWN = re.compile(
    r"^ {4,}(?:\S*/)?(wallclime .*)$|`((?:\S*/)?(?:wallclime|job|log|sensor|profile) [^`]*)`", re.MULTILINE
)
ROOT = tree()


def shown(text: str) -> Iterator[list[str]]:
    """The words of each command of a page, as a shell would split them; lines of a code block, and those in a text."""
    for block, inline in SHOWN.findall(text):
        for part in re.split(r"\s[|&;]+\s", re.sub(r"\s>\s*\S+", "", block or inline)):
            words = shlex.split(part, comments=True)
            if inline or words[:1] == ["wallclime"]:
                yield words[1:] if words[0].endswith("wallclime") else words


def options(command: Any) -> dict[str, bool]:
    """Each flag of a command, and whether a value follows it."""
    params = [param for param in command.params if param.param_type_name == "option"]
    flags = {flag: not param.is_flag for param in params for flag in (*param.opts, *param.secondary_opts)}
    return {**flags, "--help": False}


def wrong(words: list[str]) -> str:
    """What of a command there is not; "" where there is all of it."""
    command, given = ROOT, iter(words)
    for word in given:
        flag = word.partition("=")[0]
        if flag.startswith("-"):
            known = options(command)
            if flag not in known:
                return f"{command.name} has no {flag}"
            if known[flag] and "=" not in word:
                next(given, None)
        elif isinstance(command, TyperGroup):
            if word not in command.commands:
                return f"{command.name} has no command {word}"
            command = command.commands[word]
    return ""


@pytest.mark.parametrize("page", PAGES)
def test_every_command_of_a_readme_is_one_with_all_its_options(page: str):
    commands = list(shown((TOP / page).read_text(encoding="utf-8")))
    assert len(commands) >= 5
    assert {shlex.join(words): bad for words in commands if (bad := wrong(words))} == {}


def test_a_command_or_an_option_that_is_none_is_found():
    page = (
        "    wallclime --home /x log event JOB leak TEXT --when now  # no such option\n"
        "    wallclime log walk\n    /opt/bin/wallclime ready JOB && wallclime care\n"
        "So `wallclime profile show laminate-planks > mine.toml`, then `job open --profle mine.toml`.\n"
    )
    assert list(filter(None, map(wrong, shown(page)))) == [
        "event has no --when", "log has no command walk", "open has no --profle",
    ]  # fmt: skip
    assert sum(not wrong(words) for words in shown(page)) == 3
