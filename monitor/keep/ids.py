"""The short numbers that stand for streams, quantities, units and origins in the table of readings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from sqlalchemy import Connection, Table, select, tuple_

from monitor.basis.values import Origin, Quantity, Reading
from monitor.keep.connect import SOME, insert, over
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


_CHANNELS = select(sensor.c.stream, channel.c.quantity, channel.c.id).join(channel).where(sensor.c.stream.in_(SOME))
_SENSORS = select(sensor.c.stream, sensor.c.id).where(sensor.c.stream.in_(SOME))


def _found(conn: Connection, streams: Iterable[str]) -> dict[Channel, int]:
    """All channels of these streams that there are."""
    return {(stream, Quantity(quantity)): id_ for stream, quantity, id_ in over(conn, _CHANNELS, streams)}


def _channels(conn: Connection, missing: Sequence[Channel]) -> dict[Channel, int]:
    found = _found(conn, sorted({stream for stream, _ in missing}))
    new = [one for one in missing if one not in found]
    if not new:
        return found
    streams = sorted({stream for stream, _ in new})
    _add(conn, sensor, ({"stream": stream} for stream in streams))
    sensors = {row.stream: row.id for row in over(conn, _SENSORS, streams)}
    _add(
        conn,
        channel,
        ({"sensor_id": sensors[stream], "quantity": quantity.value, "readings": 0} for stream, quantity in new),
    )
    return found | _found(conn, streams)


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
