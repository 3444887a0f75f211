"""Forgetting: what entries said is erased, what binds their chain stays.

Of an erased entry the row keeps chain, number, time entered and link; in place of the rest stand the kind "erased", who
asked for it, the hash of the body that was and the number of the entry that tells why.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, bindparam, select

from monitor.basis.alarm import HOUSE, Alarm
from monitor.basis.errors import StoreError
from monitor.basis.values import Draft, Entry, Kind
from monitor.keep.alarms import body_text, read_alarms
from monitor.keep.connect import door
from monitor.keep.log import Log, entries_of, held, rows_of
from monitor.keep.outbox import forget_messages
from monitor.keep.schema import alarm, attachment, chain, checkpoint, entry

_DIGEST = re.compile("[0-9a-f]{64}")
_IN_USE = "somebody reads it all the time, so that what was erased still stands in the file beside it (-wal)"
_VACUUM = "VACUUM FULL entry, attachment, checkpoint, alarm, outbox"
_WITH_READINGS = ", reading, sealed"
_AGAIN = "Stop the daemon and other commands, then give the same command again"


def erased_chains() -> Select:
    """The names of the chains whose very first entry is erased: nothing of them is left but links."""
    first = (entry.c.number == 1) & (entry.c.kind == Kind.ERASED.value)
    return select(chain.c.name).select_from(entry).join(chain).where(first)


def _digests(value: Any) -> Iterator[str]:
    """Every text within a body that may be the SHA-256 of a file."""
    if isinstance(value, str) and _DIGEST.fullmatch(value):
        yield value
    elif isinstance(value, dict | list):
        for part in value.values() if isinstance(value, dict) else value:
            yield from _digests(part)


def _drop_files(conn: Connection, erased: Iterable[Entry]) -> int:
    """Delete the files that the erased entries name and no entry does that is left; how many."""
    named = sorted({one for each in erased for one in _digests(each.body)})
    gone = [
        one for one in named if conn.scalar(select(entry.c.number).where(entry.c.body.contains(one)).limit(1)) is None
    ]
    going = attachment.delete().where(attachment.c.sha256.in_([bytes.fromhex(one) for one in gone]))
    return conn.execute(going).rowcount


class Forgetting(Log):
    """What the store does to forget."""

    def forget(
        self, chain: str, tombstone: Callable[[list[Entry]], Draft], *, body_hash: Callable[[Entry], bytes]
    ) -> tuple[Entry, int]:
        """Erase entries of `chain` and leave one that says so; that entry, and how many files went with them.

        `tombstone` gets the entries so far, while nobody else can add one, and answers the entry to leave, whose body
        lists the numbers to erase as "entries"; it may raise to stop it. `body_hash` is that of seal. Where the first
        entry goes, what was derived for the job goes too, with its alarms and the messages that name it. `scrub` is to
        follow. Raises RecordError, StoreError.
        """
        with self._writing() as conn:
            chain_id = held(conn, chain, new=False)
            before = entries_of(conn, chain)
            draft = tombstone(before)
            [left] = self._linked(chain, [draft], len(before), before[-1].link)
            conn.execute(entry.insert(), rows_of(chain_id, [left]))
            going = [one for one in before if one.number in draft.body["entries"]]
            _erase(conn, chain_id, going, left, body_hash)
            files = _drop_files(conn, going)
            if any(one.number == 1 for one in going):
                _drop_job(conn, chain)
            else:
                _take_reasons(conn, {one.body["alarm"] for one in going if one.kind is Kind.ALARM})
        return left, files

    def forgotten(self) -> set[str]:
        """The names of the chains of which nothing is left but links."""
        with self._reading() as conn:
            return set(conn.scalars(erased_chains()))

    def scrub(self, *, readings: bool = False) -> None:
        """Write the file anew without the bytes of what was erased, which may stand in its free space and its -wal.

        PostgreSQL: the tables of the log, the files, the alarms and the messages, and with `readings` theirs. Raises
        StoreError; then it is to be called again.
        """
        on_sqlite = self._engine.dialect.name == "sqlite"
        options = {"begin": ""} if on_sqlite else {"isolation_level": "AUTOCOMMIT"}
        with door(self._where), self._engine.connect().execution_options(**options) as conn:
            conn.exec_driver_sql("VACUUM" if on_sqlite else f"{_VACUUM}{_WITH_READINGS if readings else ''}")
            if on_sqlite and conn.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)").one()[0]:
                raise StoreError(_IN_USE, where=self._where, mend=_AGAIN)


def _drop_job(conn: Connection, job: str) -> None:
    """Delete what was derived for a job, its alarms, its name in those of others, and the messages that name it."""
    conn.execute(checkpoint.delete().where(checkpoint.c.job == job))
    gone = conn.scalars(alarm.delete().where(alarm.c.job == job).returning(alarm.c.id)).all()
    forget_messages(conn, job, [*gone, *_take_out(conn, job)])


def _take_out(conn: Connection, job: str) -> list[str]:
    """Let no alarm of a sensor or of the program name a job any more; the ids of those that did.

    One that concerned no other job goes; of the others goes why somebody shelved them, for it may speak of the job.
    """
    named = []
    for one in _alarms(conn, alarm.c.job == HOUSE):
        jobs, error = one.facts.get("jobs", ()), str(one.facts.get("error") or "")
        if job not in jobs and job not in error:
            continue
        named.append(one.id)
        if list(jobs) == [job]:
            conn.execute(alarm.delete().where(alarm.c.id == one.id))
            continue
        clean = {"jobs": [other for other in jobs if other != job]} if jobs else {"error": ""}
        _write_over(conn, replace(one, facts={**one.facts, **clean}, shelved_by="", shelved_reason=""))
    return named


def _take_reasons(conn: Connection, ids: Iterable[str]) -> None:
    """Let alarms no longer say why somebody shelved them."""
    for one in _alarms(conn, alarm.c.id.in_(sorted(ids))):
        _write_over(conn, replace(one, shelved_reason=""))


def _alarms(conn: Connection, which: ColumnElement[bool]) -> list[Alarm]:
    return read_alarms(conn, select(alarm.c.body).where(which))


def _write_over(conn: Connection, one: Alarm) -> None:
    conn.execute(alarm.update().where(alarm.c.id == one.id).values(body=body_text(one)))


def _erase(
    conn: Connection, chain_id: int, going: Iterable[Entry], left: Entry, body_hash: Callable[[Entry], bytes]
) -> None:
    rows = [
        {
            "of": one.number,
            "then": one.entered,
            "said": json.dumps({"body_hash": hash_kept(one, body_hash).hex(), "by": left.number}),
        }
        for one in going
    ]
    blank = {"kind": Kind.ERASED.value, "who": left.who, "corrects": None, "salt": b""}
    this = entry.update().where(entry.c.chain_id == chain_id, entry.c.number == bindparam("of"))
    conn.execute(this.values(at=bindparam("then"), body=bindparam("said"), **blank), rows)


def hash_kept(one: Entry, body_hash: Callable[[Entry], bytes]) -> bytes:
    """The hash of what an entry said, also of one that was erased before."""
    return bytes.fromhex(one.body["body_hash"]) if one.kind is Kind.ERASED else body_hash(one)
