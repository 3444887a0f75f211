"""The morning's digest and the summary of a week or a month: all walls, the worst first, in plain text for a mail.

A wall that no sensor ever stood at is not watched, the record of one that none stands at any more has ended, and one of
which nothing is known is not known: none of them counts as good.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from enum import IntEnum
from itertools import groupby
from shlex import quote
from typing import NamedTuple

from monitor.basis.alarm import Alarm
from monitor.basis.values import Quantity
from monitor.rules.assessment import Assessment, Coverage
from monitor.rules.install.care import Item
from monitor.tell import words
from monitor.tell.alarm import alarms
from monitor.tell.alarm.alarm_facts import CARE
from monitor.tell.alarm.alarm_words import to_do
from monitor.tell.pages import summary
from monitor.tell.pages.summary import Summary, WallSpan
from monitor.tell.words import Display, visible

NOTHING = Coverage()


class Rank(IntEnum):
    """How a wall stands, the worst first."""

    ALARM = 0
    UNJUDGED = 1
    OUT = 2
    NOT_WATCHED = 3
    ENDED = 4
    NOT_KNOWN = 5
    CARE = 6
    GOOD = 7


TAG: Mapping[Rank, str] = {
    Rank.ALARM: "ALARM",
    Rank.UNJUDGED: "CAN'T BE JUDGED",
    Rank.OUT: "OUT OF BAND",
    Rank.NOT_WATCHED: "NOT WATCHED",
    Rank.ENDED: summary.ENDED,
    Rank.NOT_KNOWN: "NOT KNOWN",
    Rank.CARE: "CARE DUE",
    Rank.GOOD: "IN BAND",
}
COUNTED: Mapping[Rank, str] = {
    Rank.ALARM: "in alarm",
    Rank.UNJUDGED: "not judged",
    Rank.OUT: "out of band",
    Rank.NOT_WATCHED: "not watched",
    Rank.ENDED: summary.ENDED.lower(),
    Rank.NOT_KNOWN: "not known",
    Rank.CARE: "with care overdue",
    Rank.GOOD: "in band",
}


class Wall(NamedTuple):
    """One open job: `found` is None where it can't be judged, `trouble` says why then.

    `watched`: a sensor of the air ever stood at the judged place; `ended`: when none did any more, None while one does.
    `alarms` stand, or were over in the time the page is about, of which `coverage` is; `items` of its care are open.
    """

    job: str
    display: Display
    building: str = ""
    found: Assessment | None = None
    trouble: str = ""
    watched: bool = True
    ended: int | None = None
    alarms: tuple[Alarm, ...] = ()
    items: tuple[Item, ...] = ()
    coverage: Coverage = NOTHING

    def rank(self, now: int) -> Rank:
        """Where it stands among the others. [ms]"""
        if any(not alarm.notice and alarm.standing.active for alarm in self.alarms):
            return Rank.ALARM
        if self.found is None:
            return Rank.UNJUDGED
        if not self.watched:
            return Rank.NOT_WATCHED
        if self.ended is not None:
            return Rank.ENDED
        state = {"out": Rank.OUT, "unknown": Rank.NOT_KNOWN}.get(self.found.now.state)
        if state is not None:
            return state
        return Rank.CARE if any(item.overdue(now) for item in self.items) else Rank.GOOD


class Page(NamedTuple):
    """What one contact is told of the time from `start` to `now` [ms]; `title` names it, `house` are its own alarms."""

    title: str
    start: int
    now: int
    display: Display
    walls: tuple[Wall, ...]
    house: tuple[Alarm, ...] = ()


def subject(page: Page) -> str:
    """ "Walls 2026-01-12: 1 with an alarm, 1 not watched, 3 in band", at most 70 signs."""
    return alarms.shortened(f"{page.title}: {_counts(page)}")


def text(page: Page) -> str:
    """The whole of it: how many walls stand how, what is wrong with the house, then every building, the worst first."""
    about = words.between(page.start, page.now, page.display)
    lines = [f"{page.title}, of {about}.", f"{words.counted_things(len(page.walls), 'wall')}: {_counts(page)}."]
    lines += _house(page.house, page.display)
    ranked = sorted(page.walls, key=lambda wall: (wall.rank(page.now), _urgency(wall), wall.job))
    names = list(dict.fromkeys(wall.building for wall in ranked))
    for building in names:
        lines += _heading(building, names)
        lines += _walls([wall for wall in ranked if wall.building == building], page)
    return "\n".join(lines) + "\n"


def _walls(walls: Sequence[Wall], page: Page) -> list[str]:
    """Each wall; those of one room that have the same to say are one, and so are all that are well."""
    alike: dict[tuple[str, ...], list[Wall]] = {}
    for wall in walls:
        alike.setdefault(_said(wall, page), []).append(wall)
    return [line for some in alike.values() for line in _wall(some, page)]


def _said(wall: Wall, page: Page) -> tuple[str, ...]:
    """What is said of a wall, without its name and the ids of its alarms."""
    told = (line.replace(visible(wall.job), "").replace(quote(visible(wall.job)), "") for line in _wall([wall], page))
    return tuple(_ID.sub("", line) for line in told)


_ID = re.compile(r" \[[0-9a-f]+\]$")


def _heading(building: str, every: Sequence[str]) -> list[str]:
    """The name of a building; none where nobody named any."""
    return [""] if list(every) == [""] else ["", summary.building_named(building)]


def _house(found: Sequence[Alarm], display: Display) -> list[str]:
    told = _alarms(found, display)
    return ["", "Sensors and this wallclime", *told] if told else []


def _urgency(wall: Wall) -> int:
    return min((-alarm.priority.rank for alarm in wall.alarms if alarm.standing.active), default=1)


def _counts(page: Page) -> str:
    """ "1 with an alarm, 1 not watched, 3 in band": every wall once, the worst first."""
    ranks = sorted(wall.rank(page.now) for wall in page.walls)
    return ", ".join(f"{len(list(same))} {COUNTED[rank]}" for rank, same in groupby(ranks)) or "none is open"


# --- a week, a month -------------------------------------------------------------------------------


def summary_subject(found: Summary) -> str:
    """ "Walls, January 2027: 3 walls, 1 left the band, 1 not watched", at most 70 signs."""
    return alarms.shortened(f"Walls, {found.title}: {summary.opening(found).rstrip('.')}")


def summary_text(found: Summary, standing: Sequence[tuple[Alarm, Display]]) -> str:
    """A week or a month of all walls: what stands now, then every building, the worst wall first."""
    lines = [f"Walls, {found.title}.", summary.opening(found), "", "What stands now"]
    told = [line for alarm, display in standing for line in _alarm(alarm, display)]
    lines += told or ["  No alarm stands."]
    buildings = summary.by_building(summary.worst_first(found.walls))
    for building, walls in buildings.items():
        lines += [*_heading(building, list(buildings)), *(line for wall in walls for line in _span(wall))]
    return "\n".join(lines) + "\n"


def _span(wall: WallSpan) -> list[str]:
    training = ", TRAINING JOB" if wall.training else ""
    worst = summary.worst(wall)
    return [
        f"{visible(wall.job)} ({summary.stands(wall)}{training})",
        f"  in band: {words.in_band(wall.coverage, short=True)}; known: {summary.known(wall)}",
        *([f"  out of band: {worst}"] if worst else []),
        f"  alarms: {summary.alarms(wall)}",
        f"  care done: {summary.care_done(wall)}; to be done: {summary.care_due(wall)}",
    ]


# --- a wall ----------------------------------------------------------------------------------------


def _wall(some: Sequence[Wall], page: Page) -> list[str]:
    """Walls of which the same is said, in the words of the first."""
    wall = some[0]
    lines = [f"{_tag(wall, page.now)}: {', '.join(visible(one.job) for one in some)}{_stage(wall)}"]
    if _all_well(wall, page.now):
        return [*lines, "  in band all the time"]
    if wall.found is None:
        lines.append(f"  {visible(wall.trouble)}")
    elif not wall.watched:
        lines.append("  no sensor ever stood there: nobody knows how it is. Assign one: wallclime sensor assign")
    elif wall.ended is not None:
        lines.append(f"  no sensor stands there since {words.when(wall.ended, wall.display)}: nobody knows how it is.")
        lines.append("  Assign one: wallclime sensor assign. Or import a logger's file")
    else:
        lines += [f"  {_room(wall.found, wall.display)}", f"  {_share(wall.coverage)}"]
    lines += _alarms(wall.alarms, wall.display)
    return lines + [f"  {_item(item, page.now, wall.display)}" for item in wall.items]


def _all_well(wall: Wall, now: int) -> bool:
    """Whether a wall that is up was known to be in band all the time, and asks for nothing."""
    asks = wall.rank(now) is not Rank.GOOD or wall.alarms or wall.items or wall.found is None
    up, whole = wall.found is not None and wall.found.phase == "after", wall.coverage
    return not asks and up and whole.elapsed > 0 and whole.in_band == whole.elapsed


def _tag(wall: Wall, now: int) -> str:
    rank = wall.rank(now)
    if rank is Rank.ENDED and wall.ended is not None:
        return summary.record_ended(wall.ended, wall.display)
    return TAG[rank]


def _stage(wall: Wall) -> str:
    """Where the job stands: acclimating, ready, installing or up."""
    found = wall.found
    if found is None:
        return ""
    training = ", TRAINING JOB" if found.training else ""
    if found.phase == "before":
        stage = "ready to install" if found.ready else f"not ready, {words.counted(found.lot.clock)} counted"
    else:
        stage = "installing" if found.phase == "during" else "the wall is up"
    return f" ({stage}{training})"


def _room(found: Assessment, display: Display) -> str:
    said = [
        f"{visible(sensor)} {', '.join(words.measure(Quantity(q), value, display) for q, value in sorted(of.items()))}"
        for sensor, of in sorted(found.now.values.items())
    ]
    return "; ".join([f"room {words.now_state(found.now, found.as_of, display)}", *said])


def _share(coverage: Coverage) -> str:
    if not coverage.elapsed:
        return "nothing was judged in this time"
    known = f"{words.share(coverage.known, coverage.elapsed)} of the time is known"
    if not coverage.known:
        return f"{known}: nothing can be said of it"
    return f"in band {words.share(coverage.in_band, coverage.known)} of the known time; {known}"


def _alarms(found: Sequence[Alarm], display: Display) -> list[str]:
    """What stands, with what to do; then what was over in the time of the page, with which there is nothing to do."""
    stand = [one for one in found if one.standing.active]
    over = [f"    {one.priority}: {alarms.headline(one, display)}" for one in found if not one.standing.active]
    lines = [line for alarm in stand for line in _alarm(alarm, display)]
    return [*lines, "  over in the last 24 h:", *over] if over else lines


def _alarm(alarm: Alarm, display: Display) -> list[str]:
    word = "notice" if alarm.notice else f"alarm, {alarm.priority.value}"
    return [f"  {word}: {alarms.headline(alarm, display)} [{alarm.id}]", f"    to do: {to_do(alarm)}"]


def _item(item: Item, now: int, display: Display) -> str:
    day = words.when(item.due, display)[:10]
    return f"care: {CARE.get(item.what, visible(item.what))} by {day}{', OVERDUE' if item.overdue(now) else ''}"
