"""How many sensors may appear: a topic with a counter or a time in it would fill the store with sensors."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterable, Sequence

from monitor.basis.errors import PayloadError
from monitor.basis.values import Reading
from monitor.intake.refusal import Reason, refusal

NEW_A_MINUTE = 300  # figures ours, no published source
SENSORS = 10_000
LONGEST = 512  # of a topic, and of an address: an index of PostgreSQL holds some 2,700 [bytes]

_MINUTE = 60.0  # [s]


class Admission:
    """The sensors that are known, `known` from the start, and the new ones that may come. Shared by all listeners."""

    def __init__(self, known: Iterable[str] = ()) -> None:
        self._known = set(known)
        self._lock = threading.Lock()
        self._minute, self._new = -_MINUTE, 0

    def knows(self, stream: str) -> bool:
        """Whether the sensor was let in before."""
        return stream in self._known

    def check(self, topic: str, readings: Sequence[Reading]) -> list[str]:
        """Let the sensors of one message in; those that are new. Raises PayloadError.

        It does where there are too many, or an address is too long.
        """
        new = [stream for stream in {reading.stream for reading in readings} if stream not in self._known]
        for stream in new:
            check_length(topic, stream)
            self._admit(topic, stream)
        return new

    def _admit(self, topic: str, stream: str) -> None:
        with self._lock:
            now = time.monotonic()
            if now - self._minute >= _MINUTE:
                self._minute, self._new = now, 0
            if len(self._known) >= SENSORS:
                raise _too_many(topic, f"{SENSORS} sensors are known, and {stream} is another")
            if self._new >= NEW_A_MINUTE:
                raise _too_many(topic, f"{NEW_A_MINUTE} new sensors appeared within a minute, and {stream} is another")
            self._known.add(stream)
            self._new += 1


def check_length(topic: str, text: str) -> None:
    """Raise PayloadError where `text`, the topic itself or the address of a sensor, is too long to be kept."""
    length = len(text.encode())
    if length > LONGEST:
        what = (
            f"{'its topic' if text == topic else 'the address of its sensor'} has {length} bytes, the most is {LONGEST}"
        )
        raise refusal(Reason.TOPIC_TOO_LONG, what, topic, "Publish under a shorter name")


def _too_many(topic: str, what: str) -> PayloadError:
    mend = (
        "Name in the source's topic only levels that stay; a counter or a time in a topic makes a new sensor each time"
    )
    return refusal(Reason.TOO_MANY_TOPICS, what, topic, mend)
