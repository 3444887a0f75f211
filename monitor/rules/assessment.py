"""The Assessment: everything that the rules found about one job as of one instant, and its JSON."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, NamedTuple

from monitor.basis.times import HOUR, rfc3339
from monitor.basis.values import OriginKind, Quantity
from monitor.rules.board.estimates import BoardReading, CoreReading, Days, SkinReading, unpacked

# Raised whenever the same input may give another answer, or other words: checkpoints of another version are made anew.
RULES_VERSION = 4

Side = Literal["low", "high"]
State = Literal["in", "out", "unknown"]
Phase = Literal["before", "during", "after"]
Verdict = Literal["pass", "fail", "unknown"]
Cause = Literal["out", "unproven"]


class Coverage(NamedTuple):
    """Lengths of time. `elapsed` >= `known`; `in_band` is all known. [ms]"""

    elapsed: int = 0
    known: int = 0
    in_band: int = 0

    @property
    def in_band_share(self) -> tuple[float, float]:
        """In-band share of elapsed time as [unknown counted out, unknown counted in], 0 to 1."""
        if not self.elapsed:
            return 0.0, 0.0
        return self.in_band / self.elapsed, (self.in_band + self.elapsed - self.known) / self.elapsed

    def to_json(self) -> dict[str, Any]:
        """Hours and shares."""
        worst, best = self.in_band_share
        return {
            "elapsed_h": self.elapsed / HOUR,
            "known_h": self.known / HOUR,
            "in_band_h": self.in_band / HOUR,
            "in_band_share_of_known": self.in_band / self.known if self.known else None,
            "in_band_share_of_elapsed": [worst, best] if self.elapsed else None,
        }


class Excursion(NamedTuple):
    """One side of one quantity held without a break in [start, end) (None: still open). `dose` in K.h or %RH.h."""

    quantity: Quantity
    side: Side
    start: int
    end: int | None
    ended_by: Literal["return", "silence", "open"]
    peak: float
    dose: float
    phase: Phase
    quality: Literal["good", "suspect"]
    beyond_uncertainty: bool
    continues: bool = False  # the same side held before a silence that this one ended

    def to_json(self) -> dict[str, Any]:
        """RFC 3339 times, degC or %RH."""
        return {
            "quantity": self.quantity.value,
            "side": self.side,
            "start": rfc3339(self.start),
            "end": _stamp(self.end),
            "ended_by": self.ended_by,
            "peak": self.peak,
            "dose": self.dose,
            "phase": self.phase,
            "quality": self.quality,
            "beyond_uncertainty": self.beyond_uncertainty,
            "continues": self.continues,
        }


class Episode(NamedTuple):
    """Excursions less than 6 h apart, for people; `end` None while one is open; `excursions` index the list."""

    start: int
    end: int | None
    excursions: tuple[int, ...]

    def to_json(self) -> dict[str, Any]:
        """RFC 3339 times and indices into `excursions`."""
        return {"start": rfc3339(self.start), "end": _stamp(self.end), "excursions": list(self.excursions)}


class Restart(NamedTuple):
    """The clock went back to zero."""

    at: int
    cause: Cause


class Completion(NamedTuple):
    """The count reached the required hours; `lapsed_at` when a later break undid it."""

    started_at: int
    completed_at: int
    lapsed_at: int | None = None


class ClockReading(NamedTuple):
    """What one acclimation clock shows at as_of. [ms]"""

    required: int
    counted: int = 0
    started_at: int | None = None
    completed_at: int | None = None
    projected_at: int | None = None
    restarts: tuple[Restart, ...] = ()
    history: tuple[Completion, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Hours and RFC 3339 times."""
        return {
            "started_at": _stamp(self.started_at),
            "counted_h": self.counted / HOUR,
            "required_h": self.required / HOUR,
            "completed_at": _stamp(self.completed_at),
            "projected_at": _stamp(self.projected_at),
            "restarts": [{"at": rfc3339(r.at), "cause": r.cause} for r in self.restarts],
            "history": [
                {
                    "started_at": rfc3339(h.started_at),
                    "completed_at": rfc3339(h.completed_at),
                    "lapsed_at": _stamp(h.lapsed_at),
                }
                for h in self.history
            ],
        }


class Lot(NamedTuple):
    """One delivery and its clocks: the profile's, the strict one, and the one with limits drawn in by U."""

    name: str
    place: str
    delivered_at: int | None
    boxes: int | None
    clock: ClockReading
    strict: ClockReading
    guarded: ClockReading
    core: CoreReading | None = None

    @property
    def beyond_uncertainty(self) -> bool:
        """Whether the completion in force holds with the limits drawn in by each sensor's uncertainty."""
        return self.clock.completed_at is not None and self.guarded.completed_at is not None

    def to_json(self) -> dict[str, Any]:
        """The profile's clock at the top, the two others inside."""
        return {
            "lot": self.name,
            "place": self.place,
            "delivered_at": _stamp(self.delivered_at),
            "boxes": self.boxes,
            **self.clock.to_json(),
            "beyond_uncertainty": self.beyond_uncertainty,
            "strict": self.strict.to_json(),
            "guarded": self.guarded.to_json(),
            "core": None if self.core is None else self.core.to_json(),
        }


class Condition(NamedTuple):
    """One condition of readiness. Unknown is not a pass."""

    name: str
    verdict: Verdict
    evidence: str

    def to_json(self) -> dict[str, str]:
        """As the contract has it."""
        return {"condition": self.name, "verdict": self.verdict, "evidence": self.evidence}


class Gap(NamedTuple):
    """The room was not known from `start` to `end`; `missing` names the quantities that nobody vouched for.

    `silent`: nothing was heard of one of them. Otherwise a sensor spoke, but it was stuck and proves nothing.
    """

    start: int
    end: int
    missing: tuple[Quantity, ...]
    silent: bool = True

    def to_json(self) -> dict[str, Any]:
        """RFC 3339 times."""
        return {
            "start": rfc3339(self.start),
            "end": rfc3339(self.end),
            "missing": [quantity.value for quantity in self.missing],
            "silent": self.silent,
        }


@dataclass(frozen=True, slots=True)
class Now:
    """The judged room in the last instant before as_of. `values`: what each speaking sensor says, degC or %RH."""

    state: State
    since: int | None
    values: Mapping[str, Mapping[Quantity, float]] = field(default_factory=dict)
    last_heard: int | None = None

    def to_json(self) -> dict[str, Any]:
        """The state, since when, what each sensor says and when the room was last heard."""
        return {
            "state": self.state,
            "since": _stamp(self.since),
            "values": {sensor: {q.value: v for q, v in said.items()} for sensor, said in self.values.items()},
            "last_heard": _stamp(self.last_heard),
        }


class OtherVerdict(NamedTuple):
    """The same record under another profile that this job has had."""

    profile: str
    sha256: str
    in_force_from: int
    completed_at: int | None
    counted: int
    excursions: int

    def to_json(self) -> dict[str, Any]:
        """Beside the verdict in force."""
        return {
            "profile": self.profile,
            "sha256": self.sha256,
            "in_force_from": rfc3339(self.in_force_from),
            "completed_at": _stamp(self.completed_at),
            "counted_h": self.counted / HOUR,
            "excursions": self.excursions,
        }


class Assessment(NamedTuple):
    """All that can be said of a job as of an instant; computed from readings before it and entries up to it."""

    job: str
    zone: str
    as_of: int
    begin: int | None
    phase: Phase
    profile: str
    profile_sha256: str
    conflicts: int
    origin_share: Mapping[OriginKind, float]
    span: Coverage
    before: Coverage | None
    during: Coverage | None
    after: Coverage | None
    lots: tuple[Lot, ...]
    governing: int
    excursions: tuple[Excursion, ...]
    episodes: tuple[Episode, ...]
    gaps: tuple[Gap, ...]
    now: Now
    readiness: tuple[Condition, ...]
    other_verdicts: tuple[OtherVerdict, ...] = ()
    board: BoardReading | None = None
    skin: SkinReading | None = None
    packed_days: bytes = b""
    rules_version: int = RULES_VERSION

    @property
    def lot(self) -> Lot:
        """The governing lot: the one furthest back."""
        return self.lots[self.governing]

    @property
    def days(self) -> Days:
        """A row for each UTC day of the judged span; see `days.DAYS`."""
        return unpacked(self.packed_days)

    @property
    def ready(self) -> bool:
        """All conditions pass; unknown is not a pass."""
        return all(condition.verdict == "pass" for condition in self.readiness)

    @property
    def training(self) -> bool:
        """Whether any reading was simulated: then this is a training job and every page says so."""
        return self.origin_share.get(OriginKind.SIMULATED, 0.0) > 0.0

    def to_json(self) -> dict[str, Any]:
        """The whole of it, JSON-safe: degC, %RH, K.h, %RH.h, hours, RFC 3339 UTC."""
        phases = {"before": self.before, "during": self.during, "after": self.after}
        return {
            "job": self.job,
            "zone": self.zone,
            "as_of": rfc3339(self.as_of),
            "begin": _stamp(self.begin),
            "phase": self.phase,
            "profile": {"name": self.profile, "sha256": self.profile_sha256},
            "rules_version": self.rules_version,
            "training": self.training,
            "conflicts": self.conflicts,
            "origin_share": {kind.value: share for kind, share in self.origin_share.items()},
            "coverage": {
                **self.span.to_json(),
                **{name: None if part is None else part.to_json() for name, part in phases.items()},
            },
            "acclimation": {**self.lot.to_json(), "lots": [lot.to_json() for lot in self.lots]},
            "excursions": [excursion.to_json() for excursion in self.excursions],
            "episodes": [episode.to_json() for episode in self.episodes],
            "gaps": [gap.to_json() for gap in self.gaps],
            "now": self.now.to_json(),
            "board": None if self.board is None else self.board.to_json(),
            "skin": None if self.skin is None else self.skin.to_json(),
            "ready": self.ready,
            "readiness": [condition.to_json() for condition in self.readiness],
            "other_verdicts": [other.to_json() for other in self.other_verdicts],
        }


def _stamp(at: int | None) -> str | None:
    return None if at is None else rfc3339(at)
