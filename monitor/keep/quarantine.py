"""What did not become a reading: kept with its bytes and the reason, and counted when it comes again."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from typing import Any

from sqlalchemy import Connection, func, select

from monitor.basis.values import Quantity, Reading, Refused
from monitor.keep.connect import Connected, insert
from monitor.keep.rows import Quarantined
from monitor.keep.schema import quarantine

CONFLICT = "conflict"  # the reason of a reading that says otherwise than the one kept of its channel and time


def _digest(*parts: bytes) -> bytes:
    """SHA-256 over the parts, each with its length before it, so that no two lists of parts read alike."""
    whole = hashlib.sha256()
    for part in parts:
        whole.update(len(part).to_bytes(8, "big") + part)
    return whole.digest()


def _storable(text: str) -> str:
    """`text` with what PostgreSQL or UTF-8 has no room for, NUL and lone surrogates, written out as escapes."""
    return text.encode("utf-8", "backslashreplace").decode().replace("\0", "\\x00")


def row_of_refused(refused: Refused) -> dict[str, Any]:
    """The quarantine row of bytes that could not be read; the same bytes of a topic and reason are the same row."""
    topic, reason = _storable(refused.topic), _storable(refused.reason)
    return {
        "topic": topic,
        "quantity": None,
        "t": None,
        "reason": reason,
        "detail": _storable(refused.detail),
        "raw": refused.raw,
        "digest": _digest(topic.encode(), reason.encode(), refused.raw),
        "arrival": refused.arrival,
    }


def row_of_conflict(offered: Reading, kept: tuple[float, str]) -> dict[str, Any]:
    """The quarantine row of a reading whose channel and time hold another (value, unit); it stays the first's."""
    what = {
        "stream": offered.stream,
        "quantity": offered.quantity.value,
        "t": offered.t,
        "value": offered.value,
        "unit": offered.unit,
    }
    how = {"arrival": offered.arrival, "origin": offered.origin.kind.value, "origin_detail": offered.origin.detail}
    return {
        "topic": offered.stream,
        "quantity": offered.quantity.value,
        "t": offered.t,
        "reason": CONFLICT,
        "detail": f"kept {kept[0]!r} {kept[1]}, offered {offered.value!r} {offered.unit}",
        "raw": json.dumps(what | how).encode(),
        "digest": _digest(CONFLICT.encode(), json.dumps(what).encode()),
        "arrival": offered.arrival,
    }


def put_aside(conn: Connection, rows: Iterable[dict[str, Any]]) -> None:
    """Keep what is new in quarantine, count what is there already."""
    listed = [{**row, "count": 1, "first_arrival": row["arrival"], "last_arrival": row["arrival"]} for row in rows]
    for row in listed:
        del row["arrival"]
    if listed:
        adding = insert(conn, quarantine)
        again = {"count": quarantine.c.count + 1, "last_arrival": adding.excluded.last_arrival}
        conn.execute(adding.on_conflict_do_update(index_elements=["digest"], set_=again), listed)


class Quarantine(Connected):
    """What the store says of things refused."""

    def conflicts(self, streams: Sequence[str], start: int, end: int) -> int:
        """How often readings of `streams` with start <= t < end came that say otherwise than the ones kept. [ms]"""
        counted = select(func.sum(quarantine.c.count)).where(
            quarantine.c.reason == CONFLICT,
            quarantine.c.topic.in_(streams),
            quarantine.c.t >= start,
            quarantine.c.t < end,
        )
        with self._reading() as conn:
            return int(conn.scalar(counted) or 0)

    def quarantine(self, limit: int = 100) -> list[Quarantined]:
        """The `limit` things that were refused last, newest first."""
        wanted = [quarantine.c[name] for name in Quarantined.__dataclass_fields__]
        newest = select(*wanted).order_by(quarantine.c.last_arrival.desc(), quarantine.c.id.desc()).limit(limit)
        with self._reading() as conn:
            found = conn.execute(newest).mappings().all()
        return [Quarantined(**{**row, "quantity": row["quantity"] and Quantity(row["quantity"])}) for row in found]

    def quarantine_counts(self) -> dict[tuple[str, str], int]:
        """(topic, reason) -> how often."""
        counted = select(quarantine.c.topic, quarantine.c.reason, func.sum(quarantine.c.count)).group_by(
            quarantine.c.topic, quarantine.c.reason
        )
        with self._reading() as conn:
            return {(topic, reason): int(count) for topic, reason, count in conn.execute(counted)}
