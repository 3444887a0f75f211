"""What a patient alarm makes of a year of real rooms: how often it is raised and told, and whether it misses anything.

    python tests/bench/alarm_year.py FOLDER

FOLDER holds one CSV a room: ts,temp_c,rh_pct, RFC 3339 UTC (open data, kept beside the project and never in it). Each
room is replayed twice for a year at most: boxes lie in it all the time ("boxes"), and a wall hangs in it from the
second day on ("wall"). The looks: every 6 h; 3 h and 1 h before an excursion; and one second after each instant at
which something can change (an excursion's start, its on-delays, its end, its off-delay, a day later). A daemon that
looks every minute sees no spell that these do not see; of forecasts it sees more.

Told are all messages to one contact who hears of everything and acknowledges nothing: so reminders are among them, one
a day while an alarm stands. Missed is an excursion of more than 4 h that no alarm or notice of its side covers.
`away`: the same with a daemon that looks on every fifth day only.
Exit status: 0 when nothing is missed, 1 when something is, 2 usage.
"""

from __future__ import annotations

import argparse
import csv
import sys
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "rules"))

import numpy as np
from numpy.typing import NDArray
from rooms import Shelf, frame

from monitor.basis.alarm import Alarm, Standing
from monitor.basis.times import DAY, HOUR, MINUTE, SECOND, ms_of
from monitor.basis.values import AIR, LIVE, Quantity, Series, empty_series
from monitor.config.alarms import Contact, Patience
from monitor.config.profile import load_profile
from monitor.rules.alarm import whats
from monitor.rules.alarm.alarms import step, told_from
from monitor.rules.alarm.grouping import bundles
from monitor.rules.alarm.look import Look
from monitor.rules.alarm.signals import signals_of
from monitor.rules.alarm.spells import said_here
from monitor.rules.assessment import Excursion
from monitor.rules.frame import Delivery, Frame
from monitor.rules.judge import judge
from monitor.rules.replay import heard
from monitor.rules.stays import Stay

YEAR, LONG = 365 * DAY, 4 * HOUR
PATIENCE, EVERYBODY = Patience(), Contact("everybody")
_T, _RH = AIR


class Room:
    """A file's readings, as `keep` hands them out: the first of a time stays."""

    def __init__(self, path: Path) -> None:
        said: dict[int, tuple[float, float]] = {}
        with path.open(newline="", encoding="utf-8") as file:
            for row in csv.DictReader(file):
                at = ms_of(datetime.fromisoformat(row["ts"].replace("Z", "+00:00")))
                said.setdefault(at, (float(row["temp_c"]), float(row["rh_pct"])))
        first = min(said)
        self.t = np.array(sorted(at for at in said if at < first + YEAR), np.int64)
        self.value = {q: np.array([said[at][k] for at in self.t.tolist()]) for k, q in enumerate(AIR)}

    def series(self, stream: str, quantity: Quantity, start: int | None = None, end: int | None = None) -> Series:
        """[start, end) of one channel."""
        if quantity not in self.value:
            return empty_series()
        part = slice(*np.searchsorted(self.t, (start or 0, 2**62 if end is None else end)).tolist())
        none: NDArray[np.int16] = np.zeros(part.stop - part.start, np.int16)
        unit = "%" if quantity is _RH else "degC"
        return Series(self.t[part], self.value[quantity][part], none, none.astype(np.int32), (unit,), (LIVE,))

    def several(
        self, stream: str, quantities: Sequence[Quantity], start: int | None = None, end: int | None = None
    ) -> dict[Quantity, Series]:
        """The readings of some channels in [start, end)."""
        return {quantity: self.series(stream, quantity, start, end) for quantity in quantities}

    def bounds(self, stream: str, quantity: Quantity) -> tuple[int, int] | None:
        """First and last time of a channel."""
        return (int(self.t[0]), int(self.t[-1])) if quantity in self.value else None

    @property
    def hold(self) -> int:
        """Three times the interval, 30 min at least. [min]"""
        return max(30, round(3 * float(np.median(np.diff(self.t))) / MINUTE))


def job(room: Room, *, hangs: bool) -> Frame:
    """Boxes that came with the first reading, or a wall that is finished a day later."""
    begin = int(room.t[0])
    made = frame(
        "a", hold=room.hold, stays=[Stay("a", "hall", begin - DAY, None)], profile=load_profile("laminate-planks")
    )
    made = replace(made, deliveries=(Delivery("lot 1", "hall", begin, 12),))
    return replace(made, start=begin + HOUR, finish=begin + DAY) if hangs else made


def looks_at(excursions: Iterable[Excursion], begin: int, end: int) -> list[int]:
    """When to look. [ms]"""
    times = set(range(begin + HOUR, end, 6 * HOUR)) | {end}
    for one in excursions:
        until = end if one.end is None else one.end
        times |= {one.start - 3 * HOUR, one.start - HOUR, until + DAY + SECOND}
        for edge, delay in ((one.start, PATIENCE.on_delay_humidity), (one.start, LONG), (until, PATIENCE.off_delay)):
            times |= {edge + SECOND, edge + delay + SECOND}
    return sorted(at for at in times if begin < at <= end)


@dataclass
class Replayed:
    """What came of a year."""

    excursions: Sequence[Excursion] = ()
    raised: Counter[str] = field(default_factory=Counter)
    told: Counter[str] = field(default_factory=Counter)
    covered: list[Alarm] = field(default_factory=list)

    @property
    def long(self) -> list[Excursion]:
        """The excursions of more than 4 h."""
        return [one for one in self.excursions if one.end is not None and one.end - one.start > LONG]

    def missed(self) -> list[Excursion]:
        """Those of them that no alarm covers."""
        return [one for one in self.long if not any(_covers(alarm, one) for alarm in self.covered)]


def _covers(alarm: Alarm, one: Excursion) -> bool:
    mine = alarm.what == whats.OUT[one.quantity, one.side] and alarm.told is not None
    return mine and alarm.since <= one.start and (one.end or 0) <= (alarm.returned or 0)


def replay(room: Room, made: Frame, *, every: int = 0) -> Replayed:
    """A year of looks: where `every` is given, at those times only. [ms]"""
    begin, end = int(room.t[0]), int(room.t[-1])
    whole = judge(made, end, room)
    life = made.finish or 0
    found = Replayed([one for one in whole.excursions if one.start >= life])
    times = looks_at(whole.excursions, begin, end) if not every else [*range(begin + HOUR, end, every), end]
    shelf, last = Shelf(), times[0]
    alarms: dict[str, Alarm] = {}
    changed: dict[str, int] = {}
    sent: list[int] = []
    for at in times:
        assessed = judge(made, at, room, shelf)
        lately = heard(made, at, room, at - DAY, at)
        ready = _told_ready(alarms.values(), assessed.lot.clock.completed_at)
        look = Look(
            frame=made, found=assessed, patience=PATIENCE, told_from=told_from(begin, last),
            said=said_here(made, assessed, lately), told_ready=ready,
        )  # fmt: skip
        changes = step(list(alarms.values()), signals_of(look), at, PATIENCE)
        made_of = bundles(changes, [EVERYBODY], at, PATIENCE, buildings={}, sent={EVERYBODY.name: sent})
        for change in made_of.changes:
            alarms[change.alarm.id], changed[change.alarm.id] = change.alarm, at
            found.raised[change.alarm.what] += change.transition == "raised"
            found.covered += [change.alarm] if change.transition in ("returned", "over", "raised", "back") else []
        reminded = {change.alarm.id for change in changes if change.transition == "reminded"}
        for bundle in made_of.bundles:
            remind = {alarm.id for alarm in bundle.alarms} <= reminded
            found.told["reminder" if remind else bundle.tells] += 1
        sent += [at] * len(made_of.bundles)
        over = [
            one.id
            for one in alarms.values()
            if one.standing is Standing.NORMAL and changed[one.id] < told_from(begin, at)
        ]
        for alarm_id in over:
            del alarms[alarm_id]
        last = at
    found.covered += [replace(one, returned=end) for one in alarms.values() if one.returned is None]
    return found


def _told_ready(alarms: Iterable[Alarm], completed: int | None) -> bool:
    return any(alarm.what == whats.READY and alarm.since == completed for alarm in alarms)


def main() -> int:
    parser = argparse.ArgumentParser(description="A year of real rooms through the patient alarm.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--only", nargs="*", default=[])
    parser.add_argument("--verbose", action="store_true")
    asked = parser.parse_args()
    missed = 0
    titles = "days", "strict", "> 4 h", "raised", "told", "reminders", "returns", "missed", "away"
    print(f"{'room':<22}{'what':<7}" + "".join(f"{title:>{max(len(title) + 2, 7)}}" for title in titles))
    for path in sorted(asked.folder.glob("*.csv")):
        if asked.only and path.stem not in asked.only:
            continue
        room = Room(path)
        days = (int(room.t[-1]) - int(room.t[0])) / DAY
        for hangs in (False, True):
            made = job(room, hangs=hangs)
            found, away = replay(room, made), replay(room, made, every=5 * DAY)
            lost = (len(found.missed()), len(away.missed()))
            missed += sum(lost)
            figures = (
                days, len(found.excursions), len(found.long), sum(found.raised.values()), sum(found.told.values()),
                found.told["reminder"], found.told["returned"], *lost,
            )  # fmt: skip
            told = "".join(f"{n:>{max(len(title) + 2, 7)}.0f}" for n, title in zip(figures, titles, strict=True))
            print(f"{path.stem:<22}{'wall' if hangs else 'boxes':<7}{told}", flush=True)
            if asked.verbose:
                print("   ", dict(found.raised), dict(found.told))
    return 0 if not missed else 1


if __name__ == "__main__":
    sys.exit(main())
