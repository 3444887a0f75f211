"""What came last, for many channels at once: for whoever remembers the rest."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import NamedTuple

import numpy as np
from sqlalchemy import bindparam, select

from monitor.basis.values import Quantity, Series
from monitor.keep.connect import MARKS, Connected
from monitor.keep.readings import origins_of, places_of, units_of
from monitor.keep.schema import channel, sensor

_AT_ONCE = 200  # channels a query: SQLite joins 500 at most
_MANY = 5_000  # streams that are asked for by name; of more all are read
_ROW = np.dtype([("of", np.int64), ("t", np.int64), ("value", np.float64), ("unit", np.int64), ("origin", np.int64)])
_COLUMNS = (channel.c.id, channel.c.first_t, channel.c.last_t, channel.c.readings)
_SUMS = select(sensor.c.stream, channel.c.quantity, *_COLUMNS).join(channel).where(channel.c.readings > 0)
_SUMS_OF = _SUMS.where(sensor.c.stream.in_(bindparam("streams", expanding=True)))


class Sums(NamedTuple):
    """A channel: its id, its first and last time [ms], and how many readings are kept of it."""

    id: int
    first_t: int
    last_t: int
    readings: int


class Lately(Connected):
    """What the store answers of many channels at once."""

    def sums(self, streams: Collection[str]) -> dict[str, dict[Quantity, Sums]]:
        """Every channel of these streams that was heard."""
        asked = (_SUMS_OF, {"streams": list(streams)}) if len(streams) <= _MANY else (_SUMS,)
        found: dict[str, dict[Quantity, Sums]] = {}
        with self._reading() as conn:
            for stream, quantity, *sums in conn.execute(*asked):
                found.setdefault(stream, {})[Quantity(quantity)] = Sums(*sums)
        return found

    def since(self, asked: Sequence[tuple[int, int]]) -> list[Series]:
        """Of each channel, by its id, the readings from a time on [ms]: in the order of `asked`."""
        rows = np.concatenate([self._rows(asked, k) for k in range(0, len(asked), _AT_ONCE)] or [np.empty(0, _ROW)])
        rows = rows[np.lexsort((rows["t"], rows["of"]))]
        with self._reading() as conn:
            units, origins = units_of(conn, rows["unit"]), origins_of(conn, rows["origin"])
        edges = np.searchsorted(rows["of"], np.arange(len(asked) + 1))
        found = []
        for a, b in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
            of = rows[a:b]
            unit, unit_names = places_of(of["unit"], {id_: units[id_] for id_ in set(of["unit"].tolist())})
            origin, origin_names = places_of(of["origin"], {id_: origins[id_] for id_ in set(of["origin"].tolist())})
            whole = (of["t"].copy(), of["value"].copy(), unit.astype(np.int16), origin.astype(np.int32))
            found.append(Series(*whole, unit_names, origin_names))
        return found

    def _rows(self, asked: Sequence[tuple[int, int]], begin: int) -> np.ndarray:
        """Those of `_AT_ONCE` channels from number `begin` on."""
        mark = MARKS[self._engine.dialect.name]
        part = f"SELECT {{number}}, t, value, unit_id, origin_id FROM reading WHERE channel_id = {mark} AND t >= {mark}"
        some = asked[begin : begin + _AT_ONCE]
        text = " UNION ALL ".join(part.format(number=begin + k) for k in range(len(some)))
        with self._reading() as conn:
            rows = conn.exec_driver_sql(text, tuple(value for one in some for value in one)).all()
        return np.array([tuple(row) for row in rows], _ROW)
