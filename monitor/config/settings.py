"""wallclime.toml: where the record is kept, which broker is heard and how its payloads are read."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from typing import Any, Literal, NamedTuple, get_args
from urllib.parse import quote, urlsplit

from monitor.basis import units
from monitor.basis.errors import Fault, SettingsError, WallclimeError
from monitor.basis.times import HOUR
from monitor.basis.values import AIR, Quantity
from monitor.config import alarm_tables, secret, shares, tables
from monitor.config.alarms import Backup, Boards, Contact, DeadMan, Health, Patience
from monitor.config.brokers import BROKER, Broker, Table, brokers_of, tables_of
from monitor.config.shares import Share
from monitor.config.tables import Reader

TimeForm = Literal["rfc3339", "seconds", "milliseconds"]


class Field(NamedTuple):
    """Where a quantity stands in a payload: an RFC 6901 pointer ("" for a bare number), and `unit` as in `unit_of`."""

    at: str
    unit: str


class Source(NamedTuple):
    """One kind of message. `topic` has named levels in braces: home/{sensor}/climate.

    `stream` is the address of the sensor built from the same names: the whole topic by default for "json", the topic
    without its last level for "number" (so that two bare-number topics of one device are one sensor). In "senml" the
    records name their sensors and units: there are no fields, and `stream` is what every name begins with, up to a / or
    a :. In "plain" the names of JSON tell where the values stand; the topic may end in #, which is {sensor} then.
    `broker` is the name of the broker that is heard.
    """

    topic: str
    format: Literal["json", "number", "senml", "plain"]
    fields: Mapping[Quantity, Field]
    stream: str
    time_at: str | None = None
    time_form: TimeForm = "rfc3339"
    broker: str = ""

    @property
    def filter(self) -> str:
        """The topic as MQTT has it: site/+/climate."""
        return _NAMED.sub("+", self.topic)


class Service(NamedTuple):
    """The daemon's intervals. [ms] `batch` in messages."""

    judge_every: int
    linger: int
    batch: int
    back_fill: int  # how old a live stamp may be before it is called back-fill and refused
    seal_after: int = 2 * HOUR  # how long after its end a UTC day is closed


class Logging(NamedTuple):
    """How the daemon logs."""

    level: Literal["debug", "info", "warning", "error"]
    format: Literal["text", "json"]


@dataclass(frozen=True, slots=True)
class Settings:
    """All of wallclime.toml, checked. `home` is the folder it stands in; `store_url` includes a password if needed."""

    home: Path
    store_url: str = field(repr=False)
    brokers: tuple[Broker, ...]
    sources: tuple[Source, ...]
    service: Service
    log: Logging
    patience: Patience = field(default_factory=Patience)
    contacts: tuple[Contact, ...] = ()
    dead_man: DeadMan | None = None
    health: Health | None = None
    backup: Backup | None = None
    board: Boards | None = None
    shares: tuple[Share, ...] = ()

    @property
    def broker(self) -> Broker:
        """The first broker, or the only one."""
        return self.brokers[0]

    def sources_at(self, broker: Broker) -> tuple[Source, ...]:
        """The sources that are heard at `broker`."""
        return tuple(source for source in self.sources if source.broker == broker.name)


_FILE = "wallclime.toml"
_STARTER = resources.files("monitor.config") / "starter.toml"
_SQLITE = "sqlite:///"
_SQLITE_FILE = re.compile(r"sqlite:///(?!:memory:$)[^?]+")
_NAMED = re.compile(r"\{([A-Za-z_][A-Za-z0-9_]*)\}")
# RFC 8428 section 4.5.1 on the signs of a name
_PREFIX = re.compile(rf"(?=[A-Za-z0-9{{])(?:[A-Za-z0-9:._/-]|{_NAMED.pattern}(?=[/:]))*(?<=[/:])")
_POINTER = re.compile(r"(?:/(?:[^/~]|~[01])*)*")  # RFC 6901 section 3
_QUANTITIES = {"temperature": Quantity.AIR_TEMPERATURE, "humidity": Quantity.AIR_HUMIDITY} | {
    quantity.value: quantity for quantity in Quantity if quantity not in AIR
}


def home_folder(option: Path | None, environ: Mapping[str, str]) -> Path:
    """The home: the --home option, else $WALLCLIME_HOME, else the platform's folder for a user's data."""
    if option is not None:
        return option
    if environ.get("WALLCLIME_HOME"):
        return Path(environ["WALLCLIME_HOME"])
    import platformdirs

    return platformdirs.user_data_path("wallclime", appauthor=False)


def starter_text() -> str:
    """A commented wallclime.toml; each of its lines says what holds without it."""
    return _STARTER.read_text(encoding="utf-8")


def starter_for(host: str, port: int, *, password: bool = False) -> str:
    """The starter file for a broker at an address; with a password, that stands in the file broker.password."""
    lines = {'host = "127.0.0.1"': f"host = {json.dumps(host)}", "port = 1883 ": f"port = {port} "}
    if password:
        lines |= {f"# {line}": line for line in ('user = "wallclime"', 'password_file = "broker.password"')}
    text = starter_text()
    for line, instead in lines.items():
        text = text.replace(line, instead, 1)
    return text


def load_settings(home: Path, environ: Mapping[str, str]) -> Settings:
    """The settings in the folder `home`; what its file leaves out is as in the starter file, and so is a missing file.

    Passwords come from `environ` or from files of their own. Raises SettingsError with every fault.
    """
    home = home.resolve()
    path = home / _FILE
    try:
        text = tables.file_text(path) if os.path.lexists(path) else ""
        return _settings(text, str(path), home, environ)
    except WallclimeError as exc:
        raise SettingsError.of(exc.faults) from exc


def _settings(text: str, where: str, home: Path, environ: Mapping[str, str]) -> Settings:
    starter, _ = tables.read(tables.toml_table(starter_text(), _FILE), _READERS, _FILE)
    given, faults = tables.read(tables.toml_table(text, where), _READERS, where)
    values = {key: figure.value for key, figure in (starter | given).items()}
    one = Table(f"{where}: broker.", tables.below("broker", {key: figure.value for key, figure in given.items()}))
    listed = values.get("broker") or (one,)
    brokers = brokers_of(listed, tables.below("broker", values), home, environ, faults)
    sources = _heard_at(brokers, values["source"], where, faults)
    shared = values.get("share", ())
    faults += shares.misfits(shared, [source.filter for source in sources], where)
    store_url = _store_url(values, where, home, environ, faults)
    alarms = alarm_tables.alarms_of(values, where, home, environ, faults)
    if faults:
        raise WallclimeError.of(faults)
    return Settings(
        home=home,
        store_url=store_url,
        brokers=brokers,
        sources=sources,
        service=Service(**tables.below("service", values)),
        log=Logging(**tables.below("log", values)),
        shares=shared,
        **alarms,
    )


def _heard_at(
    brokers: Sequence[Broker], sources: Sequence[Source], where: str, faults: list[Fault]
) -> tuple[Source, ...]:
    """The sources with the name of their broker, the first one where they give none."""
    names = [broker.name for broker in brokers]
    named = tuple(source._replace(broker=source.broker or names[0]) for source in sources)
    firsts: dict[tuple[str, str], int] = {}
    for number, source in enumerate(named, 1):
        spot = f"{where}: source {number}"
        if source.broker not in names and not any(fault.where.startswith(f"{where}: broker") for fault in faults):
            mend = f'Give one of them that name: name = "{source.broker}"'
            faults.append(Fault(f"there is no broker {source.broker!r}", f"{spot}: broker", mend))
        first = firsts.setdefault((source.broker, source.filter), number)
        if first != number:
            faults.append(Fault(f"source {first} hears the same messages", f"{spot}: topic", "Make one of the two"))
    return named


def _store_url(
    values: Mapping[str, Any], where: str, home: Path, environ: Mapping[str, str], faults: list[Fault]
) -> str:
    """The URL with its path made absolute (SQLite) or its password put in (PostgreSQL)."""
    url = values["store.url"]
    if url.startswith(_SQLITE):
        if "store.password_file" in values and not tables.misread(faults, where, "store.url"):
            spot = f"{where}: store.password_file"
            faults.append(Fault("an SQLite store has no password", spot, "Take the line out"))
        return f"{_SQLITE}{(home / url.removeprefix(_SQLITE)).as_posix()}"
    file, spot = values.get("store.password_file"), f"{where}: store.password_file"
    password = secret.password("WALLCLIME_STORE_PASSWORD", file, spot, home, environ, faults)
    user = urlsplit(url).username
    if not password:
        return url
    if not user:
        mend = 'Write "postgresql://USER@HOST/DATABASE"'
        faults.append(Fault("there is a password, but no user", f"{where}: store.url", mend))
    return url.replace(f"{user}@", f"{user}:{quote(password, safe='')}@", 1)


def _store(value: Any, where: str) -> str:
    """A store's URL, which is never shown: there may be a password in it."""
    url = value if isinstance(value, str) and value.isprintable() else ""
    try:
        parts = urlsplit(url)
        secret, server = parts.password is not None or "password" in parts.query, parts.port or parts.scheme
    except ValueError:
        secret, server = False, ""
    if secret:
        raise tables.fault("there is a password in it", where, "Give $WALLCLIME_STORE_PASSWORD or a password_file")
    if not (server and parts.scheme.partition("+")[0] == "postgresql") and not _SQLITE_FILE.fullmatch(url):
        mend = 'Write "sqlite:///wallclime.db" or "postgresql://USER@HOST/DATABASE"'
        raise tables.fault("this is not the URL of a store", where, mend)
    return url


def _pointer(value: Any, where: str) -> str:
    if not isinstance(value, str) or not _POINTER.fullmatch(value):
        raise tables.fault(f"{value!r} is not a JSON pointer", where, 'Write it like "/temperature" (RFC 6901)')
    return value


def _levels(value: Any, where: str) -> str:
    """A topic with named levels."""
    text = tables.line(value, where)
    names = _NAMED.findall(text)
    for level in text.split("/"):
        if set("+#{}") & set("" if _NAMED.fullmatch(level) else level):
            mend = "A level is plain text or one {name}; a {name} stands for what + does, and # has no like"
            raise tables.fault(f"{level!r} can't be a level of a topic", where, mend)
    if len(set(names)) < len(names):
        raise tables.fault(f"{text!r} has a name twice", where, "Give each named level a name of its own")
    return text


def _topic(value: Any, where: str) -> str:
    """A topic with named levels, {sensor} one of them."""
    text = _levels(value, where)
    if "{sensor}" not in text.split("/"):
        raise tables.fault(f"{text!r} has no {{sensor}}", where, "Name the level that tells the sensors apart {sensor}")
    return text


def _wide_topic(value: Any, where: str) -> str:
    """A topic with {sensor}, or plain levels and a # at the end."""
    text = tables.line(value, where)
    if text != "#" and not text.endswith("/#"):
        return _topic(value, where)
    if set("+#{}") & set(text[:-1]):
        raise tables.fault(f"{text!r} can't be heard", where, 'Before # every level is plain text, as in "flat7/#"')
    return text


def _prefix(value: Any, where: str) -> str:
    """What SenML names begin with. No value of a {name} can hold the sign after it: no two levels make one prefix."""
    if not isinstance(value, str) or not _PREFIX.fullmatch(value):
        mend = 'Write it like "{site}/" or "urn:dev:mac:{sensor}:", a / or : at the end and after each {name}'
        raise tables.fault(f"{value!r} can't begin the names of SenML records", where, mend)
    return value


def _unit(quantity: Quantity) -> Reader:
    def read_unit(value: Any, where: str) -> str:
        return units.unit_of(tables.line(value, where), quantity, where=where)

    return read_unit


_EXAMPLES = {
    "topic": '"site/{sensor}/climate"',
    "format": '"json", "number", "senml" or "plain"',
    "prefix": '"{site}/"',
    "quantity": '"air_temperature"',
    "unit": '"degC" or "%"',
    "at": '"/NAME"',
}
_SOURCE: dict[str, Reader] = {
    "topic": _topic,
    "broker": tables.line,
    "format": tables.one_of("json", "number", "senml", "plain"),
    "prefix": _prefix,
    "stream": _topic,
    "quantity": lambda value, where: Quantity(tables.one_of(*Quantity)(value, where)),
    "unit": tables.line,
    "time.at": _pointer,
    "time.as": tables.one_of(*get_args(TimeForm)),
    **{f"{name}.at": _pointer for name in _QUANTITIES},
    **{f"{name}.unit": _unit(quantity) for name, quantity in _QUANTITIES.items()},
}


def _sources(value: Any, where: str) -> tuple[Source, ...]:
    if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
        raise tables.fault("these are not sources", where, "Begin each of them with the line [[source]]")
    sources: list[Source] = []
    faults: list[Fault] = []
    for number, table in enumerate(value, 1):
        try:
            sources.append(_source(table, f"{where} {number}"))
        except WallclimeError as exc:
            faults.extend(exc.faults)
    if faults:
        raise WallclimeError.of(faults)
    return tuple(sources)


def _source(table: Mapping[str, Any], where: str) -> Source:
    readers = _SOURCE | {"senml": {"topic": _levels}, "plain": {"topic": _wide_topic}}.get(str(table.get("format")), {})
    figures, faults = tables.read(table, readers, where)
    values = {key: figure.value for key, figure in figures.items()}
    faults += _misfits(values, where, faults) + _clashes(values, where, faults)
    if faults:
        raise WallclimeError.of(faults)
    return Source(
        topic=values["topic"],
        format=values["format"],
        fields=_fields(values),
        stream=_stream(values),
        time_at=values.get("time.at"),
        time_form=values.get("time.as", "rfc3339"),
        broker=values.get("broker", ""),
    )


def _misfits(values: Mapping[str, Any], where: str, faults: Sequence[Fault]) -> list[Fault]:
    """What is missing from a source, or has no place in one of its format."""
    form, needed, strange = values.get("format"), ["topic", "format"], []
    if form == "senml":
        needed += ["prefix"]
        strange = [key for key in values if key not in ("topic", "broker", "format", "prefix")]
    if form == "plain":
        strange = [key for key in values if key not in ("topic", "broker", "format")]
    if form == "number":
        needed += ["quantity", "unit"]
        strange = [key for key in values if "." in key or key == "prefix"]
    if form == "json":
        named = dict.fromkeys(key.partition(".")[0] for key in values if "." in key)
        fields = [name for name in named if name != "time"] or ["temperature"]
        needed += [f"{name}.{part}" for name in fields for part in ("at", "unit")] + ["time.at"] * ("time" in named)
        strange = [key for key in values if key in ("quantity", "unit", "prefix")]
    missing = [key for key in needed if key not in values and not tables.misread(faults, where, key)]
    return [
        Fault("it is missing", f"{where}: {key}", f"Add {part} = {_EXAMPLES[part]}")
        for key in missing
        for part in [key.rpartition(".")[2]]
    ] + [Fault(f'format = "{form}" has no use for it', f"{where}: {key}", "Take it out") for key in strange]


def _clashes(values: Mapping[str, Any], where: str, faults: Sequence[Fault]) -> list[Fault]:
    """What is right by itself, but does not go with another key of its source."""
    found: list[Fault] = []
    if {"quantity", "unit"} <= values.keys():
        try:
            _unit(values["quantity"])(values["unit"], f"{where}: unit")
        except WallclimeError as exc:
            found.extend(exc.faults)
    key = "prefix" if values.get("format") == "senml" else "stream"
    if {"topic", "format"} <= values.keys() and values["format"] != "plain" and not tables.misread(faults, where, key):
        found += _strange_address(values, f"{where}: {key}")
    return found


def _strange_address(values: Mapping[str, Any], spot: str) -> list[Fault]:
    topic, stream = values["topic"], _stream(values)
    names = set(_NAMED.findall(stream))
    found = [
        Fault(f"{name!r} is no name of the topic", spot, "Use the names that stand in the topic")
        for name in sorted(names - set(_NAMED.findall(topic)))
    ]
    if values["format"] == "senml" and stream and not names:
        mend = "Put a {name} of the topic into it, so that no publisher can speak for another's sensors"
        found.append(Fault(f"{stream!r} is the same for every topic", spot, mend))
    if values["format"] != "senml" and "{sensor}" not in stream:
        what = "without the topic's last level the sensor's address has no {sensor}"
        found.append(Fault(what, spot, f'Add stream = "{topic}"'))
    return found


def _fields(values: Mapping[str, Any]) -> dict[Quantity, Field]:
    if values["format"] == "number":
        return {values["quantity"]: Field("", _unit(values["quantity"])(values["unit"], "unit"))}
    return {
        quantity: Field(values[f"{name}.at"], values[f"{name}.unit"])
        for name, quantity in _QUANTITIES.items()
        if f"{name}.at" in values
    }


def _stream(values: Mapping[str, Any]) -> str:
    """The sensor's address: as written, or the topic; of a bare number, the topic without its last level.

    Of SenML what all addresses begin with.
    """
    if values["format"] == "senml":
        return values.get("prefix", "")
    if values["topic"].endswith("#"):
        return f"{values['topic'][:-1]}{{sensor}}"
    default = values["topic"].rpartition("/")[0] if values["format"] == "number" else values["topic"]
    return values.get("stream", default)


_READERS: dict[str, Reader] = {
    "store.url": _store,
    "store.password": secret.not_here("WALLCLIME_STORE_PASSWORD"),
    "store.password_file": tables.line,
    "broker": tables_of,
    **{f"broker.{key}": reader for key, reader in BROKER.items()},
    "source": _sources,
    "share": shares.shares_of,
    "service.judge_every": tables.amount(units.parse_duration, "1 s", "1 d"),
    "service.linger": tables.amount(units.parse_duration, "0 ms", "60 s"),
    "service.batch": tables.whole(1, 100_000),
    "service.back_fill": tables.amount(units.parse_duration, "1 min", "366 d"),
    "service.seal_after": tables.amount(units.parse_duration, "0 min", "7 d"),
    **alarm_tables.READERS,
    "log.level": tables.one_of("debug", "info", "warning", "error"),
    "log.format": tables.one_of("text", "json"),
}
