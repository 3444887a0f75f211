"""Values for the pages, put together from the log and the readings."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, cast

import numpy as np

import monitor
from monitor.basis.errors import ReportError
from monitor.basis.units import System
from monitor.basis.values import AIR, SENSORS_CHAIN, Entry, Kind, Quantity
from monitor.rules.alarm.halfknown import half_known
from monitor.rules.assessment import Assessment, Phase, State
from monitor.rules.board.causes import causes
from monitor.rules.channel import Channel
from monitor.rules.frame import Frame, Sensor, effective
from monitor.rules.instrument import MAKER_ACCEPTED, in_force, turns
from monitor.rules.placement import Placement, concerns, described
from monitor.rules.replay import heard
from monitor.rules.stays import Stay as Placed
from monitor.rules.thinning import thinned_days
from monitor.tell.instruments import beside
from monitor.tell.pages.views import (
    Backing,
    ChannelLine,
    CheckLine,
    HandReading,
    Head,
    Hears,
    ReportPage,
    SensorLine,
    Stay,
)
from monitor.tell.words import QUANTITY
from monitor.watch.desk import Desk
from monitor.watch.evidence.silences import away_of
from monitor.watch.job.attach import documents_of
from monitor.watch.judging import as_first_written, assess
from monitor.watch.papers.boards import whole_board_view
from monitor.watch.papers.screens import facts_of
from monitor.watch.papers.shown import display
from monitor.watch.papers.spans import Span, cut_of, judged_span
from monitor.watch.sensing.beside import drifts, hand_beside

_FACTS = ("sensor", "place", "from", "to", "released", "placement", "role")


def report_page(
    desk: Desk, job: str, *, at: int | None = None, span: Span | None = None, phase: Phase | None = None
) -> ReportPage:
    """All that a report of the job as of `at` (now) shows, of the whole record or of a `span` or `phase` of it.

    A span's end that is None is the record's own. Verdict, clock and log are those of the whole. Raises RecordError,
    ReportError. [ms]
    """
    from monitor.watch.evidence.witness import sealed  # with what signs, which a status has no use for

    found = assess(desk, job, at=at)
    frame = desk.book.frame_at(job, found.as_of)
    cut = cut_of(found, frame, span, phase)
    number, link = desk.store.head(job)
    window = judged_span(found, frame) if cut is None else (cut.start, cut.end)
    spoken = {} if window is None else heard(frame, found.as_of, desk.store, *window)
    return ReportPage(
        assessment=found,
        facts=facts_of(desk, found, frame),
        profile=frame.profile,
        channels=() if window is None else _lines(frame, spoken, window),
        hand_readings=_hand_readings(desk, frame, found.as_of),
        runs=_runs(found, frame),
        entries=tuple(desk.book.log(job)),
        sensors=_sensors(desk, frame, found.as_of),
        written_at=desk.clock.now(),
        software=f"wallclime {monitor.__version__}",
        head=Head(number, link.hex()),
        away=away_of(desk, frame),
        drifts=drifts(desk, frame, found.as_of),
        checks=_checks(desk, frame, found.as_of),
        board=whole_board_view(desk, found, frame),
        explained=causes(effective(desk.book.log(job)), found.episodes),
        documents=tuple(documents_of(desk, job, at=found.as_of)),
        uncorrected=as_first_written(desk, found),
        sealed=sealed(desk),
        cut=cut,
        half_known=() if window is None else half_known(frame, spoken, found.days, found.gaps, window),
        thinned=() if window is None else thinned_days(desk.book.entries(SENSORS_CHAIN), frame.stays, *window),
        steps=tuple(one for one in desk.book.entries(SENSORS_CHAIN) if one.kind is Kind.CLOCK),
    )


def _lines(
    frame: Frame, spoken: Mapping[tuple[str, Quantity], Channel], span: tuple[int, int]
) -> tuple[ChannelLine, ...]:
    """Each sensor's usable readings inside `span`, while it was at the judged place."""
    lines = []
    for (name, quantity), channel in sorted(spoken.items()):
        if quantity not in AIR:
            continue
        for place in frame.places:
            here = [
                (channel.t >= max(stay.start, span[0])) & (channel.t < min(stay.end or span[1], span[1]))
                for stay in frame.air_stays
                if (stay.sensor, stay.place) == (name, place)
            ]
            kept = np.any(here, axis=0) if here else np.zeros(len(channel.t), np.bool_)
            if kept.any():
                lines.append(
                    ChannelLine(name, place, quantity, channel.t[kept], channel.value[kept], channel.flat[kept])
                )
    return tuple(lines)


def _runs(found: Assessment, frame: Frame) -> tuple[tuple[int, int, State], ...]:
    """The room's states over the judged span: out while an excursion lasts, unknown in a gap, in band between."""
    span = judged_span(found, frame)
    if span is None:
        return ()
    begin, end = span
    marks = [(e.start, e.end or end, "out") for e in found.excursions] + [
        (g.start, g.end, "unknown") for g in found.gaps
    ]
    runs: list[tuple[int, int, State]] = []
    at = begin
    for start, until, state in sorted(marks):
        if start > at:
            runs.append((at, start, "in"))
        if until > at:
            runs.append((max(at, start), until, cast(State, state)))
            at = until
    if at < end:
        runs.append((at, end, "in"))
    return tuple(runs)


def _hand_readings(desk: Desk, frame: Frame, as_of: int) -> tuple[HandReading, ...]:
    return tuple(
        HandReading(quantity, entry.at, entry.body["values"][quantity], entry.who, entry.body["instrument"], sensors)
        for entry in effective(desk.book.log(frame.job.name))
        if entry.kind is Kind.READING and entry.at <= as_of
        for quantity, sensors in hand_beside(desk, frame, entry, as_of).items()
    )


def hand_told(desk: Desk, job: str, entry: Entry) -> list[str]:
    """A hand reading against each sensor that spoke at its time, in words."""
    now = desk.clock.now()
    frame = desk.book.frame_at(job, now)
    shown = display(desk, job)
    return [
        f"{QUANTITY[quantity]}: {beside(quantity, one, shown)}"
        for quantity, found in hand_beside(desk, frame, entry, now).items()
        for one in found
    ]


def _sensors(desk: Desk, frame: Frame, as_of: int) -> tuple[SensorLine, ...]:
    units = cast(System, frame.job.units)
    details = {
        (entry.body["sensor"], entry.body["from"]): _detail(entry.body, units)
        for entry in effective(desk.book.entries(SENSORS_CHAIN))
        if entry.kind is Kind.ASSIGNMENT and "from" in entry.body
    }
    return tuple(
        SensorLine(
            name=name,
            stream=sensor.stream,
            hold=sensor.hold,
            uncertainty=sensor.uncertainty,
            stays=tuple(
                Stay(stay.place, stay.start, stay.end, details.get((name, stay.start), ""), hears(stay, frame))
                for stay in frame.stays
                if stay.sensor == name
            ),
            check=level_of(sensor, Quantity.AIR_HUMIDITY, as_of),
            check_then=level_of(sensor, Quantity.AIR_HUMIDITY, begun) if (begun := _there(name, frame)) else None,
            checked_later=None if begun is None else _later(sensor, begun),
            backings=tuple(
                one for quantity in AIR if quantity in sensor.uncertainty for one in _backings(sensor, quantity)
            ),
        )
        for name, sensor in sorted(frame.sensors.items())
    )


def _there(sensor: str, frame: Frame) -> int | None:
    """When the wall was begun, for a sensor that was there then. [ms]"""
    begun = frame.start
    if begun is None or not any(stay.sensor == sensor and stay.covers(begun) for stay in frame.stays):
        return None
    return begun


def _later(sensor: Sensor, at: int) -> int | None:
    """When the check was made that backs the humidity of `at`, if only after it: as it was found then. [ms]"""
    check = in_force(sensor.checks, Quantity.AIR_HUMIDITY, at)
    return check.at if check is not None and check.at > at else None


def _checks(desk: Desk, frame: Frame, as_of: int) -> tuple[CheckLine, ...]:
    """The checks of the job's sensors that were made by `as_of`, in order. [ms]"""
    made = [
        entry
        for entry in effective(desk.book.entries(SENSORS_CHAIN))
        if entry.kind is Kind.CHECK and entry.at <= as_of and entry.body["sensor"] in frame.sensors
    ]
    return tuple(
        CheckLine(
            at=entry.at,
            until=entry.body["until"],
            sensor=entry.body["sensor"],
            quantity=Quantity(entry.body["quantity"]),
            level=entry.body["level"],
            how=entry.body["how"],
            points=tuple((read, true, spread) for read, true, spread in entry.body["points"]),
            slope=entry.body["slope"],
            offset=entry.body["offset"],
            uncertainty=entry.body["uncertainty"],
            who=entry.who,
        )
        for entry in sorted(made, key=lambda entry: (entry.at, entry.number))
    )


def hears(stay: Placed, frame: Frame) -> Hears:
    """What a sensor hears where it is."""
    if stay.role != "air":
        return stay.role
    return "air" if stay.place in frame.places else "outdoors"


def level_of(sensor: Sensor, quantity: Quantity, at: int) -> str:
    """The name among the words of what backs a sensor; a check that ran out is not one that was never made. [ms]"""
    found = sensor.level(quantity, at)
    checked = any(one.quantity is quantity and one.at <= at for one in sensor.checks)
    return found or ("run out" if checked else "never checked")


def _backings(sensor: Sensor, quantity: Quantity) -> list[Backing]:
    """From when to when what stands behind a quantity of a sensor."""
    starts = sorted({0, sensor.since + MAKER_ACCEPTED, *turns(sensor.checks, quantity)})
    found = []
    for start, end in zip(starts, [*starts[1:], None], strict=True):
        check = in_force(sensor.checks, quantity, start)
        stated = sensor.uncertainty[quantity] if check is None else check.uncertainty
        made = None if check is None else check.at
        found.append(Backing(quantity, start, end, level_of(sensor, quantity, start), stated, made))
    return found


def _detail(body: Mapping[str, Any], units: System) -> str:
    """What was said of a sensor's place, and what speaks against it."""
    placement = Placement.from_json(body.get("placement", {}))
    against = [f"MIND: {concern}" for concern in concerns(placement, units)]
    others = [f"{name}: {value}" for name, value in body.items() if name not in _FACTS]
    return "; ".join(part for part in (described(placement, units), *others, *against) if part)


def write_report(
    desk: Desk,
    job: str,
    path: Path,
    *,
    at: int | None = None,
    span: Span | None = None,
    phase: Phase | None = None,
    figure: str | None = None,
    still: bool = False,
) -> None:
    """Write the report of a job as one HTML file or PDF, or one `figure` of it as a PNG; at once or not at all.

    `span` and `phase` as of `report_page`, `still` as of `render_report`. Raises RecordError, ReportError.
    """
    from monitor.watch.papers.printing import page_file, picture_file, write_figure, write_page

    if figure is None and path.suffix.lower() == ".png":
        raise ReportError("a picture is of one figure", where=str(path), mend="Say which: --figure NAME")
    page_file(path) if figure is None else picture_file(path)
    from monitor.tell.pages.report import render_report

    found = report_page(desk, job, at=at, span=span, phase=phase)
    if figure is None:
        write_page(path, render_report(found, still=still), found.facts.units)
    else:
        write_figure(path, render_report(found), figure)
