"""How long ten years of minutes take through one judge, and what boards, box cores and the wall's skin have in it.

python tests/bench/lagging_speed.py

A reading of temperature and humidity a minute in one room (10.5 million in all), boxes stacked on the floor, planks on
the wall from the fourth day on, and a sensor outdoors (5.3 million more), by which the wall's skin and its mould index
are estimated. The yardstick is one `numpy.exp` over the arrays that are judged, where AVX-512 is at hand about one
nanosecond a value, hardly more than it takes to read and write them once. What lags (moist air, the boards' balance,
lag modes, surface, mould, days) has no switch, so it is called by itself on the time lines that the fold has in hand.
"""

from __future__ import annotations

import itertools
import statistics
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "rules"))

import numpy as np
import yard
from numpy.typing import NDArray
from rooms import T0, frame

from monitor.basis.times import DAY, MINUTE
from monitor.basis.values import LIVE, Quantity, Series, empty_series
from monitor.rules.board.hours import hours_of
from monitor.rules.board.lagging import Channels, Lagging, days_of, warm_boxes
from monitor.rules.fold import lot_key
from monitor.rules.frame import Frame, Stack
from monitor.rules.judge import judge
from monitor.rules.replay import BLOCK, heard
from monitor.rules.stays import Stay
from monitor.rules.timeline import IN, Timeline, sides, spans_of, states, timeline

TEN_YEARS = 3653  # [days]
PARTS = ("hour means", "box cores", "boards, skin and days")
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
    """Processor time of each of PARTS over the whole record, block by block as it is folded."""
    lagging, spent = Lagging(), [0.0] * len(PARTS)
    lots = {lot_key(lot): lot for lot in fr.deliveries}
    for window in itertools.pairwise([*range(T0, as_of, BLOCK), as_of]):
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


def rows(days: int = TEN_YEARS) -> Iterator[yard.Row]:
    """All that lags, and the whole of two judges; by processor time."""
    readings = Minutes(days, 5)
    as_of = int(readings.t[-1]) + MINUTE
    arrays = [value / 100.0 for value in readings.value.values()]
    into, indoors, outdoors = np.empty_like(arrays[0]), job(False), job(True)
    starts = np.arange(0, len(into), 60)
    spent: list[list[float]] = []
    two, three, sums, room, both, _ = yard.medians(
        lambda: [np.exp(array, out=into) for array in arrays[:2]],
        lambda: [np.exp(array, out=into) for array in arrays],
        lambda: [np.add.reduceat(array, starts) for array in arrays],
        lambda: judge(indoors, as_of, readings),
        lambda: judge(outdoors, as_of, readings),
        lambda: spent.append(parts(outdoors, readings, as_of)),
    )
    each = [statistics.median(times) for times in zip(*spent, strict=True)]
    lags = statistics.median(map(sum, spent))
    said = ", ".join(f"{name} {took:.3f} s" for name, took in zip(PARTS, each, strict=True))
    said += f"; one exp {three:.4f} s, over the room's two alone {two:.4f} s; one sum by the hour {sums / three:.2g} x"
    yield yard.Row(
        "all that lags, ten years of minutes", "one NumPy exp over the three arrays", lags / three, 10, said=said
    )
    yield yard.Row(
        "judging ten years of minutes", "one NumPy exp over the two arrays", room / two, 300, said=f"{room:.2f} s"
    )
    yield yard.Row(
        "the same with a sensor outdoors",
        "one NumPy exp over the three arrays",
        both / three,
        300,
        said=f"{both:.2f} s",
    )


if __name__ == "__main__":
    sys.exit(yard.main(__doc__, rows))
