"""The time of a reading: its own stamp, checked, or the arrival of a message that is known to be live."""

from __future__ import annotations

from typing import NamedTuple

from monitor.basis.times import EARLIEST, MINUTE, SECOND
from monitor.basis.values import BACK_FILL, LIVE, Origin
from monitor.intake.refusal import Reason, refusal, shown

AHEAD = 120 * SECOND  # a stamp further ahead of the clock is refused [ms]
LIVE_WITHIN = 10 * MINUTE  # a stamp further behind its arrival is back-fill [ms]


class Moment(NamedTuple):
    """What is known of the time at which a message came. Times in UTC ms.

    `arrival` when it was read from the link, `now` the clock when it is judged; `trusted_live` whether the backlog is
    over; `retained` the MQTT flag; `newest` the newest arrival ever kept; `back_fill` the oldest age of a stamp. [ms]
    """

    arrival: int
    now: int
    trusted_live: bool
    retained: bool
    newest: int | None
    back_fill: int


def arrival_of(topic: str, moment: Moment) -> int:
    """The arrival as the time of an unstamped message. Raises PayloadError where it may not be trusted."""
    if moment.retained or not moment.trusted_live:
        why = "the broker had kept it (retained)" if moment.retained else "it may have waited at the broker"
        mend = "Send the time with the reading, and name its place as `time` of its source"
        raise refusal(Reason.TIME_UNKNOWN, f"it carries no time, and {why}", topic, mend)
    if moment.arrival < EARLIEST or (moment.newest is not None and moment.now < moment.newest):
        what = "it carries no time, and the computer's clock is behind the readings already kept"
        raise refusal(Reason.CLOCK_UNSET, what, topic, "Set the computer's clock")
    return moment.arrival


def check_stamp(t: int, stamp: object, topic: str, moment: Moment) -> Origin:
    """The origin of a reading of the time `t`, sent as `stamp`. Raises PayloadError for a time that can't be true."""
    if t < EARLIEST:
        mend = "Set the sensor's clock, or check `time` of its source"
        raise refusal(Reason.TIME_BEFORE_2000, f"its time {shown(stamp)} is before 2000", topic, mend)
    if t > moment.now + AHEAD:
        what = f"its time {shown(stamp)} is more than 120 s ahead of the clock"
        raise refusal(Reason.TIME_AHEAD, what, topic, "Set the sensor's clock, or check `time` of its source")
    if t < moment.now - moment.back_fill:
        what = f"its time {shown(stamp)} is older than readings are taken from the broker"
        raise refusal(Reason.TOO_OLD, what, topic, "Raise back_fill in wallclime.toml, or import the sensor's file")
    return LIVE if t >= moment.arrival - LIVE_WITHIN else BACK_FILL
