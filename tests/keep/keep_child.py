"""What the tests run in a process of its own: it is killed, runs out of disk or writes beside another.

Arguments: what to do, the store's URL, a number. It begins when a line comes on stdin.
"""

from __future__ import annotations

import resource
import sys
from itertools import count

from monitor.basis.alarm import Alarm, Message, Priority, Standing
from monitor.basis.clock import SystemClock
from monitor.basis.errors import StoreError
from monitor.basis.values import LIVE, SENSORS_CHAIN, Draft, Kind, Quantity, Reading
from monitor.keep.store import Store, open_store
from monitor.seal.chain import link

BATCH = 50


def batch(number: int) -> list[Reading]:
    begin = 1_767_600_000_000 + number * BATCH
    return [Reading("room", Quantity.AIR_HUMIDITY, begin + i, 45.0, "%", begin, LIVE) for i in range(BATCH)]


def keep_for_ever(store: Store, first: int) -> None:
    """Say the number of each batch once it is kept."""
    for number in count(first):
        store.keep_readings(batch(number))
        store.append(SENSORS_CHAIN, [Draft(Kind.NOTE, number, "child", {"batch": number})])
        print(number, flush=True)


def alarm_for_ever(store: Store, first: int) -> None:
    """Say the number of each alarm once it is recorded with its entry and its message."""
    for number in count(first):
        one = Alarm(str(number), "dry", SENSORS_CHAIN, "", 0, number, Standing.UNACKNOWLEDGED, Priority.LOW)
        told = Message(str(number), "ada", "alarm", "dry", "too dry", {}, number, 0, None, (one.id,))
        store.record_alarms([(SENSORS_CHAIN, Draft(Kind.ALARM, number, "child"))], [one], [told])
        print(number, flush=True)


def deliver(store: Store, now: int) -> None:
    """Tell what is due by saying its id, and note that once the other end has taken it."""
    while due := store.outbox_due(now, 1):
        print(due[0].message.id, flush=True)
        sys.stdin.readline()
        store.outbox_sent(due[0].message.id, now)


def append(store: Store, times: int) -> None:
    for number in range(times):
        store.append(SENSORS_CHAIN, [Draft(Kind.NOTE, number, "child"), Draft(Kind.NOTE, number, "child")])


def fill_the_disk(store: Store, room: int) -> None:
    """No file may grow past `room` bytes: fail, then go on when that is lifted."""
    resource.setrlimit(resource.RLIMIT_FSIZE, (room, resource.RLIM_INFINITY))
    kept = 0
    try:
        for number in count():
            kept += store.keep_readings(batch(number)).new
    except StoreError as error:
        print(error)
    resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    kept += store.keep_readings(batch(1_000_000)).new
    print(kept == len(store.series("room", Quantity.AIR_HUMIDITY)))


if __name__ == "__main__":
    tasks = {"keep": keep_for_ever, "append": append, "fill": fill_the_disk, "alarm": alarm_for_ever}
    task = {**tasks, "deliver": deliver}[sys.argv[1]]
    sys.stdin.readline()
    with open_store(sys.argv[2], clock=SystemClock(), link=link) as opened:
        task(opened, int(sys.argv[3]))
