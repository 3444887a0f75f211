"""The short numbers that stand for streams, quantities, units and origins in the table of readings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from sqlalchemy import Connection, Table, select, tuple_

from monitor.basis.values import Origin, Quantity, Reading
from monitor.keep.connect import insert
from monitor.keep.schema import channel, origin, sensor, unit

Channel = tuple[str, Quantity]


@dataclass(frozen=True, slots=True)
class Ids:
    """The ids that are committed for sure. Never changed, only replaced: a rollback leaves nothing behind."""

    channels: Mapping[Channel, int] = field(default_factory=dict)
    units: Mapping[str, int] = field(default_factory=dict)
    origins: Mapping[Origin, int] = field(default_factory=dict)


def _add(conn: Connection, table: Table, rows: Iterable[Mapping[str, object]]) -> None:
    conn.execute(insert(conn, table).on_conflict_do_nothing(), list(rows))


def _channels(conn: Connection, missing: Sequence[Channel]) -> dict[Channel, int]:
    if not missing:
        return {}
    streams = sorted({stream for stream, _ in missing})
    _add(conn, sensor, ({"stream": stream} for stream in streams))
    sensors = dict(conn.execute(select(sensor.c.stream, sensor.c.id).where(sensor.c.stream.in_(streams))).all())
    keys = {(sensors[stream], quantity.value): (stream, quantity) for stream, quantity in missing}
    _add(conn, channel, ({"sensor_id": sensor_id, "quantity": quantity, "readings": 0} for sensor_id, quantity in keys))
    found = select(channel.c.sensor_id, channel.c.quantity, channel.c.id).where(
        tuple_(channel.c.sensor_id, channel.c.quantity).in_(list(keys))
    )
    return {keys[sensor_id, quantity]: id_ for sensor_id, quantity, id_ in conn.execute(found)}


def _units(conn: Connection, missing: Sequence[str]) -> dict[str, int]:
    if not missing:
        return {}
    _add(conn, unit, ({"text": text} for text in missing))
    return dict(conn.execute(select(unit.c.text, unit.c.id).where(unit.c.text.in_(missing))).all())


def _origins(conn: Connection, missing: Sequence[Origin]) -> dict[Origin, int]:
    if not missing:
        return {}
    keys = {(one.kind.value, one.detail): one for one in missing}
    _add(conn, origin, ({"kind": kind, "detail": detail} for kind, detail in keys))
    found = select(origin.c.kind, origin.c.detail, origin.c.id).where(
        tuple_(origin.c.kind, origin.c.detail).in_(list(keys))
    )
    return {keys[kind, detail]: id_ for kind, detail, id_ in conn.execute(found)}


def ids_for(conn: Connection, known: Ids, readings: Sequence[Reading]) -> Ids:
    """`known` and whatever else `readings` need; what the store has never met is added in `conn`'s transaction."""
    channels = sorted({(one.stream, one.quantity) for one in readings} - known.channels.keys())
    units = sorted({one.unit for one in readings} - known.units.keys())
    origins = sorted({one.origin for one in readings} - known.origins.keys(), key=lambda one: (one.kind, one.detail))
    if not (channels or units or origins):
        return known
    return Ids(
        {**known.channels, **_channels(conn, channels)},
        {**known.units, **_units(conn, units)},
        {**known.origins, **_origins(conn, origins)},
    )
