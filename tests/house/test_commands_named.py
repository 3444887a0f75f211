"""A command that a sentence names is one that there is."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from typer.core import TyperGroup

from cli.main import tree

TOP = Path(__file__).resolve().parents[2]
NAMED = re.compile(r"(?<![\w./-])wallclime ([a-z]+)(?: ([a-z]+))?")
ROOT = tree().commands
SAID = ("is", "knows", "was", "has", "had")  # after the name of the program itself: "wallclime was off"


def texts(path: Path) -> Iterator[str]:
    """Every string literal of a module."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value


def unknown(text: str) -> list[str]:
    """Commands that a text names and the tree does not have; a placeholder in capitals is no word of a command."""
    found = []
    for word, second in NAMED.findall(text):
        command = ROOT.get(word)
        if command is None:
            found += [] if word in SAID else [word]
        elif isinstance(command, TyperGroup) and second and second not in command.commands:
            found.append(f"{word} {second}")
    return found


@pytest.mark.parametrize("room", ["monitor", "cli"])
def test_every_command_that_is_named_is_one(room: str):
    named = {str(path.relative_to(TOP)): list(texts(path)) for path in sorted((TOP / room).rglob("*.py"))}
    assert {path: bad for path, said in named.items() if (bad := [w for text in said for w in unknown(text)])} == {}


def test_a_command_that_is_none_is_found():
    assert unknown("Walk: wallclime log walk. Or wallclime lag, or wallclime log note JOB") == ["log walk", "lag"]
    assert unknown("wallclime status JOB; wallclime job; wallclime was off") == []
