"""When a daemon was there to hear."""

from __future__ import annotations

from sqlalchemy import select

from monitor.basis.clock import Clock
from monitor.keep.connect import Connected
from monitor.keep.schema import awake


class Awake(Connected):
    """What the store does with the times in which a daemon was there."""

    _clock: Clock

    def wake(self) -> int:
        """Note that a daemon starts now; the number under which it says so again."""
        now = self._clock.now()
        with self._writing() as conn:
            return int(conn.scalar(awake.insert().values(started=now, last=now).returning(awake.c.id)) or 0)

    def stay_awake(self, number: int) -> None:
        """Note that the daemon of `number` is still there."""
        with self._writing() as conn:
            conn.execute(awake.update().where(awake.c.id == number).values(last=self._clock.now()))

    def awake(self) -> list[tuple[int, int]]:
        """From when to when a daemon was there, in order. [ms]"""
        with self._reading() as conn:
            rows = conn.execute(select(awake.c.started, awake.c.last).order_by(awake.c.started))
            return [(started, last) for started, last in rows]
