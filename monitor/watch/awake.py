"""Whether a daemon is there, and what people should know of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from monitor.basis.times import datetime_of
from monitor.keep.rows import DaemonState
from monitor.watch.desk import Desk
from monitor.watch.silences import AWAY_AFTER


def lives(daemon: DaemonState, now: int) -> bool:
    """Whether a daemon gave a sign of life lately, and did not say that it ends. [ms]"""
    return not daemon.state.get("stopped") and now - daemon.last <= AWAY_AFTER


def daemon_trouble(desk: Desk) -> list[str]:
    """What people should know of the daemon, if anything: that it is away, or what is wrong with its connection."""
    found = desk.store.daemon_state()
    if found is None:
        return []
    if not lives(found, desk.clock.now()):
        since = datetime_of(found.last).isoformat(sep=" ", timespec="minutes")
        return [f"wallclime serve is not running; it was there last at {since}"]
    return [line for link in found.state.get("links", ()) for line in _link_trouble(link)]


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
