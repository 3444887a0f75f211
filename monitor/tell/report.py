"""The report of a job: one HTML page that needs no network, no program beside it and no other file."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, TypeVar

from monitor.basis.units import format_duration, format_length
from monitor.basis.values import AIR, Quantity
from monitor.rules.assessment import Assessment, ClockReading, Coverage
from monitor.tell import board_page, diary, drawing, instruments, makers, words
from monitor.tell.board_chart import days_chart_of
from monitor.tell.board_figure import days_figure_json
from monitor.tell.candour import candour
from monitor.tell.chart import Chart, Extremes, chart_of, days, styles
from monitor.tell.evidence import evidence_rows
from monitor.tell.figures import figure_json
from monitor.tell.page import render
from monitor.tell.profile_table import profile_rows
from monitor.tell.table import Row, Table
from monitor.tell.views import ReportPage, SensorLine
from monitor.tell.words import Display

POINTS = 24_000  # drawn of all channels together, ...
POINTS_OF_ONE = 4_000  # ... and of one
ROWS = 300  # of a table; the record has them all

T = TypeVar("T")


def render_report(page: ReportPage) -> str:
    """The page as HTML text, the same for the same values. Raises TimeError when the job's zone is unknown here."""
    display = words.display_of(page.assessment, page.facts.units)
    most = max(4, min(POINTS_OF_ONE, POINTS // max(1, len(page.channels))))
    chart = chart_of(page, display, most)
    figures = {} if chart is None else {"figure-air": figure_json(chart)}
    days = days_chart_of(page)
    figures |= {} if days is None else {"figure-days": days_figure_json(days)}
    return render(
        "report.html",
        figures,
        **_opening(page, display),
        **_clock(page, display),
        **_chart(page, chart, display),
        **board_page.sections(page, days, display),
        readiness=_readiness(page.assessment),
        excursions=_excursions(page, display),
        episodes=_episodes(page, display),
        gaps=_gaps(page, display),
        coverage=_coverage(page.assessment),
        origins=_origins(page.assessment),
        sensors=_sensors(page, display),
        profile=_profile(page, display),
        makers=_makers(page, display),
        others=_others(page.assessment, display),
        diary=_diary(page, display),
        evidence=_evidence(page, display),
        candour=candour(page, display),
    )


def _opening(page: ReportPage, display: Display) -> dict[str, Any]:
    assessment = page.assessment
    return {
        "job": words.visible(assessment.job),
        "tag": words.tag(assessment),
        "verdict": " ".join([words.verdict(assessment, display, page.facts.open_at_start), *page.facts.looser]),
        "training": words.TRAINING if assessment.training else "",
        "as_of": words.when(assessment.as_of, display),
        "facts": _facts(page, display),
    }


def _facts(page: ReportPage, display: Display) -> list[tuple[str, str]]:
    facts, assessment = page.facts, page.assessment
    size = " x ".join(format_length(side, facts.units) for side in (facts.length, facts.height) if side is not None)
    found = [
        ("wall", size),
        ("boxes lie in", words.visible(facts.boxes_place)),
        ("wall stands in", words.visible(facts.wall_place)),
        ("outdoors", words.visible(facts.outdoor_place or "")),
        ("profile", f"{words.visible(assessment.profile)}: {words.band(page.profile, assessment.phase, display)}"),
        ("room", words.now_state(assessment.now, assessment.as_of, display)),
        ("in band", words.in_band(assessment.span)),
        ("opened", f"{words.when(facts.opened_at, display)} by {words.visible(facts.opened_by)}"),
        ("written", words.when(page.written_at, display)),
        ("times", f"in {assessment.zone}, each with its offset from UTC"),
    ]
    return [(name, value) for name, value in found if value]


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
    return Table("lots", ("lot", "place", "delivered", "boxes", "counted", "state"), rows, note)


def _history(clock: ClockReading, display: Display) -> Table:
    rows = [
        (
            words.when(each.started_at, display),
            words.when(each.completed_at, display),
            "in force" if each.lapsed_at is None else words.when(each.lapsed_at, display),
        )
        for each in clock.history
    ]
    return Table("history", ("counted from", "complete", "lapsed"), rows, "" if rows else "It was never complete.")


def _restarts(page: ReportPage, display: Display) -> Table:
    rows, note = _most(page.assessment.lot.clock.restarts, lambda each: each.at)
    told = [(words.when(each.at, display), words.restart_cause(each, page.profile)) for _, each in rows]
    return Table(
        "restarts", ("back to zero", "because the room was"), told, note or ("" if told else "It never restarted.")
    )


# --- the chart -------------------------------------------------------------------------------------


def _chart(page: ReportPage, chart: Chart | None, display: Display) -> dict[str, Any]:
    if chart is None:
        return {"chart": ""}
    findings = [_finding(page, quantity, display) for quantity in reversed(AIR)]
    events = [(event.letter, words.when(event.at, display), event.text) for event in chart.events]
    return {
        "chart": drawing.chart(chart),
        "findings": findings,
        "legend": _legend(page),
        "drawn": words.drawn(chart.drawn, chart.total),
        "events": Table("events", ("sign", "when", "what"), events),
        "days": _days(page, display),
        "hand_readings": _hand_readings(page, display),
    }


def _finding(page: ReportPage, quantity: Quantity, display: Display) -> str:
    values = [channel.value for channel in page.channels if channel.quantity is quantity and len(channel.t)]
    extremes = (min(float(v.min()) for v in values), max(float(v.max()) for v in values)) if values else None
    return words.finding(page.assessment, page.profile, quantity, extremes, display)


def _legend(page: ReportPage) -> list[dict[str, Any]]:
    places = {channel.sensor: channel.place for channel in page.channels if channel.quantity in AIR}
    numbers = styles(page)
    return [
        {"sign": drawing.sign(numbers[name]), "name": f"{words.visible(name)} ({words.visible(place)})"}
        for name, place in places.items()
    ]


def _days(page: ReportPage, display: Display) -> Table:
    def cells(quantity: Quantity, found: Extremes) -> Row:
        if quantity not in found:
            return "-", "-", "0"
        low, high, number = found[quantity]
        return words.measure(quantity, low, display), words.measure(quantity, high, display), str(number)

    rows = [
        (words.when(start, display)[:10], *cells(Quantity.AIR_HUMIDITY, row), *cells(Quantity.AIR_TEMPERATURE, row))
        for start, row in days(page.channels, display.zone)
    ]
    head = ("from", "humidity lowest", "highest", "readings", "temperature lowest", "highest", "readings")
    return Table("days", head, rows)


def _hand_readings(page: ReportPage, display: Display) -> Table:
    rows = [
        (
            words.when(hand.at, display),
            words.QUANTITY[hand.quantity],
            words.measure(hand.quantity, hand.value, display),
            words.visible(hand.instrument) or "-",
            words.visible(hand.who),
            instruments.all_beside(hand.quantity, hand.beside, display),
        )
        for hand in page.hand_readings
    ]
    return Table("hand", ("read by hand", "quantity", "value", "instrument", "by", "sensors"), rows)


# --- the findings ----------------------------------------------------------------------------------


def _readiness(assessment: Assessment) -> Table:
    rows = [
        (
            condition.verdict.upper(),
            words.visible(condition.name),
            words.visible(condition.evidence),
            "" if condition.verdict == "pass" else words.to_do(condition),
        )
        for condition in [*words.open_conditions(assessment), *(c for c in assessment.readiness if c.verdict == "pass")]
    ]
    return Table("readiness", ("verdict", "condition", "evidence", "what to do"), rows, "Unknown is not a pass.")


def _excursions(page: ReportPage, display: Display) -> Table:
    assessment, profile = page.assessment, page.profile
    found, note = _most(assessment.excursions, lambda each: (each.end or assessment.as_of) - each.start)
    rows = [
        (
            str(number),
            words.side(each, profile, display),
            words.when(each.start, display),
            "-" if each.end is None else words.when(each.end, display),
            words.lasted(each.start, each.end, assessment.as_of),
            words.worst(each, profile, display),
            words.dose(each.quantity, each.dose, display),
            "; ".join((words.PHASE[each.phase], words.ENDED_BY[each.ended_by], *words.doubts(each))),
        )
        for number, each in found
    ]
    head = ("no.", "what", "from", "to", "lasted", "at worst", "beyond the limit", "to be said of it")
    return Table(
        "excursions", head, rows, note or ("" if rows else "None: the room never left the band in known time.")
    )


def _episodes(page: ReportPage, display: Display) -> Table:
    assessment = page.assessment
    found, note = _most(assessment.episodes, lambda each: (each.end or assessment.as_of) - each.start)
    rows = [
        (
            str(number),
            words.when(each.start, display),
            "-" if each.end is None else words.when(each.end, display),
            words.lasted(each.start, each.end, assessment.as_of),
            ", ".join(str(index + 1) for index in each.excursions),
            _explained(page, number),
        )
        for number, each in found
    ]
    return Table("episodes", ("episode", "from", "to", "lasted", "excursions no.", "what is said of it"), rows, note)


def _explained(page: ReportPage, number: int) -> str:
    """What the log says of an episode: causes with their remedies, and what happened meanwhile."""
    if number > len(page.explained):
        return "-"
    told = page.explained[number - 1]
    causes = [
        f"{one.body['cause']}{'; remedy: ' + one.body['remedy'] if one.body['remedy'] else ''} (entry {one.number})"
        for one in told.causes
    ]
    events = [f"{one.body['what'].replace('-', ' ')}: {one.body['text']} (entry {one.number})" for one in told.events]
    return words.visible("; ".join([*causes, *events])) or "nothing"


def _gaps(page: ReportPage, display: Display) -> Table:
    found, note = _most(page.assessment.gaps, lambda each: each.end - each.start)
    rows = [
        (
            words.when(each.start, display),
            words.when(each.end, display),
            format_duration(each.end - each.start),
            "; ".join(text for text in (words.missing(each), words.cause(each, page.away, display)) if text),
        )
        for _, each in found
    ]
    told = "Not counted. A stuck sensor is heard, but proves nothing." if rows else "None: the room was always known."
    return Table("gaps", ("from", "to", "lasted", "why"), rows, f"{told} {note}".strip())


def _coverage(assessment: Assessment) -> Table:
    parts = {
        "whole span": assessment.span,
        words.PHASE["before"]: assessment.before,
        words.PHASE["during"]: assessment.during,
        words.PHASE["after"]: assessment.after,
    }
    rows = [(name, *_covered(part)) for name, part in parts.items() if part is not None]
    head = ("time", "elapsed", "known", "in band", "known share", "in band of known", "in band of elapsed")
    return Table("coverage", head, rows, "Of elapsed time: not known counted out, to not known counted in.")


def _covered(part: Coverage) -> Row:
    lengths = tuple(format_duration(length) for length in (part.elapsed, part.known, part.in_band))
    if not part.elapsed:
        return (*lengths, "-", "-", "-")
    of_known = words.share(part.in_band, part.known) if part.known else "-"
    return (*lengths, words.share(part.known, part.elapsed), of_known, " to ".join(words.in_band_of_elapsed(part)))


def _origins(assessment: Assessment) -> Table:
    rows = [(words.ORIGIN[kind], words.fraction(part)) for kind, part in assessment.origin_share.items() if part]
    return Table("origins", ("readings", "share of known time"), rows, words.conflicts(assessment.conflicts))


def _sensors(page: ReportPage, display: Display) -> Table:
    rows = [_sensor(sensor, display) for sensor in page.sensors]
    head = ("sensor", "address", "a reading speaks for", "uncertainty", "backed by", "where")
    note = " ".join(f"{instruments.drift(each, display)}." for each in page.drifts)
    return Table("sensors", head, rows, note if rows else "No sensor was ever here.")


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
    backing = words.CHECK.get(sensor.check, words.visible(sensor.check))
    if sensor.check_then not in (None, sensor.check):
        backing = f"{words.CHECK.get(sensor.check_then or '', '')} when the wall was begun; {backing} now"
    name, stream = words.visible(sensor.name), words.visible(sensor.stream)
    return name, stream, format_duration(sensor.hold), uncertainty, backing, stays


def _makers(page: ReportPage, display: Display) -> Table:
    head = ("figure", "profile", "maker", "looser", "document")
    return Table("makers", head, makers.rows(page.documents, page.profile, display))


def _profile(page: ReportPage, display: Display) -> Table:
    figures = profile_rows(page.profile, display)
    sources = list(dict.fromkeys(source for _, _, source in figures))
    rows = [(name, value, f"[{sources.index(source) + 1}]") for name, value, source in figures]
    note = " ".join(f"[{number}] {source}." for number, source in enumerate(sources, 1))
    return Table("profile", ("figure", "value", "source"), rows, note)


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
    return Table("others", ("profile", "in force from", "counted", "complete", "excursions", "SHA-256"), rows, note)


def _diary(page: ReportPage, display: Display) -> Table:
    corrected = diary.corrections(page.entries)
    rows = []
    for entry in page.entries:
        by = corrected.get(entry.number, [])
        notes = [diary.entered(entry), f"corrected by entry {', '.join(map(str, by))}" if by else ""]
        told = "; ".join(note for note in notes if note)
        said, who = diary.body(entry, display), words.visible(entry.who)
        rows.append((str(entry.number), words.when(entry.at, display), told, entry.kind.value, who, said))
    return Table("diary", ("no.", "speaks of", "note", "kind", "by", "what"), rows, "" if rows else "No entry yet.")


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


def _most(items: Iterable[T], size: Callable[[T], Any]) -> tuple[list[tuple[int, T]], str]:
    """Items with their numbers from 1, in order; of more than ROWS the largest, and then a note that says so."""
    numbered = list(enumerate(items, 1))
    if len(numbered) <= ROWS:
        return numbered, ""
    largest = sorted(numbered, key=lambda pair: size(pair[1]), reverse=True)[:ROWS]
    return sorted(
        largest, key=lambda pair: pair[0]
    ), f"{ROWS} of {len(numbered)} shown, the longest; the record has all."
