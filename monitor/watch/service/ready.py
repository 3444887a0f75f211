"""Whether the daemon lives and is ready to keep what it hears, as sentences of what is not well."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from monitor.basis.errors import StoreError
from monitor.basis.times import SECOND, rfc3339
from monitor.basis.units import format_duration
from monitor.keep.rows import Scheduled
from monitor.watch.desk import Desk
from monitor.watch.disk import room
from monitor.watch.service.deadman import Switch
from monitor.watch.service.pulse import Pulse, named
from monitor.watch.service.works import Looked

LEAST_ROOM = 200 * 2**20  # free on the disk: days of many sensors, and room to make the store anew; ours [bytes]
CLOCK_SLACK = 2 * SECOND  # between two looks at one clock [ms]


@dataclass(frozen=True)
class Told:
    """What the answers are made of: the desk and its pulse, how the scheduled works stand, the last looks at the jobs.

    `switch` is the dead-man's.
    """

    desk: Desk
    pulse: Pulse
    runs: Callable[[], Sequence[Scheduled]]
    looked: Looked
    switch: Switch


def not_ready(desk: Desk, pulse: Pulse) -> Iterator[str]:
    """What keeps the daemon from keeping what it hears.

    Threads that stand still, a store that takes no notes, a broker that has not granted the topics or does not let it
    publish, a clock behind the newest reading, a disk that is nearly full. A sensor that is silent is no reason.
    """
    yield from pulse.still()
    if trouble := pulse.unwritten():
        yield trouble
    for broker, listener in pulse.links:
        status = listener.status
        if not status.subscribed:
            yield status.last_error or f"no connection to {named(broker)} yet"
        elif status.marker_missing:
            yield f"{named(broker)} does not let the daemon publish on its own topic: what has no time is refused"
    try:
        yield from clock_behind(desk.clock.now(), desk.store.newest_arrival())
    except StoreError as exc:
        yield str(exc)
    folder, free = room(desk.settings)
    if free < LEAST_ROOM:
        yield f"{free >> 20} MiB are free in {folder}, fewer than {LEAST_ROOM >> 20}"


def clock_behind(now: int, newest: int | None) -> Iterator[str]:
    """That the clock says a time before the newest thing that is known. [ms]"""
    if newest is not None and newest > now + CLOCK_SLACK:
        behind = format_duration(newest - now)
        yield f"the clock says {rfc3339(now)}, {behind} before the newest thing in the store"
