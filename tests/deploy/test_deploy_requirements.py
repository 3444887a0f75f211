"""The list of hash-pinned packages against what the project asks for and what the tests run with."""

import re
import tomllib
from collections.abc import Iterable
from importlib import metadata
from pathlib import Path

from packaging.requirements import Requirement

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


def asked_for() -> list[Requirement]:
    """What the project and the extras that the list is made for ask for themselves."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = (one for extra in EXTRAS for one in project["optional-dependencies"][extra])
    return [Requirement(one) for one in (*project["dependencies"], *extras)]


def all_of(asked: Iterable[Requirement]) -> dict[str, list[Requirement]]:
    """That, and all that the packages installed here ask for in turn on this computer, by name."""
    found: dict[str, list[Requirement]] = {}
    waiting, seen = list(asked), set()
    while waiting:
        one = waiting.pop()
        found.setdefault(plain(one.name), []).append(one)
        for extra in ({"", *one.extras}) - {extra for name, extra in seen if name == plain(one.name)}:
            seen.add((plain(one.name), extra))
            further = map(Requirement, metadata.requires(one.name) or ())
            waiting += [two for two in further if two.marker is None or two.marker.evaluate({"extra": extra})]
    return found


def test_all_that_is_installed_with_the_project_and_its_extras_is_listed():
    listed, needed = pinned("deploy/requirements.txt"), all_of(asked_for())
    assert len(needed) > 30
    assert needed.keys() - listed.keys() == set()


def test_every_version_is_one_that_all_who_ask_for_it_take():
    listed = pinned("deploy/requirements.txt")
    refused = [
        f"{name} {listed[name]}: {one}"
        for name, asking in all_of(asked_for()).items()
        for one in asking
        if not one.specifier.contains(listed[name], prereleases=True)
    ]
    assert refused == []
