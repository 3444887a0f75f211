"""The acclimation clock: counts steady time in band, pauses in short breaks, goes back to zero in long ones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from monitor.config.profile import Acclimation
from monitor.rules.assessment import Cause, ClockReading, Completion, Restart, State


@dataclass(slots=True)
class Clock:
    """One clock under way, fed with the runs of the room's state in order; short enough to be written down at midnight.

    `broke` and `out`: the present break's start and its out-of-band time so far. `restarts`, `history` and `lapses`
    hold what happened since they were last taken. [ms]
    """

    counted: int = 0
    started: int | None = None
    completed: int | None = None
    broke: int | None = None
    out: int = 0
    restarts: list[Restart] = field(default_factory=list)
    history: list[Completion] = field(default_factory=list)
    lapses: list[int] = field(default_factory=list)

    def feed(self, start: int, end: int, state: State, rule: Acclimation) -> None:
        """Let [start, end) of one state pass; runs adjoin, and two that follow each other differ in state."""
        if state == "in" and end - start >= rule.settle:
            self._count(start, end, rule)
        else:
            self._break(start, end, state, rule)

    def _count(self, start: int, end: int, rule: Acclimation) -> None:
        self.broke, self.out = None, 0
        if self.started is None:
            self.started = start
        if self.completed is None and self.counted + end - start >= rule.required:
            self.completed = max(start + rule.required - self.counted, start + rule.settle)
            self.history.append(Completion(self.started, self.completed))
        self.counted = min(self.counted + end - start, rule.required)

    def _break(self, start: int, end: int, state: State, rule: Acclimation) -> None:
        if self.broke is None:
            self.broke = start
        moments: list[tuple[int, int, Cause]] = []
        if state == "out" and self.out + end - start > rule.reset_after_out:
            moments.append((start + max(rule.reset_after_out - self.out, 0), 0, "out"))
        if end - self.broke > rule.reset_after_unknown:
            moments.append((max(self.broke + rule.reset_after_unknown, start), 1, "unproven"))
        if state == "out":
            self.out += end - start
        if not moments:
            return
        at, _, cause = min(moments)
        if self.started is not None:
            self.restarts.append(Restart(at, cause))
        if self.completed is not None:
            self.lapses.append(at)
        self.counted, self.started, self.completed = 0, None, None

    def copy(self) -> Clock:
        """An independent copy, to look ahead with."""
        return replace(self, restarts=list(self.restarts), history=list(self.history), lapses=list(self.lapses))

    def take(self) -> dict[str, Any]:
        """What happened since the last call, JSON-safe; {} when nothing did."""
        happened = {
            "restarts": [[r.at, r.cause] for r in self.restarts],
            "history": [[c.started_at, c.completed_at] for c in self.history],
            "lapses": list(self.lapses),
        }
        self.restarts, self.history, self.lapses = [], [], []
        return {name: events for name, events in happened.items() if events}

    def to_json(self) -> list[Any]:
        """The state alone, as a checkpoint keeps it."""
        return [self.counted, self.started, self.completed, self.broke, self.out]

    @classmethod
    def from_json(cls, state: Sequence[Any]) -> Clock:
        """The clock that `to_json` wrote down."""
        return cls(*state)


def strict(rule: Acclimation) -> Acclimation:
    """The rule read as "continuous hours": nothing is forgiven."""
    return Acclimation(rule.required, 0, 0, 0)


def reading(
    clock: Clock, rule: Acclimation, events: Sequence[dict[str, Any]], pending: int | None, as_of: int
) -> ClockReading:
    """What the clock shows at `as_of`, given all it did (`events`, in order).

    `pending` is the start of a run in band at as_of that may still count (None: none, or the clock is stopped).
    """
    restarts = tuple(Restart(at, cause) for event in events for at, cause in event.get("restarts", ()))
    lapses = [at for event in events for at in event.get("lapses", ())]
    completions = [pair for event in events for pair in event.get("history", ())]
    history = tuple(
        Completion(started, completed, lapses[k] if k < len(lapses) else None)
        for k, (started, completed) in enumerate(completions)
    )
    return ClockReading(
        required=rule.required,
        counted=clock.counted,
        started_at=clock.started,
        completed_at=clock.completed,
        projected_at=_projected(clock, rule, pending, as_of),
        restarts=restarts,
        history=history,
    )


def _projected(clock: Clock, rule: Acclimation, pending: int | None, as_of: int) -> int | None:
    """When the count would be full if the room stays in band; the present run's time counts once it is steady."""
    if pending is None or clock.completed is not None or clock.started is None:
        return None
    if as_of - pending >= rule.settle:
        return as_of + rule.required - clock.counted
    return max(pending + rule.settle, pending + rule.required - clock.counted)
