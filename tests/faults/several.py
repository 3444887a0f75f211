"""Several daemons over one broker and one PostgreSQL, killed at random again and again; the long form of the test.

    python tests/faults/several.py [--rounds 10] [--kills 40]

Each round is a scene of its own, with another seed (see several_scene). Exit status: 0 where nothing was lost, doubled
or judged otherwise than by one daemon, 1 where something was, 2 usage.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from postgresql import server
from several_scene import play


def main() -> int:
    parser = argparse.ArgumentParser(description="Several daemons, killed at random.")
    parser.add_argument("--rounds", type=int, default=10)
    parser.add_argument("--kills", type=int, default=40, help="in each round")
    asked = parser.parse_args()
    bad = 0
    for seed in range(1, asked.rounds + 1):
        with server() as postgresql, tempfile.TemporaryDirectory() as folder:
            found = play(Path(folder), postgresql, lots=asked.kills, seed=seed)
        print(f"round {seed}: {asked.kills} kills: {'; '.join(found) or 'nothing lost, nothing doubled'}", flush=True)
        bad += bool(found)
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
