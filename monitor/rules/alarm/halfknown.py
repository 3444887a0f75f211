"""Where a room was out of band by one quantity while nothing was known of the other: out, and yet not known time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from monitor.basis.times import DAY
from monitor.basis.values import AIR, Quantity
from monitor.rules.assessment import Gap
from monitor.rules.board.estimates import Days
from monitor.rules.channel import FAR, Channel
from monitor.rules.frame import Frame
from monitor.rules.timeline import OUT, sides, spans_of, states, stretches, timeline

Interval = tuple[int, int]


def half_known(
    frame: Frame, channels: Mapping[tuple[str, Quantity], Channel], days: Days, gaps: Sequence[Gap], window: Interval
) -> tuple[Interval, ...]:
    """The intervals of `window` that are out of band without being known, in order. [ms]

    `channels` as judged, over the window, which lies in the judged span; `days` and `gaps` of the whole of that. Most
    records have none: a day's own sums show whether it has any, and only such days are laid out.
    """
    here = [(max(first, window[0]), min(last, window[1])) for first, last in _suspects(days, gaps)]
    return tuple(one for part in here if part[0] < part[1] for one in _laid_out(frame, channels, part))


def _suspects(days: Days, gaps: Sequence[Gap]) -> list[Interval]:
    """Adjoining days of which less is known than the gaps leave. [ms]"""
    start = days["day"].astype(np.int64) * DAY
    edges = np.array([(gap.start, gap.end) for gap in gaps], np.int64).reshape(-1, 2)
    total = np.concatenate(([0], np.cumsum(edges[:, 1] - edges[:, 0])))

    def before(at: np.ndarray) -> np.ndarray:
        k = np.searchsorted(edges[:, 0], at, "right")
        over = np.where(k > 0, np.maximum(edges[np.maximum(k, 1) - 1, 1] - at, 0), 0) if len(edges) else 0
        return total[k] - over

    lacking = days["elapsed"] - (before(start + DAY) - before(start)) > days["known"]
    return [(int(start[a]), int(start[b - 1]) + DAY) for a, b in stretches(lacking)]


def _laid_out(frame: Frame, channels: Mapping[tuple[str, Quantity], Channel], window: Interval) -> list[Interval]:
    far = int(FAR)
    start, close = frame.start or far, frame.close or far
    spans = [
        *spans_of(frame, frame.job.boxes_place, window, (0, min(start, close))),
        *spans_of(frame, frame.job.wall_place, window, (start, close)),
    ]
    line = timeline(spans, channels, window, [at for at in (frame.start, frame.finish) if at is not None])
    life = line.edges[:-1] >= (far if frame.finish is None else frame.finish)
    judged = {}
    for quantity in AIR:
        (low, high), (life_low, life_high) = (frame.limits(quantity, life=late) for late in (False, True))
        judged[quantity] = sides(line.voices[quantity], np.where(life, life_low, low), np.where(life, life_high, high))
    known = np.all([judged[quantity].known for quantity in AIR], axis=0)
    half = (states(judged) == OUT) & ~known
    return [(int(line.edges[a]), int(line.edges[b])) for a, b in stretches(half)]
