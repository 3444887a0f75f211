"""The sensors: what was heard, and the names people gave."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Any, NamedTuple

from sqlalchemy import Connection, Row, select

from monitor.basis.errors import RecordError
from monitor.basis.values import Quantity
from monitor.keep.connect import Connected, insert
from monitor.keep.packed import packed_values
from monitor.keep.rows import Heard
from monitor.keep.schema import channel, reading, sensor, unit


class Newest(NamedTuple):
    """The newest reading of a channel of the sensor called `name`, as it was sent. [ms]"""

    name: str
    quantity: Quantity
    t: int
    value: float
    unit: str


def _heard(stream: str, rows: Sequence[Row[Any]]) -> Heard:
    channels = [row for row in rows if row.quantity is not None]
    return Heard(
        stream=stream,
        name=rows[0].name,
        quantities=tuple(sorted(Quantity(row.quantity) for row in channels)),
        first_t=min((row.first_t for row in channels), default=None),
        last_t=max((row.last_t for row in channels), default=None),
        last_arrival=max((row.last_arrival for row in channels), default=None),
        readings=sum(row.readings for row in channels),
    )


class Sensors(Connected):
    """What the store knows of sensors."""

    def name_sensor(self, stream: str, name: str) -> None:
        """Call the sensor of `stream` `name`, whether it was heard or not. Raises RecordError when either is taken."""
        with self._writing() as conn:
            conn.execute(insert(conn, sensor).on_conflict_do_nothing(), {"stream": stream})
            holder = conn.scalar(select(sensor.c.stream).where(sensor.c.name == name))
            present = conn.scalar(select(sensor.c.name).where(sensor.c.stream == stream))
            if holder not in (None, stream):
                raise RecordError(
                    f"the name is taken by {holder!r}", where=f"sensor {name}", mend="Choose another name"
                )
            if present not in (None, name):
                raise RecordError(
                    f"{stream!r} is called {present!r} already",
                    where=f"sensor {name}",
                    mend=f"Use the name {present!r}",
                )
            conn.execute(sensor.update().where(sensor.c.stream == stream).values(name=name))

    def stream_of(self, name: str) -> str | None:
        """The stream of the sensor called `name`; None when there is none."""
        with self._reading() as conn:
            return conn.scalar(select(sensor.c.stream).where(sensor.c.name == name))

    def heard(self) -> list[Heard]:
        """Every sensor, in order of stream; a channel of which everything was turned away was never heard."""
        of = (channel.c.sensor_id == sensor.c.id) & channel.c.first_t.is_not(None)
        query = select(sensor.c.stream, sensor.c.name, channel).outerjoin_from(sensor, channel, of)
        with self._reading() as conn:
            rows = sorted(conn.execute(query).all(), key=lambda row: row.stream)
        return [_heard(stream, list(group)) for stream, group in groupby(rows, key=lambda row: row.stream)]

    def newest(self) -> list[Newest]:
        """The newest reading of every channel of the sensors that have a name, in order of name and quantity."""
        last = (reading.c.channel_id == channel.c.id) & (reading.c.t == channel.c.last_t)
        columns = (sensor.c.name, sensor.c.stream, channel.c.quantity, channel.c.last_t, reading.c.value, unit.c.text)
        query = select(*columns).select_from(channel).join(sensor).outerjoin(reading, last).outerjoin(unit)
        with self._reading() as conn:
            rows = conn.execute(query.where(sensor.c.name.is_not(None), channel.c.last_t.is_not(None))).all()
            return sorted(newest for row in rows for newest in _newest(conn, *row))


def _newest(
    conn: Connection, name: str, stream: str, text: str, t: int, value: float | None, unit: str | None
) -> Iterator[Newest]:
    """The newest reading of a channel, which is a row or stands in a compacted day."""
    quantity = Quantity(text)
    if value is not None and unit is not None:
        yield Newest(name, quantity, t, value, unit)
        return
    for (of, at), kept in packed_values(conn, stream, [(quantity, t)]).items():
        yield Newest(name, of, at, *kept)
