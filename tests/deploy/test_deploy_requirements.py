"""The list of hash-pinned packages against what the project asks for and what the tests run with."""

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
EXTRAS = ("notify", "metrics", "postgresql", "timestamp")


def plain(name: str) -> str:
    """A package's name as PEP 503 compares it."""
    return re.sub(r"[-_.]+", "-", name).lower()


def pinned(path: str) -> dict[str, str]:
    text = (ROOT / path).read_text(encoding="utf-8")
    return {plain(name): version for name, version in re.findall(r"^([\w.-]+)==([^\s;\\]+)", text, re.MULTILINE)}


def test_every_package_has_its_hashes():
    text = (ROOT / "deploy/requirements.txt").read_text(encoding="utf-8").replace("\\\n", " ")
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    assert len(lines) > 20
    assert all(re.search(r"==\S+ .*--hash=sha256:[0-9a-f]{64}", line) for line in lines)


def test_the_versions_are_those_that_the_tests_run_with():
    listed, tested = pinned("deploy/requirements.txt"), pinned("tests/constraints.txt")
    assert {
        name: (version, tested[name]) for name, version in listed.items() if tested.get(name, version) != version
    } == {}


def test_all_that_the_project_and_its_extras_ask_for_is_listed():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"], *(one for extra in EXTRAS for one in project["optional-dependencies"][extra])]
    names = {plain(re.match(r"[\w.-]+", one)[0]) for one in wanted}
    assert names - pinned("deploy/requirements.txt").keys() == set()
