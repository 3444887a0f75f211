"""Boxes come: what is said of them, and what is to be said at once of how long they take to even out."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from monitor.basis.errors import RecordError
from monitor.basis.times import DAY
from monitor.basis.values import Draft, Entry, Kind, Quantity, Series
from monitor.config.profile import Profile
from monitor.rules.board.cores import Evening, evening_out, held_at
from monitor.rules.frame import Stack, effective, said_of
from monitor.watch.desk import Desk
from monitor.watch.job.entering import add
from monitor.watch.job.jobs import checked_name, past
from monitor.watch.job.takeoff import boxes_short
from monitor.watch.judging import assess

MOST_BOXES = 100_000  # of one delivery; more is a slip of the pen, figure ours
_LENGTHS = {"stack_height_m": (0.01, 5.0), "stack_width_m": (0.01, 5.0)}  # that the model covers [m]
_WARMTHS = ("floor_temperature", "box_temperature")
_WARMEST = (-40.0, 60.0)  # of boxes and floors on a building site [degC]
_YES_OR_NO = ("unopened", "flat", "wrapped", "spacers")
_TEXTS = ("stored_before",)
FACTS = (*_LENGTHS, *_WARMTHS, *_YES_OR_NO, *_TEXTS, "lot_numbers", "moisture")


def deliver(
    desk: Desk,
    job: str,
    *,
    at: int | None,
    lot: str | None,
    place: str | None,
    boxes: int | None,
    facts: Mapping[str, Any],
    who: str,
) -> Entry:
    """Record that boxes came. A lot left out is numbered; a place left out is the job's place of boxes.

    `facts`, none of which must be said: `unopened`, `flat`, `wrapped`, `spacers` (single layers with air between) yes
    or no; `stack_height_m`, `stack_width_m` [m]; `floor_temperature` of a floor colder than the room, `box_temperature`
    [degC]; `moisture` of a plank [% of dry mass]; `lot_numbers` a list, `stored_before` a text. Raises RecordError.
    """
    when = past(desk, at, "log deliver")
    lots = {entry.body["lot"] for entry in effective(desk.book.log(job)) if entry.kind is Kind.DELIVER}
    free = next(name for name in map("lot {}".format, range(1, len(lots) + 2)) if name not in lots)
    said = {"lot": free if lot is None else lot, "place": desk.book.job(job).boxes_place if place is None else place}
    body = {**said, "boxes": boxes, **{key: value for key, value in facts.items() if value is not None}}
    check_delivery(body)
    return add(desk, job, Draft(Kind.DELIVER, when, who, body))


def check_delivery(body: Mapping[str, Any]) -> None:
    """Raises RecordError where the body of a delivery says what can't be."""
    for key in ("lot", "place"):
        checked_name(body[key], f"--{key}")
    boxes = body.get("boxes")
    if boxes is not None and not 0 < boxes <= MOST_BOXES:
        raise RecordError(f"{boxes} boxes are not delivered", where="--boxes", mend=f"Give 1 to {MOST_BOXES}")
    for key, limits in _LENGTHS.items():
        _inside(body, key, limits, f"--{key.removesuffix('_m').replace('_', '-')}", "m")
    for key in _WARMTHS:
        _inside(body, key, _WARMEST, f"--{key.replace('_', '-')}", "degC")
    _inside(body, "moisture", (0.0, 30.0), "--moisture", "%")
    for number in body.get("lot_numbers", ()):
        checked_name(number, "--lot-number")
    if "stored_before" in body and not body["stored_before"].strip():
        raise RecordError("nothing is said", where="--stored-before", mend="Write it, or leave it out")


def _inside(body: Mapping[str, Any], key: str, limits: tuple[float, float], option: str, unit: str) -> None:
    value = body.get(key)
    if value is not None and not limits[0] <= value <= limits[1]:
        mend = f"Measure again: {limits[0]:g} to {limits[1]:g} {unit}"
        raise RecordError(f"{value:g} {unit} can't be", where=option, mend=mend)


class Arrival(NamedTuple):
    """What can be said when boxes come. `stacked` and `single`: how long they take to even out as they lie, and in
    single layers on spacers; `apart` how far from the room of then they are [K]; `stays` what their core stays at on a
    floor that keeps it from the room [degC]; `said` see `said_of`; `past`: whether the day after they came is over;
    `asked` and `came`: boxes, where known."""

    stack: Stack
    profile: Profile
    stacked: Evening | None
    single: Evening
    apart: float | None
    stays: float | None
    said: tuple[str, ...]
    past: bool
    asked: int | None
    came: int | None


def arrival(desk: Desk, job: str, entry: Entry) -> Arrival:
    """What a delivery brings with it."""
    now = desk.clock.now()
    profile = desk.book.profile_at(job, now)
    stack, limit = Stack.from_body(entry.body), profile.readiness.box_core_within
    room = _room_then(desk, job, entry.at)
    apart = None if stack.box_c is None or room is None else abs(stack.box_c - room)
    single = evening_out(Stack(spacers=True), profile.board, limit=limit, apart=apart)
    if single is None:
        raise AssertionError("boxes on spacers are of a known height")
    boxes = boxes_short(desk.book.log(job))
    return Arrival(
        stack=stack,
        profile=profile,
        stacked=evening_out(stack, profile.board, limit=limit, apart=apart, room_c=room),
        single=single,
        apart=apart,
        stays=held_at(stack, profile.board, limit=limit, room_c=room),
        said=said_of(entry.body),
        past=entry.at + DAY < now,
        asked=None if boxes is None else boxes[0],
        came=None if boxes is None else boxes[1],
    )


def _room_then(desk: Desk, job: str, at: int) -> float | None:
    """The room's temperature at `at`, or when it was first heard within a day after; None where it was not. [degC]"""
    heard = _warmth(desk, job, at)
    if heard is not None:
        return heard
    until = min(at + DAY, desk.clock.now())
    frame = desk.book.frame_at(job, until)
    heard_at = [
        int(series.t[0])
        for stay in frame.air_stays
        if stay.place == frame.job.boxes_place
        for series in [_said_between(desk, frame.sensors[stay.sensor].stream, max(at, stay.start), stay.end, until)]
        if len(series.t)
    ]
    return _warmth(desk, job, min(heard_at) + 1) if heard_at else None


def _said_between(desk: Desk, stream: str, start: int, end: int | None, until: int) -> Series:
    return desk.store.series(stream, Quantity.AIR_TEMPERATURE, start, until if end is None else min(end, until))


def _warmth(desk: Desk, job: str, at: int) -> float | None:
    """The mean of what the sensors say of the room at `at`. [degC]"""
    said = assess(desk, job, at=at).now.values.values()
    warmth = [values[Quantity.AIR_TEMPERATURE] for values in said if Quantity.AIR_TEMPERATURE in values]
    return sum(warmth) / len(warmth) if warmth else None
