"""Two spans of one record side by side, for people who differ: facts in sentences, and what the evidence can't show."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

import numpy as np

from monitor.basis.times import DAY
from monitor.basis.units import format_duration
from monitor.basis.values import AIR, Entry, Kind, OriginKind, Quantity
from monitor.rules.assessment import Excursion
from monitor.tell import diary, spanwords, words
from monitor.tell.drawn import chartwords, drawing
from monitor.tell.drawn.chart import chart_of
from monitor.tell.pages import cut
from monitor.tell.pages.candour import LOGGERS, candour
from monitor.tell.pages.evidence import evidence_rows
from monitor.tell.pages.page import render
from monitor.tell.pages.views import Backing, ReportPage, SensorLine, Stay
from monitor.tell.words import Display

POINTS = 4_000  # drawn of all channels of one span together
ROWS = 100  # of a table; the record has them all
SIDES = ("low", "high")
CARED = (Kind.CARE, Kind.INSPECTION)
MEANT = (
    "Both spans are of one record and judged by the same rules. The sentences are made from the record alone: this "
    "page says what was measured, computed and entered, and takes no side. What caused what, and who answers for it, "
    "is not for it to say. Air is measured, times, shares and sums are computed from it, boards are estimated."
)


class Bundle(NamedTuple):
    """An evidence bundle that goes with the page: its folder's name and its tag manifest's SHA-256, in hex."""

    name: str
    digest: str


class DisputePage(NamedTuple):
    """`spans`: their names, and the report page cut to each; `steps`: entries that the computer's clock was set."""

    spans: tuple[tuple[str, ReportPage], tuple[str, ReportPage]]
    steps: tuple[Entry, ...]
    bundle: Bundle | None


def render_dispute(found: DisputePage) -> str:
    """The page as HTML text, the same for the same values. Raises TimeError when the job's zone is unknown here."""
    page = found.spans[0][1]
    shown = words.display_of(page.assessment, page.facts.units)
    return render(
        "dispute.html",
        {},
        sheets=("dispute.css",),
        job=words.visible(page.assessment.job),
        training=words.TRAINING if page.assessment.training else "",
        as_of=words.when(page.assessment.as_of, shown),
        facts=_about(found, shown),
        meant=MEANT,
        names=[words.visible(name) for name, _ in found.spans],
        rows=_rows(found, shown),
        charts=[_chart(name, one, shown) for name, one in found.spans],
        excursions=[_excursions(name, one, shown) for name, one in found.spans],
        limits=_limits(found, shown),
        identity=_identity(found, shown),
    )


def _about(told: DisputePage, shown: Display) -> list[tuple[str, str]]:
    page = told.spans[0][1]
    found = page.assessment
    phases = [name for _, one in told.spans for name, _, _ in cut.phases(one)]
    return [
        ("profile", f"{words.visible(found.profile)}: {spanwords.bands(phases, page.profile, shown)}"),
        ("room", words.visible(page.facts.wall_place)),
        ("times", f"in {found.zone}, each with its offset from UTC"),
        ("written", words.when(page.written_at, shown)),
    ]


# --- facts in sentences -----------------------------------------------------------------------------------------------


def _rows(found: DisputePage, shown: Display) -> list[tuple[str, str, str]]:
    """A topic a row: its name and a sentence of each span."""
    tellers = (
        ("span", _span),
        ("known", _known),
        ("in band", _in_band),
        ("out of band", _out),
        ("humidity", lambda page, shown: _read(page, Quantity.AIR_HUMIDITY, shown)),
        ("temperature", lambda page, shown: _read(page, Quantity.AIR_TEMPERATURE, shown)),
        *[(_beyond_named(q, side), _beyond_of(q, side)) for q in reversed(AIR) for side in SIDES],
        ("boards, estimated", _boards),
        ("care", _care),
        ("events and causes", _said),
        ("entries", _entries),
    )
    return [(name, *(tell(page, shown) for _, page in found.spans)) for name, tell in tellers]


def _ends(page: ReportPage) -> tuple[int, int]:
    assert page.cut is not None
    return page.cut.start, page.cut.end


def _span(page: ReportPage, shown: Display) -> str:
    start, end = _ends(page)
    phases = ", ".join(words.PHASE[name] for name, _, _ in cut.phases(page))
    return f"{words.between(start, end, shown)}, {format_duration(end - start)}; {phases}."


def _known(page: ReportPage, shown: Display) -> str:
    part = cut.coverage(page, *_ends(page))
    gaps = cut.parts(page, page.assessment.gaps)
    share = words.share(part.known, part.elapsed)
    if not gaps:
        return f"Known for {share} of the span, without a gap."
    lengths = [one.end - one.start for one in gaps if one.end is not None]
    return (
        f"Known for {share} of the span; {words.counted_things(len(gaps), 'gap')}, {format_duration(sum(lengths))} in "
        f"all, the longest {format_duration(max(lengths))}."
    )


def _in_band(page: ReportPage, _shown: Display) -> str:
    part = cut.coverage(page, *_ends(page))
    return f"In band: {words.in_band(part)}, {format_duration(part.in_band)}."


def _out(page: ReportPage, _shown: Display) -> str:
    found = cut.parts(page, page.assessment.excursions)
    if not found:
        return _not_known(page) or "The room did not leave the band in known time."
    out = sum(end - start for start, end in cut.intervals(page, "out"))
    return f"{words.counted_things(len(found), 'excursion')}; out of band for {format_duration(out)} in all."


def _not_known(page: ReportPage) -> str:
    """Of a span of which no time is known, that nothing can be said of the band; else ""."""
    if cut.coverage(page, *_ends(page)).known:
        return ""
    deaf = [words.QUANTITY[quantity] for quantity in reversed(AIR) if _never_heard(page, quantity)]
    if len(deaf) == len(AIR):
        return "Not known: nothing was heard."
    return f"Not known: nothing was heard of {deaf[0]}." if deaf else "Not known: never were both quantities heard."


def _never_heard(page: ReportPage, quantity: Quantity) -> bool:
    """Whether nothing usable was heard of a quantity throughout the span."""
    start, end = _ends(page)
    if any(one.whole.quantity is quantity for one in cut.parts(page, page.assessment.excursions)):
        return False
    silent = [one for one in cut.parts(page, page.assessment.gaps) if quantity in one.whole.missing]
    half = int(cut.within(page.half_known, np.array([start, end], np.int64))[0])  # out by the other one, silent in this
    return sum(one.end - one.start for one in silent if one.end is not None) + half >= end - start


def _read(page: ReportPage, quantity: Quantity, shown: Display) -> str:
    small = cut.narrowed(page)
    found = cut.extremes(small, quantity)
    if found is None:
        return "Nothing was measured."
    low, high = (words.measure(quantity, value, shown) for value in found)
    sensors = len({one.sensor for one in small.channels if one.quantity is quantity})
    return f"Measured from {low} to {high}, by {words.counted_things(sensors, 'sensor')}."


def _beyond_named(quantity: Quantity, side: str) -> str:
    return f"{words.QUANTITY[quantity]} too {side}"


def _beyond_of(quantity: Quantity, side: str) -> Any:
    """Tells of the excursions on one side: how many, the worst value, and the sum beyond the limit."""

    def tell(page: ReportPage, shown: Display) -> str:
        found = cut.parts(page, page.assessment.excursions)
        here = [one for one in found if (one.whole.quantity, one.whole.side) == (quantity, side)]
        if not here:
            return "Not known: nothing was heard of it." if _never_heard(page, quantity) else "None in known time."
        limits = sorted({words.limit_of(one.whole, page.profile) for one in here})
        apart = [[one for one in here if words.limit_of(one.whole, page.profile) == limit] for limit in limits]
        return f"{'; '.join(_beyond(found, page, shown) for found in apart)}."

    return tell


def _beyond(found: Sequence[cut.Part[Excursion]], page: ReportPage, shown: Display) -> str:
    """The excursions beyond one limit: how many, the worst value, the sum."""
    first = found[0].whole
    worst = max((one.whole for one in found), key=lambda one: abs(one.peak - words.limit_of(one, page.profile)))
    doses = words.dose(first.quantity, sum(one.whole.dose for one in found), shown)
    reach = " (also before or after the span)" if any(one.cut and one.whole.end is not None for one in found) else ""
    return (
        f"{words.counted_things(len(found), 'time')} {words.side(first, page.profile, shown).split(' ', 1)[1]}, "
        f"at worst {words.worst(worst, page.profile, shown)}, {doses} beyond the limit{reach}"
    )


def _boards(page: ReportPage, _shown: Display) -> str:
    start, end = _ends(page)
    rows = page.assessment.days
    ends = (rows["day"].astype(np.int64) + 1) * DAY
    rows = rows[(ends > start) & (ends <= end) & ~np.isnan(rows["board"])]
    if not len(rows):
        return "Nothing is computed of boards at the end of a day of UTC in it."
    low, high = float(rows["board"].min()), float(rows["board"].max())
    known = rows["grown"][~np.isnan(rows["grown"])].tolist()
    gained = f", {min(known):+.1f} to {max(known):+.1f} points against the installation" if known else ""
    return (
        f"At the ends of its days of UTC {low:.1f} to {high:.1f} % of dry mass{gained}: the central of nine estimates."
    )


def _care(page: ReportPage, shown: Display) -> str:
    told = [one for one in _here(page) if one.kind in CARED]
    days = [(one.body.get("did", "inspection"), words.when(one.at, shown)[:10], one.number) for one in told]
    return f"{'; '.join(f'{did} {day} (entry {number})' for did, day, number in days) or 'None is entered'}."


def _said(page: ReportPage, shown: Display) -> str:
    told = [one for one in _here(page) if one.kind in (Kind.EVENT, Kind.CAUSE)]
    if not told:
        return "None is entered."
    return "; ".join(
        f"{one.kind.value} {words.when(one.at, shown)}: {diary.body(one, shown, longest=160)} (entry {one.number}, by "
        f"{words.visible(one.who)})"
        for one in told
    )


def _entries(page: ReportPage, _shown: Display) -> str:
    here = _here(page)
    late = diary.late(here)
    corrected = diary.corrections(page.entries)
    changed = [one for one in here if one.number in corrected]
    if not here:
        return "None speaks of it."
    told = [f"{len(here)} speak of it" if len(here) > 1 else "1 speaks of it"]
    told += [f"written more than an hour from their time: {diary.numbers(late)}"] if late else []
    told += [f"corrected since: {diary.numbers(changed)}"] if changed else []
    return f"{'; '.join(told)}."


def _here(page: ReportPage) -> list[Entry]:
    """The entries that speak of a time in the span, as they were first written."""
    start, end = _ends(page)
    return [one for one in page.entries if start <= one.at < end and one.kind is not Kind.CORRECTION]


# --- drawings and tables ----------------------------------------------------------------------------------------------


def _chart(name: str, page: ReportPage, shown: Display) -> dict[str, Any]:
    small = cut.narrowed(page)
    made = chart_of(small, shown, max(4, POINTS // max(1, len(small.channels))))
    here = cut.assessed(page)
    findings = [
        chartwords.finding(here, page.profile, quantity, cut.extremes(small, quantity), shown, cut.partial(page))
        for quantity in reversed(AIR)
    ]
    return {
        "name": words.visible(name),
        "drawing": "" if made is None else drawing.chart(made),
        "findings": findings,
        "drawn": "" if made is None else chartwords.drawn(made.drawn, made.total),
    }


def _excursions(name: str, page: ReportPage, shown: Display) -> dict[str, Any]:
    found = cut.parts(page, page.assessment.excursions)
    told = [_excursion(one.number, one.whole, page, shown) for one in found[:ROWS]]
    more = f"{ROWS} of {len(found)} shown, the first; an evidence bundle has all." if len(found) > ROWS else ""
    return {"name": words.visible(name), "rows": told, "more": more, "none": _out(page, shown)}


def _excursion(number: int, one: Excursion, page: ReportPage, shown: Display) -> tuple[str, ...]:
    return (
        str(number),
        words.side(one, page.profile, shown),
        words.when(one.start, shown),
        words.lasted(one.start, one.end, page.assessment.as_of),
        words.worst(one, page.profile, shown),
        words.dose(one.quantity, one.dose, shown),
        "; ".join((words.PHASE[one.phase], words.ENDED_BY[one.ended_by], *words.doubts(one))),
    )


# --- what the evidence can't show -------------------------------------------------------------------------------------


def _limits(found: DisputePage, shown: Display) -> list[tuple[str, str]]:
    page = found.spans[0][1]
    return [
        *[("placement", _placement(one, found)) for one in page.sensors],
        *[("uncertainty", told) for one in page.sensors if (told := _uncertainty(one, found, shown))],
        ("clock", _clock(found, shown)),
        *candour(page, shown),
    ]


def _placement(one: SensorLine, found: DisputePage) -> str:
    told = [(name, "; ".join(map(_where, _stays(one, page)))) for name, page in found.spans]
    if not any(said for _, said in told):
        return f"{words.visible(one.name)}, by what was entered: not there in either span."
    return f"{words.visible(one.name)}, by what was entered: {_of_each(told, 'not there')}."


def _of_each(told: Sequence[tuple[str, str]], without: str) -> str:
    """What is said of each span under its name; once where both say the same."""
    if len({said for _, said in told}) == 1:
        return f"in both spans {told[0][1] or without}"
    return "; ".join(f"in {words.visible(name)} {said or without}" for name, said in told)


def _stays(one: SensorLine, page: ReportPage) -> list[Stay]:
    """Where a sensor was within the span."""
    start, end = _ends(page)
    return [stay for stay in one.stays if stay.start < end and (stay.end is None or stay.end > start)]


def _where(stay: Stay) -> str:
    return f"{words.HEARS[stay.hears]} {words.visible(stay.place)} ({words.visible(stay.detail) or 'nothing said'})"


def _uncertainty(one: SensorLine, found: DisputePage, shown: Display) -> str:
    """What was in force within each span in which the sensor heard the air of a room; "" where it did in neither."""
    told = [
        (name, _in_force(one, page, shown) if any(stay.hears == "air" for stay in _stays(one, page)) else "")
        for name, page in found.spans
    ]
    if not any(said for _, said in told):
        return ""
    return f"{words.visible(one.name)}, expanded: {_of_each(told, 'it was not in the room')}."


def _in_force(one: SensorLine, page: ReportPage, shown: Display) -> str:
    """The uncertainties and what backs them within the span, from when on where it changed there."""
    start, end = _ends(page)
    here = [each for each in one.backings if each.start < end and (each.end is None or each.end > start)]
    alike: dict[tuple[Any, ...], list[list[Backing]]] = {}  # quantities that the same things back at the same times
    for quantity in reversed(AIR):
        own = [each for each in here if each.quantity is quantity]
        alike.setdefault(tuple((max(each.start, start), each.level, each.checked) for each in own), []).append(own)
    return ", ".join(_backed(each, start, shown) for group in alike.values() for each in zip(*group, strict=True))


def _backed(alike: Sequence[Backing], start: int, shown: Display) -> str:
    """Of quantities that one thing backs."""
    first = alike[0]
    since = f"from {words.when(first.start, shown)} on " if first.start > start else ""
    made = "" if first.checked is None else f" of {words.when(first.checked, shown)[:10]}"
    sizes = [f"{words.QUANTITY[e.quantity]} {words.difference(e.quantity, e.uncertainty, shown)}" for e in alike]
    return f"{since}{', '.join(sizes)}, backed by {words.CHECK.get(first.level, words.visible(first.level))}{made}"


def _clock(found: DisputePage, shown: Display) -> str:
    spans = [_ends(page) for _, page in found.spans]
    here = [one for one in found.steps if any(start <= one.at < end for start, end in spans)]
    loggers = LOGGERS if found.spans[0][1].assessment.origin_share.get(OriginKind.FILE) else ""
    if not here:
        return f"No jump of the computer's clock was seen in either span.{loggers}"
    told = "; ".join(
        f"{words.when(one.at, shown)} by {format_duration(int(one.body['by_ms']))} (sensors' log, entry {one.number})"
        for one in here[:ROWS]
    )
    return f"The computer's clock was set: {told}.{loggers}"


def _identity(found: DisputePage, shown: Display) -> list[tuple[str, str]]:
    page = found.spans[0][1]
    seals: Iterable[tuple[str, str]] = [] if page.sealed is None else evidence_rows(page.sealed, shown)
    head = [] if page.head is None else [("head of the chain", page.head.link), ("at entry", str(page.head.number))]
    bundle = found.bundle
    named = "none was named when this page was written" if bundle is None else words.visible(bundle.name)
    return [
        ("bundle", named),
        *([] if bundle is None else [("its tag manifest, SHA-256", bundle.digest)]),
        *seals,
        *head,
        ("profile, SHA-256", page.assessment.profile_sha256),
        ("rules version", str(page.assessment.rules_version)),
        ("written by", page.software),
    ]
