"""All that lags behind the room: what the fold carries of boards, box cores and the wall's skin, and moves on."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import numpy as np

from monitor.basis.values import Quantity
from monitor.climate.lag import State
from monitor.climate.mould import MouldState
from monitor.rules.board.boards import SPEEDS, came_with, follow_boards
from monitor.rules.board.cores import CoreState, Trail, follow_cores, state_of
from monitor.rules.board.days import packed_days
from monitor.rules.board.hours import Hours, hours_heard
from monitor.rules.board.skin import follow_surface
from monitor.rules.channel import FAR, Channel, Mask, Times, Values
from monitor.rules.frame import Delivery, Frame
from monitor.rules.install.suitability import faces_outdoors
from monitor.rules.stays import Role
from monitor.rules.timeline import spans_of

_T = Quantity.AIR_TEMPERATURE

Channels = Mapping[tuple[str, Quantity], Channel]


@dataclass(slots=True)
class Lagging:
    """All that lags. `trail` has of each view the room's warmth in the last 23 whole hours: mean x length, and length.

    Lengths in ms, warmth in degC.
    """

    boards: list[State] = field(default_factory=list)
    cores: dict[str, CoreState] = field(default_factory=dict)
    trail: Trail = field(default_factory=dict)
    mould: MouldState = field(default_factory=MouldState)

    def to_json(self) -> dict[str, Any]:
        """As a checkpoint keeps it."""
        return {
            "boards": self.boards,
            "cores": {name: core.to_json() for name, core in self.cores.items()},
            "trail": self.trail,
            "mould": self.mould,
        }

    @classmethod
    def from_json(cls, kept: Mapping[str, Any]) -> Lagging:
        """What `to_json` wrote down."""
        return cls(
            [state_of(body) for body in kept["boards"]],
            {name: CoreState.from_json(core) for name, core in kept["cores"].items()},
            {view: [(warmth, length) for warmth, length in cells] for view, cells in kept["trail"].items()},
            MouldState(*kept["mould"]),
        )


def warm_boxes(
    frame: Frame,
    lagging: Lagging,
    view: str,
    lots: Mapping[str, Delivery],
    hours: Hours,
    channels: Channels,
    window: tuple[int, int],
) -> None:
    """Move the cores of the boxes that lie in one view on by these hours of its room.

    A sensor speaks for the lots that lay there when it was put in, or for the first to come after it.
    """
    if frame.start is not None and hours.start[0] >= frame.start:  # then they stay as they were
        return
    place = view or frame.job.boxes_place
    came = sorted(lot.at for lot in lots.values())
    inside = {
        at: _heard(frame, channels, window, place, "box", Quantity.BOX_TEMPERATURE, partial(_for, at, came))
        for at in came
    }
    measured = {name: inside[lot.at] for name, lot in lots.items()}
    follow_cores(frame, lagging.cores, lagging.trail.setdefault(view, []), lots, hours, measured)


def _for(at: int, came: Sequence[int], put: int) -> bool:
    """Whether a sensor that was put in at `put` speaks for the lot that came at `at`; `came` in order. [ms]"""
    return at <= put or (put < came[0] and at == came[0])


def days_of(
    frame: Frame,
    lagging: Lagging,
    edges: Times,
    held: tuple[Mask, Mask],
    hours: Hours,
    channels: Channels,
    window: tuple[int, int],
) -> bytes:
    """Move boards and skin on by these hours of the job's own view; its days.

    `held`: where the room is known, and where in band, an interval.
    """
    boards = follow_boards(frame, lagging.boards, hours)
    came = np.repeat(came_with(frame), SPEEDS)[:, None] if boards is not None else np.empty((0, 1))
    job, surface = frame.job, frame.profile.surface
    measured = _heard(frame, channels, window, job.wall_place, "surface", Quantity.SURFACE_TEMPERATURE)
    weather = job.outdoor_place if faces_outdoors(frame.place) else None
    outdoor = _heard(frame, channels, window, weather, "air", _T)
    if job.boxes_place != job.wall_place:  # until the installation it is the boxes' room that is heard, not the wall's
        there = hours.start >= (FAR if frame.start is None else frame.start)
        measured, outdoor = (np.where(there, one, np.nan) for one in (measured, outdoor))
    skin, lagging.mould = follow_surface(surface, lagging.mould, hours, measured, outdoor)
    return packed_days(edges, *held, hours, boards, came, skin)


def _heard(
    frame: Frame,
    channels: Channels,
    window: tuple[int, int],
    place: str | None,
    role: Role,
    quantity: Quantity,
    counts: Callable[[int], bool] = lambda _: True,
) -> Values:
    """Hour means of what is said of a place by sensors in `role`, and by those of its air on a channel of their own.

    A sensor in `role` that never says `quantity` says it by its air temperature. `counts` says whether a stay that
    began then does. NaN where nobody speaks.
    """
    spans = [] if place is None else spans_of(frame, place, window, window, role)
    if place is None or role == "air":
        return hours_heard(spans, channels, window, quantity, frame.start)
    by_air = {span.sensor.name for span in spans if (span.sensor.name, quantity) not in channels}
    said = {(name, quantity): channels[name, _T] for name in by_air if (name, _T) in channels}
    spans += [span for span in spans_of(frame, place, window, window) if span.sensor.name not in by_air]
    spans = [span for span in spans if counts(span.start)]
    return hours_heard(spans, {**channels, **said}, window, quantity, frame.start)
