"""The record of conditions before an installation: one sheet to be signed by hand, bound to the record by a code."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from monitor.config.profile import Profile
from monitor.rules.assessment import Assessment, Condition, Verdict
from monitor.rules.install.makers import Document
from monitor.seal.codes import grouped
from monitor.tell import makers, words
from monitor.tell.drawn.qr import qr
from monitor.tell.pages.evidence import Sealed
from monitor.tell.pages.page import render
from monitor.tell.views import JobFacts
from monitor.tell.words import Display

LIMIT_HEAD = ("figure", "this profile", "the maker", "looser", "document")
SIGN = ("who installs", "whom the wall is for", "witness")
WORD: Mapping[Verdict, str] = {"pass": "met", "fail": "NOT MET", "unknown": "NOT KNOWN"}
SHEET, FEWEST, ROW = 3_000, 900, 170  # signs that a sheet holds, of them of evidence at least, for a row of limits
LONGEST, LONGEST_NAME = 180, 40  # of the lots, of a name
LIMITS = 4  # of the maker's, those looser in the profile first
FEW = 2  # sensors by name, sentences of what is looser
KNOWN_BY = (
    "The air is measured; hours, shares and verdicts are computed from it and from what was entered; the core of the "
    "boxes is estimated where no sensor lies in them."
)
MEANT = (
    "This is a record of what was measured, computed and said up to the time above. It is not a certificate and not an "
    "approval. The maker's written instructions and local code decide."
)
SIGNED = (
    "I have read this record. A signature says no more than that; who was said to have done something is a claim of "
    "whoever entered it."
)


class RecordPage(NamedTuple):
    """All that the sheet shows. `told`: who checked the site and the wall, and when; `sensors` of the room's air, each
    with what backs it; `documents`: the maker's; `started` when the installation was begun [ms], None before it."""

    assessment: Assessment
    facts: JobFacts
    profile: Profile
    documents: tuple[Document, ...]
    told: Mapping[str, str]
    sensors: tuple[tuple[str, str], ...]
    sealed: Sealed
    started: int | None
    written_at: int
    software: str
    building: str = ""


def render_record(page: RecordPage) -> str:
    """The sheet as HTML text, the same for the same values. Raises TimeError when the job's zone is unknown here."""
    found = page.assessment
    shown = words.display_of(found, page.facts.units)
    head, training = page.sealed.last, words.TRAINING if found.training else ""
    verdict, facts, limits = _verdict(page, shown), _facts(page, shown), _limits(page, shown)
    said = sum(map(len, [training, found.job, verdict, *(value for _, value in facts)]))
    return render(
        "record.html",
        {},
        sheets=("sheet.css", "record.css"),
        job=words.visible(found.job),
        training=training,
        as_of=words.when(found.as_of, shown),
        tag=_tag(page),
        verdict=verdict,
        facts=facts,
        conditions=_conditions(found, page.told, shown, _left(said, len(limits))),
        limit_head=LIMIT_HEAD,
        limits=limits,
        more_limits=max(0, len(makers.rows(page.documents, page.profile, shown)) - LIMITS),
        known_by=KNOWN_BY,
        meant=MEANT,
        signed=SIGNED,
        sign=SIGN,
        qr=None if head is None else qr(code_text(page.sealed), "the hash and the fingerprint below"),
        evidence=_evidence(page, shown),
        software=page.software,
    )


def code_text(sealed: Sealed) -> str:
    """What the QR code holds: capitals and digits alone make it small."""
    head = sealed.last
    assert head is not None
    return f"WALLCLIME HEAD {head.number} SHA-256 {head.hash.upper()} KEY {sealed.fingerprint.upper()}"


def _tag(page: RecordPage) -> str:
    """What is not met and what is not known apart: nobody is blamed for what was not looked at, nor let off."""
    verdicts = [one.verdict for one in page.assessment.readiness]
    counts = [f"{verdicts.count(verdict)} {WORD[verdict]}" for verdict in ("fail", "unknown") if verdict in verdicts]
    return ", ".join(counts) or "ALL MET"


def _verdict(page: RecordPage, shown: Display) -> str:
    """How many conditions are met at the time of the record; of a start that went before it, that it did; and where
    the maker asks for more than this profile."""
    found = page.assessment
    still = len(words.open_conditions(found))
    number = len(found.readiness)
    told = f"all {number} conditions are met" if not still else f"{number - still} of {number} conditions are met"
    begun = "" if page.started is None else f"; the installation was begun {words.when(page.started, shown)}"
    return " ".join([f"{told}{begun}.", *_looser(page.facts.looser)])


def _looser(sentences: Sequence[str]) -> list[str]:
    left = len(sentences) - FEW
    more = [f"Looser too: {words.counted_things(left, 'other limit')}."] if left > 0 else []
    return [*sentences[:FEW], *more]


def _left(said: int, limits: int) -> int:
    """What one sheet has room for of the evidence [signs], besides `said` above it, in larger letters, and `limits`
    below it: tried in print, see the tests; the report has all."""
    return max(FEWEST, SHEET - said * 3 // 2 - limits * ROW)


def _conditions(
    found: Assessment, told: Mapping[str, str], shown: Display, room: int
) -> list[tuple[str, str, str, str]]:
    """What is open first: verdict, its word, name, and evidence that all together has `room` [signs]."""
    ordered = [*words.open_conditions(found), *(one for one in found.readiness if one.verdict == "pass")]
    evidence = _shared([_evidence_of(one, told, shown) for one in ordered], room)
    return [
        (one.verdict, WORD[one.verdict], _name(one.name), text) for one, text in zip(ordered, evidence, strict=True)
    ]


def _evidence_of(one: Condition, told: Mapping[str, str], shown: Display) -> str:
    """When and who first: that is what is signed, whatever else is cut."""
    evidence = words.evidence(one.evidence, shown)
    return f"{told[one.name]}: {evidence}" if one.name in told else evidence


def _shared(texts: Sequence[str], room: int) -> list[str]:
    """The texts, cut so that all together have at most `room` signs: what short ones leave goes to the long ones."""
    found = list(texts)
    shortest_first = sorted(range(len(texts)), key=lambda k: len(texts[k]))
    for number, k in enumerate(shortest_first):
        found[k] = _short(texts[k], room // (len(texts) - number))
        room -= len(found[k])
    return found


def _short(text: str, most: int = LONGEST) -> str:
    """Cut at a word, or within one that is longer than half of what there is room for."""
    shown = words.visible(text)
    if len(shown) <= most:
        return shown
    whole, _, _ = shown[: most - 3].rpartition(" ")
    return f"{whole if 2 * len(whole) > most else shown[: most - 4].rstrip()} ..."


def _name(text: str) -> str:
    return _short(text, LONGEST_NAME)


def _facts(page: RecordPage, shown: Display) -> list[tuple[str, str]]:
    facts, found = page.facts, page.assessment
    size = words.size(facts.length, facts.height, facts.units)
    building = f", {_name(page.building)}" if page.building else ""
    lots = ", ".join(words.lot_named(lot.name) for lot in found.lots if lot.delivered_at is not None)
    named = [
        ("wall", f"{size}, in {_name(facts.wall_place)}{building}"),
        ("boxes", f"in {_name(facts.boxes_place)}; {_short(lots) or 'no delivery is recorded'}"),
        ("profile", f"{_name(found.profile)}: {words.band(page.profile, found.phase, shown)}"),
        ("hours, by the profile", _clock(page, shown, strict=False)),
        ("hours, strictly", _clock(page, shown, strict=True)),
        ("room, measured", _room(found, shown)),
        ("in band", words.in_band(found.before or found.span)),
        ("sensors", _sensors(page)),
    ]
    return [(name, value) for name, value in named if value]


def _clock(page: RecordPage, shown: Display, *, strict: bool) -> str:
    """Counted of required hours, computed, and how the clock stands."""
    lot = page.assessment.lot
    clock = lot.strict if strict else lot.clock
    told = f"{words.counted(clock)} counted, {words.clock_state(clock, shown)}"
    if strict:
        return f"{told} (hours without any break)"
    restarts = f"; set back to zero {words.times(len(clock.restarts))}" if clock.restarts else ""
    sure = f". {words.beyond_uncertainty(lot)}" if clock.completed_at is not None else ""
    return f"{told}{restarts}{sure}"


def _room(found: Assessment, shown: Display) -> str:
    said = [
        f"{_name(sensor)} {', '.join(words.measure(q, value, shown) for q, value in sorted(values.items()))}"
        for sensor, values in sorted(found.now.values.items())
    ]
    return "; ".join(filter(None, [words.now_state(found.now, found.as_of, shown), words.few(said, FEW)]))


def _sensors(page: RecordPage) -> str:
    return words.few([f"{_name(name)}: {backed}" for name, backed in page.sensors], FEW) or "none is assigned"


def _limits(page: RecordPage, shown: Display) -> list[tuple[str, ...]]:
    """The maker's figures beside ours, those in which ours are looser first."""
    rows = makers.rows(page.documents, page.profile, shown)
    worst = sorted(rows, key=lambda row: row[3] not in ("the profile", "each on one side"))
    return [(*row[:4], _short(row[4], 52)) for row in worst[:LIMITS]]


def _evidence(page: RecordPage, shown: Display) -> list[tuple[str, str]]:
    head = page.sealed.last
    written = ("written", f"{words.when(page.written_at, shown)} by {page.software}")
    if head is None:
        return [("seal", "not sealed yet: nothing but the store itself vouches for the record"), written]
    return [
        ("head", f"{head.number}, made {words.when(head.made, shown)}"),
        ("its SHA-256", grouped(head.hash)),
        ("its code", head.code),
        ("key, fingerprint", grouped(page.sealed.fingerprint)),
        written,
    ]
