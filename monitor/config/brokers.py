"""The [broker] of wallclime.toml, or several [[broker]]s, checked: address, name, password, certificates."""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal, NamedTuple

from monitor.basis import units
from monitor.basis.errors import Fault
from monitor.config import secret, tables
from monitor.config.tables import Reader, Table

TLS_PORT = 8883  # IANA "secure-mqtt"


class Tls(NamedTuple):
    """How a broker is known, and how we are: files in PEM.

    `ca_file` holds the authorities that may have signed the broker's certificate, None means those that this computer
    trusts; `cert_file` and `key_file` are our own certificate and its private key, both or none.
    """

    ca_file: Path | None = None
    cert_file: Path | None = None
    key_file: Path | None = None


@dataclass(frozen=True, slots=True)
class Broker:
    """An MQTT broker. `password` comes from the environment or a file and is never printed.

    A link that is dead is noticed within `keepalive` [ms]. `name` tells several brokers apart; the only one may have
    none, "".
    """

    host: str
    port: int
    client_id: str
    user: str | None
    password: str | None = field(repr=False)
    keepalive: int
    name: str = ""
    protocol: Literal["3.1.1", "5"] = "3.1.1"
    tls: Tls | None = None


def _name(value: Any, where: str) -> str:
    """Lower-case, so that the variables with the passwords of two brokers have two names."""
    if not isinstance(value, str) or not re.fullmatch("[a-z0-9][a-z0-9-]*", value):
        raise tables.fault(f"{value!r} can't be the name of a broker", where, "Use a-z, 0-9 and -")
    return value


BROKER: dict[str, Reader] = {
    "name": _name,
    "host": tables.line,
    "port": tables.whole(1, 65_535),
    "protocol": tables.one_of("3.1.1", "5"),
    "user": tables.line,
    "password": secret.not_here("WALLCLIME_BROKER_PASSWORD"),
    "password_file": tables.line,
    "client_id": tables.line,
    "keepalive": tables.amount(units.parse_duration, "5 s", "18 h"),
    "tls": tables.yes_or_no,
    "ca_file": tables.line,
    "cert_file": tables.line,
    "key_file": tables.line,
}
_SEVERAL = BROKER | {"password": secret.not_here("WALLCLIME_BROKER_PASSWORD_NAME")}


def tables_of(value: Any, where: str) -> tuple[Table, ...]:
    """The reader of [[broker]]; of an empty [broker]: none."""
    if value in ({}, []):
        return ()
    if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
        raise tables.fault(f"{value!r} is not a table", where, "Write [broker], and its keys on the lines below it")
    return tables.each(value, _SEVERAL, where)


def brokers_of(
    listed: Sequence[Table], defaults: Mapping[str, Any], home: Path, environ: Mapping[str, str], faults: list[Fault]
) -> tuple[Broker, ...]:
    """The brokers of `listed`, each with `defaults` for what it leaves out; what is wrong goes to `faults`."""
    several = len(listed) > 1
    found = tuple(_broker(table, defaults, several, home, environ, faults) for table in listed)
    for number, (table, one) in enumerate(zip(listed, found, strict=True), 1):
        if several and not one.name:
            faults.append(Fault("it is missing", f"{table.spot}name", 'Add name = "attic"'))
        for before, other in enumerate(found[: number - 1], 1):
            if one.name and one.name == other.name:
                what = f"broker {before} has the name {one.name!r} too"
                faults.append(Fault(what, f"{table.spot}name", "Give each a name of its own"))
            if (one.host, one.port, one.client_id) == (other.host, other.port, other.client_id):
                what = f"it is broker {before}, with the same client_id"
                faults.append(Fault(what, f"{table.spot}client_id", "Give each a client_id of its own, or make one"))
    return found


def _broker(
    table: Table,
    defaults: Mapping[str, Any],
    several: bool,
    home: Path,
    environ: Mapping[str, str],
    faults: list[Fault],
) -> Broker:
    spot, given = table
    values = {**defaults, **given}
    name = values.get("name", "")
    variable = "WALLCLIME_BROKER_PASSWORD"
    if several:
        variable += f"_{name.upper().replace('-', '_')}"
    password = secret.password(variable, values.get("password_file"), f"{spot}password_file", home, environ, faults)
    if password and not (values.get("user") or any(fault.where == f"{spot}user" for fault in faults)):
        faults.append(Fault("there is a password, but no user", f"{spot}user", 'Add user = "NAME"'))
    tls = _tls(spot, values, home, faults)
    return Broker(
        host=values["host"],
        port=given.get("port") or (TLS_PORT if tls else values["port"]),
        client_id=values.get("client_id") or _client_id(home),
        user=values.get("user"),
        password=password,
        keepalive=values["keepalive"],
        name=name,
        protocol=values["protocol"],
        tls=tls,
    )


def _client_id(home: Path) -> str:
    """The same at every start, as a session that the broker keeps needs it, and another for each home."""
    return f"wallclime-{hashlib.sha256(os.fsencode(home)).hexdigest()[:8]}"


def _tls(spot: str, values: Mapping[str, Any], home: Path, faults: list[Fault]) -> Tls | None:
    files = {key: home / values[key] for key in ("ca_file", "cert_file", "key_file") if key in values}
    if not values["tls"]:
        told = any(fault.where == f"{spot}tls" for fault in faults)
        mend = "Add tls = true, or take it out"
        faults += [Fault("it has no use without TLS", spot + key, mend) for key in files if not told]
        return None
    for one, other, what in (
        ("cert_file", "key_file", "the private key of cert_file"),
        ("key_file", "cert_file", "the certificate of key_file"),
    ):
        if one in files and other not in files:
            faults.append(Fault("it is missing", f"{spot}{other}", f'Add {other} = "FILE", {what}'))
    for key, path in files.items():
        faults += _file(path, spot + key, secret_too=key == "key_file")
    return Tls(**files)


def _file(path: Path, spot: str, *, secret_too: bool) -> list[Fault]:
    try:
        path.read_bytes()
    except OSError as exc:
        return [Fault(f"{path} can't be read: {exc.strerror}", spot, "Check the path and its rights")]
    return secret.exposed(path, spot) if secret_too else []
