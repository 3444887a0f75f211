"""The parts of a report about what left the band and what is not known: excursions, episodes, gaps, coverage."""

from __future__ import annotations

from collections.abc import Callable

from monitor.climate.wood import moves_with_moisture
from monitor.rules.assessment import Assessment, Coverage, Episode, Excursion
from monitor.rules.board.causes import Explained
from monitor.rules.board.estimates import Bounds
from monitor.tell import boards, spanwords, words
from monitor.tell.pages import cut
from monitor.tell.pages.cut import Part
from monitor.tell.pages.table import Row, Table, most
from monitor.tell.pages.views import ReportPage
from monitor.tell.words import Display


def _length(page: ReportPage) -> Callable[[Part], int]:
    return lambda part: (page.assessment.as_of if part.end is None else part.end) - part.start


# --- excursions ------------------------------------------------------------------------------------


def excursions(page: ReportPage, display: Display) -> Table:
    """Every excursion of the span, with its number in the record."""
    every = cut.parts(page, page.assessment.excursions)
    found, note = most(every, _length(page))
    head = ("no.", "what", "when", "lasted", "at worst", "beyond the limit", "to be said of it")
    how = ("", "computed", "computed", "computed", "measured", "computed", "")
    notes = [note, spanwords.cut_to_span(sum(part.cut for part in every), "excursion")]
    told = " ".join(part for part in notes if part)
    if not every:
        told = "None: the room never left the band in known time."
    return Table("excursions", head, [_excursion(part, page, display) for part in found], told, how)


def _excursion(part: Part[Excursion], page: ReportPage, display: Display) -> Row:
    whole, profile = part.whole, page.profile
    said = [words.PHASE[whole.phase], words.ENDED_BY[whole.ended_by], *words.doubts(whole)]
    said += [spanwords.cut_excursion(whole, display)] if part.cut else []
    return (
        str(part.number),
        words.side(whole, profile, display),
        spanwords.since(part.start, part.end, display),
        words.lasted(part.start, part.end, page.assessment.as_of),
        words.worst(whole, profile, display),
        words.dose(whole.quantity, whole.dose, display),
        "; ".join(said),
    )


# --- episodes --------------------------------------------------------------------------------------


def episodes(page: ReportPage, display: Display) -> Table:
    """Excursions near each other, what people say of them, and what they did to the boards."""
    every = cut.parts(page, page.assessment.episodes)
    found, note = most(every, _length(page), "episodes ")
    head = (
        "episode", "when", "lasted", "excursions no.", "at worst", "beyond the limit", "cause", "remedy", "meanwhile",
        "the boards",
    )  # fmt: skip
    how = ("", "computed", "computed", "", "measured", "computed", "said", "said", "said", "estimated")
    return Table("episodes", head, [_episode(part, page, display) for part in found], note, how)


def _episode(part: Part[Episode], page: ReportPage, display: Display) -> Row:
    whole, as_of = part.whole, page.assessment.as_of
    inside = [page.assessment.excursions[k] for k in whole.excursions]
    told = page.explained[part.number - 1] if part.number <= len(page.explained) else Explained()
    return (
        str(part.number),
        spanwords.since(part.start, part.end, display),
        words.lasted(part.start, part.end, as_of),
        spanwords.listed([index + 1 for index in whole.excursions]),
        spanwords.worst_of(inside, page.profile, display),
        spanwords.doses(inside, display),
        *_explained(told),
        _on_boards(part, page),
    )


def _explained(told: Explained) -> tuple[str, str, str]:
    """Cause, remedy and what happened meanwhile, as the log says it, each with its entry."""
    causes = [f"{one.body['cause']} (entry {one.number})" for one in told.causes]
    remedies = [f"{one.body['remedy']} (entry {one.number})" for one in told.causes if one.body["remedy"]]
    events = [f"{one.body['what'].replace('-', ' ')}: {one.body['text']} (entry {one.number})" for one in told.events]
    cause, remedy, meanwhile = (words.visible("; ".join(said)) for said in (causes, remedies, events))
    return cause or "nobody said", remedy or "-", meanwhile or "-"


def _on_boards(part: Part[Episode], page: ReportPage) -> str:
    if page.board is None or page.facts.install_start is None or not moves_with_moisture(page.profile.board.core):
        return "-"
    if part.whole.end is not None and part.whole.end <= page.facts.install_start:
        return "in closed boxes: hardly at all"
    moved = [one.moved for one in page.board.effects if one.number in part.whole.excursions]
    if not moved:
        return "less than can be told"
    total = Bounds(*(sum(getattr(one, name) for one in moved) for name in ("low", "central", "high")))
    return f"{boards.gained(total, 2)} of dry mass"


# --- gaps and coverage -----------------------------------------------------------------------------


def gaps(page: ReportPage, display: Display) -> Table:
    """When the room was not known, and why as far as the record tells."""
    every = cut.parts(page, page.assessment.gaps)
    found, note = most(every, _length(page))
    rows = [
        (
            words.when(part.start, display),
            "-" if part.end is None else words.when(part.end, display),
            words.lasted(part.start, part.end, page.assessment.as_of),
            "; ".join(
                text for text in (words.missing(part.whole), words.cause(part.whole, page.away, display)) if text
            ),
        )
        for part in found
    ]
    told = "Not counted. A stuck sensor is heard, but proves nothing." if rows else "None: the room was always known."
    said = " ".join(text for text in (told, note, spanwords.cut_to_span(sum(p.cut for p in every), "gap")) if text)
    return Table("gaps", ("from", "to", "lasted", "why"), rows, said, ("computed", "computed", "computed", ""))


def coverage(page: ReportPage) -> Table:
    """Known and in-band time of the span and its phases, and of the whole record beside them."""
    found = page.assessment
    if page.cut is None:
        parts = {
            "whole span": found.span,
            words.PHASE["before"]: found.before,
            words.PHASE["during"]: found.during,
            words.PHASE["after"]: found.after,
        }
    else:
        inside = {words.PHASE[name]: cut.coverage(page, start, end) for name, start, end in cut.phases(page)}
        this = cut.coverage(page, page.cut.start, page.cut.end)
        parts = {"the span shown": this, **inside, "the whole record": found.span}
    rows = [(name, *_covered(part)) for name, part in parts.items() if part is not None]
    head = ("time", "elapsed", "known", "in band", "known share", "in band of known", "in band of elapsed")
    how = ("", *("computed" for _ in head[1:]))
    note = "Of elapsed time: not known counted out, to not known counted in."
    return Table("coverage", head, rows, note, how)


def _covered(part: Coverage) -> Row:
    lengths = tuple(words.length(length) for length in (part.elapsed, part.known, part.in_band))
    if not part.elapsed:
        return (*lengths, "-", "-", "-")
    of_known = words.share(part.in_band, part.known) if part.known else "-"
    return (
        *lengths,
        words.share(part.known, part.elapsed),
        of_known,
        " to ".join(dict.fromkeys(words.in_band_of_elapsed(part))),
    )


def origins(assessment: Assessment) -> Table:
    """Where the readings came from."""
    rows = [(words.ORIGIN[kind], words.fraction(part)) for kind, part in assessment.origin_share.items() if part]
    note = words.conflicts(assessment.conflicts)
    return Table("origins", ("readings", "share of known time"), rows, note, ("", "computed"))
