"""What the screens are made from, and pages too: values only, put together by the desk, read by nobody else."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, NamedTuple

from monitor.basis.units import System
from monitor.climate import wood
from monitor.config.profile import Profile
from monitor.rules.assessment import Assessment, OtherVerdict
from monitor.rules.board.causes import Explained
from monitor.rules.board.consequences import Effect, Season
from monitor.rules.board.cores import Evening
from monitor.rules.board.movement import Movement, Row
from monitor.rules.frame import Stack
from monitor.rules.install.makers import Document

if TYPE_CHECKING:
    from monitor.tell.pages.evidence import Sealed


class JobFacts(NamedTuple):
    """What was said of the job at its opening and since. Lengths in m, times in UTC ms; None where nobody said."""

    length: float | None
    height: float | None
    units: System
    boxes_place: str
    wall_place: str
    outdoor_place: str | None
    opened_at: int
    opened_by: str
    install_start: int | None = None
    install_finish: int | None = None
    closed_at: int | None = None
    open_at_start: int = 0  # conditions that were not met when the wall was begun all the same
    looser: tuple[str, ...] = ()  # where the profile is looser than the maker's document, a sentence each


class Lying(NamedTuple):
    """How one delivery's boxes lie, and how long nine tenths of a difference take to even out; None: nobody said."""

    stack: Stack
    evening: Evening | None


class BoardView(NamedTuple):
    """What is computed beside the Assessment of boxes, boards and rows.

    `lying` of each lot in the Assessment's order; `closing` of each of the two rows, empty where moisture moves none;
    `pinned`: what was said to pin a row; `surface_heard`: whether a sensor on the wall's surface ever spoke.
    """

    rows: tuple[Row, Row]
    movements: tuple[Movement, ...]
    closing: tuple[Mapping[wood.Row, wood.Range[float]], ...] = ()
    pinned: str = ""
    lying: tuple[Lying, ...] = ()
    surface_heard: bool = False
    effects: tuple[Effect, ...] = ()
    season: Season | None = None


class StatusView(NamedTuple):
    """One job for `status`."""

    assessment: Assessment
    facts: JobFacts
    profile: Profile
    away: tuple[tuple[int, int], ...] = ()  # when no daemon was there to hear
    notes: tuple[str, ...] = ()  # what to do about the air, what fails, what drifts
    board: BoardView | None = None
    explained: tuple[Explained, ...] = ()  # an item an episode
    documents: tuple[Document, ...] = ()  # the maker's
    sealed: Sealed | None = None
    uncorrected: OtherVerdict | None = None  # by the entries as they were first written, where any was corrected


class JobRow(NamedTuple):
    """One job for `job list`."""

    assessment: Assessment
    closed_at: int | None = None
    building: str = ""
