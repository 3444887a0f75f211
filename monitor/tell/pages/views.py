"""What the pages are made from: values only, put together by the desk, read by nobody else."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.basis.values import Entry, Quantity
from monitor.config.profile import Profile
from monitor.rules.assessment import Assessment, OtherVerdict, Phase, State
from monitor.rules.board.causes import Explained
from monitor.rules.hand import Compared, Drift
from monitor.rules.install.makers import Document
from monitor.rules.thinning import ThinnedDays
from monitor.tell.pages.evidence import Sealed
from monitor.tell.views import BoardView, JobFacts

Hears = Literal["air", "outdoors", "box", "surface"]


class ChannelLine(NamedTuple):
    """The usable readings (flag 4 left out) of one channel at one place, converted and calibrated.

    `t` int64 [ms] in order, `value` float64 [degC or %RH], `flat` bool (it proves nothing); of one length.
    """

    sensor: str
    place: str
    quantity: Quantity
    t: NDArray[np.int64]
    value: NDArray[np.float64]
    flat: NDArray[np.bool_]


class HandReading(NamedTuple):
    """What somebody read off an instrument of their own: drawn, never counted. degC or %RH."""

    quantity: Quantity
    at: int
    value: float
    who: str
    instrument: str = ""
    beside: tuple[Compared, ...] = ()  # the sensors that spoke at its time


class Stay(NamedTuple):
    """A sensor at a place for [start, end); `end` None while it stays. `detail`: height and what is near, in words.

    `hears`: the air of the job's rooms or outdoors, boxes from inside, or the wall's surface.
    """

    place: str
    start: int
    end: int | None
    detail: str = ""
    hears: Hears = "air"


class Backing(NamedTuple):
    """What stands behind a quantity of a sensor in [start, end), `end` None without one: the profile's name of the
    level, its expanded uncertainty [K or %RH], and of a check when it was made. [ms]"""

    quantity: Quantity
    start: int
    end: int | None
    level: str
    uncertainty: float
    checked: int | None = None


class SensorLine(NamedTuple):
    """One sensor of the job: its hold [ms], its expanded uncertainty [K or %RH], where it was; `check`: the profile's
    name of the level that backs it now, `check_then` of that when the wall was begun, None before that or where it was
    not there; `checked_later` when the check of then was made, if only after it [ms]."""

    name: str
    stream: str
    hold: int
    uncertainty: Mapping[Quantity, float]
    stays: tuple[Stay, ...]
    check: str
    check_then: str | None = None
    checked_later: int | None = None
    backings: tuple[Backing, ...] = ()  # of all time, in order; each quantity's adjoin


class CheckLine(NamedTuple):
    """A check of a quantity of a sensor as the sensors' log has it, in force from `at` to `until` [ms].

    `points`: (read, reference, its expanded uncertainty) each, beside what `how` says; true = slope x read + offset;
    `uncertainty`: what is left. degC or %RH.
    """

    at: int
    until: int
    sensor: str
    quantity: Quantity
    level: str
    how: str
    points: tuple[tuple[float, float, float], ...]
    slope: float
    offset: float
    uncertainty: float
    who: str


class Head(NamedTuple):
    """The last link of the job's chain, in hex, and the number of the entry that made it."""

    number: int
    link: str


class Cut(NamedTuple):
    """The part [start, end) of the judged span that a report was asked for; `phase` where it was asked for by name."""

    start: int
    end: int
    phase: Phase | None = None


class ReportPage(NamedTuple):
    """All that a report shows. `runs` are the states of the judged room as (start, end, state), in order. [ms]

    `cut`: the part that it is a report of, None for the whole judged span; verdict, clock and log are never cut.
    `half_known`: where the room was out of band by one quantity and nothing was known of the other: not known time.
    `thinned`: days in it of which not all readings are left.
    """

    assessment: Assessment
    facts: JobFacts
    profile: Profile
    channels: tuple[ChannelLine, ...]
    hand_readings: tuple[HandReading, ...]
    runs: tuple[tuple[int, int, State], ...]
    entries: tuple[Entry, ...]
    sensors: tuple[SensorLine, ...]
    written_at: int
    software: str
    head: Head | None
    away: tuple[tuple[int, int], ...] = ()
    drifts: tuple[Drift, ...] = ()
    checks: tuple[CheckLine, ...] = ()  # of the job's sensors
    board: BoardView | None = None
    explained: tuple[Explained, ...] = ()  # an item an episode
    documents: tuple[Document, ...] = ()  # the maker's
    sealed: Sealed | None = None
    uncorrected: OtherVerdict | None = None  # by the entries as they were first written, where any was corrected
    cut: Cut | None = None
    half_known: tuple[tuple[int, int], ...] = ()
    thinned: tuple[ThinnedDays, ...] = ()
    steps: tuple[Entry, ...] = ()  # entries that the computer's clock was set
