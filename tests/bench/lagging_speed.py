"""How long ten years of minutes take through one judge, boards and box cores with them, beside one NumPy exp.

    python tests/bench/lagging_speed.py

A reading of temperature and humidity a minute in one room (10.5 million in all), boxes stacked on the floor, planks on
the wall from the fourth day on; then the same with a sensor outdoors (5.3 million more), by which the wall's skin and
its mould index are estimated. The yardstick is one `numpy.exp` over the room's two arrays, where AVX-512 is at hand
about one nanosecond a value: a ratio, so that the answer is the same on a slow computer; in processor time, so that
others on it count little. What lags has no switch, so its parts are also called by themselves on the same time lines:
the hour means, the cores, then boards, skin and days. Runs alternate; medians are compared.
Limits: 700 times the yardstick for the judge, 850 with the sensor outdoors, 260 for all that lags.
Exit status: 0 within the limits, 1 beyond one, 2 usage.
"""

from __future__ import annotations

import argparse
import itertools
import resource
import statistics
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "rules"))

import numpy as np
from numpy.typing import NDArray
from rooms import T0, frame

from monitor.basis.times import DAY, MINUTE
from monitor.basis.values import LIVE, Quantity, Series, empty_series
from monitor.rules.fold import lot_key
from monitor.rules.frame import Frame, Stack, Stay
from monitor.rules.hours import hours_of
from monitor.rules.judge import judge
from monitor.rules.lagging import Channels, Lagging, days_of, warm_boxes
from monitor.rules.replay import heard
from monitor.rules.timeline import IN, Timeline, sides, spans_of, states, timeline

EXP, ROOM, OUTDOORS = "one exp over both channels", "one judge", "one judge, outdoors too"
PARTS = ("hour means", "box cores", "boards, skin, days")
LAGS = "all that lags, by itself"
LIMITS = {ROOM: 700.0, OUTDOORS: 850.0, LAGS: 260.0}
AIR = (Quantity.AIR_TEMPERATURE, Quantity.AIR_HUMIDITY)


class Minutes:
    """Readings a minute, as `keep` hands them out, of which nothing is copied."""

    def __init__(self, days: int, seed: int) -> None:
        rng, n = np.random.default_rng(seed), days * 1440
        self.t = T0 + MINUTE * np.arange(n, dtype=np.int64)
        self.code, self.origin = np.zeros(n, np.int16), np.zeros(n, np.int32)
        season, night = (np.sin(np.arange(n) * (2 * np.pi / period)) for period in (365.25 * 1440, 1440))
        self.value = {
            ("a", AIR[0]): 21 + 3 * season + night + rng.normal(0, 0.1, n),
            ("a", AIR[1]): 50 + 12 * season - 3 * night + rng.normal(0, 0.5, n),
            ("out", AIR[0]): 9 + 11 * season + 4 * night + rng.normal(0, 0.1, n),
        }

    def series(self, stream: str, quantity: Quantity, start: int | None = None, end: int | None = None) -> Series:
        """[start, end) of one channel."""
        value = self.value.get((stream, quantity))
        if value is None:
            return empty_series()
        far = int(self.t[-1]) + 1
        part = slice(*np.searchsorted(self.t, (0 if start is None else start, far if end is None else end)).tolist())
        unit = "%" if quantity is AIR[1] else "degC"
        return Series(self.t[part], value[part], self.code[part], self.origin[part], (unit,), (LIVE,))

    def several(
        self, stream: str, quantities: Sequence[Quantity], start: int | None = None, end: int | None = None
    ) -> dict[Quantity, Series]:
        """The readings of some channels in [start, end)."""
        return {quantity: self.series(stream, quantity, start, end) for quantity in quantities}

    def bounds(self, stream: str, quantity: Quantity) -> tuple[int, int] | None:
        """First and last time of a channel."""
        return (int(self.t[0]), int(self.t[-1])) if (stream, quantity) in self.value else None


def job(outdoors: bool) -> Frame:
    """Boxes in the hall, a wall from the fourth day on."""
    stays = [Stay("a", "hall", T0, None), *([Stay("out", "yard", T0, None)] if outdoors else [])]
    stack = Stack(height=0.4, width=0.6)
    return frame(
        *(stay.sensor for stay in stays),
        stays=stays,
        stack=stack,
        outdoors="yard",
        start=3 * 1440,
        finish=4 * 1440,
    )


def seconds(what: Callable[[], object]) -> float:
    """Processor time of a call. [s]"""
    begin = time.process_time()
    what()
    return time.process_time() - begin


Block = tuple[tuple[int, int], Timeline, Channels, tuple[NDArray[np.bool_], NDArray[np.bool_]]]


def block_of(fr: Frame, readings: Minutes, window: tuple[int, int], as_of: int) -> Block:
    """What the fold has in hand of a block when the parts that lag come in."""
    channels = heard(fr, as_of, readings, *window)
    cuts = [*range(window[0], window[1], DAY), *(at for at in (fr.start, fr.finish) if at is not None)]
    line = timeline(spans_of(fr, "hall", window, window), channels, window, cuts)
    judged = {
        q: sides(line.voices[q], *(np.full(len(line.length), limit) for limit in fr.limits(q, life=False))) for q in AIR
    }
    known = np.all([judged[q].known for q in AIR], axis=0)
    return window, line, channels, (known, states(judged) == IN)


def parts(fr: Frame, readings: Minutes, as_of: int) -> list[float]:
    """Processor time of each of PARTS over the whole record, by blocks of a month."""
    lagging, spent = Lagging(), [0.0] * len(PARTS)
    lots = {lot_key(lot): lot for lot in fr.deliveries}
    for window in itertools.pairwise([*range(T0, as_of, 30 * DAY), as_of]):
        window, line, channels, held = block_of(fr, readings, window, as_of)
        begin = time.process_time()
        hours = hours_of(line, fr.start)
        one = time.process_time()
        warm_boxes(fr, lagging, "", lots, hours, channels, window)
        two = time.process_time()
        days_of(fr, lagging, line.edges, held, hours, channels, window)
        three = time.process_time()
        spent = [was + now for was, now in zip(spent, (one - begin, two - one, three - two), strict=True)]
    return spent


def compare(days: int, runs: int) -> dict[str, float]:
    """The ratio of each median to the yardstick's; every run and the medians are printed."""
    readings = Minutes(days, 5)
    as_of = int(readings.t[-1]) + MINUTE
    arrays = [readings.value["a", quantity] / 100.0 for quantity in AIR]
    into = np.empty_like(arrays[0])
    indoors, outdoors = job(False), job(True)
    found: dict[str, list[float]] = {name: [] for name in (EXP, ROOM, OUTDOORS, *PARTS, LAGS)}
    whole = {
        EXP: lambda: [np.exp(array, out=into) for array in arrays],
        ROOM: lambda: judge(indoors, as_of, readings),
        OUTDOORS: lambda: judge(outdoors, as_of, readings),
    }
    for run in range(runs):
        for name in list(whole)[:: 1 if run % 2 else -1]:
            found[name].append(seconds(whole[name]))
        each = parts(outdoors, readings, as_of)
        for name, spent in zip((*PARTS, LAGS), (*each, sum(each)), strict=True):
            found[name].append(spent)
        print(f"run {run + 1}: " + ", ".join(f"{name} {times[-1]:.3f} s" for name, times in found.items()), flush=True)
    middle = {name: statistics.median(times) for name, times in found.items()}
    for name, took in middle.items():
        print(f"median, {name:<28} {took:>7.3f} s {took / middle[EXP]:>7.1f} x")
    return {name: took / middle[EXP] for name, took in middle.items()}


def main() -> int:
    parser = argparse.ArgumentParser(description="Ten years of minutes through one judge, beside one exp.")
    parser.add_argument("--days", type=int, default=3653)
    parser.add_argument("--runs", type=int, default=5)
    asked = parser.parse_args()
    ratios = compare(asked.days, asked.runs)
    print(f"at most {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:,.0f} MB held")
    for name, limit in LIMITS.items():
        print(f"{name}: {ratios[name]:.1f} times the yardstick; the limit is {limit:g}")
    return 0 if all(ratios[name] <= limit for name, limit in LIMITS.items()) else 1


if __name__ == "__main__":
    sys.exit(main())
