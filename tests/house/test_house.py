"""The repository itself: what stands at its top, how its rooms open, how long its pieces are."""

import ast
import fnmatch
import hashlib
import inspect
import re
import subprocess
import sys
import unicodedata
from collections.abc import Iterator
from pathlib import Path

import pytest

TOP = Path(__file__).resolve().parents[2]
CARD = {"README.md", "DEVELOPERS.md", "pyproject.toml", "monitor", "cli", "tests", "fixtures", "deploy"}
ROOMS = sorted(path.parent.name for path in (TOP / "monitor").glob("*/__init__.py"))
TEXTS = {".py", ".md", ".toml", ".sh", ".yml", ".yaml", ".service", ".conf", ".html", ".css", ".jinja", ".j2", ".txt"}
HEAVY = ["pandas", "plotly", "sqlalchemy", "alembic", "paho", "apscheduler", "jinja2", "typer", "rich", "platformdirs"]
Function = ast.FunctionDef | ast.AsyncFunctionDef


def program() -> list[Path]:
    return sorted(path for room in ("monitor", "cli") for path in (TOP / room).rglob("*.py"))


def functions(path: Path) -> Iterator[Function]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, Function):
            yield node


def where(path: Path, node: Function) -> str:
    return f"{path.relative_to(TOP)}:{node.lineno} {node.name}"


# --- the top level and the rooms --------------------------------------------------------------------------------------


def test_the_top_level_is_the_owners_card_and_nothing_more():
    ignored = [line.rstrip("/") for line in (TOP / ".gitignore").read_text(encoding="utf-8").split()]
    found = {
        path.name
        for path in TOP.iterdir()
        if not path.name.startswith(".") and not any(fnmatch.fnmatch(path.name, pattern) for pattern in ignored)
    }
    assert found <= CARD


def test_the_rooms_are_those_of_the_plan():
    assert ROOMS == ["basis", "climate", "config", "intake", "keep", "rules", "seal", "tell", "watch"]


@pytest.mark.parametrize("room", ROOMS)
def test_a_rooms_front_says_two_things_and_imports_nothing(room):
    front = ast.parse((TOP / "monitor" / room / "__init__.py").read_text(encoding="utf-8"))
    statements = [part for part in (ast.get_docstring(front) or "").split("\n\n") if part.strip()]
    assert len(statements) == 2
    assert all(statement.endswith(".") for statement in statements)
    assert len(front.body) == 1


@pytest.mark.parametrize("module", ["monitor.basis.units", "monitor.config.settings", "monitor.config.profile"])
def test_what_every_command_imports_is_light(module):
    script = f"import sys, {module}; print([name for name in {HEAVY} if name in sys.modules])"
    run = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, cwd=TOP, check=True)
    assert run.stdout.strip() == "[]"


# --- pieces and their sizes -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", program(), ids=lambda path: str(path.relative_to(TOP)))
def test_a_module_has_at_most_500_lines(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 500


def code_lines(node: Function) -> int:
    """Lines from `def` to the end, without the docstring; blanks and comments count."""
    lines = (node.end_lineno or node.lineno) - node.lineno + 1
    first = node.body[0]
    if ast.get_docstring(node) is not None:
        lines -= (first.end_lineno or first.lineno) - first.lineno + 1
    return lines


def test_functions_are_short():
    lengths = {where(path, node): code_lines(node) for path in program() for node in functions(path)}
    ordered = sorted(lengths.values())
    assert {name: length for name, length in lengths.items() if length > 60} == {}
    assert ordered[len(ordered) // 2] <= 8
    assert ordered[len(ordered) * 9 // 10] <= 30


def documented(docstring: str) -> list[str] | None:
    """The names in the Parameters section of a numpydoc docstring, or None where it has none."""
    section = re.search(r"^Parameters\n-+\n(.*?)(?=^\S[^\n]*\n-{3,}\n|\Z)", inspect.cleandoc(docstring), re.M | re.S)
    if section is None:
        return None
    heads = re.findall(r"^([*\w][*\w, ]*)(?: :.*)?$", section[1], re.M)
    return [name.strip().lstrip("*") for head in heads for name in head.split(",")]


def parameters(node: Function) -> list[str]:
    given = node.args
    every = [*given.posonlyargs, *given.args, *([given.vararg] if given.vararg else []), *given.kwonlyargs]
    names = [arg.arg for arg in [*every, *([given.kwarg] if given.kwarg else [])]]
    return [name for name in names if name not in ("self", "cls")]


def test_documented_parameters_are_those_of_the_signature():
    drifted = {
        where(path, node): (names, parameters(node))
        for path in program()
        for node in functions(path)
        if (names := documented(ast.get_docstring(node) or "")) is not None
        and sorted(names) != sorted(parameters(node))
    }
    assert drifted == {}


def test_the_docstring_check_sees_a_drift():
    text = "Get it.\n\nParameters\n----------\nx, y : float\n    Sides. [m]\n*rest\n    More.\n\nReturns\n-------\nz"
    assert documented(text) == ["x", "y", "rest"]
    assert documented("Get it.") is None
    (node,) = (n for n in ast.walk(ast.parse("def f(self, x, /, y, *rest, z, **more): ...")) if isinstance(n, Function))
    assert parameters(node) == ["x", "y", "rest", "z", "more"]


# --- files ------------------------------------------------------------------------------------------------------------


def test_every_fixture_says_where_it_is_from():
    folder = TOP / "fixtures"
    lines = (folder / "SOURCES.md").read_text(encoding="utf-8").splitlines()
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_dir() or name == "SOURCES.md" or "__pycache__" in name:
            continue
        said = [line for line in lines if line.replace("`", "").startswith(f"| {name} |")]
        assert len(said) == 1, f"fixtures/SOURCES.md has {len(said)} lines of {name}"
        if path.suffix != ".py":
            assert hashlib.sha256(path.read_bytes()).hexdigest() in said[0], f"{name} is not the file of its line"


def test_no_source_of_a_fixture_is_left_over():
    lines = (TOP / "fixtures" / "SOURCES.md").read_text(encoding="utf-8").splitlines()
    names = [line.replace("`", "").split("|")[1].strip() for line in lines if line.startswith("| ")][1:]
    assert [name for name in names if not (TOP / "fixtures" / name).is_file()] == []


def texts() -> Iterator[Path]:
    for name in CARD:
        top = TOP / name
        yield from (
            path
            for path in ([top] if top.is_file() else top.rglob("*"))
            if path.suffix in TEXTS and path.is_file() and not any(part.startswith(".") for part in path.parts)
        )


def test_no_text_hides_a_control_character():
    # a zero-width or direction-changing character shows a reader another text than the program reads
    hidden = {
        f"{path.relative_to(TOP)}: U+{ord(char):04X}"
        for path in texts()
        for char in set(path.read_text(encoding="utf-8"))
        if char not in "\n\t" and unicodedata.category(char) in ("Cc", "Cf", "Cs", "Co")
    }
    assert hidden == set()
