"""Gives bytes to everything that takes bytes from outside, led by the branches that they reach, and counts them.

    pip install atheris        # Python 3.11 to 3.13 on Linux
    python tests/faults/fuzz.py --runs 100000
    python tests/faults/fuzz.py --target payload --runs 1000000

Each target runs in a process of its own with at most 1 GiB of memory, no input takes more than 20 s; an input that
brings it down is written to the folder of --keep. Exit status: 0 nothing found, 1 something, 2 usage.
"""

from __future__ import annotations

import argparse
import os
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

_HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(_HERE.parent), str(_HERE.parent / "seal"), str(_HERE)]
_DONE = re.compile(r"^Done (\d+) (?:runs )?in", re.MULTILINE)


def fuzz(name: str, folder: Path, runs: int, seed: int, keep: Path) -> None:
    """Run one target in this process, which ends with it."""
    import atheris

    with atheris.instrument_imports(include=["monitor", "cli"]):
        from fuzz_targets import SEEDS, TARGETS, harmless

    corpus = folder / "corpus"
    corpus.mkdir()
    for number, data in enumerate(SEEDS[name]):
        (corpus / f"seed-{number}").write_bytes(data)
    one = TARGETS[name](folder)
    options = [f"-runs={runs}", f"-seed={seed}", "-max_len=8192", "-timeout=20", "-rss_limit_mb=1024", "-verbosity=0"]
    options += ["-print_final_stats=1", f"-artifact_prefix={keep.resolve()}/{name}-"]
    atheris.Setup([sys.argv[0], *options, str(corpus)], lambda data: harmless(one, data))
    atheris.Fuzz()


def row(name: str, asked: argparse.Namespace) -> tuple[str, int, float, str]:
    """One target in a process of its own: its name, how many inputs it took, in what time [s], how it ended."""
    command = [sys.executable, __file__, "--inside", name, "--runs", str(asked.runs), "--seed", str(asked.seed)]
    began = time.monotonic()
    run = subprocess.run([*command, "--keep", str(asked.keep)], capture_output=True, text=True, check=False)
    found = re.search(r"stat::number_of_executed_units:\s*(\d+)", run.stderr) or _DONE.search(run.stderr)
    if run.returncode:
        print(run.stderr[-4000:], file=sys.stderr)
    return name, int(found[1]) if found else 0, time.monotonic() - began, "FAULT" if run.returncode else "nothing found"


def main() -> int:
    from fuzz_targets import TARGETS

    parser = argparse.ArgumentParser(description="Give bytes to everything that takes bytes from outside.")
    parser.add_argument("--target", nargs="+", choices=list(TARGETS), default=list(TARGETS), help="all by default")
    parser.add_argument("--runs", type=int, default=100_000, help="inputs of each target")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, default=Path(tempfile.gettempdir()), help="for inputs that are faults")
    parser.add_argument("--inside", choices=list(TARGETS), help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.inside:
        with tempfile.TemporaryDirectory() as folder:
            fuzz(asked.inside, Path(folder), asked.runs, asked.seed, asked.keep.resolve())
        return 0
    rows = []
    for name in asked.target:
        rows.append(row(name, asked))
        print("{:12} {:>9,} inputs {:>7.0f} s  {}".format(*rows[-1]), flush=True)
    print(f"{'in all':12} {sum(count for _, count, _, _ in rows):>9,} inputs")
    return 1 if any(how == "FAULT" for *_, how in rows) else 0


if __name__ == "__main__":
    os.environ.setdefault("PYTHONHASHSEED", "0")
    sys.exit(main())
