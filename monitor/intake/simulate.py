"""Messages of sensors in an invented room, each marked as simulated: a pure function of a plan."""

from __future__ import annotations

import json
import random
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from monitor.basis.errors import PayloadError, RecordError, SettingsError
from monitor.basis.times import EARLIEST, HOUR, MINUTE, SECOND, rfc3339
from monitor.basis.units import ZERO_CELSIUS_IN_KELVIN
from monitor.basis.values import AIR, OriginKind, Quantity
from monitor.config.settings import Field, Source, TimeForm
from monitor.intake.happening import Event, Name, happening
from monitor.intake.payload import decode
from monitor.intake.pointer import parse_pointer
from monitor.intake.room import Air, Conditions, Room
from monitor.intake.topics import address, compile_topic

UTC = ZoneInfo("UTC")
LONGEST_SILENCE = HOUR  # of a sensor that speaks when its reading changes [ms]
AHEAD = HOUR  # the clock that is ahead, as after a change to summer time that was not made [ms]

_PLACES = 1  # decimals that a sensor shows
_NOISE = (0.05, 0.3)  # standard deviation from reading to reading [degC, %]
_OFFSET = (0.2, 1.0)  # standard deviation from sensor to sensor [degC, %]
_CHANGE = (0.5, 2.0)  # what a sensor that speaks when its reading changes takes for a change [degC, %]
_DRIFT_PCT_H = 0.25  # [%/h]


class Message(NamedTuple):
    """What is published, and when. [UTC ms]"""

    t_ms: int
    topic: str
    payload: bytes


class Plan(NamedTuple):
    """An invented room and its sensors from `start` up to `end` [UTC ms], without an end where that is None.

    Each sensor speaks every `every` [ms], or when its reading changes, on its topic of `topics`, as `source` reads it.
    The same plan gives the same messages.
    """

    source: Source
    topics: Mapping[str, str]
    start: int
    end: int | None
    every: int = MINUTE
    seed: int = 1
    events: tuple[Event, ...] = ()
    zone: ZoneInfo = UTC
    on_change: bool = False


def messages(plan: Plan) -> Iterator[Message]:
    """The messages in the order of sending; their stamps are earlier in a back-fill, and wrong with a wrong clock."""
    room = Room(plan.start, seed=plan.seed, zone=plan.zone, conditions=lambda after: _conditions(plan.events, after))
    sensors = sorted((_Sensor(name, plan) for name in plan.topics), key=lambda sensor: sensor.phase)
    held: list[tuple[str, bytes]] = []
    for t, sensor in _turns(plan, sensors):
        payload = sensor.says(room.at(t), t)
        if payload is None or happening(plan.events, Name.OUTAGE, t - plan.start):
            continue
        held.append((sensor.topic, payload))
        if not happening(plan.events, Name.BACK_FILL, t - plan.start):
            yield from (Message(t, *said) for said in held)
            held.clear()


def _conditions(events: Sequence[Event], after: int) -> Conditions:
    return Conditions(
        heated=happening(events, Name.HEATING_FAILURE, after) is None,
        moistened=happening(events, Name.DRY, after) is None,
        open=happening(events, Name.DOOR, after) is not None,
    )


def _turns(plan: Plan, sensors: Sequence[_Sensor]) -> Iterator[tuple[int, _Sensor]]:
    """Whose turn it is to look at the air, and when. [UTC ms]"""
    begin = plan.start
    while plan.end is None or begin < plan.end:
        for sensor in sensors:
            t = begin + sensor.phase
            if plan.end is None or t < plan.end:
                yield t, sensor
        begin += plan.every


class _Sensor:
    """A sensor of its own offset, noise and turn, which depend on the seed and its name only."""

    def __init__(self, name: str, plan: Plan) -> None:
        self.name, self.topic, self._plan = name, plan.topics[name], plan
        self._chance = random.Random(f"{plan.seed} {name}")
        self.phase = self._chance.randrange(plan.every)
        self._offset = [self._chance.gauss(0.0, sigma) for sigma in _OFFSET]
        self._shown: Air | None = None
        self._spoken: tuple[int, Air] | None = None

    def says(self, air: Air, t: int) -> bytes | None:
        """Its payload at `t`, or None where it has nothing to say."""
        after = t - self._plan.start
        measured = self._measured(air, after)
        if self._shown is None or not self._befalls(Name.STUCK, after):
            self._shown = measured
        if self._plan.on_change and self._spoken is not None and not self._is_news(t, self._shown):
            return None
        self._spoken = t, self._shown
        return encode(self._plan.source, self._shown, self._stamp(t, after))

    def _measured(self, air: Air, after: int) -> Air:
        drift = sum(
            _DRIFT_PCT_H * max(min(after, event.end) - event.at, 0) / HOUR
            for event in self._plan.events
            if event.name is Name.DRIFT and event.sensor == self.name
        )
        t_c, rh_pct = (
            round(true + offset + self._chance.gauss(0.0, noise), _PLACES)
            for true, offset, noise in zip((air.t_c, air.rh_pct + drift), self._offset, _NOISE, strict=True)
        )
        return Air(t_c, min(max(rh_pct, 0.0), 100.0))

    def _is_news(self, t: int, shown: Air) -> bool:
        assert self._spoken is not None
        at, said = self._spoken
        changed = any(abs(new - old) >= least - 1e-9 for new, old, least in zip(shown, said, _CHANGE, strict=True))
        return changed or t - at >= LONGEST_SILENCE

    def _stamp(self, t: int, after: int) -> int:
        """The time that its clock shows. [UTC ms]"""
        unset = self._befalls(Name.CLOCK_UNSET, after)
        if unset is not None:
            return after - unset.at
        return t + AHEAD if self._befalls(Name.CLOCK_AHEAD, after) else t

    def _befalls(self, name: Name, after: int) -> Event | None:
        return happening(self._plan.events, name, after, self.name)


# --- as a source reads it ---------------------------------------------------------------------------------------------


def encode(source: Source, air: Air, stamp: int) -> bytes:
    """The JSON object in which `source` finds the air and the time [UTC ms], marked as simulated."""
    document: dict[str, Any] = {"simulated": True}
    for quantity, value in zip(AIR, air, strict=True):
        if quantity in source.fields:
            _put(document, source.fields[quantity].at, _as_sent(value, source.fields[quantity]))
    if source.time_at is not None:
        _put(document, source.time_at, _time_as_sent(stamp, source.time_form))
    return json.dumps(document, separators=(",", ":")).encode()


def _put(document: dict[str, Any], pointer: str, value: object) -> None:
    """Set what an RFC 6901 pointer leads to; the objects on the way are made."""
    *way, last = parse_pointer(pointer, where="pointer") or ("",)
    for token in way:
        below = document.get(token)
        document[token] = document = below if isinstance(below, dict) else {}
    document[last] = value


def _as_sent(value: float, field: Field) -> float:
    """A value in degC or % in the unit that the source asks for."""
    unit = field.unit
    sent = {"degF": value * 1.8 + 32, "K": value + ZERO_CELSIUS_IN_KELVIN, "1": value / 100}.get(unit, value)
    return round(sent, 4)


def _time_as_sent(stamp: int, form: TimeForm) -> str | float:
    if form == "rfc3339":
        return rfc3339(stamp)
    return stamp if form == "milliseconds" else stamp / SECOND


def topics_of(template: str, sensors: Sequence[str], *, where: str = "--topic-template") -> dict[str, str]:
    """The topic of each sensor: its name at {sensor}, "simulated" at any other named level.

    Raises SettingsError for a template, RecordError for names of sensors that make no topics.
    """
    levels = compile_topic(template, where=where).pattern.groupindex
    if "sensor" not in levels:
        mend = "Name the level that tells the sensors apart {sensor}"
        raise SettingsError(f"{template!r} has no {{sensor}}", where=where, mend=mend)
    topics: dict[str, str] = {}
    for name in sensors:
        if not name or set("/+#\0") & set(name) or not name.isprintable():
            mend = 'Give a name without "/", "+" and "#"'
            raise RecordError(f"{name!r} can't be a level of a topic", where="--sensor", mend=mend)
        if name in topics:
            raise RecordError(f"{name!r} is named twice", where="--sensor", mend="Give each sensor a name of its own")
        topics[name] = address(template, dict.fromkeys(levels, "simulated") | {"sensor": name})
    return topics


def source_of(sources: Sequence[Source], topic: str) -> Source:
    """The source that hears `topic`. Raises SettingsError, also where it would not hear that readings are simulated."""
    told = (each for each in sources if each.format != "plain")  # which says of no value where it stands
    source = next((each for each in told if compile_topic(each.topic).match(topic) is not None), None)
    if source is None:
        mend = "Add such a [[source]] to wallclime.toml, or give another --topic-template"
        raise SettingsError(f"no source hears {topic!r}", where="--topic-template", mend=mend)
    if source.time_at is None or not _tells_simulated(source, topic):
        what = "it can't hear that a reading is simulated, and of when it is"
        mend = 'Give --topic-template of a source with format = "json", a time and values of the air'
        raise SettingsError(what, where=f"source {source.topic!r}", mend=mend)
    return source


def _tells_simulated(source: Source, topic: str) -> bool:
    """Whether what we would send comes back as simulated readings."""
    now = EARLIEST
    try:
        readings = decode(
            source,
            topic,
            encode(source, Air(20.0, 50.0), now),
            arrival=now,
            trusted_live=False,
            retained=False,
            now=now,
            back_fill=0,
            newest=None,
        )
    except PayloadError:
        return False
    air: set[Quantity] = {reading.quantity for reading in readings} & set(AIR)
    return bool(air) and all(r.origin.kind is OriginKind.SIMULATED and r.t == now for r in readings)
