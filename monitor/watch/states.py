"""What machines are told of each wall, retained by the broker: how it stands now, in a few words and no numbers."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from monitor.basis.alarm import Alarm
from monitor.basis.times import rfc3339
from monitor.rules.assessment import Assessment


def states_of(found: Iterable[Assessment], alarms: Sequence[Alarm]) -> dict[str, Mapping[str, Any]]:
    """Of each job that was judged its state, as of then, with those of the standing `alarms` that are its own."""
    return {one.job: _state(one, [alarm for alarm in alarms if alarm.job == one.job]) for one in found}


def _state(found: Assessment, alarms: Iterable[Alarm]) -> dict[str, Any]:
    verdict = "ready" if found.ready else "not ready"
    return {
        "job": found.job,
        "verdict": verdict if found.phase == "before" else None,
        "phase": found.phase,
        "room": found.now.state,
        "training": found.training,
        "alarms": [_alarm(one) for one in sorted(alarms, key=lambda one: (one.raised, one.id))],
        "as_of": rfc3339(found.as_of),
    }


def _alarm(alarm: Alarm) -> dict[str, Any]:
    return {
        "id": alarm.id,
        "what": alarm.what,
        "where": alarm.where or None,
        "since": rfc3339(alarm.since),
        "priority": alarm.priority.value,
        "standing": alarm.standing.value,
    }
