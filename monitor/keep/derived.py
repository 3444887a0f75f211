"""What is made from readings and can be made again: checkpoints, and the marks that say what is out of date."""

from __future__ import annotations

import json
from collections.abc import Sequence

from sqlalchemy import Connection, bindparam, select

from monitor.basis.errors import StoreError
from monitor.basis.times import rfc3339
from monitor.keep.connect import SOME, Connected, bulk, insert, over
from monitor.keep.forget import erased_chains
from monitor.keep.rows import Checkpoint, CheckpointHead, Dirty, Stale
from monitor.keep.schema import checkpoint, dirty, generation

_ONE_MORE = "ON CONFLICT (job) DO UPDATE SET value = generation.value + 1"
_RAISE = {
    "sqlite": f"INSERT INTO generation (job, value) VALUES (?, 1) {_ONE_MORE}",
    "postgresql": f"INSERT INTO generation (job, value) SELECT job, 1 FROM unnest(%s::text[]) AS new (job) {_ONE_MORE}",
}


def _raise_generation(conn: Connection, jobs: Sequence[str]) -> None:
    """Raise that of each job by one; sorted and named once, so that two writers never wait for each other."""
    if jobs:
        bulk(conn, _RAISE, [(job,) for job in jobs])


def _held_generation(conn: Connection, job: str) -> int | None:
    """The generation of a job, which nobody can raise until the transaction ends."""
    conn.execute(insert(conn, generation).on_conflict_do_nothing(), {"job": job, "value": 0})
    return conn.scalar(select(generation.c.value).where(generation.c.job == job).with_for_update())


_DIRTY = select(dirty.c.id, dirty.c.stream, dirty.c.first_t, dirty.c.last_t).order_by(dirty.c.id)
_GENERATION = select(generation.c.value).where(generation.c.job == bindparam("of"))
_HEADS = (
    select(*(checkpoint.c[name] for name in CheckpointHead._fields))
    .where(checkpoint.c.job == bindparam("of"), checkpoint.c.variant == bindparam("under"))
    .order_by(checkpoint.c.midnight)
)
_STATE = select(checkpoint.c.exit_state).where(
    checkpoint.c.job == bindparam("of"),
    checkpoint.c.variant == bindparam("under"),
    checkpoint.c.midnight == bindparam("at"),
)
# Of each thing that is new: what rests on it. A stream is found in the text of the list of those that are open.
_MARK_STALE = (
    checkpoint.update()
    .where(
        checkpoint.c.job == bindparam("of"),
        checkpoint.c.stale == 0,
        checkpoint.c.covers_from <= bindparam("last"),
        (checkpoint.c.depends_until >= bindparam("first")) | checkpoint.c.open.like(bindparam("open_to"), escape="/"),
    )
    .values(stale=1)
)


_THERE = select(dirty.c.id).where(dirty.c.id.in_(SOME)).order_by(dirty.c.id).with_for_update()
_TAKE = dirty.delete().where(dirty.c.id.in_(_THERE.scalar_subquery())).returning(dirty.c.stream)


def _taken(conn: Connection, ids: Sequence[int]) -> list[str]:
    """Delete those of the marks that are there still; their streams.

    They are held in order of their ids, so that two that settle never wait for each other.
    """
    return [row.stream for row in over(conn, _TAKE, sorted(ids))]


def _mark_stale(conn: Connection, news: Sequence[Stale]) -> None:
    """Mark the checkpoints that rest on readings of `news`."""
    rows = [
        {"of": one.job, "first": one.first_t, "last": one.last_t, "open_to": f"%{_escaped(json.dumps(one.stream))}%"}
        for one in sorted(news)
    ]
    if rows:
        conn.execute(_MARK_STALE, rows)


def _escaped(text: str) -> str:
    """A text as LIKE takes it."""
    return text.replace("/", "//").replace("%", "/%").replace("_", "/_")


def _row(job: str, variant: str, one: Checkpoint) -> dict[str, object]:
    return {"job": job, "variant": variant, "stale": 0, **one._asdict(), "open": json.dumps(one.open)}


class Derived(Connected):
    """What the store does with derived rows: a cache; without them everything is computed from the readings."""

    def dirty(self) -> list[Dirty]:
        """New readings that were not settled yet, in the order they were marked."""
        with self._reading() as conn:
            return [Dirty(*row) for row in conn.execute(_DIRTY)]

    def settle_dirty(self, ids: Sequence[int], stale: Sequence[Stale]) -> None:
        """Delete the marks `ids`; the checkpoints of each job that rest on its new readings become stale.

        The generation of each such job is raised. All in one transaction. What somebody else is settling just now is
        waited for, not skipped: a job must not be judged as if those readings were not there; nor is it settled twice.
        """
        with self._writing() as conn:
            taken = _taken(conn, ids)
            streams = set(taken)
            news = stale if len(taken) == len(set(ids)) else [one for one in stale if one.stream in streams]
            _raise_generation(conn, sorted({one.job for one in news}))
            _mark_stale(conn, news)

    def checkpoint_heads(self, job: str, variant: str) -> list[CheckpointHead]:
        """The checkpoints of a job in order of midnight, without their states."""
        with self._reading() as conn:
            rows = conn.execute(_HEADS, {"of": job, "under": variant}).all()
        return [
            CheckpointHead(
                midnight=row.midnight,
                covers_from=row.covers_from,
                depends_until=row.depends_until,
                open=() if row.open == "[]" else tuple(json.loads(row.open)),
                rules_version=row.rules_version,
                frame=row.frame,
                before=row.before,
                after=row.after,
                stale=bool(row.stale),
                product=row.product,
            )
            for row in rows
        ]

    def checkpoint_state(self, job: str, variant: str, midnight: int) -> bytes:
        """The state at a midnight. Raises StoreError when there is no such checkpoint. [ms]"""
        with self._reading() as conn:
            found = conn.scalar(_STATE, {"of": job, "under": variant, "at": midnight})
        if found is None:
            raise StoreError(
                f"there is no checkpoint of {rfc3339(midnight)} ({variant})",
                where=f"job {job}",
                mend="It was made anew meanwhile: try again",
            )
        return found

    def generation(self, job: str) -> int:
        """How often something that the job's checkpoints may rest on has changed."""
        with self._reading() as conn:
            return conn.scalar(_GENERATION, {"of": job}) or 0

    def put_checkpoints(
        self, job: str, variant: str, rows: Sequence[Checkpoint], *, drop: Sequence[int] = (), generation: int
    ) -> bool:
        """Write checkpoints over those of the same midnights and delete those of `drop`, in one transaction.

        Only if the job's generation is still the one given, which was read before they were computed: else readings
        came meanwhile, nothing is written and False comes back.
        """
        of = (checkpoint.c.job == job) & (checkpoint.c.variant == variant)
        with self._writing() as conn:
            if _held_generation(conn, job) != generation:
                return False
            for midnight in [*drop, *(row.midnight for row in rows)]:
                conn.execute(checkpoint.delete().where(of, checkpoint.c.midnight == midnight))
            if rows:
                conn.execute(checkpoint.insert(), [_row(job, variant, row) for row in rows])
        return True

    def generations(self) -> dict[str, int]:
        """The generation of every job that has one and is not forgotten."""
        known = select(generation).where(generation.c.job.not_in(erased_chains()))
        with self._reading() as conn:
            return {row.job: row.value for row in conn.execute(known)}

    def forget_checkpoints(self, job: str) -> None:
        """Delete all checkpoints of a job and raise its generation, so that none computed before is put back."""
        with self._writing() as conn:
            _raise_generation(conn, [job])
            conn.execute(checkpoint.delete().where(checkpoint.c.job == job))
