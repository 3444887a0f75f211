"""Alarms as they stand: written together with the entries and the messages that tell of them."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence

from sqlalchemy import Connection, Select, select

from monitor.basis.alarm import Alarm, Message, Standing
from monitor.basis.values import SENSORS_CHAIN, Draft, Entry
from monitor.keep.connect import insert
from monitor.keep.log import Log, held
from monitor.keep.outbox import post, withdraw
from monitor.keep.schema import alarm

_WRITTEN_AGAIN = ("standing", "changed", "body")


def _standing(over: bool) -> Select:
    every = select(alarm.c.body).order_by(alarm.c.raised, alarm.c.id)
    return every if over else every.where(alarm.c.standing != Standing.NORMAL.value)


def read_alarms(conn: Connection, query: Select) -> list[Alarm]:
    """The alarms whose bodies `query` selects, in its order."""
    return [Alarm.from_json(json.loads(body)) for body in conn.scalars(query)]


def body_text(one: Alarm) -> str:
    """An alarm as it stands in its row."""
    return json.dumps(one.to_json(), allow_nan=False)


def _write(conn: Connection, alarms: Iterable[Alarm], now: int) -> None:
    rows = [
        {
            "id": one.id,
            "job": one.job,
            "standing": one.standing.value,
            "raised": one.raised,
            "changed": now,
            "body": body_text(one),
        }
        for one in alarms
    ]
    if rows:
        adding = insert(conn, alarm)
        again = {name: adding.excluded[name] for name in _WRITTEN_AGAIN}
        conn.execute(adding.on_conflict_do_update(index_elements=["id"], set_=again), rows)


class Alarms(Log):
    """What the store does with alarms."""

    def record_alarms(
        self,
        entries: Sequence[tuple[str, Draft]],
        alarms: Sequence[Alarm],
        messages: Sequence[Message],
        check: Callable[[list[Alarm]], None] | None = None,
        *,
        withdrawn: Sequence[str] = (),
    ) -> list[Entry]:
        """Write entries (chain, draft), alarms over those of the same id, and messages: all of it or nothing.

        The entries come back as they stand in the log, in the order given; a message whose id there is already is left
        as it was. `check` gets the alarms that are not over, while nobody else can record any, and may raise to stop
        it. `withdrawn` are ids of messages that wait and are not to be told any more. Raises RecordError for a job that
        there is not, StoreError.
        """
        return self._making_room(lambda: self._record(entries, alarms, messages, check, withdrawn))

    def _record(
        self,
        entries: Sequence[tuple[str, Draft]],
        alarms: Sequence[Alarm],
        messages: Sequence[Message],
        check: Callable[[list[Alarm]], None] | None,
        withdrawn: Sequence[str],
    ) -> list[Entry]:
        with self._writing() as conn:
            # In one order, and that of the sensors always: so only one records at a time, on PostgreSQL too.
            ids = {chain: held(conn, chain, False) for chain in sorted({SENSORS_CHAIN, *(name for name, _ in entries)})}
            if check is not None:
                check(read_alarms(conn, _standing(over=False)))
            added = {
                chain: iter(self._put(conn, id_, chain, [draft for name, draft in entries if name == chain]))
                for chain, id_ in ids.items()
            }
            _write(conn, alarms, self._clock.now())
            withdraw(conn, withdrawn)
            post(conn, messages)
        return [next(added[chain]) for chain, _ in entries]

    def alarms(self, *, over: bool = False) -> list[Alarm]:
        """The alarms that stand or wait for somebody who has seen them, those that are `over` too; oldest first."""
        with self._reading() as conn:
            return read_alarms(conn, _standing(over))

    def alarm_history(self, job: str | None = None, since: int = 0) -> list[Alarm]:
        """Every alarm that was written at or after `since` [ms], over or not, of `job` or of all; oldest first."""
        query = _standing(over=True).where(alarm.c.changed >= since)
        with self._reading() as conn:
            return read_alarms(conn, query if job is None else query.where(alarm.c.job == job))

    def prune_alarms(self, before: int, most: int) -> int:
        """Let go at most `most` alarms that are over and were last written before `before` [ms]; how many."""
        old = select(alarm.c.id).where(alarm.c.standing == Standing.NORMAL.value, alarm.c.changed < before)
        going = alarm.delete().where(alarm.c.id.in_(old.order_by(alarm.c.changed).limit(most)))
        with self._writing() as conn:
            return conn.execute(going).rowcount
