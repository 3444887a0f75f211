"""When a daemon was there to hear, what it heard, and what it says of itself."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Any

from sqlalchemy import Row, select

from monitor.basis.clock import Clock
from monitor.keep.connect import Connected
from monitor.keep.rows import DaemonState, Part, Scheduled
from monitor.keep.schedule import put_runs
from monitor.keep.schema import awake, worker


class Awake(Connected):
    """What the store does with the times in which a daemon was there."""

    _clock: Clock

    def wake(self, part: Part | None = None) -> int:
        """Note that a daemon starts now, which is one of several if it has a `part`; the number it goes by."""
        now = self._clock.now()
        row = {"started": now, "last": now, "state": "{}"}
        with self._writing() as conn:
            number = int(conn.scalar(awake.insert().values(row).returning(awake.c.id)) or 0)
            if part is not None:
                hears = json.dumps(part.hears)
                conn.execute(worker.insert().values(awake_id=number, role=part.role, share=part.share, hears=hears))
        return number

    def stay_awake(self, number: int, state: Mapping[str, Any], runs: Iterable[Scheduled] = ()) -> None:
        """Note that the daemon of `number` is still there, what it says of itself (JSON-safe), and its last `runs`."""
        row = {"last": self._clock.now(), "state": json.dumps(dict(state))}
        with self._writing() as conn:
            conn.execute(awake.update().where(awake.c.id == number).values(row))
            put_runs(conn, runs)

    def awake(self) -> list[tuple[int, int, tuple[str, ...] | None]]:
        """From when to when a daemon was there, in order, and the topic filters that it heard, None: all. [ms]"""
        query = select(awake.c.started, awake.c.last, worker.c.hears).outerjoin_from(awake, worker)
        with self._reading() as conn:
            rows = conn.execute(query.order_by(awake.c.started, awake.c.id))
            return [
                (started, last, None if hears is None else tuple(json.loads(hears))) for started, last, hears in rows
            ]

    def daemons(self, since: int = 0) -> list[DaemonState]:
        """What every daemon that was there at or after `since` [ms] said of itself last, in order of its start."""
        with self._reading() as conn:
            rows = conn.execute(_STATES.where(awake.c.last >= since).order_by(awake.c.started, awake.c.id))
            return [_state_of(row) for row in rows]

    def daemon_state(self) -> DaemonState | None:
        """What the newest daemon said of itself last; None where there was never one."""
        newest = _STATES.order_by(awake.c.last.desc(), awake.c.id.desc()).limit(1)
        with self._reading() as conn:
            row = conn.execute(newest).one_or_none()
        return None if row is None else _state_of(row)


_STATES = select(awake, worker.c.role, worker.c.share, worker.c.hears).outerjoin_from(awake, worker)


def _state_of(row: Row) -> DaemonState:
    part = None if row.role is None else Part(row.role, row.share, tuple(json.loads(row.hears)))
    return DaemonState(row.started, row.last, json.loads(row.state), part)
