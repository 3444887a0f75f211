"""What several processes over one store divide among them: the one schedule, and the jobs that are to be judged."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from sqlalchemy import Connection, func, or_, select
from sqlalchemy.exc import DBAPIError

from monitor.keep.connect import Connected, door, insert
from monitor.keep.forget import erased_chains
from monitor.keep.schema import generation, judged

HELD = 120_000  # how long jobs stay in the hands of a judge that says nothing more of them [ms]

_LOCK = 0x77616C6C  # "wall": with the schema's, the number of the advisory lock of whoever leads
# A server notices within 25 s that the computer of whoever leads is gone; that the process is, at once.
_ALIVE = "SET tcp_keepalives_idle = 10; SET tcp_keepalives_interval = 5; SET tcp_keepalives_count = 3"


class Turns(Connected):
    """What the store does so that nothing is done twice."""

    _leading: Connection | None = None

    @property
    def is_shared(self) -> bool:
        """Whether several daemons may work on it: an SQLite file has one."""
        return self._engine.dialect.name == "postgresql"

    def lead(self) -> bool:
        """Whether the caller's process does what only one may, from now on until it ends or loses its connection.

        To be asked again and again: then another follows who is gone. Of an SQLite file everybody leads. Not to be
        called from two threads at once. Raises StoreError.
        """
        if not self.is_shared:
            return True
        with door(self._where):
            try:
                if self._leading is not None:
                    self._leading.exec_driver_sql("SELECT 1")
                    return True
                return self._take_the_lead()
            except DBAPIError:
                self.give_up_lead()
                raise

    def _take_the_lead(self) -> bool:
        conn = self._engine.connect().execution_options(isolation_level="AUTOCOMMIT")
        conn.detach()  # no other work is to be done over it, and closing it lets the lock go
        self._leading = conn
        conn.exec_driver_sql(_ALIVE)
        if conn.scalar(select(func.pg_try_advisory_lock(_LOCK, func.hashtext(func.current_schema())))):
            return True
        self.give_up_lead()
        return False

    def give_up_lead(self) -> None:
        """Lead no more, if the process did."""
        leading, self._leading = self._leading, None
        if leading is not None:
            leading.close()

    def take_jobs(self, now: int, rules_version: int, limit: int) -> dict[str, int]:
        """Jobs to be judged, and the generation of each, which nobody else gets for two minutes; none where none is.

        Those that changed since they were judged last, or were judged by other rules, or are due to be complete. [ms]
        """
        due = or_(
            judged.c.generation != generation.c.value, judged.c.rules_version != rules_version, judged.c.due <= now
        )
        # It may have been taken after now: the clock was put back, further than the clocks of two computers differ.
        free = or_(judged.c.taken_until <= now, judged.c.taken_until > now + 2 * HELD)
        found = (
            select(judged.c.job, generation.c.value)
            .join(generation, generation.c.job == judged.c.job)
            .where(due, free, judged.c.job.not_in(erased_chains()))
            .order_by(judged.c.taken_until, judged.c.job)
            .limit(limit)
            .with_for_update(of=judged, skip_locked=True)
        )
        with self._writing() as conn:
            _add_new(conn)
            jobs = {row.job: row.value for row in conn.execute(found)}
            conn.execute(judged.update().where(judged.c.job.in_(list(jobs))).values(taken_until=now + HELD))
        return jobs

    def put_judged(self, jobs: Mapping[str, tuple[int, int | None]], rules_version: int) -> None:
        """Note of each job the generation that was judged, and when time alone would complete it. [ms]"""
        with self._writing() as conn:
            for job, (number, due) in sorted(jobs.items()):
                done = {"generation": number, "rules_version": rules_version, "due": due, "taken_until": 0}
                conn.execute(judged.update().where(judged.c.job == job).values(done))


def _add_new(conn: Connection) -> None:
    """A row for each job that has none yet."""
    known = select(judged.c.job)
    new: Iterable[str] = conn.scalars(select(generation.c.job).where(generation.c.job.not_in(known))).all()
    rows = [{"job": job, "generation": -1, "rules_version": 0, "due": None, "taken_until": 0} for job in sorted(new)]
    if rows:
        conn.execute(insert(conn, judged).on_conflict_do_nothing(), rows)
