"""The board over all walls: what is known of each now, which comes first, and its words."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Literal, NamedTuple

from monitor.basis.alarm import Alarm, Priority, Standing
from monitor.basis.values import AIR, Quantity
from monitor.config.profile import Profile
from monitor.rules.alarm.whats import SILENT
from monitor.rules.assessment import Assessment, Condition
from monitor.rules.install.care import Item
from monitor.tell import words
from monitor.tell.alarm import alarm_words, alarms
from monitor.tell.pages.marks import DayState, Week
from monitor.tell.pages.summary import ENDED, record_ended
from monitor.tell.words import Display

State = Literal["out", "unknown", "blind", "ended", "in", "closed"]

NAMED: Mapping[State, str] = {
    "out": "OUT OF BAND",
    "unknown": "NOT KNOWN",
    "blind": "NOT WATCHED",
    "ended": ENDED,
    "in": "IN BAND",
    "closed": "CLOSED",
}
ORDER: tuple[State, ...] = tuple(NAMED)
FEW = 3  # things to do that a wall shows; its report has all
BACK = Condition("air in band now", "fail", "")
HEAR = Condition("air in band now", "unknown", "")
ASSIGN = Condition("air in band now", "unknown", "no sensor is assigned")


class WallNow(NamedTuple):
    """One wall as of its Assessment. `watched`: a sensor was ever assigned to the air of the room that is judged;
    `ended`: when none was any more, None while one is.

    `weeks`: the last seven days of each quantity; `days`: the last days since the record began, oldest first. `due`:
    care that is overdue; `alarms`: those that stand. `report`: the file of its report beside the board, "" for none.
    """

    assessment: Assessment
    profile: Profile
    display: Display
    building: str
    watched: bool
    open_at_start: int
    weeks: Mapping[Quantity, Week]
    days: tuple[DayState, ...]
    out: int  # of the last seven days [ms]
    unknown: int
    due: tuple[Item, ...] = ()
    alarms: tuple[Alarm, ...] = ()
    closed_at: int | None = None
    ended: int | None = None
    thinned: int = 0  # days of the record of which not all readings are left
    report: str = ""
    report_fault: str = ""

    @property
    def state(self) -> State:
        """In a word; a wall without a sensor, or without one any more, is never in band."""
        if self.closed_at is not None:
            return "closed"
        if not self.watched:
            return "blind"
        if self.ended is not None:
            return "ended"
        return self.assessment.now.state


class Board(NamedTuple):
    """All walls, made at `made` [ms]; `unjudged`: names of those that can't be judged, and why; `house`: the alarms
    that belong to no wall."""

    walls: tuple[WallNow, ...]
    made: int
    software: str
    unjudged: tuple[tuple[str, str], ...] = ()
    house: tuple[Alarm, ...] = ()


def worst_first(walls: Iterable[WallNow]) -> list[WallNow]:
    """Open before closed, those with an alarm that is high and unseen, then by state; then by the last seven days: the
    longest out of band, the longest not known, the most to be done, by name."""
    return sorted(walls, key=_badness)


def _badness(wall: WallNow) -> tuple[object, ...]:
    state = ORDER.index(wall.state)
    return (state == len(ORDER) - 1, -pressing(wall), state, -wall.out, -wall.unknown, -len(to_do(wall)), name(wall))


def pressing(wall: WallNow) -> int:
    """How many of its alarms are high and seen by nobody."""
    return sum(one.priority is Priority.HIGH and one.standing is Standing.UNACKNOWLEDGED for one in wall.alarms)


# --- words ------------------------------------------------------------------------------------------------------------


def name(wall: WallNow) -> str:
    """The job's name, with a mark where its readings were simulated."""
    return f"{words.visible(wall.assessment.job)}{' (TRAINING)' if wall.assessment.training else ''}"


def tag(wall: WallNow) -> str:
    """ "IN BAND", "RECORD ENDED 2026-01-09"."""
    if wall.state == "ended" and wall.ended is not None:
        return record_ended(wall.ended, wall.display)
    return NAMED[wall.state]


def tally(walls: Sequence[WallNow]) -> str:
    """ "3 walls: 1 out of band, 2 in band"."""
    found = Counter(wall.state for wall in walls)
    told = ", ".join(f"{found[state]} {NAMED[state].lower()}" for state in ORDER if found[state])
    return f"{words.counted_things(len(walls), 'wall')}: {told}" if walls else "No wall yet"


def verdict(wall: WallNow) -> str:
    """Ready or not, in a sentence; of a wall that is up how it was begun and how it has been, in short."""
    found = wall.assessment
    if found.phase == "before":
        return words.verdict(found, wall.display)
    complete = "after" if found.lot.clock.completed_at is not None else "before"
    still = f", {words.counted_things(wall.open_at_start, 'condition')} open" if wall.open_at_start else ""
    begun = f"Begun {complete} the acclimation was complete{still}."
    if words.unrecorded(found):
        begun = "Begun before its record."
    if found.after is None or not found.after.elapsed:
        return begun
    left = words.counted_things(sum(one.phase == "after" for one in found.excursions), "excursion")
    thinned = f"; readings of {words.counted_things(wall.thinned, 'day')} were thinned" if wall.thinned else ""
    return f"{begun} Since the finish in band: {words.in_band(found.after, short=True)}; {left}{thinned}."


def room(wall: WallNow) -> str:
    """How the room is now and what its sensors say; of a closed wall when that was."""
    found, shown = wall.assessment, wall.display
    if wall.closed_at is not None:
        return f"The watch ended {words.when(wall.closed_at, shown)}."
    said = [
        f"{words.visible(sensor)} {', '.join(words.measure(q, value, shown) for q, value in sorted(values.items()))}"
        for sensor, values in sorted(found.now.values.items())
    ]
    heard = f"; {'; '.join(said)}" if said else ""
    return f"Room {words.now_state(found.now, found.as_of, shown)}{heard}."


def to_do(wall: WallNow) -> list[str]:
    """What must be done, most urgent first; nothing for a closed wall."""
    if wall.closed_at is not None:
        return []
    now = {"out": BACK, "unknown": HEAR, "blind": ASSIGN, "ended": ASSIGN}.get(wall.state)
    told = [alarm_words.to_do(one) for one in wall.alarms]
    told += [] if now is None else [words.to_do(now)]
    if wall.assessment.phase == "before":
        told += [words.to_do(one) for one in words.open_conditions(wall.assessment)]
    told += [f"{item.what}: overdue since {words.when(item.due, wall.display)[:10]}." for item in wall.due]
    return list(dict.fromkeys(told))


def alarm(one: Alarm, display: Display) -> str:
    """ "URGENT: air too damp, den: at worst 71.3 %, since 2026-01-05 08:40 -05:00; unacknowledged"."""
    shelved = "" if one.shelved_until is None else f", shelved until {words.when(one.shelved_until, display)}"
    return f"{alarms.GRAVE[one.priority]}: {alarms.headline(one, display)}; {one.standing.value}{shelved}"


def house(found: Sequence[Alarm], display: Display) -> list[str]:
    """The alarms that belong to no wall, a line each; sensors that fell silent, or came back, together are one."""
    alike: dict[tuple[object, ...], list[Alarm]] = {}
    for one in found:
        together = (one.since, one.returned, one.standing, one.shelved_until) if one.what == SILENT else one.id
        alike.setdefault((one.what, one.priority, together), []).append(one)
    return [alarm(some[0], display) if len(some) == 1 else _silent(some, display) for some in alike.values()]


def _silent(some: Sequence[Alarm], display: Display) -> str:
    first = some[0]
    names = words.few(sorted(words.visible(one.where) for one in some), alarms.NAMED, between=", ")
    since = words.when(first.since, display)
    told = (
        f"since {since}" if first.returned is None else f"{words.between(first.since, first.returned, display)}, over"
    )
    grave = alarms.GRAVE[first.priority]
    return f"{grave}: {len(some)} sensors silent, {told}: {names}; {first.standing.value}"


def week(wall: WallNow, quantity: Quantity) -> str:
    """ "humidity 44.1 % to 52.0 %", measured in the last seven days."""
    heard = wall.weeks[quantity].heard
    if heard is None:
        return f"{words.QUANTITY[quantity]} not heard"
    low, high = (words.measure(quantity, value, wall.display) for value in heard)
    return f"{words.QUANTITY[quantity]} {low} to {high}"


def days(wall: WallNow) -> str:
    """ "90 days: 83 in band, 3 out, 4 not known"."""
    found = Counter(wall.days)
    parts = [f"{found[state]} {text}" for state, text in _DAYS if found[state]]
    return f"{words.counted_things(len(wall.days), 'day')}: {', '.join(parts)}" if wall.days else "no day yet"


_DAYS: tuple[tuple[DayState, str], ...] = (("in", "in band"), ("out", "out"), ("unknown", "not known"))


def lately(wall: WallNow) -> str:
    """ "out 3 h, not known 12 h", of the last seven days; "" where neither."""
    parts = [
        f"{what} {alarm_words.lasting(length)}"
        for what, length in (("out of band", wall.out), ("not known", wall.unknown))
        if length
    ]
    return f"last 7 days: {', '.join(parts)}" if parts else ""


QUANTITIES = (AIR[1], AIR[0])  # humidity first: it is what walls mind
