"""How the sensors that should be heard are, and how the program itself fares: what the alarm asks beside the rooms."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence

import numpy as np

from monitor.basis.times import DAY
from monitor.basis.units import to_base
from monitor.basis.values import AIR, Quantity
from monitor.config.shares import narrowed
from monitor.intake.topics import compile_topic, filters_of_stream
from monitor.keep.rows import Doing, Scheduled
from monitor.rules.alarm.look import Look
from monitor.rules.alarm.signals_house import Failure, House, Link, Vitals
from monitor.rules.channel import Channel
from monitor.rules.frame import Frame, Sensor
from monitor.rules.instrument import MAKER_ACCEPTED, in_force
from monitor.rules.replay import heard
from monitor.rules.stays import Role, Stay
from monitor.watch.desk import Desk
from monitor.watch.disk import room, store_file
from monitor.watch.evidence.silences import away
from monitor.watch.sensing.sensors import file_stream
from monitor.watch.service.awake import living
from monitor.watch.service.lately import Lately
from monitor.watch.service.pulse import named

# The works whose failure has a name of its own; a wall that can't be judged is told by itself.
SEAL, BACKUP, JUDGE, LOOK = "seal", "backup", "judge", "look"

_HEARS: Mapping[Role, tuple[Quantity, ...]] = {
    "air": AIR,
    "box": (Quantity.BOX_TEMPERATURE, *AIR),
    "surface": (Quantity.SURFACE_TEMPERATURE, *AIR),
}


# --- sensors ---------------------------------------------------------------------------------------


def vitals_of(
    desk: Desk, looks: Sequence[Look], stuck: Mapping[str, int], now: int, lately: Lately | None = None
) -> list[Vitals]:
    """Every sensor that stands at a place of an open job and is heard over a broker, as it is now.

    `stuck`: the sensors that stand still, and since when (see `stuck_since`); `lately` knows what they said. [ms]
    """
    lately = Lately(desk.store) if lately is None else lately
    sensors = {name: sensor for look in looks for name, sensor in look.frame.sensors.items()}  # with their checks
    jobs: dict[str, list[str]] = {}
    for look in looks:
        for place in _places(look):
            jobs.setdefault(place, []).append(look.found.job)
    stays = [stay for stay in desk.book.stays() if _is_heard(stay, sensors, jobs, now)]
    beside = Counter((stay.place, stay.role) for stay in stays)
    return [
        _vitals(
            desk, lately, sensors[stay.sensor], stay, jobs[stay.place], stuck, now, beside[stay.place, stay.role] == 1
        )
        for stay in stays
    ]


def _is_heard(stay: Stay, sensors: Mapping[str, Sensor], jobs: Mapping[str, object], now: int) -> bool:
    """Whether it stands at a place of an open job now, and speaks over a broker."""
    stands = stay.covers(now) and stay.place in jobs
    return stands and stay.sensor in sensors and sensors[stay.sensor].stream != file_stream(stay.sensor)


def _places(look: Look) -> set[str]:
    outdoors = look.frame.job.outdoor_place
    return {*look.frame.places, *(() if outdoors is None else (outdoors,))}


def _vitals(
    desk: Desk,
    lately: Lately,
    sensor: Sensor,
    stay: Stay,
    jobs: Sequence[str],
    stuck: Mapping[str, int],
    now: int,
    alone: bool,
) -> Vitals:
    return Vitals(
        sensor=sensor.name,
        stream=sensor.stream,
        place=stay.place,
        placed=stay.start,
        hold=sensor.hold,
        jobs=tuple(sorted(jobs)),
        broker=_broker_of(desk, sensor.stream),
        heard=_last_heard(lately, sensor, stay),
        alone=alone,
        flat_since=stuck.get(sensor.name),
        battery=_battery(lately, sensor.stream, now),
        check_until=_check_until(sensor, now),
    )


def _broker_of(desk: Desk, stream: str) -> str:
    """The link that a sensor is heard over, by its address: its broker, and its share where that is heard by itself."""
    brokers = {broker.name: named(broker) for broker in desk.settings.brokers}
    hears = (one.broker for one in desk.settings.sources if compile_topic(one.topic).match(stream) is not None)
    broker = brokers.get(next(hears, desk.settings.broker.name), "")
    filters = filters_of_stream(desk.settings.sources, stream) if desk.settings.shares else []
    shares = (share.name for share in desk.settings.shares if narrowed(share.topics, filters))
    return _way(broker, next(shares, None))


def _last_heard(lately: Lately, sensor: Sensor, stay: Stay) -> int | None:
    """When the channel that has been silent longest spoke last, of those that spoke here at all. [ms]"""
    bounds = [lately.bounds(sensor.stream, quantity) for quantity in _HEARS[stay.role]]
    return min((one[1] for one in bounds if one is not None and one[1] >= stay.start), default=None)


def _battery(lately: Lately, stream: str, now: int) -> float | None:
    """The lowest that it said of its battery in the last day. [%]"""
    if lately.bounds(stream, Quantity.BATTERY) is None:
        return None
    series = lately.series(stream, Quantity.BATTERY, now - DAY, now + 1)
    said = [to_base(float(v), series.units[u]) for v, u in zip(series.value, series.unit, strict=True)]
    return min(said, default=None)


def _check_until(sensor: Sensor, now: int) -> int:
    """When the first of what backs it runs out, or ran out: its checks, else what its maker stated. [ms]"""
    ends = [_backed_until(sensor, quantity, now) for quantity in AIR if quantity in sensor.uncertainty]
    return min(ends, default=sensor.since + MAKER_ACCEPTED)


def _backed_until(sensor: Sensor, quantity: Quantity, now: int) -> int:
    check = in_force(sensor.checks, quantity, now)
    if check is not None:
        return check.until
    ran_out = [one.until for one in sensor.checks if one.quantity is quantity and one.until <= now]
    return max(ran_out, default=sensor.since + MAKER_ACCEPTED)


def stuck_since(
    desk: Desk, frame: Frame, now: int, lately: Mapping[tuple[str, Quantity], Channel] | None = None
) -> dict[str, int]:
    """The sensors of a job whose newest readings stand still, and since when within the last two days. [ms]

    Where every one of them moved, as `lately` heard it in the last day, no more is read.
    """
    if lately and all(len(channel.t) and not channel.flat[-1] for channel in lately.values()):
        return {}
    found = {}
    for (name, quantity), channel in heard(frame, now, desk.store, now - 2 * DAY, now).items():
        if quantity in AIR and len(channel.t) and channel.flat[-1]:
            moved = np.flatnonzero(~channel.flat)
            found[name] = int(channel.t[moved[-1] + 1 if len(moved) else 0])
    return found


# --- the house -------------------------------------------------------------------------------------


def house_of(desk: Desk, works: Sequence[Scheduled], now: int) -> House:
    """The links, the works on schedule, the disk, and when nobody listened. [ms]"""
    return House(
        links=tuple(_links(desk, now)),
        seals=tuple(_failed(works, lambda name: name == SEAL)),
        backups=tuple(_failed(works, lambda name: name == BACKUP)),
        works=tuple(_failed(works, lambda name: name not in (SEAL, BACKUP, JUDGE, LOOK))),
        free=_free(desk),
        away=away(desk, [share.topics for share in desk.settings.shares]),
    )


def _links(desk: Desk, now: int) -> Iterator[Link]:
    """As the daemons say that they are; nothing while there is none."""
    for one in living(desk, now):
        for broker, link in zip(desk.settings.brokers, one.state.get("links", ()), strict=False):
            since, up = link.get("since") or one.started, bool(link["connected"])
            name = _way(link.get("named", named(broker)), None if one.part is None else one.part.share)
            yield Link(name, None if up else since, since if up else None, link["last_error"])


def _way(broker: str, share: str | None) -> str:
    """A link by its broker's address; that of a share by both."""
    return broker if share is None else f"{broker}, share {share}"


def _failed(works: Sequence[Scheduled], which: Callable[[str], bool]) -> Iterator[Failure]:
    for one in works:
        if one.state is Doing.FAILED and which(one.name):
            yield Failure(one.name, one.failed or 0, one.error or "")


def _free(desk: Desk) -> int | None:
    """What is free of the disk that the record lies on; None where a server keeps it. [bytes]"""
    return None if store_file(desk.settings) is None else room(desk.settings)[1]
