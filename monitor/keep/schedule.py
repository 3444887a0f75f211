"""What is done on schedule: the last run of each work, and which periods have had their one run."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from sqlalchemy import Connection, select

from monitor.keep.connect import Connected, insert
from monitor.keep.rows import Doing, Scheduled
from monitor.keep.schema import schedule

PERIODS = 400  # how many runs of a work by its period are remembered
LAST = ""  # in the place of a period: the last run, whatever its period


def put_runs(conn: Connection, runs: Iterable[Scheduled]) -> None:
    """Write the last run of each work over the one before."""
    rows = [{**one._asdict(), "state": one.state.value, "period": LAST} for one in runs]
    if rows:
        adding = insert(conn, schedule)
        again = {name: adding.excluded[name] for name in Scheduled._fields if name != "name"}
        conn.execute(adding.on_conflict_do_update(index_elements=["name", "period"], set_=again), rows)


class Schedule(Connected):
    """What the store does with what is done on schedule."""

    def scheduled(self) -> list[Scheduled]:
        """Every work and its last run, in order of name."""
        wanted = [schedule.c[name] for name in Scheduled._fields]
        query = select(*wanted).where(schedule.c.period == LAST).order_by(schedule.c.name)
        with self._reading() as conn:
            return [Scheduled(**{**row, "state": Doing(row["state"])}) for row in conn.execute(query).mappings()]

    def put_scheduled(self, runs: Sequence[Scheduled]) -> None:
        """Write works and their last runs, and delete what is there of any other work but its periods."""
        other = schedule.c.name.not_in([one.name for one in runs])
        with self._writing() as conn:
            conn.execute(schedule.delete().where(schedule.c.period == LAST, other))
            put_runs(conn, runs)

    def periods_of(self, name: str) -> dict[str, Doing]:
        """The periods of a work that a run was begun of, and how that stands."""
        query = select(schedule.c.period, schedule.c.state).where(schedule.c.name == name, schedule.c.period != LAST)
        with self._reading() as conn:
            return {period: Doing(state) for period, state in conn.execute(query)}

    def claim_period(self, name: str, period: str, now: int, hold: int) -> bool:
        """Take the run of a period upon oneself; whether it is the caller's.

        It is not where the period has had its run, nor while another's, or one that failed, was begun less than `hold`
        from now: so one that died is made up for, and one that fails is not tried again at once. [ms]
        """
        row = {"name": name, "period": period, "state": Doing.RUNNING.value, "started": now, "runs": ""}
        open_ = schedule.c.state != Doing.DONE.value
        # It may have begun after now: the clock was put back.
        free = (schedule.c.started <= now - hold) | (schedule.c.started >= now + hold)
        with self._writing() as conn:
            taking = insert(conn, schedule).on_conflict_do_update(
                index_elements=["name", "period"],
                set_={"state": Doing.RUNNING.value, "started": now},
                where=open_ & free,
            )
            return conn.scalar(taking.returning(schedule.c.name), row) is not None

    def end_period(self, name: str, period: str, now: int, error: str | None = None) -> None:
        """Note that the run of a period ended, well or with `error`. Of old periods the last 400 stay. [ms]"""
        values: dict[str, object] = {"state": Doing.DONE.value, "ended": now}
        if error is not None:
            values = {"state": Doing.FAILED.value, "failed": now, "error": error}
        one = (schedule.c.name == name) & (schedule.c.period != LAST)
        newest = select(schedule.c.period).where(one).order_by(schedule.c.started.desc()).limit(PERIODS)
        with self._writing() as conn:
            conn.execute(schedule.update().where(one, schedule.c.period == period).values(**values))
            conn.execute(schedule.delete().where(one, schedule.c.period.not_in(newest)))
