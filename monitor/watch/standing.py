"""The line of a status on the alarms that stand."""

from __future__ import annotations

from monitor.watch.desk import Desk


def standing_alarms(desk: Desk, job: str | None) -> list[str]:
    """The line on the alarms that stand, of a job or of all; none where none does."""
    every = desk.store.alarms()
    if not every:
        return []
    from monitor.rules.alarm.grouping import jobs_of  # only now: there is a lot behind these words
    from monitor.tell.alarm.alarms import standing_line
    from monitor.watch.service.alarming import shown_to

    line = standing_line([one for one in every if job is None or job in jobs_of(one)], shown_to(desk, None))
    return [line] if line else []
