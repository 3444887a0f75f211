"""A data logger's file: looked over, then kept in chunks, so that a running daemon is not starved."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from shlex import quote
from typing import NamedTuple

from monitor.basis.errors import LoggerFileError, RecordError
from monitor.basis.times import rfc3339
from monitor.basis.units import format_duration
from monitor.basis.values import SENSORS_CHAIN, Draft, Kind, Origin, OriginKind, Quantity, Reading
from monitor.intake.hold import propose_hold
from monitor.intake.loggerfile import Chunk, Summary, check, read
from monitor.intake.loggerguess import Columns, Guess, guess
from monitor.intake.moment import AHEAD
from monitor.rules.frame import Frame, Sensor
from monitor.rules.stays import Role
from monitor.watch.desk import Desk
from monitor.watch.job.jobs import checked_name
from monitor.watch.judging import note_all_completions
from monitor.watch.sensing.sensors import MAKER, checked_hold, file_stream, fits, sensor_draft

BATCH = 5_000  # readings a transaction
HOT = 45.0  # a room is not so hot for half of a record, but a room's degF read as degC are; figure ours [degC]
DRY = 1.0  # nor so dry for all of it, but fractions read as % are; figure ours [%]


class Plan(NamedTuple):
    """What will be imported and how it is read; to be shown before anything is kept."""

    job: str
    path: Path
    sensor: str
    stream: str
    place: str
    role: Role
    hold: int
    hold_proposed: bool
    new_sensor: bool
    guess: Guess
    summary: Summary


class Imported(NamedTuple):
    """What became of a file's readings."""

    new: int
    duplicates: int
    conflicts: int


def plan_import(
    desk: Desk,
    job: str,
    path: Path,
    columns: Columns,
    *,
    sensor: str,
    hold: int | None,
    progress: Callable[[float], None],
    place: str | None = None,
    role: Role | None = None,
) -> Plan:
    """Look the whole file over: nothing is kept of one with a cell that can't be read.

    `place`: one of the job's; that which is judged when the file begins, if it is not said. `role`: what the sensor
    heard there; as before, or the air, if it is not said. Raises LoggerFileError, RecordError.
    """
    frame = desk.book.frame_at(job, desk.clock.now())
    checked_name(sensor, "--sensor")
    if place is not None:
        _of_the_job(frame, place)
    hold = None if hold is None else checked_hold(hold)
    known = desk.book.sensors().get(sensor)
    if known is not None and hold not in (None, known.hold):
        raise RecordError(
            f"its hold is {format_duration(known.hold)}",
            where=f"sensor {sensor}",
            mend="Leave --hold out: it belongs to the sensor, and its record would be judged anew",
        )
    found = guess(path, columns)
    summary = check(path, found, progress=progress)
    _happened(desk, path, summary)
    place = _judged(frame, summary) if place is None else place
    proposed = propose_hold(summary.intervals) if hold is None else hold
    chosen = proposed if known is None else known.hold
    plan = Plan(
        job=job,
        path=path,
        sensor=sensor,
        stream=known.stream if known is not None else file_stream(sensor),
        place=place,
        role=role or "air",
        hold=chosen,
        hold_proposed=known is None and hold is None,
        new_sensor=known is None,
        guess=found,
        summary=summary,
    )
    return plan if known is None else plan._replace(role=_heard_before(desk, plan, known, role))


def doubts(plan: Plan) -> list[str]:
    """What speaks against the units that the file was read in: to be said before it is kept, and no error."""
    guessed, summary, told = plan.guess, plan.summary, []
    warm = summary.median.get(Quantity.AIR_TEMPERATURE)
    if warm is not None and guessed.unit(Quantity.AIR_TEMPERATURE) == "degC" and warm > HOT:
        read_so = f"the temperatures would be {warm * 1.8 + 32:.0f} degF"
        told.append(f"{read_so}; if the file is in degF, add --temperature-unit degF")
    moist = summary.highest.get(Quantity.AIR_HUMIDITY)
    if moist is not None and guessed.unit(Quantity.AIR_HUMIDITY) == "%" and moist <= DRY:
        told.append("all humidity is at most 1 %; if the file has fractions, add --humidity-unit fraction")
    return told


def _happened(desk: Desk, path: Path, summary: Summary) -> None:
    """A file tells of what was; a reading of the time to come would count once that time is there."""
    if summary.last > desk.clock.now() + AHEAD:
        raise LoggerFileError(
            f"its last reading, {rfc3339(summary.last)}, is in the future",
            where=str(path),
            mend="Check the logger's clock, --zone and --time-format",
        )


def _of_the_job(frame: Frame, place: str) -> None:
    """A name misspelled would be a place that no job asks for."""
    known = [*frame.places, *([] if frame.job.outdoor_place is None else [frame.job.outdoor_place])]
    if place not in known:
        raise RecordError(
            f"{place!r} is no place of job {frame.job.name}",
            where="--place",
            mend=f"It has {', '.join(map(repr, dict.fromkeys(known)))}",
        )


def _judged(frame: Frame, summary: Summary) -> str:
    """The place that is judged when the file begins."""
    after = frame.start is not None and summary.first >= frame.start
    return frame.job.wall_place if after else frame.job.boxes_place


def _heard_before(desk: Desk, plan: Plan, sensor: Sensor, role: Role | None) -> Role:
    """A further file of a known sensor must begin where the sensor is known to have been, and goes on as there."""
    first, last = plan.summary.first, plan.summary.last + sensor.hold
    here = [stay for stay in desk.book.stays() if stay.sensor == sensor.name and stay.place == plan.place]
    before = [stay.role for stay in here if stay.start <= last and (stay.end is None or stay.end >= first)]
    if not before:
        raise RecordError(
            f"the file ({rfc3339(plan.summary.first)} to {rfc3339(plan.summary.last)}) neither adjoins nor overlaps "
            f"the time in which it was at {plan.place!r}",
            where=f"sensor {sensor.name}",
            mend="Say where it was: "
            f"wallclime sensor assign {quote(sensor.name)} --place {quote(plan.place)} --at TIME",
        )
    if role not in (None, before[0]):
        what = f"at {plan.place!r} it was said to hear the {before[0]}, not the {role}"
        raise RecordError(what, where=f"sensor {sensor.name}", mend="Leave --as out, or give the sensor a new name")
    return before[0]


def run_import(desk: Desk, plan: Plan, *, who: str, progress: Callable[[float], None]) -> Imported:
    """Keep what was planned. Repeating it is harmless; a longer file adds what is new.

    What was kept and how the file was read goes into the log, once; of a run that was broken off, when it is repeated.
    """
    _introduce(desk, plan, who)
    kept = Imported(0, 0, 0)
    for chunk in read(plan.path, plan.guess):
        for batch in _batches(_readings(chunk, plan, desk.clock.now())):
            found = desk.store.keep_readings(batch)
            kept = Imported(kept.new + found.new, kept.duplicates + found.duplicates, kept.conflicts + found.conflicts)
        progress(chunk.share)
    entry = _entry(desk, plan, kept, who)
    if kept.new or not _told(desk, entry, plan.job):
        desk.store.append(plan.job, [entry])
    note_all_completions(desk, plan.stream)
    return kept


def _told(desk: Desk, draft: Draft, job: str) -> bool:
    """Whether the log has an entry of the same file, sensor and way of reading."""
    same = ("sha256", "sensor", "read_as")
    return any(
        entry.kind is Kind.IMPORT and all(entry.body[key] == draft.body[key] for key in same)
        for entry in desk.book.log(job)
    )


def _introduce(desk: Desk, plan: Plan, who: str) -> None:
    """Name the sensor if it is new and say where it was: from the first reading until the last has spoken."""
    first, end = plan.summary.first, plan.summary.last + plan.hold
    body = {"sensor": plan.sensor, "place": plan.place, "from": first, "to": end}
    body |= {} if plan.role == "air" else {"role": plan.role}
    stay = Draft(Kind.ASSIGNMENT, first, who, body)
    drafts = [stay]
    if plan.new_sensor:
        desk.store.name_sensor(plan.stream, plan.sensor)
        drafts.insert(0, sensor_draft(desk, plan.sensor, plan.stream, plan.hold, MAKER, who))
    elif any(
        one.sensor == plan.sensor
        and one.place == plan.place
        and one.start <= first
        and (one.end is None or one.end >= end)
        for one in desk.book.stays()
    ):
        return
    desk.store.append(SENSORS_CHAIN, drafts, check=lambda entries: fits(stay, entries))


def _readings(chunk: Chunk, plan: Plan, arrival: int) -> Iterator[Reading]:
    """The readings of a chunk, as they stand in the file."""
    origin = Origin(OriginKind.FILE, plan.summary.sha256)
    for quantity, (times, values) in chunk.series.items():
        unit = plan.guess.unit(quantity)
        for t, value in zip(times.tolist(), values.tolist(), strict=True):
            yield Reading(plan.stream, quantity, t, value, unit, arrival, origin)


def _batches(readings: Iterator[Reading]) -> Iterator[list[Reading]]:
    batch: list[Reading] = []
    for reading in readings:
        batch.append(reading)
        if len(batch) == BATCH:
            yield batch
            batch = []
    if batch:
        yield batch


def _entry(desk: Desk, plan: Plan, kept: Imported, who: str) -> Draft:
    body = {
        "file": plan.path.name,
        "sha256": plan.summary.sha256,
        "sensor": plan.sensor,
        "place": plan.place,
        "first": plan.summary.first,
        "last": plan.summary.last,
        "new": kept.new,
        "duplicates": kept.duplicates,
        "conflicts": kept.conflicts,
        "read_as": list(plan.guess.words()),
    }
    return Draft(Kind.IMPORT, desk.clock.now(), who, body)
