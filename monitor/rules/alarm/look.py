"""What is looked at of one job, when it is asked what is to be told of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from monitor.basis.alarm import Priority, Signal
from monitor.basis.values import Quantity
from monitor.config.alarms import Patience
from monitor.rules.alarm.spells import Heard, judged_place
from monitor.rules.assessment import Assessment, Side
from monitor.rules.frame import Frame
from monitor.rules.hand import Drift
from monitor.rules.install.care import Item


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """One job as of its Assessment. What ended before `told_from` is not told any more. [ms]

    `said` is what the room's sensors said in the last day (see `spells.said_here`), `items` the finished wall's care
    and inspections, `drifts` neighbours that moved apart. `told_ready`: somebody was told that it is ready.
    """

    frame: Frame
    found: Assessment
    patience: Patience
    told_from: int
    said: Heard = field(default_factory=dict)
    items: Sequence[Item] = ()
    drifts: Sequence[Drift] = ()
    told_ready: bool = False

    @property
    def place(self) -> str:
        """The judged one."""
        return judged_place(self.frame, self.found)

    @property
    def lives(self) -> bool:
        """Whether the wall is finished."""
        return self.found.phase == "after"

    def signal(
        self, what: str, since: int, priority: Priority, facts: dict[str, Any], *, where: str = "", notice: bool = False
    ) -> Signal:
        """Of this job, at the judged place where nothing else is said."""
        return Signal(what, self.found.job, where or self.place, since, priority, facts, notice)

    def limit(self, quantity: Quantity, side: Side) -> float:
        """Of the band that holds now. [degC, %RH]"""
        low, high = self.frame.limits(quantity, life=self.lives)
        return low if side == "low" else high

    def dead_band(self, quantity: Quantity) -> float:
        """K or %RH."""
        warmth = quantity is Quantity.AIR_TEMPERATURE
        return self.patience.dead_band_temperature if warmth else self.patience.dead_band_humidity

    def on_delay(self, quantity: Quantity) -> int:
        """ms."""
        warmth = quantity is Quantity.AIR_TEMPERATURE
        return self.patience.on_delay_temperature if warmth else self.patience.on_delay_humidity

    def furthest(self, quantity: Quantity) -> tuple[str, float] | None:
        """The sensor that is furthest from the middle of the band now and what it says; None where none speaks."""
        middle = sum(self.frame.limits(quantity, life=self.lives)) / 2.0
        said = {name: values[quantity] for name, values in self.found.now.values.items() if quantity in values}
        return max(sorted(said.items()), key=lambda one: abs(one[1] - middle), default=None)


def stake(frame: Frame, found: Assessment) -> Priority:
    """What bad or unknown air would cost now.

    High where a completion or half of the hours would be lost; low where boards hang, which lag behind the room, or
    where no boxes lie.
    """
    if found.phase == "during":
        return Priority.MEDIUM
    clocks = [lot.clock for lot in found.lots if lot.place == frame.job.boxes_place]
    if found.phase == "after" or not frame.deliveries or not clocks:
        return Priority.LOW
    dear = any(clock.completed_at is not None or 2 * clock.counted >= clock.required for clock in clocks)
    return Priority.HIGH if dear else Priority.MEDIUM
