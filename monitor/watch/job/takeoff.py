"""The take-off at the desk: a wall as it was measured, what it takes, and the entry that deliveries are held to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from shlex import quote
from typing import Any, NamedTuple

from monitor.basis.errors import RecordError
from monitor.basis.units import System
from monitor.basis.values import Draft, Entry, Kind
from monitor.config.jobfile import OpeningTold
from monitor.config.profile import Profile
from monitor.rules.frame import effective
from monitor.rules.install.takenoff import body_of, taken_off
from monitor.rules.install.takeoff import Lay, TakeOff, plank_of, rule_of, take_off
from monitor.rules.install.wall import Opening, WallShape, rectangle
from monitor.watch.desk import Desk

LONGEST = 1000.0  # that a wall is taken for; more is a slip of the pen, figure ours [m]
WALL = ("length", "height", "corners")


class Measured(NamedTuple):
    """A wall with its take-off; `split` says that it is to be parted as the take-off proposes."""

    result: TakeOff
    profile: Profile
    split: bool

    @property
    def body(self) -> dict[str, Any]:
        """As an entry of the log says it."""
        return body_of(self.result, split=self.split, profile=self.profile.sha256)


def shape_of(told: Mapping[str, Any]) -> WallShape:
    """The wall of a `length` and `height` or of its `corners` [m], with its `openings`.

    Raises RecordError for a side that is no wall's, QuantityError for a wall that can't be.
    """
    openings = _openings(told.get("openings", ()))
    if "corners" in told:
        shape = WallShape(told["corners"], openings)
        _checked(shape.length, "--corner")
        _checked(shape.height, "--corner")
        return shape
    for key in ("length", "height"):
        _checked(told[key], f"--{key}")
    return rectangle(told["length"], told["height"], openings)


def _checked(side: float, what: str) -> None:
    if not 0 < side <= LONGEST:
        raise RecordError(f"{side:g} m is not a wall's", where=what, mend='Write it like "16 ft 4 in" or "4.2 m"')


def _openings(told: Sequence[OpeningTold]) -> tuple[Opening, ...]:
    """The openings; those of one name are numbered, so that each can be told from the others."""
    names = [one.name for one in told]
    return tuple(
        Opening(f"{one.name} {names[: k + 1].count(one.name)}" if names.count(one.name) > 1 else one.name, *one[1:])
        for k, one in enumerate(told)
    )


def measure(shape: WallShape, profile: Profile, *, lay: Lay, split: bool, system: System) -> Measured:
    """Take a wall off by a profile. Raises QuantityError."""
    result = take_off(shape, plank_of(profile), rule_of(profile), direction=lay, system=system)
    return Measured(result, profile, split)


def draft_of(measured: Measured, at: int, who: str) -> Draft:
    """The entry of a take-off."""
    return Draft(Kind.TAKE_OFF, at, who, measured.body)


def of_job(desk: Desk, job: str, told: Mapping[str, Any], system: System) -> Measured:
    """The take-off of a job's wall by the profile in force, with what is `told` in place of what its log says.

    Raises RecordError, QuantityError.
    """
    found = desk.book.job(job)
    last = taken_off(effective(desk.book.log(job)))
    shape = rectangle(found.length, found.height) if last is None else last.shape
    openings = _openings(told["openings"]) if "openings" in told else shape.openings
    if any(key in told for key in WALL):
        shape = shape_of({"length": shape.length, "height": shape.height, **told})
    shape = replace(shape, openings=openings)
    lay = told.get("lay", "horizontal" if last is None else last.lay)
    split = told.get("split", last is not None and last.split)
    profile = desk.book.profile_at(job, desk.clock.now())
    return measure(shape, profile, lay=lay, split=split, system=system)


def stands(desk: Desk, job: str) -> Entry | None:
    """The take-off that deliveries are held against: the last one of the log."""
    found = [entry for entry in effective(desk.book.log(job)) if entry.kind is Kind.TAKE_OFF]
    return found[-1] if found else None


def enter(desk: Desk, job: str, measured: Measured, *, who: str) -> Entry:
    """Write a take-off into the log: it stands from then on, the earlier ones stay. Raises RecordError."""
    last = stands(desk, job)
    if last is not None and last.body == measured.body:
        what, mend = f"entry {last.number} says so already", f"See wallclime takeoff {quote(job)}"
        raise RecordError(what, where=f"log of {job}", mend=mend)
    return desk.store.append(job, [draft_of(measured, desk.clock.now(), who)])[0]


def boxes_short(log: Sequence[Entry]) -> tuple[int, int] | None:
    """Boxes that the take-off in force asks for, and those delivered; None without one, or where nobody counted."""
    standing = effective(log)
    asked = taken_off(standing)
    counts = [entry.body.get("boxes") for entry in standing if entry.kind is Kind.DELIVER]
    if asked is None or not all(counts):
        return None
    return asked.order, sum(count or 0 for count in counts)
