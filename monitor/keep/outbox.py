"""Messages on their way: kept with what they tell of, and until somebody has taken them."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence

from sqlalchemy import ColumnElement, Connection, Row, Select, func, select

from monitor.basis.alarm import Message
from monitor.keep.connect import Connected, insert
from monitor.keep.rows import Outgoing, Post
from monitor.keep.schema import outbox

EXPIRED = "it came too late to be told"

_WAITING = outbox.c.state == Post.WAITING.value


def _message(text: str) -> Message:
    body = json.loads(text)
    return Message(**{**body, "alarms": tuple(body["alarms"]), "jobs": tuple(body["jobs"])})


def _outgoing(row: Row) -> Outgoing:
    return Outgoing(_message(row.message), Post(row.state), row.due, row.tries, row.error)


def post(conn: Connection, messages: Iterable[Message]) -> None:
    """Keep messages to be told; one whose id there is already stays as it was."""
    rows = [
        {
            "id": one.id,
            "state": Post.WAITING.value,
            "due": one.not_before,
            "made": one.made,
            "expires": one.expires,
            "tries": 0,
            "error": None,
            "message": json.dumps({**one._asdict(), "body": dict(one.body)}, allow_nan=False),
        }
        for one in messages
    ]
    if rows:
        conn.execute(insert(conn, outbox).on_conflict_do_nothing(), rows)


def withdraw(conn: Connection, ids: Iterable[str]) -> None:
    """Delete messages that wait: what they were to tell is so no more."""
    for id_ in ids:
        conn.execute(outbox.delete().where(outbox.c.id == id_, _WAITING))


def forget_messages(conn: Connection, job: str, alarms: Sequence[str]) -> None:
    """Delete every message that names `job` or tells of one of `alarms`."""
    doomed = []
    for one in conn.scalars(select(outbox.c.message)):
        message = _message(one)
        if job in message.jobs or not set(alarms).isdisjoint(message.alarms):
            doomed.append(message.id)
    for id_ in doomed:
        conn.execute(outbox.delete().where(outbox.c.id == id_))


class Outbox(Connected):
    """What the store does with messages."""

    def outbox_due(self, now: int, limit: int, contact: str | None = None) -> list[Outgoing]:
        """The first `limit` messages that are to be told by `now` and did not expire, oldest first. [ms]

        Of one `contact`, or of all.
        """
        query = self._of(Post.WAITING).where(outbox.c.due <= now, outbox.c.expires.is_(None) | (outbox.c.expires > now))
        if contact is not None:
            query = query.where(outbox.c.message.contains(f'"contact": {json.dumps(contact)}', autoescape=True))
        with self._reading() as conn:
            rows = conn.execute(query.order_by(outbox.c.made, outbox.c.id).limit(limit))
            found = [_outgoing(row) for row in rows]
        return [one for one in found if contact in (None, one.message.contact)]

    def outbox_claim(self, id_: str, now: int, until: int) -> bool:
        """Take a message that is due, so that no other daemon tells it until then; False where another was first. [ms]

        What became of it is noted by `outbox_sent` or `outbox_failed`; else it is due again at `until`.
        """
        due = (outbox.c.id == id_) & _WAITING & (outbox.c.due <= now)
        with self._writing() as conn:
            return conn.execute(outbox.update().where(due).values(due=until)).rowcount == 1

    def outbox_sent(self, id_: str, at: int) -> None:
        """Note that a message was told. [ms]"""
        self._change(id_, state=Post.SENT.value, due=at)

    def outbox_failed(self, id_: str, at: int, error: str, again_at: int | None) -> None:
        """Note that a message could not be told and why; `again_at` when to try again, None: it is given up. [ms]"""
        state, due = (Post.DEAD, at) if again_at is None else (Post.WAITING, again_at)
        self._change(id_, state=state.value, due=due, tries=outbox.c.tries + 1, error=error)

    def outbox_hurry(self, ids: Iterable[str], at: int) -> None:
        """Let messages that were tried in vain be tried again by `at` [ms]: whoever they are for takes others again."""
        late = outbox.c.id.in_(list(ids)) & _WAITING & (outbox.c.due > at)
        with self._writing() as conn:
            conn.execute(outbox.update().where(late, outbox.c.tries > 0).values(due=at))

    def outbox_failing(self, limit: int = 1_000) -> list[Outgoing]:
        """The first `limit` messages that wait and were tried in vain, oldest first."""
        query = self._of(Post.WAITING).where(outbox.c.tries > 0).order_by(outbox.c.made, outbox.c.id)
        with self._reading() as conn:
            return [_outgoing(row) for row in conn.execute(query.limit(limit))]

    def outbox_expire(self, now: int) -> int:
        """Give up what waits and has expired by `now` [ms]; how many."""
        late = _WAITING & (outbox.c.expires <= now)
        with self._reading() as conn:
            if conn.scalar(select(outbox.c.id).where(late).limit(1)) is None:
                return 0
        return self._give_up(late, now, EXPIRED)

    def outbox_give_up(self, now: int, reason: str) -> int:
        """Give up all that waits, for `reason`; how many. [ms]"""
        return self._give_up(_WAITING, now, reason)

    def outbox_held(self, now: int) -> list[Message]:
        """What is to be told only after `now`, oldest first. [ms]"""
        query = select(outbox.c.message).where(_WAITING, outbox.c.due > now)
        with self._reading() as conn:
            waiting = [_message(text) for text in conn.scalars(query.order_by(outbox.c.made, outbox.c.id))]
        return [one for one in waiting if one.not_before > now]  # not what is claimed, or to be tried again

    def outbox_made(self, after: int) -> dict[str, list[int]]:
        """When the messages to each contact were made, those after `after`, in order. [ms]"""
        query = select(outbox.c.message).where(outbox.c.made > after).order_by(outbox.c.made, outbox.c.id)
        made: dict[str, list[int]] = {}
        with self._reading() as conn:
            for text in conn.scalars(query):
                message = _message(text)
                made.setdefault(message.contact, []).append(message.made)
        return made

    def outbox_counts(self) -> dict[Post, int]:
        """How many messages there are of each state."""
        counted = select(outbox.c.state, func.count()).group_by(outbox.c.state)
        with self._reading() as conn:
            found = {Post(state): count for state, count in conn.execute(counted)}
        return {state: found.get(state, 0) for state in Post}

    def dead_letters(self, limit: int = 100) -> list[Outgoing]:
        """The last `limit` messages that were given up, newest first."""
        query = self._of(Post.DEAD).order_by(outbox.c.due.desc(), outbox.c.id)
        with self._reading() as conn:
            return [_outgoing(row) for row in conn.execute(query.limit(limit))]

    def prune_outbox(self, before: int, most: int) -> int:
        """Let go at most `most` messages that were told or given up before `before` [ms]; how many."""
        old = select(outbox.c.id).where(outbox.c.state != Post.WAITING.value, outbox.c.due < before)
        going = outbox.delete().where(outbox.c.id.in_(old.order_by(outbox.c.due).limit(most)))
        with self._writing() as conn:
            return conn.execute(going).rowcount

    def _of(self, state: Post) -> Select:
        return select(outbox).where(outbox.c.state == state.value)

    def _change(self, id_: str, **values: object) -> None:
        waiting = (outbox.c.id == id_) & _WAITING
        with self._writing() as conn:
            conn.execute(outbox.update().where(waiting).values(**values))

    def _give_up(self, which: ColumnElement[bool], now: int, reason: str) -> int:
        given_up = outbox.update().where(which).values(state=Post.DEAD.value, due=now, error=reason)
        with self._writing() as conn:
            return conn.execute(given_up).rowcount
