"""Change every byte of a bundle, one at a time, and see whether the check finds it. Run it by hand:

    python tests/seal/every_byte.py          every kind of change at every byte of a tiny bundle (a quarter of an hour;
                                             in the two pages of prose at every sixteenth)
    python tests/seal/every_byte.py 10000    so many random changes of a larger one

The tests run a sample of both.
"""

from __future__ import annotations

import os
import random
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from record_scene import HALL, MONDAY, begun, contents_of, day_text, readings_of_day, whole_bundle

from monitor.basis.times import DAY, HOUR
from monitor.seal import bundle
from monitor.seal.verify import verify

KINDS = ("change", "insert", "delete", "swap")


def tiny_bundle(root: Path) -> None:
    """One day of one sensor, two readings of each quantity; documents of a few bytes."""
    made = begun()
    made.seal(HALL, MONDAY, readings_of_day(HALL, MONDAY, 12 * HOUR))
    made.head(MONDAY + DAY, day_text(MONDAY))
    bundle.write(root, contents_of(made, unsealed=[]), made.key)


def changed(data: bytes, kind: str, place: int, by: int) -> bytes:
    """`data` with one byte changed, inserted, deleted, or swapped with the next one."""
    if kind == "change":
        return data[:place] + bytes([(data[place] + by) % 256]) + data[place + 1 :]
    if kind == "insert":
        return data[:place] + bytes([by]) + data[place:]
    if kind == "delete":
        return data[:place] + data[place + 1 :]
    return data[:place] + data[place + 1 : place + 2] + data[place : place + 1] + data[place + 2 :]


def files(root: Path) -> list[Path]:
    return sorted(path for path in root.rglob("*") if path.is_file())


def is_found(root: Path, path: Path, data: bytes) -> bool:
    """Whether the check finds that `path` holds `data`; puts it back as it was."""
    before = path.read_bytes()
    if data == before:
        return True
    path.write_bytes(data)
    try:
        return not verify(root).whole
    finally:
        path.write_bytes(before)


def every(root: Path, chance: random.Random) -> Iterator[tuple[Path, bytes]]:
    for path in files(root):
        data = path.read_bytes()
        for place in range(0, len(data) + 1, 16 if path.suffix == ".md" else 1):
            for kind in KINDS if place < len(data) else ("insert",):
                yield path, changed(data, kind, place, chance.randrange(1, 256))


def some(root: Path, chance: random.Random, count: int) -> Iterator[tuple[Path, bytes]]:
    """So many changes, each file and kind as often as any other."""
    paths = files(root)
    for number in range(count):
        path = paths[number % len(paths)]
        data = path.read_bytes()
        kind = KINDS[number // len(paths) % len(KINDS)] if data else "insert"
        yield path, changed(data, kind, chance.randrange(len(data) or 1), chance.randrange(1, 256))


def main() -> None:
    chance = random.Random(20260105)
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder, "bundle")
        if len(sys.argv) > 1:
            whole_bundle(root)
            changes = some(root, chance, int(sys.argv[1]))
        else:
            tiny_bundle(root)
            changes = every(root, chance)
        assert verify(root).whole
        count, missed = 0, 0
        for path, data in changes:
            count += 1
            if not is_found(root, path, data):
                missed += 1
                sys.stdout.write(f"NOT FOUND {path.relative_to(root)}{os.linesep}")
        sys.stdout.write(f"{count} changes, {missed} not found{os.linesep}")
    sys.exit(1 if missed else 0)


if __name__ == "__main__":
    main()
