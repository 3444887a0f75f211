"""Advice about a job's room: what is known of its air now, put together for the rules."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from monitor.basis.errors import RecordError
from monitor.basis.times import DAY
from monitor.basis.units import System
from monitor.basis.values import AIR, Quantity
from monitor.config.profile import Band
from monitor.rules.advice import Advice, advice
from monitor.rules.assessment import Assessment
from monitor.rules.channel import Channel
from monitor.rules.frame import Frame
from monitor.rules.guards import Guard, guards
from monitor.rules.hand import said_at
from monitor.rules.replay import heard
from monitor.rules.target import Measured, Situation
from monitor.rules.timeline import stays_at
from monitor.rules.trend import Recent
from monitor.tell.instruments import drift
from monitor.tell.words import Display
from monitor.watch.desk import Desk
from monitor.watch.sensing.beside import drifts

BOARD_KG_M2 = 7.0  # a plank of 8 mm and about 870 kg/m3; ours, no published source [kg/m2]

_MOVE = re.compile(r"Heat |Cool |Moisten |Dry |Airing helps|If this goes on, .*: wait,")


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What somebody says of the room. `boards_m2`: the wall's area where it is not said; `boxes_c`: as measured."""

    volume_m3: float | None = None
    air_changes_1_h: float | None = None
    boards_m2: float | None = None
    boxes_c: float | None = None


class Advised(NamedTuple):
    """What to do, and how the guards of an empty room stand."""

    advice: Advice
    guards: tuple[Guard, Guard, Guard]


def advised(frame: Frame, desk: Desk, found: Assessment, asked: Asked, units: System) -> Advised:
    """Advice for a job's room as an Assessment has it now. Raises RecordError where its values are no air of a room."""
    try:
        situation = situation_of(frame, desk, found, asked)
        return Advised(advice(situation, units), guards(situation, units))
    except ValueError as exc:
        raise RecordError(
            f"no advice can be given on this air ({exc})",
            where=f"job {found.job}",
            mend="Look at the sensor: wallclime status shows what it says",
        ) from exc


def situation_of(frame: Frame, desk: Desk, found: Assessment, asked: Asked) -> Situation:
    """What is known of the room. Of several sensors the one furthest from the middle of the band speaks, for what one
    of them calls out is out."""
    as_of = found.as_of
    band = frame.profile.life if found.phase == "after" else frame.profile.band
    channels = heard(frame, as_of, desk.store, as_of - DAY, as_of)
    speaks = {quantity: _furthest(found, quantity, band) for quantity in AIR}
    recent = {
        q: Recent(channels[name, q].t, channels[name, q].value)
        for q, name in speaks.items()
        if name is not None and (name, q) in channels
    }
    area = frame.job.length * frame.job.height if asked.boards_m2 is None else asked.boards_m2
    outdoor = _outdoors(frame, desk, as_of)
    return Situation(
        as_of=as_of,
        band=band,
        temperature=_measured(found, channels, speaks, Quantity.AIR_TEMPERATURE),
        humidity=_measured(found, channels, speaks, Quantity.AIR_HUMIDITY),
        phase=found.phase,
        recent=recent,
        outdoor_c=outdoor.get(Quantity.AIR_TEMPERATURE),
        outdoor_pct=outdoor.get(Quantity.AIR_HUMIDITY),
        volume_m3=asked.volume_m3,
        air_changes_1_h=asked.air_changes_1_h,
        boards_kg=area * BOARD_KG_M2,
        boxes_c=_boxes_c(found, asked),
    )


def _boxes_c(found: Assessment, asked: Asked) -> tuple[float, float] | None:
    """The boxes as told, as measured in them, or as estimated: lowest and highest. [degC]"""
    core = found.lot.core
    if asked.boxes_c is not None:
        return asked.boxes_c, asked.boxes_c
    if core is None:
        return None
    if core.measured is not None:
        return core.measured, core.measured
    return None if core.low is None or core.high is None else (core.low, core.high)


def _furthest(found: Assessment, quantity: Quantity, band: Band) -> str | None:
    low, high = band.temperature if quantity is Quantity.AIR_TEMPERATURE else band.humidity
    said = {name: values[quantity] for name, values in found.now.values.items() if quantity in values}
    return max(sorted(said), key=lambda name: abs(said[name] - (low + high) / 2.0), default=None)


def _measured(
    found: Assessment,
    channels: Mapping[tuple[str, Quantity], Channel],
    speaks: Mapping[Quantity, str | None],
    quantity: Quantity,
) -> Measured | None:
    name = speaks[quantity]
    if name is None:
        return None
    channel = channels.get((name, quantity))
    spread = float(channel.uncertainty[-1]) if channel is not None and len(channel.t) else 0.0
    return Measured(_possible(quantity, found.now.values[name][quantity]), spread)


def _possible(quantity: Quantity, value: float) -> float:
    """A corrected humidity may fall below nothing, air's can't."""
    return max(value, 0.0) if quantity is Quantity.AIR_HUMIDITY else value


def _outdoors(frame: Frame, desk: Desk, as_of: int) -> dict[Quantity, float]:
    """What the sensors at the outdoor place say now, their mean; nothing where there is none. degC, %RH."""
    if frame.job.outdoor_place is None:
        return {}
    there = {stay.sensor for stay in stays_at(frame, frame.job.outdoor_place, as_of - 1)}
    start = as_of - max((frame.sensors[name].hold for name in there), default=0)
    channels = heard(frame, as_of, desk.store, start, as_of) if there else {}
    said: dict[Quantity, list[float]] = {}
    for (name, quantity), channel in channels.items():
        value = said_at(Recent(channel.t, channel.value), frame.sensors[name].hold, as_of - 1)
        if name in there and value is not None:
            said.setdefault(quantity, []).append(value)
    return {quantity: _possible(quantity, float(np.mean(values))) for quantity, values in said.items()}


def notes(frame: Frame, desk: Desk, found: Assessment, display: Display) -> tuple[str, ...]:
    """For a status: the guards that fail, what is wrong and the first move, sensors that drift too far."""
    moved = tuple(drift(one, display) for one in drifts(desk, frame, found.as_of) if one.beyond)
    if not found.now.values:
        return moved
    try:
        told = advised(frame, desk, found, Asked(), display.units)
    except RecordError as exc:
        return (str(exc), *moved)
    failing = [guard.sentence for guard in told.guards if guard.verdict == "fail"]
    return (*failing, *_shortly([text for text in told.advice.sentences if text not in failing]), *moved)


def _shortly(sentences: Sequence[str]) -> tuple[str, ...]:
    """The first sentence, the diagnosis, and the first that tells a move, without what that allows for."""
    move = next((text for text in sentences[1:] if _MOVE.match(text)), None)
    if move is None:
        return tuple(sentences[:1])
    return sentences[0], re.sub(r", which allows for .*\.$", ".", move)
