"""wallclime sensor add --from: many sensors named and placed at once."""

from __future__ import annotations

from pathlib import Path

import typer

from cli.common import desk, say


def add_all(context: typer.Context, path: Path, who: str) -> None:
    """Name and place the sensors of a list; what was done."""
    from monitor.tell.words import counted_things
    from monitor.watch.sensing.sensor_list import read_sensors, take_in

    listed = read_sensors(path)
    with desk(context) as at:
        done = take_in(at, listed, who=who)
    say(f"added {counted_things(len(done.added), 'sensor')}, brought {len(done.brought)} to a place")
    for moved in done.moved:
        say(f"  moved: {moved}")
    if done.stayed:
        say(f"left as they are: {done.stayed}")
