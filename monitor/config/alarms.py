"""Of wallclime.toml what the alarm needs: how patient it is, who is told, and what is done at set times.

Whoever runs without a line of it has the defaults below and tells nobody but over MQTT. Each default says where it is
from; "ours" means that no published source gives one.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, time, timedelta
from pathlib import Path
from typing import NamedTuple

from monitor.basis.alarm import Priority
from monitor.basis.times import DAY, HOUR, MINUTE, datetime_of, in_zone, zone_of


class Rapid(NamedTuple):
    """A change of the air that is told as rapid: [K/h] and [%RH/h]."""

    temperature: float
    humidity: float


class Flood(NamedTuple):
    """More than `number` alarms within `within` [ms] are more than a person can handle."""

    number: int
    within: int


_RAPID = Rapid(5.0, 15.0)  # ours
_FLOOD = Flood(10, 10 * MINUTE)  # ISA-18.2 on alarm floods; from memory


class Patience(NamedTuple):
    """How patient the alarm is. It never bears on the record, which is strict. Times in ms, kept units."""

    on_delay_humidity: int = 30 * MINUTE  # ours: half of what puts the clock of the default profile back
    on_delay_temperature: int = 30 * MINUTE  # ours, the same
    off_delay: int = 30 * MINUTE  # ours: a room is steady after as long by the default profile
    dead_band_humidity: float = 2.0  # ours: a few times the noise of a common sensor [%RH]
    dead_band_temperature: float = 0.5  # ours, the same [K]
    heading_out: int = 4 * HOUR  # ours: how far ahead a room is seen leaving its band
    silent_after: int = 60 * MINUTE  # ours: half of the silence that puts the clock of the default profile back
    rapid: Rapid = _RAPID
    freezing_below: float = 5.0  # ours: the air of a room in which pipes in a cold wall may freeze [degC]
    battery_below: float = 20.0  # ours [%]
    disk_below: int = 1_000_000_000  # ours [bytes]
    re_raise: int = 24 * HOUR  # ISA-18.2 calls an alarm stale that stands for longer; from memory
    escalate_after: int = 2 * HOUR  # ours
    shelve_at_most: int = 7 * DAY  # ours
    flood: Flood = _FLOOD
    group_within: int = 5 * MINUTE  # ours: what stands in one message came up within it


class Quiet(NamedTuple):
    """Hours of the day in which a contact is left in peace, in its zone; past midnight where `end` is the earlier."""

    start: time
    end: time


@dataclass(frozen=True, slots=True)
class Contact:
    """Somebody who is told. `url` is a secret, "" where it is given neither in a file nor in the environment.

    Without `jobs` and `buildings` it hears of all. `zone` (IANA) is that of `quiet` and `digest`. A `second` contact
    hears only of what nobody acknowledged.
    """

    name: str
    url: str = field(default="", repr=False)
    jobs: tuple[str, ...] = ()
    buildings: tuple[str, ...] = ()
    least: Priority = Priority.LOW
    zone: str = "UTC"
    quiet: Quiet | None = None
    digest: time | None = None
    weekly: bool = False
    monthly: bool = False
    second: bool = False

    def quiet_until(self, at: int) -> int:
        """When the quiet hours end that `at` is in; `at` itself outside of them. [ms]"""
        if self.quiet is None:
            return at
        zone = zone_of(self.zone)
        today = datetime_of(at, zone).date()
        for day in (today - timedelta(days=1), today):
            later = timedelta(days=self.quiet.end <= self.quiet.start)
            start, end = (
                in_zone(datetime.combine(on, clock), zone, where=self.name, dst="later")
                for on, clock in ((day, self.quiet.start), (day + later, self.quiet.end))
            )
            if start <= at < end:
                return end
        return at


@dataclass(frozen=True, slots=True)
class DeadMan:
    """A URL that is called every `every` [ms] as long as all is well, so that its owner misses the call."""

    url: str = field(repr=False)
    every: int = 5 * MINUTE  # ours


class Health(NamedTuple):
    """Where the daemon answers how it is: a port of this computer's own address."""

    port: int
    host: str = "127.0.0.1"


class Backup(NamedTuple):
    """A copy of the store goes to the folder `to` every `every` [ms]; the newest `keep` stay."""

    to: Path
    every: int = DAY  # ours
    keep: int = 14  # ours


class Boards(NamedTuple):
    """The page over all jobs goes to the folder `to` every `every` [ms]."""

    to: Path
    every: int = 15 * MINUTE  # ours
