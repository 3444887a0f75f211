"""What takes bytes from outside, given some thousand of them changed by lot; tests/faults/fuzz.py goes on for hours."""

import random
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "seal"))

from fuzz_targets import SEEDS, TARGETS, harmless, mutated

COUNTS = {
    "form": 60,
    "bundle": 40,
    "command": 120,
    "settings": 250,
    "profile": 250,
    "job-file": 400,
    "logger-file": 500,
}


@pytest.mark.parametrize("name", TARGETS)
def test_what_comes_from_outside_ends_well_or_in_an_error_of_ours(name, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    one, draw = TARGETS[name](tmp_path), random.Random(7)
    for data in SEEDS[name]:
        harmless(one, data)
    for _ in range(COUNTS.get(name, 3_000)):
        harmless(one, mutated(draw.choice(SEEDS[name]), draw, SEEDS[name]))
