"""What did not become a reading: kept with its bytes and the reason, and counted when it comes again."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Any

from sqlalchemy import Connection, RowMapping, Select, and_, bindparam, case, func, or_, select

from monitor.basis.clock import Clock
from monitor.basis.errors import RecordError
from monitor.basis.times import DAY
from monitor.basis.values import Quantity, Reading, Refused
from monitor.keep.connect import Connected, insert
from monitor.keep.rows import Quarantined
from monitor.keep.schema import quarantine, quarantine_loss, unsealed

ROW = 200  # what a row takes beside its texts and bytes, about [bytes]
_COLUMNS = [quarantine.c[name] for name in Quarantined.__dataclass_fields__]

CONFLICT = "conflict"  # the reason of a reading that says otherwise than the one kept of its channel and time
_CONFLICTS = select(func.count()).where(
    quarantine.c.reason == CONFLICT,
    quarantine.c.topic.in_(bindparam("streams", expanding=True)),
    quarantine.c.t >= bindparam("start"),
    quarantine.c.t < bindparam("end"),
)


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
        mark = insert(conn, unsealed)
        more = {"touched": unsealed.c.touched + 1}
        days = sorted({row["first_arrival"] - row["first_arrival"] % DAY for row in listed})
        conn.execute(
            mark.on_conflict_do_update(index_elements=["kind", "thread", "day"], set_=more),
            [{"kind": "recorder", "thread": "", "day": day, "touched": 1} for day in days],
        )


def _doomed(max_bytes: int, oldest: int) -> Select:
    """The ids of what does not fit: the newest is kept first, and conflicts, which an Assessment counts, before all."""
    size = func.length(quarantine.c.raw) + func.length(quarantine.c.topic) + func.length(quarantine.c.detail) + ROW
    first = case((quarantine.c.reason == CONFLICT, 0), else_=1)
    kept_first = func.sum(size).over(order_by=(first, quarantine.c.last_arrival.desc(), quarantine.c.id.desc()))
    ranked = select(
        quarantine.c.id, quarantine.c.reason, quarantine.c.last_arrival, kept_first.label("bytes")
    ).subquery()
    too_old = and_(ranked.c.last_arrival < oldest, ranked.c.reason != CONFLICT)
    return select(ranked.c.id).where(or_(ranked.c.bytes > max_bytes, too_old))


def _row(row: RowMapping) -> Quarantined:
    return Quarantined(**{**row, "quantity": row["quantity"] and Quantity(row["quantity"])})


class Quarantine(Connected):
    """What the store says of things refused."""

    _clock: Clock

    def conflicts(self, streams: Sequence[str], start: int, end: int) -> int:
        """How many readings of `streams` with start <= t < end say otherwise than the ones kept, each once. [ms]"""
        with self._reading() as conn:
            return conn.scalar(_CONFLICTS, {"streams": list(streams), "start": start, "end": end}) or 0

    def conflicting(self) -> set[str]:
        """The streams of which some reading says otherwise than the one kept."""
        with self._reading() as conn:
            return set(conn.scalars(select(quarantine.c.topic).where(quarantine.c.reason == CONFLICT).distinct()))

    def quarantine(self, limit: int = 100, reason: str | None = None) -> list[Quarantined]:
        """The `limit` things that were refused last, for `reason` or for any, newest first."""
        newest = select(*_COLUMNS).order_by(quarantine.c.last_arrival.desc(), quarantine.c.id.desc()).limit(limit)
        if reason is not None:
            newest = newest.where(quarantine.c.reason == reason)
        with self._reading() as conn:
            return [_row(row) for row in conn.execute(newest).mappings()]

    def refused_on(self, day: int) -> list[Quarantined]:
        """What was refused first on the UTC day that begins at `day` and is kept still. [ms]"""
        first = quarantine.c.first_arrival
        of = select(*_COLUMNS).where(first >= day, first < day + DAY).order_by(quarantine.c.id)
        with self._reading() as conn:
            return [_row(row) for row in conn.execute(of).mappings()]

    def newest_refused(self) -> list[Quarantined]:
        """Of each topic and reason but conflict what was refused last, newest first."""
        newest = (quarantine.c.last_arrival.desc(), quarantine.c.id.desc())
        place = func.row_number().over(partition_by=(quarantine.c.topic, quarantine.c.reason), order_by=newest)
        ranked = select(quarantine.c.id, place.label("place")).where(quarantine.c.reason != CONFLICT).subquery()
        first = select(ranked.c.id).where(ranked.c.place == 1)
        with self._reading() as conn:
            found = conn.execute(select(*_COLUMNS).where(quarantine.c.id.in_(first)).order_by(*newest)).mappings()
            return [_row(row) for row in found]

    def quarantined(self, number: int) -> Quarantined:
        """The thing of this id. Raises RecordError where there is none, or none any more."""
        with self._reading() as conn:
            row = conn.execute(select(*_COLUMNS).where(quarantine.c.id == number)).mappings().one_or_none()
        if row is None:
            raise RecordError(
                f"there is nothing of number {number}",
                where="quarantine",
                mend="wallclime quarantine list shows what there is",
            )
        return _row(row)

    def drop_quarantined(self, numbers: Sequence[int]) -> int:
        """Take out the things of these ids, which became readings after all; how many there were."""
        with self._writing() as conn:
            return conn.execute(quarantine.delete().where(quarantine.c.id.in_(numbers))).rowcount

    def prune_quarantine(self, max_bytes: int, max_age: int) -> dict[str, int]:
        """Let go what came last more than `max_age` ago [ms], and the oldest of what is more than `max_bytes`.

        Readings in conflict have no age, and go last. Returns reason -> how often the things let go had come, which
        also goes into `quarantine_loss`.
        """
        oldest = self._clock.now() - max_age
        lost: Counter[str] = Counter()
        with self._writing() as conn:
            doomed = quarantine.c.id.in_(_doomed(max_bytes, oldest))
            gone = quarantine.delete().where(doomed).returning(quarantine.c.reason, quarantine.c.count)
            for reason, count in conn.execute(gone):
                lost[reason] += count
            if lost:
                adding = insert(conn, quarantine_loss)
                more = {"count": quarantine_loss.c.count + adding.excluded.count}
                rows = [{"reason": reason, "count": count} for reason, count in sorted(lost.items())]
                conn.execute(adding.on_conflict_do_update(index_elements=["reason"], set_=more), rows)
        return dict(lost)

    def quarantine_loss(self) -> dict[str, int]:
        """Reason -> how often things had come that were let go, ever."""
        with self._reading() as conn:
            return dict(conn.execute(select(quarantine_loss)).all())

    def quarantine_counts(self) -> dict[tuple[str, str], int]:
        """(topic, reason) -> how often; a reading in conflict once, however often it came."""
        often = case((quarantine.c.reason == CONFLICT, 1), else_=quarantine.c.count)
        counted = select(quarantine.c.topic, quarantine.c.reason, func.sum(often)).group_by(
            quarantine.c.topic, quarantine.c.reason
        )
        with self._reading() as conn:
            return {(topic, reason): int(count) for topic, reason, count in conn.execute(counted)}
