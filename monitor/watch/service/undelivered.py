"""What people should know of messages that were not told: who can't be reached, and what was given up."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from itertools import groupby

from monitor.basis.times import DAY, rfc3339
from monitor.keep.rows import Outgoing, Post
from monitor.tell.words import counted_things as counted
from monitor.watch.desk import Desk
from monitor.watch.examining import IllError

SHOWN_FOR = 7 * DAY  # how long what was given up is spoken of; ours [ms]


def trouble(desk: Desk) -> list[str]:
    """A line for each contact that does not take its messages, and for each that some were given up for of late."""
    since = desk.clock.now() - SHOWN_FOR
    lost = [out for out in desk.store.dead_letters() if out.at > since]
    return [*_lines(desk.store.outbox_failing(), _waiting), *_lines(lost, _given_up)]


def _lines(outgoing: Iterable[Outgoing], word: Callable[[str, list[Outgoing]], str]) -> list[str]:
    ordered = sorted(outgoing, key=lambda out: (out.message.contact, out.message.made))
    return [word(contact, list(some)) for contact, some in groupby(ordered, key=lambda out: out.message.contact)]


def _waiting(contact: str, some: list[Outgoing]) -> str:
    since = rfc3339(min(out.message.made for out in some))
    last = max(some, key=lambda out: out.at)
    return f"{contact}: {counted(len(some), 'message')} could not be told yet, the first of {since}: {last.error}"


def _given_up(contact: str, some: list[Outgoing]) -> str:
    last = max(some, key=lambda out: out.at)
    were = "was" if len(some) == 1 else "were"
    return f"{contact}: {counted(len(some), 'message')} {were} given up, the last at {rfc3339(last.at)}: {last.error}"


def examined(desk: Desk) -> str:
    """For the doctor: how many messages wait and were told. Raises IllError where some were not."""
    for line in trouble(desk):
        raise IllError(line, "See to the contact, then try it: wallclime alarm test")
    found = desk.store.outbox_counts()
    return f"{counted(found[Post.WAITING], 'message')} on the way, {found[Post.SENT]} told, none of them in vain"
