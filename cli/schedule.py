"""wallclime schedule: what is done at set times."""

from __future__ import annotations

import typer

from cli.common import Json, data, desk, say


def schedule(context: typer.Context, as_json: Json = False) -> None:
    """What wallclime serve does at set times: when, when last, when next, and the last error of each.

    Times are in UTC; what keeps to local clocks, such as a digest, shows theirs too.
    """
    from monitor.tell.timetable import timetable, timetable_json
    from monitor.watch.service.awake import daemon_trouble

    with desk(context) as at:
        works, now, trouble = at.store.scheduled(), at.clock.now(), daemon_trouble(at)
    if as_json:
        data(timetable_json(works))
    elif works:
        data(timetable(works, now))
    if not works:
        say("nothing was done at set times yet: wallclime serve does it")
    for line in trouble:
        say(f"mind: {line}")
