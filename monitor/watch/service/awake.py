"""Whether a daemon is there, and what people should know of it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from monitor.basis.times import DAY, SECOND, datetime_of
from monitor.config.shares import narrowed
from monitor.keep.rows import DaemonState, Part
from monitor.watch.desk import Desk
from monitor.watch.evidence.silences import AWAY_AFTER

REMEMBERED = 7 * DAY  # how long a part that nobody does any more is spoken of [ms]


def lives(daemon: DaemonState, now: int) -> bool:
    """Whether a daemon gave a sign of life lately, and did not say that it ends. [ms]"""
    return not daemon.state.get("stopped") and now - daemon.last <= AWAY_AFTER


def workers(desk: Desk) -> list[DaemonState]:
    """Of several daemons with parts those that are there, and of a part that nobody does now who did it last.

    In order of their parts; none that was there last a week ago, nor of a share that there is no more.
    """
    shares, now = {None, *(share.name for share in desk.settings.shares)}, desk.clock.now()
    found: dict[str, list[DaemonState]] = {}
    for one in sorted(desk.store.daemons(now - REMEMBERED), key=lambda one: one.last):
        if one.part is None or one.part.share in shares:
            found.setdefault(called(one.part), []).append(one)
    if not found.keys() - {called(None)}:
        return []
    return [
        one for part in sorted(found) for one in [each for each in found[part] if lives(each, now)] or found[part][-1:]
    ]


def living(desk: Desk, now: int) -> list[DaemonState]:
    """The daemons that are there: the newest, and of several with parts each. [ms]"""
    newest = desk.store.daemon_state()
    found = workers(desk) or ([] if newest is None else [newest])
    return [one for one in found if lives(one, now)]


def latest(desk: Desk) -> dict[str, Sequence[str]]:
    """Of each sensor without a name the last topic and payload that a daemon heard."""
    newest = desk.store.daemon_state()
    found = workers(desk) or ([] if newest is None else [newest])
    return {stream: said for one in found for stream, said in one.state.get("latest", {}).items()}


def called(part: Part | None) -> str:
    """How a daemon was started, as "intake of share north"."""
    if part is None:
        return "all"
    return part.role if part.share is None else f"{part.role} of share {part.share}"


def worker_lines(desk: Desk) -> list[str]:
    """A line of each of several daemons: its part, and when it was there last."""
    now = desk.clock.now()
    return [f"serve {called(one.part)}: {_there(one, now)}" for one in workers(desk)]


def _there(one: DaemonState, now: int) -> str:
    if lives(one, now):
        return f"last sign of life {max(now - one.last, 0) // SECOND} s ago"
    return f"{'stopped' if one.state.get('stopped') else 'not there since'} {_minute(one.last)}"


def _minute(ms: int) -> str:
    return datetime_of(ms).isoformat(sep=" ", timespec="minutes")


def daemon_trouble(desk: Desk) -> list[str]:
    """What people should know of the daemon, if anything: that it is away, or what is wrong with its connection.

    Of several: which part nobody does.
    """
    newest, there = desk.store.daemon_state(), living(desk, desk.clock.now())
    if newest is None:
        return []
    if not there:
        return [f"wallclime serve is not running; it was there last at {_minute(newest.last)}"]
    links = [line for one in there for link in one.state.get("links", ()) for line in _link_trouble(link)]
    return [*_undone(desk, there), *links]


def _undone(desk: Desk, there: Sequence[DaemonState]) -> Iterator[str]:
    """The parts that none of those that are there does."""
    parts = [one.part for one in there]
    if None in parts:
        return
    roles = {part.role for part in parts if part is not None}
    for role, what in (("judge", "judges"), ("schedule", "tells alarms, seals and tidies up")):
        if roles.isdisjoint({role, "all"}):
            yield f"nobody {what}: start wallclime serve --role {role}"
    hears = [filter_ for part in parts if part is not None for filter_ in part.hears]
    for share in desk.settings.shares:
        if not narrowed(hears, share.topics):
            yield f"nobody hears share {share.name}: start wallclime serve --role intake --share {share.name}"
    if not desk.settings.shares and not hears:
        yield "nobody hears the sensors: start wallclime serve --role intake"


def _link_trouble(link: Mapping[str, Any]) -> list[str]:
    told = [link["last_error"]] if link["last_error"] else []
    if not link["connected"] and not told:
        told.append(f"wallclime serve has no connection to the broker {link['broker']}")
    if link["marker_missing"]:
        told.append(
            "the daemon may not publish on its own topic: messages without a time are refused. "
            f"Let its user write to wallclime/{link['client_id']}/marker"
        )
    return told
