"""The report of a job: one HTML page that needs no network, no program beside it and no other file."""

from __future__ import annotations

from typing import Any

from monitor.basis.units import format_duration
from monitor.rules.assessment import Assessment, ClockReading
from monitor.tell import diary, instruments, makers, spanwords, words
from monitor.tell.drawn import drawing, moist_air
from monitor.tell.drawn.board_chart import days_chart_of
from monitor.tell.drawn.board_figure import days_figure_json
from monitor.tell.drawn.chart import chart_of
from monitor.tell.drawn.figures import figure_json
from monitor.tell.drawn.moist_figure import air_figure_json
from monitor.tell.pages import board_page, checks, cut, meanings, report_air, report_out
from monitor.tell.pages.candour import front
from monitor.tell.pages.evidence import evidence_rows
from monitor.tell.pages.page import render
from monitor.tell.pages.profile_table import profile_rows
from monitor.tell.pages.table import Row, Table, most
from monitor.tell.pages.views import ReportPage, SensorLine
from monitor.tell.words import Display

POINTS = 12_000  # drawn of all channels together, ...
POINTS_OF_ONE = 4_000  # ... and of one
TOLD = 20_000  # signs of a text in the diary: as good as never cut


def render_report(page: ReportPage, *, still: bool = False) -> str:
    """The page as HTML text, the same for the same values. Raises TimeError when the job's zone is unknown here.

    `still`: with the charts of the paper only and no program, a tenth as large.
    """
    display, page = words.display_of(page.assessment, page.facts.units), cut.narrowed(page)
    most = max(4, min(POINTS_OF_ONE, POINTS // max(1, len(page.channels))))
    chart, days = chart_of(page, display, most), days_chart_of(page)
    hours = moist_air.hours_of(page)
    air = moist_air.air_chart_of(page, hours, display)
    figures: dict[str, str] = (
        {}
        if still
        else {
            **({} if chart is None else {"figure-air": figure_json(chart)}),
            **({} if air is None else {"figure-moist": air_figure_json(air)}),
            **({} if days is None else {"figure-days": days_figure_json(days)}),
        }
    )
    return render(
        "report.html",
        figures,
        still=still,
        **_opening(page, display),
        **_clock(page, display),
        **report_air.over_time(page, chart, display),
        calendar=report_air.calendar(page, display),
        moist=report_air.moist(page, hours, air, display),
        **board_page.sections(page, days, display),
        readiness=_readiness(page.assessment, display),
        excursions=report_out.excursions(page, display),
        episodes=report_out.episodes(page, display),
        gaps=report_out.gaps(page, display),
        coverage=report_out.coverage(page),
        origins=report_out.origins(page.assessment),
        sensors=_sensors(page, display),
        checks=checks.checks(page.checks, display),
        profile=_profile(page, display),
        makers=_makers(page, display),
        others=_others(page.assessment, display),
        diary=_diary(page, display),
        evidence=_evidence(page, display),
        candour=front(page, display),
        **_meanings(page),
    )


def _opening(page: ReportPage, display: Display) -> dict[str, Any]:
    assessment = page.assessment
    return {
        "job": words.visible(assessment.job),
        "tag": words.tag(assessment),
        "of_span": _of_span(page, display),
        "verdict": " ".join([_of_whole(page, display), *page.facts.looser]),
        "not_cut": "" if page.cut is None else spanwords.NOT_CUT,
        "training": words.TRAINING if assessment.training else "",
        "as_of": words.when(assessment.as_of, display),
        "shown": _shown(page, display),
        "facts": _facts(page, display),
    }


def _of_span(page: ReportPage, display: Display) -> str:
    """How the room was in the part of the record that is shown; "" where all of it is."""
    if page.cut is None:
        return ""
    start, end, phase = page.cut.start, page.cut.end, page.cut.phase
    covered, number = cut.coverage(page, start, end), len(cut.parts(page, page.assessment.excursions))
    return spanwords.verdict_of_span(start, end, phase, covered, number, display)


def _of_whole(page: ReportPage, display: Display) -> str:
    """The verdict, which is of the whole record in any case."""
    verdict = words.verdict(page.assessment, display, page.facts.open_at_start)
    return verdict if page.cut is None else spanwords.verdict_of_whole(verdict, page.assessment.as_of, display)


def _shown(page: ReportPage, display: Display) -> str:
    """The span that the page shows; "" where no time has passed."""
    span, phase = cut.span_of(page), None if page.cut is None else page.cut.phase
    return "" if span is None else spanwords.span_named(*span, phase, cut=page.cut is not None, display=display)


def _facts(page: ReportPage, display: Display) -> list[Row]:
    """Names, values, and how each is known."""
    facts, assessment, span = page.facts, page.assessment, cut.span_of(page)
    size = words.size(facts.length, facts.height, facts.units)
    bands = spanwords.bands([phase for phase, _, _ in cut.phases(page)] or [assessment.phase], page.profile, display)
    found = [
        ("shown", _shown(page, display), "computed"),
        ("wall", size, "said"),
        ("boxes lie in", words.visible(facts.boxes_place), "said"),
        ("wall stands in", words.visible(facts.wall_place), "said"),
        ("outdoors", words.visible(facts.outdoor_place or ""), "said"),
        ("profile", f"{words.visible(assessment.profile)}: {bands}", "said"),
        ("room", words.now_state(assessment.now, assessment.as_of, display), "computed"),
        (
            "in band" if page.cut is None else "in band, this part",
            words.in_band(assessment.span if span is None else cut.coverage(page, *span)),
            "computed",
        ),
        ("opened", f"{words.when(facts.opened_at, display)} by {words.visible(facts.opened_by)}", "said"),
        ("written", words.when(page.written_at, display), ""),
        ("times", f"in {assessment.zone}, each with its offset from UTC", ""),
    ]
    return [row for row in found if row[1]]


# --- the clock -------------------------------------------------------------------------------------


def _clock(page: ReportPage, display: Display) -> dict[str, Any]:
    lot = page.assessment.lot
    planks = drawing.planks(lot.clock)
    readings = (
        ("the profile's clock", lot.clock),
        ("strict: hours without a break", lot.strict),
        ("guarded: limits drawn in by the uncertainty", lot.guarded),
    )
    return {
        "wall": drawing.wall(lot.clock),
        "plank": format_duration(lot.clock.required // planks),
        "counted": words.counted(lot.clock),
        "uncertainty": words.beyond_uncertainty(lot),
        "clocks": [_reading(name, clock, display) for name, clock in readings],
        "lots": _lots(page.assessment, display),
        "history": _history(lot.clock, display),
        "restarts": _restarts(page, display),
        "rule": words.rule(page.profile),
    }


def _reading(name: str, clock: ClockReading, display: Display) -> dict[str, Any]:
    return {
        "name": name,
        "counted": words.counted(clock),
        "bar": drawing.bar(clock),
        "state": words.clock_state(clock, display),
        "restarts": len(clock.restarts),
    }


def _lots(assessment: Assessment, display: Display) -> Table:
    if len(assessment.lots) < 2:
        return Table("lots", (), ())
    rows = [
        (
            words.visible(lot.name),
            words.visible(lot.place),
            "-" if lot.delivered_at is None else words.when(lot.delivered_at, display),
            "-" if lot.boxes is None else str(lot.boxes),
            words.counted(lot.clock),
            words.clock_state(lot.clock, display),
        )
        for lot in assessment.lots
    ]
    note = f"The job's clock is that of {words.lot_named(assessment.lot.name)}, the one furthest back."
    how = ("", "", "said", "said", "computed", "computed")
    return Table("lots", ("lot", "place", "delivered", "boxes", "counted", "state"), rows, note, how)


def _history(clock: ClockReading, display: Display) -> Table:
    rows = [
        (
            words.when(each.started_at, display),
            words.when(each.completed_at, display),
            "in force" if each.lapsed_at is None else words.when(each.lapsed_at, display),
        )
        for each in clock.history
    ]
    return Table(
        "history",
        ("counted from", "complete", "lapsed"),
        rows,
        "" if rows else "It was never complete.",
        ("computed",) * 3,
    )


def _restarts(page: ReportPage, display: Display) -> Table:
    rows, note = most(page.assessment.lot.clock.restarts, lambda each: each.at)
    told = [(words.when(each.at, display), words.restart_cause(each, page.profile)) for each in rows]
    return Table(
        "restarts",
        ("back to zero", "because the room was"),
        told,
        note or ("" if told else "It never restarted."),
        ("computed", ""),
    )


# --- the findings ----------------------------------------------------------------------------------


UNKNOWN = "Unknown is not a pass."
BEGUN = f"{UNKNOWN} As they would stand now: what was open when the wall was begun is in the log."


def _readiness(assessment: Assessment, display: Display) -> Table:
    """The conditions as they stand; once the wall is begun nothing is to be done about them any more."""
    begun = assessment.phase != "before"
    rows = [
        (
            condition.verdict.upper(),
            words.visible(condition.name),
            words.evidence(condition.evidence, display),
            "" if begun or condition.verdict == "pass" else words.to_do(condition),
        )
        for condition in [*words.open_conditions(assessment), *(c for c in assessment.readiness if c.verdict == "pass")]
    ]
    return Table("readiness", ("verdict", "condition", "evidence", "what to do"), rows, BEGUN if begun else UNKNOWN)


def _sensors(page: ReportPage, display: Display) -> Table:
    rows = [_sensor(sensor, display) for sensor in page.sensors]
    head = ("sensor", "address", "a reading speaks for", "uncertainty", "backed by", "where")
    note = " ".join(f"{instruments.drift(each, display)}." for each in page.drifts)
    return Table(
        "sensors", head, rows, note if rows else "No sensor was ever here.", ("", "", "said", "said", "", "said")
    )


def _sensor(sensor: SensorLine, display: Display) -> Row:
    uncertainty = ", ".join(
        f"{words.QUANTITY[quantity]} {words.difference(quantity, u, display)}"
        for quantity, u in sensor.uncertainty.items()
    )
    stays = "; ".join(
        f"{words.visible(stay.place)} from {words.when(stay.start, display)}"
        f"{'' if stay.end is None else f' to {words.when(stay.end, display)}'}"
        f"{f' ({words.visible(stay.detail)})' if stay.detail else ''}"
        for stay in sensor.stays
    )
    name, stream, backing = (
        words.visible(sensor.name),
        words.visible(sensor.stream),
        checks.backing(sensor, display),
    )
    return name, stream, format_duration(sensor.hold), uncertainty, backing, stays


def _makers(page: ReportPage, display: Display) -> Table:
    head = ("figure", "profile", "maker", "looser", "document")
    rows = makers.rows(page.documents, page.profile, display)
    return Table("makers", head, rows, how=("", "said", "said", "", ""))


def _profile(page: ReportPage, display: Display) -> Table:
    figures = profile_rows(page.profile, display)
    sources = list(dict.fromkeys(source for _, _, source in figures))
    rows = [(name, value, f"[{sources.index(source) + 1}]") for name, value, source in figures]
    note = " ".join(f"[{number}] {source}." for number, source in enumerate(sources, 1))
    return Table("profile", ("figure", "value", "source"), rows, note, ("", "said", ""))


def _others(assessment: Assessment, display: Display) -> Table:
    rows = [
        (
            words.visible(other.profile),
            words.when(other.in_force_from, display),
            words.hours(other.counted),
            "-" if other.completed_at is None else words.when(other.completed_at, display),
            str(other.excursions),
            other.sha256[:16],
        )
        for other in assessment.other_verdicts
    ]
    note = "The same record under the profiles that this job had before." if rows else ""
    head = ("profile", "in force from", "counted", "complete", "excursions", "SHA-256")
    return Table("others", head, rows, note, ("", "said", "computed", "computed", "computed", "computed"))


def _diary(page: ReportPage, display: Display) -> Table:
    corrected = diary.corrections(page.entries)
    rows = []
    for entry in page.entries:
        by = corrected.get(entry.number, [])
        notes = [diary.entered(entry), f"corrected by entry {', '.join(map(str, by))}" if by else ""]
        told = "; ".join(note for note in notes if note)
        said, who = diary.body(entry, display, longest=TOLD), words.visible(entry.who)
        rows.append((str(entry.number), words.when(entry.at, display), told, entry.kind.value, who, said))
    head = ("no.", "speaks of", "note", "kind", "by", "what")
    return Table("diary", head, rows, "" if rows else "No entry yet.", ("", "said", "", "", "", "said"))


def _evidence(page: ReportPage, display: Display) -> list[tuple[str, str]]:
    assessment = page.assessment
    seals = [] if page.sealed is None else evidence_rows(page.sealed, display)
    head = [] if page.head is None else [("head of the chain", page.head.link), ("at entry", str(page.head.number))]
    return [
        *seals,
        *head,
        ("profile, SHA-256", assessment.profile_sha256),
        ("rules version", str(assessment.rules_version)),
        ("written by", page.software),
    ]


def _meanings(page: ReportPage) -> dict[str, Any]:
    return {
        "marks": meanings.MARKS,
        "definitions": meanings.definitions(page.profile, boards=page.board is not None),
        "cautions": meanings.cautions(begun=page.facts.install_start is not None),
    }
