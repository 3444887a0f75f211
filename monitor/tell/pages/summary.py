"""What a manager is told of all walls over a month or a week: the figures, worst wall first, and their words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from typing import NamedTuple, Protocol, TypeVar

from monitor.basis.alarm import Alarm
from monitor.basis.units import System
from monitor.config.profile import Profile
from monitor.rules.assessment import Coverage, Excursion
from monitor.rules.install.care import Item
from monitor.tell import words
from monitor.tell.alarm import alarm_words
from monitor.tell.words import Display

NOT_WATCHED = "NOT WATCHED: no sensor was there"
ENDED = "RECORD ENDED"
NO_BUILDING = "no building named"
TRAINING = "TRAINING: readings of a wall marked so were simulated. They prove nothing about a real room."


class WallSpan(NamedTuple):
    """One wall over the judged part of a span, in its own zone. Times in UTC ms.

    `as_of`: the end of the span, or when the summary was made before that. `watched`: a sensor was assigned to the air
    of its room in the span; `ended`: when none was any more, None while one is. `excursions` lasted into it, each as a
    whole; `alarms` were raised in it. `done`: what was cared for, and when; `due`: care that is overdue at `as_of` or
    falls due within the next such span.
    """

    job: str
    building: str
    display: Display
    profile: Profile
    as_of: int
    tag: str
    watched: bool
    coverage: Coverage
    ended: int | None = None
    excursions: tuple[Excursion, ...] = ()
    alarms: tuple[Alarm, ...] = ()
    done: tuple[tuple[str, int], ...] = ()
    due: tuple[Item, ...] = ()
    training: bool = False
    closed_at: int | None = None

    @property
    def out(self) -> int:
        """How long the room was out of band. [ms]"""
        return self.coverage.known - self.coverage.in_band

    @property
    def unknown(self) -> int:
        """How long nothing was known of the room. [ms]"""
        return self.coverage.elapsed - self.coverage.known


class Summary(NamedTuple):
    """Every wall of the days from `first` up to `after`, which is not in it any more; `made` in UTC ms.

    `unjudged`: names of the walls that can't be judged, and why.
    """

    first: date
    after: date
    made: int
    walls: tuple[WallSpan, ...]
    building: str | None = None
    software: str = ""
    unjudged: tuple[tuple[str, str], ...] = ()

    @property
    def title(self) -> str:
        """ "January 2027", or "2027-01-04 to 2027-01-10"."""
        last = self.after - timedelta(days=1)
        if self.first.day == 1 and self.after.day == 1 and last.month == self.first.month:
            return f"{MONTHS[self.first.month - 1]} {self.first.year}"
        return f"{self.first.isoformat()} to {last.isoformat()}"


MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip


def worst_first(walls: Iterable[WallSpan]) -> list[WallSpan]:
    """Longest out of band first, then not watched, record ended, longest not known, by name."""
    return sorted(walls, key=lambda wall: (-wall.out, wall.watched, wall.ended is None, -wall.unknown, wall.job))


class _Built(Protocol):
    @property
    def building(self) -> str: ...


Built = TypeVar("Built", bound=_Built)


def by_building(ranked: Iterable[Built]) -> Mapping[str, list[Built]]:
    """The walls of each building in the order given, the building of the first wall first."""
    found: dict[str, list[Built]] = {}
    for wall in ranked:
        found.setdefault(wall.building, []).append(wall)
    return found


def building_named(building: str) -> str:
    """A building's name as it is shown."""
    return words.visible(building) if building else NO_BUILDING


def not_judged(unjudged: Iterable[tuple[str, str]]) -> list[str]:
    """Of walls that can't be judged, by name and why: a sentence each."""
    return [f"{words.visible(job)} can't be judged: {words.visible(why)}" for job, why in unjudged]


# --- a wall in words --------------------------------------------------------------------------------------------------


def known(wall: WallSpan) -> str:
    """ "97.1 % of 744 h": how much of the span is known."""
    if not wall.coverage.elapsed:
        return "nothing judged yet"
    share = words.share(wall.coverage.known, wall.coverage.elapsed)
    return f"{share} of {alarm_words.lasting(wall.coverage.elapsed)}"


def stands(wall: WallSpan) -> str:
    """ "WALL IS UP", "NOT READY; NOT WATCHED: no sensor was there", "WALL IS UP; RECORD ENDED 2027-01-14"."""
    if not wall.watched:
        return f"{wall.tag}; {NOT_WATCHED}"
    return wall.tag if wall.ended is None else f"{wall.tag}; {record_ended(wall.ended, wall.display)}"


def record_ended(at: int, display: Display) -> str:
    """ "RECORD ENDED 2027-01-14": of a wall that was watched until then. [ms]"""
    return f"{ENDED} {words.when(at, display)[:10]}"


def worst(wall: WallSpan) -> str:
    """The excursion with the largest dose of each side that was left, in words; "" without one."""
    largest: dict[tuple[str, str], Excursion] = {}
    for one in wall.excursions:
        found = largest.get((one.quantity, one.side))
        if found is None or one.dose > found.dose:
            largest[one.quantity, one.side] = one
    return "; ".join(
        f"{words.side(one, wall.profile, wall.display)}, at worst {words.worst(one, wall.profile, wall.display)} "
        f"from {words.when(one.start, wall.display)}"
        for one in largest.values()
    )


def alarms(wall: WallSpan) -> str:
    """ "3 alarms: air out of band, sensor silent"."""
    told = [one for one in wall.alarms if not one.notice]
    if not told:
        return "none"
    kinds = ", ".join(dict.fromkeys(alarm_words.title(one) for one in told))
    return f"{words.counted_things(len(told), 'alarm')}: {kinds}"


def care_done(wall: WallSpan) -> str:
    """ "dust 2027-01-04, wipe 2027-01-20"."""
    return (
        ", ".join(f"{words.visible(what)} {words.when(at, wall.display)[:10]}" for what, at in wall.done) or "nothing"
    )


def care_due(wall: WallSpan) -> str:
    """ "dust overdue since 2027-01-14, look by 2027-02-03"."""
    return ", ".join(_due(item, wall) for item in wall.due) or "nothing"


def _due(item: Item, wall: WallSpan) -> str:
    day = words.when(item.due, wall.display)[:10]
    return f"{item.what} overdue since {day}" if item.overdue(wall.as_of) else f"{item.what} by {day}"


# --- all walls in words -----------------------------------------------------------------------------------------------


def opening(summary: Summary) -> str:
    """The sentence on top: how many walls, how many left the band, how many nobody watched."""
    walls = summary.walls
    lost = f"{len(summary.unjudged)} can't be judged" if summary.unjudged else ""
    if not walls:
        return f"No wall was open{f'; {lost}' if lost else ''}."
    out = sum(wall.out > 0 for wall in walls)
    blind = sum(not wall.watched for wall in walls)
    told = [f"{words.counted_things(len(walls), 'wall')}", f"{out or 'none'} left the band"]
    told += [f"{blind} not watched"] if blind else []
    past = sum(wall.watched and wall.ended is not None for wall in walls)
    told += [f"{past} {ENDED.lower()}"] if past else []
    told += [lost] if lost else []
    return f"{', '.join(told)}."


def covered(walls: Sequence[WallSpan]) -> Coverage:
    """The time of all walls together. [ms]"""
    parts = [wall.coverage for wall in walls]
    return Coverage(*(sum(getattr(part, name) for part in parts) for name in ("elapsed", "known", "in_band")))


def units_of(walls: Sequence[WallSpan]) -> System:
    """The units that most walls ask for: what the page is printed for."""
    us = sum(wall.display.units == "us" for wall in walls)
    return "us" if 2 * us > len(walls) else "si"
