"""What the log says about a job, as of an instant: the frame that the readings are judged in.

Entries are taken with every correction known now, whatever instant is asked for; a corrected entry keeps its number.
What a sensor is (its hold, its uncertainty) and what a job is hold for all time; everything else from the time that its
entry speaks of.
"""

from __future__ import annotations

import bisect
import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, NamedTuple

from monitor.basis.times import LATEST
from monitor.basis.values import Entry, Kind, Quantity
from monitor.config.profile import InstrumentLevel, Profile
from monitor.rules.install.moisture import Moisture, moisture_of
from monitor.rules.install.site import SiteFacts, site_of
from monitor.rules.install.suitability import Place, place_of
from monitor.rules.install.takenoff import TakenOff, taken_off
from monitor.rules.instrument import MAKER_ACCEPTED, Check, in_force
from monitor.rules.stays import Stay, in_order, stays_of


class UnitClaim(NamedTuple):
    """What a sensor sent in [start, end) is in `unit`, whatever was thought when it was heard. [ms]"""

    quantity: Quantity
    unit: str
    start: int
    end: int


class Sensor(NamedTuple):
    """What a sensor is: its address, how long a reading speaks [ms], its expanded uncertainty U as stated [K, %RH].

    `since` is when it was added [ms]; `checks` are those of the instrument, each with the time in which it holds;
    `claims` say that it sent another unit than it was thought to.
    """

    name: str
    stream: str
    hold: int
    uncertainty: Mapping[Quantity, float]
    since: int = 0
    checks: tuple[Check, ...] = ()
    claims: tuple[UnitClaim, ...] = ()

    def key(self, midnight: int) -> list[Any]:
        """What of it a checkpoint of `midnight` depends on."""
        stated = sorted((q.value, u) for q, u in self.uncertainty.items())
        checks = [check.key(midnight) for check in self.checks if check.at < midnight or check.as_found]
        claims = [[c.quantity.value, c.unit, c.start, min(c.end, midnight)] for c in self.claims if c.start < midnight]
        return [self.name, self.stream, self.hold, stated, checks, claims]

    def level(self, quantity: Quantity, at: int) -> InstrumentLevel | None:
        """What backs the sensor at `at`: the check in force, else the maker's statement while it is accepted. [ms]"""
        check = in_force(self.checks, quantity, at)
        if check is not None:
            return check.level
        return "maker" if at < self.since + MAKER_ACCEPTED else None


class Stack(NamedTuple):
    """How boxes lie, as told at the delivery; None where nobody said. Lengths in m, temperatures in degC.

    `spacers`: in single layers with air between. `floor_c`: of a floor that is colder than the room. `box_c` and
    `moisture` [% of dry mass] were measured when the boxes came.
    """

    height: float | None = None
    width: float | None = None
    spacers: bool = False
    floor_c: float | None = None
    box_c: float | None = None
    moisture: float | None = None

    @classmethod
    def from_body(cls, body: Mapping[str, Any]) -> Stack:
        """From the body of a delivery."""
        return cls(
            height=body.get("stack_height_m"),
            width=body.get("stack_width_m"),
            spacers=bool(body.get("spacers")),
            floor_c=body.get("floor_temperature"),
            box_c=body.get("box_temperature"),
            moisture=body.get("moisture"),
        )


_SAID = {"unopened": "opened", "flat": "on end", "wrapped": "unwrapped"}  # what a "no" to each says


def said_of(body: Mapping[str, Any]) -> tuple[str, ...]:
    """What the body of a delivery says that boxes should not be: "opened", "on end", "unwrapped"."""
    return tuple(word for key, word in _SAID.items() if body.get(key) is False)


class Delivery(NamedTuple):
    """Boxes brought to a place. `said`: see `said_of`; it bears on no reading, so no checkpoint hangs on it."""

    lot: str
    place: str
    at: int
    boxes: int | None
    stack: Stack = Stack()
    said: tuple[str, ...] = ()


class Job(NamedTuple):
    """What a job is."""

    name: str
    zone: str
    boxes_place: str
    wall_place: str
    outdoor_place: str | None
    length: float  # [m]
    height: float  # [m]
    units: str
    opened: int


class ProfileText(NamedTuple):
    """A profile as frozen into a job, in force from `since`; `reason` for a change."""

    text: str
    since: int
    reason: str
    who: str


@dataclass(frozen=True, slots=True)
class Frame:
    """All that the log contributes to an Assessment under one profile."""

    job: Job
    profile: Profile
    sensors: Mapping[str, Sensor]
    stays: tuple[Stay, ...]
    deliveries: tuple[Delivery, ...]
    lots_used: tuple[str, ...]
    start: int | None
    finish: int | None
    close: int | None
    place: Place = field(default_factory=Place)
    take_off: TakenOff | None = None
    site: SiteFacts | None = None
    moisture: tuple[Moisture, ...] = ()

    @property
    def places(self) -> tuple[str, ...]:
        """Every place whose air this job asks for; the one outdoors is heard beside them."""
        return tuple(sorted({self.job.boxes_place, self.job.wall_place, *(d.place for d in self.deliveries)}))

    @property
    def air_stays(self) -> tuple[Stay, ...]:
        """The stays that hear the air of these places: none outdoors, none in boxes or on the wall."""
        return tuple(stay for stay in self.stays if stay.place in self.places and stay.role == "air")

    @property
    def begin(self) -> int | None:
        """The first delivery, if one is known."""
        return min((delivery.at for delivery in self.deliveries), default=None)

    @property
    def streams(self) -> list[str]:
        """The addresses of its sensors, in order."""
        return sorted({sensor.stream for sensor in self.sensors.values()})

    @property
    def judged_from(self) -> int:
        """From when on its readings are counted: the first delivery, else when the first sensor came. [ms]"""
        first = self.begin
        return min((stay.start for stay in self.stays), default=0) if first is None else first

    def checked_at(self, as_of: int) -> int:
        """When the checks of the wall must hold: at the start of the installation, or at `as_of` before it. [ms]"""
        return as_of if self.start is None else self.start

    def limits(self, quantity: Quantity, *, life: bool) -> tuple[float, float]:
        """The inclusive limits, degC or %RH, of the installation's band or of the wall's life."""
        band = self.profile.life if life else self.profile.band
        return band.temperature if quantity is Quantity.AIR_TEMPERATURE else band.humidity


class Keys:
    """Hashes of all in a frame that bears on the time before a midnight: a checkpoint under another key is void."""

    def __init__(self, frame: Frame, has: Mapping[str, Sequence[Quantity]]) -> None:
        """`has`: the channels on which each sensor has spoken, as the rule for a stuck sensor hangs on it."""
        self.frame, self.has = frame, has
        moments = {at for stay in frame.stays for at in (stay.start, stay.end) if at is not None}
        moments |= {delivery.at for delivery in frame.deliveries}
        moments |= {at for sensor in frame.sensors.values() for c in sensor.checks for at in (c.at, c.until)}
        moments |= {at for sensor in frame.sensors.values() for c in sensor.claims for at in (c.start, c.end)}
        moments |= {at for at in (frame.start, frame.finish, frame.close) if at is not None}
        self._moments = sorted(moments)
        self._made: dict[int, bytes] = {}

    def at(self, midnight: int) -> bytes:
        """The key before `midnight`; it changes only where something happened. [ms]"""
        happened = bisect.bisect_left(self._moments, midnight)
        if happened not in self._made:
            self._made[happened] = self._make(midnight)
        return self._made[happened]

    def _make(self, midnight: int) -> bytes:
        frame = self.frame

        def known(at: int | None) -> int | None:
            return at if at is not None and at < midnight else None

        facts = [
            frame.profile.sha256,
            frame.job.boxes_place,
            frame.job.wall_place,
            list(frame.places),
            [[*frame.sensors[name].key(midnight), *self.has[name]] for name in sorted(frame.sensors)],
            frame.job.outdoor_place,
            frame.place.answers.get("kind"),
            [[s.sensor, s.place, s.start, known(s.end), s.role] for s in frame.stays if s.start < midnight],
            [[d.lot, d.place, d.at, *d.stack] for d in frame.deliveries if d.at < midnight],
            [frame.begin, known(frame.start), known(frame.finish), known(frame.close)],
        ]
        return hashlib.sha256(json.dumps(facts, separators=(",", ":")).encode()).digest()


def effective(entries: Sequence[Entry]) -> list[Entry]:
    """The entries of one chain with every correction applied; withdrawn ones are left out, corrections too."""
    standing = {entry.number: entry for entry in entries if entry.kind is not Kind.CORRECTION}
    for entry in entries:
        if entry.kind is not Kind.CORRECTION or entry.corrects not in standing:
            continue
        was = standing[entry.corrects]
        if entry.body.get("withdrawn"):
            del standing[entry.corrects]
        else:
            body = {**was.body, **entry.body.get("instead", {})}
            standing[entry.corrects] = was._replace(at=entry.body.get("at", was.at), body=body)
    return sorted(standing.values(), key=lambda entry: entry.number)


def job_of(entries: Sequence[Entry]) -> Job:
    """What the job is, from its first entry."""
    first = next(entry for entry in effective(entries) if entry.kind is Kind.JOB)
    body = first.body
    return Job(
        name=first.chain,
        zone=body["zone"],
        boxes_place=body["boxes_place"],
        wall_place=body["wall_place"],
        outdoor_place=body.get("outdoor_place"),
        length=body["length_m"],
        height=body["height_m"],
        units=body["units"],
        opened=first.at,
    )


def profiles_of(entries: Sequence[Entry]) -> tuple[ProfileText, ...]:
    """Every profile the job has had, in the order in which they came into force; the first at opening."""
    return tuple(
        ProfileText(entry.body["text"], entry.at, entry.body.get("reason", ""), entry.who)
        for entry in sorted(effective(entries), key=lambda entry: (entry.at, entry.number))
        if entry.kind is Kind.PROFILE
    )


_Stated = dict[tuple[tuple[str, float], ...], dict[Quantity, float]]


def sensors_of(entries: Sequence[Entry]) -> dict[str, Sensor]:
    """Every sensor of the sensors' chain by name; a later entry of the same name stands."""
    stated: _Stated = {}
    return {name: _sensor(entry, stated) for name, entry in _named(effective(entries)).items()}


def _named(entries: Iterable[Entry]) -> dict[str, Entry]:
    """The entry by which each sensor stands."""
    return {entry.body["name"]: entry for entry in entries if entry.kind is Kind.SENSOR}


def _sensor(entry: Entry, stated: _Stated) -> Sensor:
    """`stated`: the uncertainties that sensors were stated with, which most have in common."""
    body = entry.body
    said = tuple(body["uncertainty"].items())
    uncertainty = stated.setdefault(said, {Quantity(q): float(u) for q, u in said})
    return Sensor(body["name"], body["stream"], body["hold_ms"], uncertainty, since=entry.at)


def checks_of(entries: Iterable[Entry]) -> dict[str, tuple[Check, ...]]:
    """Every check of each sensor, in the order of writing."""
    found: dict[str, tuple[Check, ...]] = {}
    for entry in entries:
        if entry.kind is Kind.CHECK:
            body = entry.body
            check = Check(
                quantity=Quantity(body["quantity"]),
                level=body["level"],
                at=entry.at,
                until=body["until"],
                slope=body["slope"],
                offset=body["offset"],
                uncertainty=body["uncertainty"],
                as_found=body["as_found"],
            )
            found[body["sensor"]] = (*found.get(body["sensor"], ()), check)
    return found


def claims_of(entries: Iterable[Entry]) -> dict[str, tuple[UnitClaim, ...]]:
    """What was said of each sensor's units, in the order of writing; of two that speak of one time the later stands."""
    found: dict[str, tuple[UnitClaim, ...]] = {}
    for entry in entries:
        if entry.kind is Kind.UNIT:
            body = entry.body
            until = LATEST if body["to"] is None else body["to"]  # None: it goes on sending it
            claim = UnitClaim(Quantity(body["quantity"]), body["unit"], body["from"], until)
            found[body["sensor"]] = (*found.get(body["sensor"], ()), claim)
    return found


def _installation(installs: Sequence[Entry], as_of: int) -> tuple[int | None, int | None]:
    """Start and finish as known at `as_of`: the first entry says the start, any of them the finish."""
    if not installs or installs[0].at > as_of:
        return None, None
    start = installs[0].at
    finishes = [entry.body["finish"] for entry in installs if entry.body.get("finish") is not None]
    return start, max((at for at in finishes if start <= at <= as_of), default=None)


def _delivery(entry: Entry) -> Delivery:
    body = entry.body
    return Delivery(
        body["lot"], body["place"], entry.at, body.get("boxes"), stack=Stack.from_body(body), said=said_of(body)
    )


class SensorsLog:
    """What the sensors' chain says, put in order once for all jobs."""

    def __init__(self, entries: Sequence[Entry]) -> None:
        self._entries = effective(entries)
        self._moments = sorted({entry.at for entry in self._entries})
        self._named, self._claims = _named(self._entries), claims_of(self._entries)
        self._made: dict[str, Sensor] = {}
        self._stated: _Stated = {}
        self._checks: dict[str, list[Entry]] = {}
        for entry in self._entries:
            if entry.kind is Kind.CHECK:
                self._checks.setdefault(entry.body["sensor"], []).append(entry)
        self._known: tuple[int, dict[str, list[Stay]]] = (-1, {})

    def happened(self, as_of: int) -> int:
        """How many of the times that entries speak of had come by `as_of`: until the next all stays as it is. [ms]"""
        return bisect.bisect_right(self._moments, as_of)

    def stays(self, places: Iterable[str], as_of: int) -> tuple[Stay, ...]:
        """Every stay at these places, as known at `as_of`. Raises RecordError as `stays_of` does. [ms]"""
        known, at = self._known
        if known != self.happened(as_of):
            at = {}
            for stay in self._stays(as_of):
                at.setdefault(stay.place, []).append(stay)
            self._known = self.happened(as_of), at
        found = [stay for place in set(places) for stay in at.get(place, ())]
        return tuple(sorted(found, key=in_order))

    def _stays(self, as_of: int) -> tuple[Stay, ...]:
        if self.happened(as_of) == len(self._moments):
            return self.every_stay
        return stays_of(entry for entry in self._entries if entry.at <= as_of)

    @cached_property
    def every_stay(self) -> tuple[Stay, ...]:
        """Where every sensor was and is. Raises RecordError as `stays_of` does."""
        return stays_of(self._entries)

    @cached_property
    def stood_at(self) -> dict[str, tuple[str, ...]]:
        """The places that the sensor of each stream was ever at."""
        stood: dict[str, tuple[str, ...]] = {}
        for stay in self.every_stay:
            stream = self._sensor(stay.sensor).stream
            if stay.place not in stood.get(stream, ()):
                stood[stream] = (*stood.get(stream, ()), stay.place)
        return stood

    def sensor(self, name: str, as_of: int) -> Sensor:
        """A sensor with its checks as known at `as_of` and all that was said of its units. [ms]"""
        checks = checks_of(entry for entry in self._checks.get(name, ()) if entry.at <= as_of).get(name, ())
        claims = self._claims.get(name, ())
        sensor = self._sensor(name)
        return sensor._replace(checks=checks, claims=claims) if checks or claims else sensor

    @cached_property
    def sensors(self) -> dict[str, Sensor]:
        """Every sensor by name, without its checks."""
        return {name: self._sensor(name) for name in self._named}

    def _sensor(self, name: str) -> Sensor:
        if name not in self._made:
            self._made[name] = _sensor(self._named[name], self._stated)
        return self._made[name]


def moments_of(log: Sequence[Entry]) -> list[int]:
    """The times in order at which what a job's log says may change what its frame is. [ms]"""
    entries = effective(log)
    finishes = {entry.body["finish"] for entry in entries if entry.kind is Kind.INSTALL} - {None}
    return sorted({entry.at for entry in entries} | finishes)


def frame_of(log: Sequence[Entry], sensor_log: Sequence[Entry] | SensorsLog, profile: Profile, as_of: int) -> Frame:
    """The frame of the job whose chain is `log`, under `profile`, from entries that speak of times up to `as_of`."""
    sensors = sensor_log if isinstance(sensor_log, SensorsLog) else SensorsLog(sensor_log)
    job, entries = job_of(log), effective(log)
    known = [entry for entry in entries if entry.at <= as_of]
    deliveries = tuple(
        _delivery(entry)
        for entry in sorted(known, key=lambda entry: (entry.at, entry.number))
        if entry.kind is Kind.DELIVER
    )
    start, finish = _installation([entry for entry in entries if entry.kind is Kind.INSTALL], as_of)
    installs = [entry for entry in known if entry.kind is Kind.INSTALL]
    lots_used = tuple(dict.fromkeys(lot for entry in installs for lot in entry.body.get("lots", ())))
    close = min((entry.at for entry in known if entry.kind is Kind.CLOSE), default=None)
    opened_with = [entry for entry in entries if entry.at <= max(as_of, job.opened)]  # it holds for all time
    place, taken = place_of(opened_with), taken_off(opened_with)
    frame = Frame(job, profile, {}, (), deliveries, lots_used, start, finish, close, place=place, take_off=taken)
    outdoors = () if job.outdoor_place is None else (job.outdoor_place,)
    here = sensors.stays((*frame.places, *outdoors), as_of)
    looked_at = [entry for entry in known if entry.at <= frame.checked_at(as_of)]
    return replace(
        frame,
        site=site_of(looked_at),
        moisture=moisture_of(looked_at),
        stays=here,
        sensors={stay.sensor: sensors.sensor(stay.sensor, as_of) for stay in here},
    )
