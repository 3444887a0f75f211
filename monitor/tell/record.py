"""The record of conditions before an installation: one sheet to be signed by hand, bound to the record by a code."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from monitor.config.profile import Profile
from monitor.rules.assessment import Assessment, Condition, Verdict
from monitor.rules.makers import Document
from monitor.seal.codes import grouped
from monitor.tell import makers, words
from monitor.tell.evidence import Sealed
from monitor.tell.page import render
from monitor.tell.qr import qr
from monitor.tell.views import JobFacts
from monitor.tell.words import Display

LIMIT_HEAD = ("figure", "this profile", "the maker", "looser", "document")
SIGN = ("who installs", "whom the wall is for", "witness")
WORD: Mapping[Verdict, str] = {"pass": "met", "fail": "NOT MET", "unknown": "NOT KNOWN"}
SIGNS = 1_100  # of the evidence of all that is open, shared between: a sheet holds no more; the report has all
LONGEST, LONGEST_NAME = 180, 40  # of one evidence, of a name
LIMITS = 4  # of the maker's, those looser in the profile first
FEW = 2  # sensors by name
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


@dataclass(frozen=True, slots=True)
class RecordPage:
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
    head = page.sealed.last
    return render(
        "record.html",
        {},
        sheets=("sheet.css", "record.css"),
        job=words.visible(found.job),
        training=words.TRAINING if found.training else "",
        as_of=words.when(found.as_of, shown),
        tag=_tag(page),
        verdict=_verdict(page, shown),
        facts=_facts(page, shown),
        conditions=_conditions(found, page.told),
        limit_head=LIMIT_HEAD,
        limits=_limits(page, shown),
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
    still = words.open_conditions(page.assessment)
    return "ALL MET" if not still else f"{len(still)} NOT MET"


def _verdict(page: RecordPage, shown: Display) -> str:
    """How many conditions are met at the time of the record; of a start that went before it, that it did."""
    found = page.assessment
    still = len(words.open_conditions(found))
    number = len(found.readiness)
    told = f"all {number} conditions are met" if not still else f"{number - still} of {number} conditions are met"
    begun = "" if page.started is None else f"; the installation was begun {words.when(page.started, shown)}"
    return f"{told}{begun}."


def _conditions(found: Assessment, told: Mapping[str, str]) -> list[tuple[str, str, str, str]]:
    """What is open first: verdict, its word, name, evidence."""
    still = words.open_conditions(found)
    most = min(LONGEST, SIGNS // max(1, len(still)))
    ordered = [*still, *(one for one in found.readiness if one.verdict == "pass")]
    return [(one.verdict, WORD[one.verdict], _name(one.name), _short(_evidence_of(one, told), most)) for one in ordered]


def _evidence_of(one: Condition, told: Mapping[str, str]) -> str:
    return f"{one.evidence}; {told[one.name]}" if one.name in told else one.evidence


def _short(text: str, most: int = LONGEST) -> str:
    shown = words.visible(text)
    return shown if len(shown) <= most else f"{shown[: most - 4].rstrip()} ..."


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
    restarts = f"; set back to zero {words.counted_things(len(clock.restarts), 'time')}" if clock.restarts else ""
    sure = f". {words.beyond_uncertainty(lot)}" if clock.completed_at is not None else ""
    return f"{told}{restarts}{sure}"


def _room(found: Assessment, shown: Display) -> str:
    said = [
        f"{_name(sensor)} {', '.join(words.measure(q, value, shown) for q, value in sorted(values.items()))}"
        for sensor, values in sorted(found.now.values.items())
    ]
    return "; ".join(filter(None, [words.now_state(found.now, found.as_of, shown), words.few(said, FEW)]))


def _sensors(page: RecordPage) -> str:
    return words.few([f"{_name(name)}, {backed}" for name, backed in page.sensors], FEW) or "none is assigned"


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
