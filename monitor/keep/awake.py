"""When a daemon was there to hear, and what it says of itself."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Any

from sqlalchemy import select

from monitor.basis.clock import Clock
from monitor.keep.connect import Connected
from monitor.keep.rows import DaemonState, Scheduled
from monitor.keep.schedule import put_runs
from monitor.keep.schema import awake


class Awake(Connected):
    """What the store does with the times in which a daemon was there."""

    _clock: Clock

    def wake(self) -> int:
        """Note that a daemon starts now; the number under which it says so again."""
        now = self._clock.now()
        row = {"started": now, "last": now, "state": "{}"}
        with self._writing() as conn:
            return int(conn.scalar(awake.insert().values(row).returning(awake.c.id)) or 0)

    def stay_awake(self, number: int, state: Mapping[str, Any], runs: Iterable[Scheduled] = ()) -> None:
        """Note that the daemon of `number` is still there, what it says of itself (JSON-safe), and its last `runs`."""
        row = {"last": self._clock.now(), "state": json.dumps(dict(state))}
        with self._writing() as conn:
            conn.execute(awake.update().where(awake.c.id == number).values(row))
            put_runs(conn, runs)

    def awake(self) -> list[tuple[int, int]]:
        """From when to when a daemon was there, in order. [ms]"""
        with self._reading() as conn:
            rows = conn.execute(select(awake.c.started, awake.c.last).order_by(awake.c.started))
            return [(started, last) for started, last in rows]

    def daemons(self, since: int) -> list[DaemonState]:
        """What every daemon that was there at or after `since` [ms] said of itself last, in order of its start."""
        query = select(awake).where(awake.c.last >= since).order_by(awake.c.started, awake.c.id)
        with self._reading() as conn:
            return [DaemonState(row.started, row.last, json.loads(row.state)) for row in conn.execute(query)]

    def daemon_state(self) -> DaemonState | None:
        """What the newest daemon said of itself last; None where there was never one."""
        with self._reading() as conn:
            row = conn.execute(select(awake).order_by(awake.c.last.desc(), awake.c.id.desc()).limit(1)).one_or_none()
        return None if row is None else DaemonState(row.started, row.last, json.loads(row.state))
