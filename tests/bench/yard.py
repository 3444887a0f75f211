"""What the scripts of this folder have in common: runs that alternate, rows of a table, limits, exit status.

A script measures something of ours against a yardstick in the same run: a slow or a busy computer changes both. It has
a function `rows` and ends in `sys.exit(yard.main(__doc__, rows))`; `run.py` puts the rows
of all into RESULTS.md.
"""

from __future__ import annotations

import argparse
import json
import statistics
import time
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass

RUNS = 5


@dataclass(frozen=True, slots=True)
class Row:
    """`figure` of `what`, in `unit` ("x": times `yardstick`), held to `limit`: at most, or `at_least`.

    Without a limit it is only stated. `said` has the figures behind it in words: absolute times, counts, sizes.
    """

    what: str
    yardstick: str
    figure: float
    limit: float | None
    unit: str = "x"
    at_least: bool = False
    said: str = ""

    @property
    def held(self) -> bool:
        """Whether the limit is kept."""
        if self.limit is None:
            return True
        return self.figure >= self.limit if self.at_least else self.figure <= self.limit

    @property
    def bound(self) -> str:
        """The limit in words."""
        side = "at least" if self.at_least else "at most"
        return "stated only" if self.limit is None else f"{side} {self.limit:g} {self.unit}"


def medians(
    *ways: Callable[[], object], runs: int = RUNS, clock: Callable[[], float] = time.process_time
) -> list[float]:
    """What each of `ways` takes, called in turn `runs` times: the median of each. [s]

    By processor time unless `clock` is another: others on the computer then count little.
    """
    spent: list[list[float]] = [[] for _ in ways]
    for _ in range(runs):
        for way, times in zip(ways, spent, strict=True):
            begin = clock()
            way()
            times.append(clock() - begin)
    return [statistics.median(times) for times in spent]


def main(about: str, rows: Callable[[], Iterable[Row]]) -> int:
    """Print the rows, as JSON with `--json`; 0 where every limit is kept, 1 where one is not, 2 usage."""
    parser = argparse.ArgumentParser(description=about.splitlines()[0])
    parser.add_argument("--json", action="store_true", help="a line of JSON for each row")
    as_json = parser.parse_args().json
    held = True
    for row in rows():
        held &= row.held
        print(json.dumps(asdict(row)) if as_json else in_words(row), flush=True)
    return 0 if held else 1


def in_words(row: Row) -> str:
    """One row for a person."""
    verdict = "" if row.held else "  BEYOND THE LIMIT"
    return f"{row.what} / {row.yardstick}: {row.figure:.3g} {row.unit} ({row.bound}){verdict}\n    {row.said}"
