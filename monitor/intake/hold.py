"""How long a reading of a sensor speaks, proposed from the intervals at which it was heard."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from monitor.basis.times import HOUR, MINUTE

SHORTEST, LONGEST = 30 * MINUTE, 4 * HOUR  # figures ours, no published source [ms]


def propose_hold(intervals_ms: Sequence[int] | NDArray[np.int64]) -> int:
    """Three times the 95th percentile of the intervals heard, to the next whole minute, from 30 min to 4 h. [ms]

    The percentile is one of the intervals: the shortest that 95 % of them do not exceed.
    """
    if not len(intervals_ms):
        return SHORTEST
    usual = int(np.percentile(intervals_ms, 95, method="inverted_cdf"))
    return min(max(-(-3 * usual // MINUTE) * MINUTE, SHORTEST), LONGEST)
