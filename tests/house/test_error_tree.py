"""The error tree: the drawing is the real one, each leaf is raised somewhere and named in a test."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.basis import errors
from monitor.basis.errors import WallclimeError

TOP = Path(__file__).resolve().parents[2]
DRAWN = re.compile(r"^(?P<indent>[│ ]*)(?:[├└]── )?(?P<name>[A-Z]\w+) {2,}(?P<text>\S.*)$", re.MULTILINE)


def drawn_tree() -> dict[str, str | None]:
    """Each error of the drawing and the one above it."""
    above: list[tuple[int, str]] = []
    tree: dict[str, str | None] = {}
    for found in DRAWN.finditer(errors.__doc__ or ""):
        depth = found.start("name") - found.start()
        above = [(other, name) for other, name in above if other < depth]
        tree[found["name"]] = above[-1][1] if above else None
        above.append((depth, found["name"]))
    return tree


def real_tree(kind: type[WallclimeError] = WallclimeError, above: str | None = None) -> dict[str, str | None]:
    """Each error class of the nouns and the one above it."""
    tree = {kind.__name__: above}
    for below in kind.__subclasses__():
        if below.__module__ == errors.__name__:
            tree |= real_tree(below, kind.__name__)
    return tree


LEAVES = sorted(real_tree().keys() - set(real_tree().values()))


def sources(*rooms: str) -> Iterator[Path]:
    for room in rooms:
        yield from (TOP / room).rglob("*.py")


def test_the_drawn_tree_is_the_real_one():
    assert drawn_tree() == real_tree()


def test_the_drawn_exit_codes_are_the_real_ones():
    drawn = {
        found["name"]: int(found["text"][5]) for found in DRAWN.finditer(errors.__doc__) if "exit" in found["text"]
    }
    assert drawn == {"WallclimeError": 2, "OutOfReachError": 3}
    for name in real_tree():
        below = issubclass(getattr(errors, name), errors.OutOfReachError)
        assert getattr(errors, name).exit_code == drawn["OutOfReachError" if below else "WallclimeError"]


def test_no_room_grows_an_error_of_its_own_for_people():
    for path in sources("monitor", "cli"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef) and path.name != "errors.py":
                bases = {ast.unparse(base).rpartition(".")[2] for base in node.bases}
                assert not bases & real_tree().keys(), f"{path}: {node.name}"


def made_in_the_program() -> set[str]:
    """The names that are called, or whose `of` is called, in the program outside the error tree itself."""
    called = set()
    for path in sources("monitor", "cli"):
        if path.name != "errors.py":
            tree = ast.parse(path.read_text(encoding="utf-8"))
            called |= {ast.unparse(node.func) for node in ast.walk(tree) if isinstance(node, ast.Call)}
    return {name.removesuffix(".of").rpartition(".")[2] for name in called}


@pytest.mark.parametrize("leaf", LEAVES)
def test_every_leaf_is_raised_somewhere(leaf):
    assert leaf in made_in_the_program()


@pytest.mark.parametrize("leaf", LEAVES)
def test_every_leaf_is_named_in_a_test(leaf):
    tests = [path for path in sources("tests") if path != Path(__file__).resolve()]
    assert any(re.search(rf"\b{leaf}\b", path.read_text(encoding="utf-8")) for path in tests)
