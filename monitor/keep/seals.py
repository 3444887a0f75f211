"""What was sealed: leaves, what they hold the hashes of, signed heads, keys; all of it is only ever added to."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import chain
from typing import Any

from sqlalchemy import Connection, func, select

from monitor.keep.connect import MARKS, Connected, insert
from monitor.keep.rows import HeadRow, KeyRow, Leaf, Unsealed
from monitor.keep.schema import head, key_statement, leaf, sealed, timestamp, unsealed

_LEAF = [leaf.c[name] for name in Leaf._fields]
_HEAD = [head.c[name] for name in HeadRow._fields]
_FETCH = 10_000  # rows a fetch
_ROWS = 500  # rows a statement: SQLite takes 32,766 parameters


class _OvertakenError(Exception):
    """Another head was made meanwhile."""


def _at_once(conn: Connection, statement: str, rows: Sequence[tuple[Any, ...]]) -> None:
    """Run `statement` with VALUES of `rows` in the place of its {}, in few statements.

    Between two statements busy threads take their turns; with one a row a head of a thousand days would hold the store
    for longer than others wait for it.
    """
    mark = MARKS[conn.dialect.name]
    for begin in range(0, len(rows), _ROWS):
        some = rows[begin : begin + _ROWS]
        row = f"({', '.join([mark] * len(some[0]))})"
        conn.exec_driver_sql(statement.format(f"VALUES {', '.join([row] * len(some))}"), tuple(chain(*some)))


class Seals(Connected):
    """What the store does with seals."""

    def unsealed(self, until: int | None = None, threads: Sequence[tuple[str, str]] | None = None) -> list[Unsealed]:
        """Marks of days that something was kept of since they were sealed, in order of kind, thread and day.

        Of days before `until`, and of the threads (kind, name) that are given, where they are. [ms]
        """
        query = select(unsealed).order_by(unsealed.c.kind, unsealed.c.thread, unsealed.c.day)
        if until is not None:
            query = query.where(unsealed.c.day < until)
        with self._reading() as conn:
            found = [Unsealed(*row) for row in conn.execute(query)]
        return found if threads is None else [one for one in found if (one.kind, one.thread) in set(threads)]

    def append_head(
        self,
        new: HeadRow,
        leaves: Sequence[Leaf],
        *,
        contents: Mapping[int, bytes],
        settled: Sequence[Unsealed],
        statement: KeyRow | None = None,
    ) -> bool:
        """Add a head, the leaves that it is the first to hold, their contents by number and a statement on its key.

        All in one transaction, and the marks `settled` go unless more came since they were read. Nothing is written and
        False comes back where the head before it is not the newest any more. Raises StoreError.
        """
        try:
            with self._writing() as conn:
                adding = insert(conn, head).on_conflict_do_nothing().returning(head.c.number)
                newest = conn.scalar(select(head.c.number).order_by(head.c.number.desc()).limit(1)) or 0
                if newest != new.number - 1 or conn.scalar(adding, new._asdict()) is None:
                    raise _OvertakenError
                _at_once(conn, f"INSERT INTO leaf ({', '.join(Leaf._fields)}) {{}}", leaves)
                _at_once(conn, "INSERT INTO sealed (leaf, bytes) {}", list(contents.items()))
                rows = [(one.number,) for one in leaves if one.kind == "sensor" and one.number in contents]
                _at_once(conn, "INSERT INTO loose (leaf) {}", rows)
                _at_once(conn, f"DELETE FROM unsealed WHERE ({', '.join(Unsealed._fields)}) IN ({{}})", settled)
                if statement is not None:
                    last = conn.scalar(select(key_statement.c.number).order_by(key_statement.c.number.desc()).limit(1))
                    conn.execute(key_statement.insert(), {"number": (last or 0) + 1, **statement._asdict()})
        except _OvertakenError:
            return False
        return True

    def newest_head(self) -> HeadRow | None:
        """The last head; None where nothing is sealed yet."""
        with self._reading() as conn:
            row = conn.execute(select(*_HEAD).order_by(head.c.number.desc()).limit(1)).one_or_none()
        return None if row is None else HeadRow(*row)

    def last_closed(self) -> int | None:
        """The UTC midnight that begins the last day which a head closes; None before the first. [ms]"""
        with self._reading() as conn:
            return conn.scalar(select(func.max(head.c.closes)))

    def heads(self, first: int = 1) -> list[HeadRow]:
        """All heads from number `first` on, oldest first."""
        with self._reading() as conn:
            rows = conn.execute(select(*_HEAD).where(head.c.number >= first).order_by(head.c.number))
            return [HeadRow(*row) for row in rows]

    def leaf_texts(self) -> Iterator[str]:
        """The texts of all leaves, in order; in one look at the store."""
        with self._reading() as conn:
            query = select(leaf.c.text).order_by(leaf.c.number)
            yield from conn.execution_options(yield_per=_FETCH).scalars(query)

    def leaves(self, kind: str, thread: str, *, day: int | None = None) -> list[Leaf]:
        """The leaves of one thread, in order; those of one UTC day alone where it is given. [ms]"""
        query = select(*_LEAF).where(leaf.c.kind == kind, leaf.c.thread == thread).order_by(leaf.c.number)
        if day is not None:
            query = query.where(leaf.c.day == day)
        with self._reading() as conn:
            return [Leaf(*row) for row in conn.execute(query)]

    def last_leaf(self, kind: str, thread: str, record: str | None = None) -> Leaf | None:
        """The last leaf of a thread, of one kind of record where it is given; None where there is none."""
        query = select(*_LEAF).where(leaf.c.kind == kind, leaf.c.thread == thread)
        if record is not None:
            query = query.where(leaf.c.record == record)
        with self._reading() as conn:
            row = conn.execute(query.order_by(leaf.c.number.desc()).limit(1)).one_or_none()
        return None if row is None else Leaf(*row)

    def sealed(self, number: int) -> bytes | None:
        """What the leaf of this number holds the hash of, as it was kept; None where it holds none."""
        with self._reading() as conn:
            return conn.scalar(select(sealed.c.bytes).where(sealed.c.leaf == number))

    def key_statements(self) -> list[KeyRow]:
        """What was said of the keys, oldest first."""
        query = select(key_statement.c.text, key_statement.c.new, key_statement.c.old)
        with self._reading() as conn:
            return [KeyRow(*row) for row in conn.execute(query.order_by(key_statement.c.number))]

    def keep_timestamp(self, head_hash: str, answer: bytes) -> bool:
        """Keep an authority's answer about the head of that hash in hex; False where there is one already."""
        row = {"head": bytes.fromhex(head_hash), "answer": answer}
        with self._writing() as conn:
            adding = insert(conn, timestamp).on_conflict_do_nothing().returning(timestamp.c.head)
            return conn.scalar(adding, row) is not None

    def timestamps(self) -> dict[str, bytes]:
        """Authorities' answers by the hash of the head in hex."""
        with self._reading() as conn:
            return {one.hex(): answer for one, answer in conn.execute(select(timestamp))}
