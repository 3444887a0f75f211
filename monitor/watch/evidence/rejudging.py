"""Judging a job from the entries and readings of a bundle alone, as the desk judges it from the store."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from monitor.basis.values import Entry, Quantity, Series
from monitor.config.profile import profile_from_text
from monitor.keep.quarantine import CONFLICT
from monitor.rules.assessment import Assessment
from monitor.rules.frame import Frame, ProfileText, frame_of, profiles_of
from monitor.rules.judge import judge, other_verdict
from monitor.seal.records import Refusal

Load = Callable[[str, Quantity], Series]


@dataclass(slots=True)
class Shown:
    """Readings that are taken whole from where `load` finds them, each channel once."""

    load: Load
    known: dict[tuple[str, Quantity], Series] = field(default_factory=dict)

    def series(self, stream: str, quantity: Quantity, start: int | None = None, end: int | None = None) -> Series:
        """The readings of one channel in [start, end)."""
        whole = self._whole(stream, quantity)
        a = 0 if start is None else int(whole.t.searchsorted(start))
        b = len(whole) if end is None else int(whole.t.searchsorted(end))
        return Series(whole.t[a:b], whole.value[a:b], whole.unit[a:b], whole.origin[a:b], whole.units, whole.origins)

    def several(
        self, stream: str, quantities: Sequence[Quantity], start: int | None = None, end: int | None = None
    ) -> dict[Quantity, Series]:
        """The readings of some channels in [start, end)."""
        return {quantity: self.series(stream, quantity, start, end) for quantity in quantities}

    def bounds(self, stream: str, quantity: Quantity) -> tuple[int, int] | None:
        """First and last time of a channel, None when it has no reading."""
        whole = self._whole(stream, quantity)
        return (int(whole.t[0]), int(whole.t[-1])) if len(whole) else None

    def _whole(self, stream: str, quantity: Quantity) -> Series:
        if (stream, quantity) not in self.known:
            self.known[stream, quantity] = self.load(stream, quantity)
        return self.known[stream, quantity]


class Material(NamedTuple):
    """What a verdict rests on: both logs, the readings, and what was refused."""

    log: Sequence[Entry]
    sensors_log: Sequence[Entry]
    readings: Shown
    refused: Sequence[Refusal]


def profile_of(log: Sequence[Entry], as_of: int) -> ProfileText:
    """The profile that a log has in force at `as_of`. [ms]"""
    every = profiles_of(log)
    return next((one for one in reversed(every) if one.since <= as_of), every[0])


def judged(material: Material, as_of: int) -> Assessment:
    """The Assessment as of `as_of` under the profile in force then, with the verdicts under the others. [ms]

    Raises ProfileError, RecordError for a log that says what can't be.
    """
    every, in_force = profiles_of(material.log), profile_of(material.log, as_of)
    others = [
        other_verdict(_under(material, one.text, as_of), one.since)
        for one in every
        if one.since <= as_of and one.text != in_force.text
    ]
    return _under(material, in_force.text, as_of)._replace(other_verdicts=tuple(others))


def _under(material: Material, text: str, as_of: int) -> Assessment:
    profile = profile_from_text(text, where="the profile in the log")
    frame = frame_of(material.log, material.sensors_log, profile, as_of)
    return judge(frame, as_of, material.readings, conflicts=_conflicts(frame, material.refused, as_of))


def _conflicts(frame: Frame, refused: Iterable[Refusal], as_of: int) -> int:
    """How many readings of the job's sensors were set aside as conflicting."""
    streams, start = frame.streams, frame.judged_from
    return sum(
        one.reason == CONFLICT and one.topic in streams and one.t is not None and start <= one.t < as_of
        for one in refused
    )
