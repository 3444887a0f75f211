"""The one evaluator: frame, readings and an instant in, Assessment out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from monitor.basis.values import AIR, OriginKind, Quantity
from monitor.rules.assessment import (
    Assessment,
    ClockReading,
    Coverage,
    Excursion,
    Lot,
    Now,
    OtherVerdict,
    Phase,
    State,
)
from monitor.rules.board.boards import board_reading
from monitor.rules.board.cores import core_reading
from monitor.rules.board.estimates import unpacked
from monitor.rules.board.skin import skin_reading
from monitor.rules.channel import ORIGINS
from monitor.rules.clock import Clock, reading, strict
from monitor.rules.excursion import episodes
from monitor.rules.fold import CLOCKS, FoldState, Product, feed, gap_of, lot_key
from monitor.rules.frame import Delivery, Frame
from monitor.rules.readiness import Facts, conditions
from monitor.rules.replay import Forgetful, Memory, Readings, Replayed, replay
from monitor.rules.timeline import Timeline, stays_at


def judge(
    frame: Frame,
    as_of: int,
    readings: Readings,
    memory: Memory | None = None,
    *,
    conflicts: int = 0,
) -> Assessment:
    """All that can be said of the job of `frame` as of `as_of` [ms], from readings before it.

    `memory` only saves time: with any memory, or none, the answer is the same to the last digit. `conflicts` is how
    many readings the store has set aside because another of the same time was kept.
    """
    replayed = replay(frame, as_of, readings, memory or Forgetful())
    state, product = replayed.state, replayed.product
    phase = _phase(frame, as_of)
    lots = _lots(frame, state, product, replayed.end)
    excursions = _excursions(state, product)
    now = _now(state, replayed, as_of)
    parts = [product.coverage(k) for k in range(3)]
    used = [k for k, lot in enumerate(lots) if not frame.lots_used or lot.name in frame.lots_used] or range(len(lots))
    governing = _governing(lots, used)
    days = unpacked(product.days)
    apart, here = tuple(state.apart_since.items()), _here(frame, as_of, replayed.aside)
    in_use = tuple(lots[k] for k in used)
    facts = Facts(frame, as_of, lots[governing], now, apart, here, _stuck(replayed.line), in_use)
    return Assessment(
        job=frame.job.name,
        zone=frame.job.zone,
        as_of=as_of,
        begin=state.begin,
        phase=phase,
        profile=frame.profile.name,
        profile_sha256=frame.profile.sha256,
        conflicts=conflicts,
        origin_share=_shares(product),
        span=Coverage(*(sum(column) for column in (product.elapsed, product.known, product.in_band))),
        before=parts[0] if parts[0].elapsed else None,
        during=parts[1] if parts[1].elapsed else None,
        after=parts[2] if parts[2].elapsed else None,
        lots=lots,
        governing=governing,
        excursions=excursions,
        episodes=episodes(excursions),
        gaps=(*product.gaps, *(() if state.gap is None else (gap_of(state.gap, replayed.end),))),
        now=now,
        readiness=conditions(facts),
        board=board_reading(frame, state.lagging.boards, days, _uncertainty(frame, replayed.line)),
        skin=skin_reading(state.lagging.mould, days),
        packed_days=product.days,
    )


def other_verdict(assessment: Assessment, in_force_from: int) -> OtherVerdict:
    """An assessment under another profile of the same job, in short."""
    return OtherVerdict(
        profile=assessment.profile,
        sha256=assessment.profile_sha256,
        in_force_from=in_force_from,
        completed_at=assessment.lot.clock.completed_at,
        counted=assessment.lot.clock.counted,
        excursions=len(assessment.excursions),
    )


def _phase(frame: Frame, as_of: int) -> Phase:
    if frame.start is None or as_of < frame.start:
        return "before"
    return "during" if frame.finish is None or as_of < frame.finish else "after"


def _here(frame: Frame, as_of: int, aside: frozenset[str]) -> tuple[str, ...]:
    """The sensors assigned to the judged place in the last instant before as_of, but for those that are no room's."""
    place = frame.job.boxes_place if _phase(frame, as_of - 1) == "before" else frame.job.wall_place
    return tuple(stay.sensor for stay in stays_at(frame, place, as_of - 1) if stay.sensor not in aside)


def _excursions(state: FoldState, product: Product) -> tuple[Excursion, ...]:
    still = [t.open.close(t.quantity, t.side, None, "open") for t in state.tracks if t.open is not None]
    return tuple(sorted([*product.excursions, *still], key=lambda e: (e.start, e.quantity.value, e.side)))


def _shares(product: Product) -> dict[OriginKind, float]:
    total = sum(product.origins)
    return {kind: length / total for kind, length in zip(ORIGINS, product.origins, strict=True) if length}


def _lots(frame: Frame, state: FoldState, product: Product, end: int) -> tuple[Lot, ...]:
    return tuple(_lot(frame, delivery, state, product, end) for delivery in frame.deliveries or (None,))


def _lot(frame: Frame, delivery: Delivery | None, state: FoldState, product: Product, end: int) -> Lot:
    place = frame.job.boxes_place if delivery is None else delivery.place
    view = "" if place == frame.job.boxes_place else place
    shown = {name: _clock(frame, delivery, name, view, state, product, end) for name in CLOCKS}
    return Lot(
        name="" if delivery is None else delivery.lot,
        place=place,
        delivered_at=None if delivery is None else delivery.at,
        boxes=None if delivery is None else delivery.boxes,
        clock=shown["profile"],
        strict=shown["strict"],
        guarded=shown["guarded"],
        core=core_reading(frame, delivery, state.lagging.cores.get(lot_key(delivery))),
    )


def _clock(
    frame: Frame, delivery: Delivery | None, name: str, view: str, state: FoldState, product: Product, end: int
) -> ClockReading:
    """One clock at the end of the span, the run under way counted in."""
    key = f"{name}|{lot_key(delivery)}"
    clock = state.clocks.get(key, Clock()).copy()
    run = state.runs.get(f"{'guarded' if name == 'guarded' else 'plain'}|{view}")
    pending = None
    if run is not None:
        feed(frame, clock, name, delivery, (run.start, end, run.state))
        if run.state == "in" and frame.start is None and frame.close is None:
            pending = run.start if delivery is None else max(run.start, delivery.at)
    rule = frame.profile.acclimation
    events: list[dict[str, Any]] = [product.clocks.get(key, {}), clock.take()]
    return reading(clock, strict(rule) if name == "strict" else rule, events, pending, end)


def _governing(lots: Sequence[Lot], used: Sequence[int]) -> int:
    """The lot furthest back, of those that are used: least counted, or completed last."""

    def progress(k: int) -> tuple[int, int]:
        clock = lots[k].clock
        return (0, clock.counted) if clock.completed_at is None else (1, -clock.completed_at)

    return min(used, key=progress)


def _now(state: FoldState, replayed: Replayed, as_of: int) -> Now:
    """The last instant of the span: the room's state, and what each sensor that speaks says."""
    run = state.runs.get("plain|")
    known: State = "unknown" if run is None else run.state
    since = None if run is None else run.start
    line = replayed.line
    if line is None:
        return Now(known, since)
    return Now(known, since, _said(line), state.heard)


def _uncertainty(frame: Frame, line: Timeline | None) -> dict[Quantity, float]:
    """The expanded uncertainty of those who speak in the last instant, the worst; else of all sensors. [K, %RH]"""
    stated = {q: max((s.uncertainty[q] for s in frame.sensors.values()), default=0.0) for q in AIR}
    if line is None:
        return stated
    spoken = {q: voices.uncertainty[:, -1][voices.speaking[:, -1]] for q, voices in line.voices.items()}
    return {q: float(spoken[q].max()) if len(spoken[q]) else stated[q] for q in AIR}


def _stuck(line: Timeline | None) -> tuple[str, ...]:
    """The sensors that speak in the last instant, but have stood still for so long that they prove nothing."""
    if line is None:
        return ()
    flat = np.any([voices.flat[:, -1] & voices.speaking[:, -1] for voices in line.voices.values()], axis=0)
    return tuple(sorted(line.sensors[row].name for row in np.flatnonzero(flat)))


def _said(line: Timeline) -> dict[str, Any]:
    said: dict[str, Any] = {}
    for quantity in AIR:
        voices = line.voices[quantity]
        for row in np.flatnonzero(voices.speaking[:, -1]).tolist():
            said.setdefault(line.sensors[row].name, {})[quantity] = float(voices.value[row, -1])
    return said
