"""The condition log: entries are only ever added, each bound to the one before it."""

from __future__ import annotations

import json
import secrets
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, false, func, or_, select

from monitor.basis.clock import Clock
from monitor.basis.errors import RecordError, StoreError
from monitor.basis.values import SENSORS_CHAIN, Draft, Entry, Kind
from monitor.keep.ballast import Ballast
from monitor.keep.connect import Connected, insert, is_full
from monitor.keep.schema import chain, entry

Link = Callable[[bytes, Entry], bytes]  # (the link before, the entry) -> its link; from seal

SALT = 16  # [bytes]
NO_LINK = bytes(32)

_COLUMNS = [
    entry.c[name] for name in ("number", "kind", "at", "entered", "who", "corrects", "salt", "link")
]  # fmt: skip
_KINDS = {kind.value: kind for kind in Kind}
_SIZE = select(func.count()).select_from(entry)


def held(conn: Connection, name: str, new: bool) -> int:
    """The id of a chain, which nobody else can write to until the transaction ends. Raises RecordError."""
    if new or name == SENSORS_CHAIN:
        made = conn.scalar(insert(conn, chain).on_conflict_do_nothing().returning(chain.c.id), {"name": name})
        if new and made is None:
            raise RecordError(
                f"there is a job {name!r} already", where=f"job {name}", mend="Choose another name for the new job"
            )
    found = conn.scalar(select(chain.c.id).where(chain.c.name == name).with_for_update())
    if found is None:
        raise RecordError(
            f"there is no job {name!r}", where=f"job {name}", mend="wallclime job list shows the jobs there are"
        )
    return found


def _lean(body: dict[str, Any]) -> dict[str, Any]:
    """The same with words that all entries share: whoever remembers the logs of many jobs holds each but once."""
    return {sys.intern(key): sys.intern(value) if isinstance(value, str) else value for key, value in body.items()}


def entries_of(conn: Connection, name: str) -> list[Entry]:
    """All entries of a chain, from its first."""
    query = select(*_COLUMNS, entry.c.body).join(chain).where(chain.c.name == name).order_by(entry.c.number)
    rows: Sequence[Any] = conn.execute(query).all()
    text = f"[{','.join([row[-1] for row in rows])}]"  # at once: of thousands each would take its time
    bodies = json.loads(text, object_hook=_lean)
    return [
        Entry(sys.intern(name), number, _KINDS[kind], at, entered, sys.intern(who), body, corrects, salt, link)
        for (number, kind, at, entered, who, corrects, salt, link, _), body in zip(rows, bodies, strict=True)
    ]


def _head(conn: Connection, name: str) -> tuple[int, bytes]:
    query = select(entry.c.number, entry.c.link).join(chain).where(chain.c.name == name)
    row = conn.execute(query.order_by(entry.c.number.desc()).limit(1)).one_or_none()
    return (0, NO_LINK) if row is None else (row.number, row.link)


def _text(body: Mapping[str, Any]) -> str:
    return json.dumps(dict(body), allow_nan=False)


def rows_of(chain_id: int, added: Iterable[Entry]) -> list[dict[str, object]]:
    """Entries as rows of their table."""
    return [
        {
            "chain_id": chain_id,
            "number": one.number,
            "kind": one.kind.value,
            "at": one.at,
            "entered": one.entered,
            "who": one.who,
            "body": _text(one.body),
            "corrects": one.corrects,
            "salt": one.salt,
            "link": one.link,
        }
        for one in added
    ]


class Log(Connected):
    """What the store does with the condition log."""

    _clock: Clock
    _link: Link
    _ballast: Ballast | None

    def append(
        self,
        chain: str,
        drafts: Sequence[Draft],
        *,
        new: bool = False,
        check: Callable[[list[Entry]], None] | None = None,
    ) -> list[Entry]:
        """Add entries to `chain`, all or none, and answer them as they stand in the log.

        `new` begins a chain; only that of the sensors begins by itself. `check` gets the entries so far, while nobody
        else can add one, and may raise to stop it. A body is JSON: str, int, finite float, bool, None, lists and dicts
        with str keys come back as they were. On a full disk the ballast makes room. Raises RecordError, StoreError.
        """
        return self._making_room(lambda: self._add(chain, drafts, new, check))

    def _making_room(self, write: Callable[[], list[Entry]]) -> list[Entry]:
        """What `write` answers; on a full disk the ballast goes, and it is called again."""
        try:
            return write()
        except StoreError as exc:
            if self._ballast is None or not is_full(exc) or not self._ballast.drop():
                raise
            return write()

    def _add(
        self, chain: str, drafts: Sequence[Draft], new: bool, check: Callable[[list[Entry]], None] | None
    ) -> list[Entry]:
        with self._writing() as conn:
            chain_id = held(conn, chain, new)
            if check is not None:
                check(entries_of(conn, chain))
            return self._put(conn, chain_id, chain, drafts)

    def _put(self, conn: Connection, chain_id: int, chain: str, drafts: Sequence[Draft]) -> list[Entry]:
        """Add entries to a chain that is held."""
        added = self._linked(chain, drafts, *_head(conn, chain))
        if added:
            conn.execute(entry.insert(), rows_of(chain_id, added))
        return added

    def _linked(self, chain: str, drafts: Sequence[Draft], last: int, link: bytes) -> list[Entry]:
        """The drafts as the entries that follow the one of number `last` and `link`."""
        entered, added = self._clock.now(), []
        for number, draft in enumerate(drafts, last + 1):
            one = Entry(
                chain=chain,
                number=number,
                kind=draft.kind,
                at=draft.at,
                entered=entered,
                who=draft.who,
                body=json.loads(_text(draft.body)),  # as it will be read back
                corrects=draft.corrects,
                salt=secrets.token_bytes(SALT),
                link=b"",
            )
            link = self._link(link, one)
            added.append(one._replace(link=link))
        return added

    def entries(self, chain: str) -> list[Entry]:
        """`chain` from its first entry; a chain that was never begun has none."""
        with self._reading() as conn:
            return entries_of(conn, chain)

    def chains(self) -> list[str]:
        """The names of all chains in order, that of the sensors too."""
        with self._reading() as conn:
            return sorted(conn.scalars(select(chain.c.name)))

    def chains_saying(self, texts: Iterable[str]) -> set[str]:
        """The names of the chains in which some body has one of `texts` as a string of its own; perhaps others too."""
        saying = [entry.c.body.contains(json.dumps(text), autoescape=True) for text in texts]
        with self._reading() as conn:
            return set(conn.scalars(select(chain.c.name).join(entry).where(or_(false(), *saying)).distinct()))

    def log_size(self) -> int:
        """How many entries all chains have; none ever goes, so whoever finds as many as before has read them all."""
        with self._reading() as conn:
            return conn.scalar(_SIZE) or 0

    def chain_heads(self) -> dict[str, tuple[int, bytes]]:
        """Number and link of the last entry of every chain that has one."""
        last = select(entry.c.chain_id, func.max(entry.c.number).label("number")).group_by(entry.c.chain_id).subquery()
        of = (entry.c.chain_id == last.c.chain_id) & (entry.c.number == last.c.number)
        query = select(chain.c.name, entry.c.number, entry.c.link).select_from(entry).join(last, of).join(chain)
        with self._reading() as conn:
            return {name: (number, link) for name, number, link in conn.execute(query)}

    def head(self, chain: str) -> tuple[int, bytes]:
        """Number and link of the last entry of `chain`; (0, 32 zero bytes) when it has none."""
        with self._reading() as conn:
            return _head(conn, chain)
