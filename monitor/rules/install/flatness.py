"""Is the wall flat, is it plumb, and is the first row level? From measurements; lengths in m throughout.

Deviations are measured at known positions along a line, against anything straight that stays put: a laser plane, a
string, a long straightedge. They count towards the room. Every verdict has a sentence of evidence.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal, NamedTuple, get_args

import numpy as np
from numpy.typing import NDArray

from monitor.basis.errors import QuantityError
from monitor.basis.units import FOOT, INCH, System, format_length
from monitor.rules.assessment import Condition, Verdict

Direction = Literal["along", "across", "rising diagonal", "falling diagonal"]
Floats = NDArray[np.float64]
Found = tuple[Verdict, str]

DIRECTIONS: tuple[Direction, ...] = get_args(Direction)
HUMP_FACTOR = math.sqrt(2)  # of a deviation's uncertainty: a point against two others weighs 1 + (1-t)^2 + t^2 <= 2
STEP_FACTOR = math.sqrt(6)  # of the same: a rise against the slope beside it weighs at most 1 + 2^2 + 1
_NOISE = 1e-9  # of the arithmetic [m]


class FlatnessRule(NamedTuple):
    """What the surface is judged by; `limit` is the profile's. Common practice, no published source."""

    limit: float = 3 / 16 * INCH
    span: float = 10 * FOOT  # points further apart are not held against each other
    points_apart: float = 12 * INCH  # at most; where they are wider apart, what lies between is unknown
    step: float = INCH / 16  # a local change that the slope beside it does not explain ...
    step_over: float = 12 * INCH  # ... over so much of the line or less


class PlumbRule(NamedTuple):
    """How far a wall may lean: an offset over a height, and in proportion. Common practice, no published source."""

    offset: float = INCH / 4
    over: float = 8 * FOOT


class LevelRule(NamedTuple):
    """How much the first row may rise and fall over its run. Common practice, no published source."""

    limit: float = INCH / 8
    ends_within: float = 12 * INCH  # so near to the run's ends must be measured


@dataclass(frozen=True, slots=True)
class Line:
    """Points (position, deviation) along one line of the wall, in any order.

    `extent` is the wall's length along the line, which begins at position 0; `straightedge` is the length of the one
    that was laid on, None for a laser or a string. A straightedge that was moved makes a line of each place. Raises
    QuantityError for points that can't be.
    """

    direction: Direction
    extent: float
    points: tuple[tuple[float, float], ...]
    straightedge: float | None = None
    name: str = ""

    def __post_init__(self) -> None:
        x = sorted(position for position, _ in self.points)
        if not x or not all(math.isfinite(part) for point in self.points for part in point):
            self._refuse("it has no points or one that is no number", "Give each as position, deviation")
        for position, following in pairwise(x):
            if following - position <= _NOISE:
                self._refuse(f"the position {position:g} m is given twice", "Leave one of the two out")
        if x[0] < -_NOISE or x[-1] > self.extent + _NOISE:
            far = x[0] if x[0] < -_NOISE else x[-1]
            what = f"the position {far:g} m is outside the line's {self.extent:g} m"
            self._refuse(what, "Measure from the line's start, and check the unit")
        if self.straightedge is not None and x[-1] - x[0] > self.straightedge + _NOISE:
            what = f"its points reach further than a straightedge of {self.straightedge:g} m"
            self._refuse(what, "Give each place where the straightedge was laid as a line of its own")

    @property
    def label(self) -> str:
        """Its name, or its direction where it has none."""
        return self.name or self.direction

    def _refuse(self, what: str, mend: str) -> None:
        raise QuantityError(what, where=f"flatness, {self.label}", mend=mend)


class Worst(NamedTuple):
    """A signed amount at `at`, held against what is measured at `start` and `end`."""

    amount: float
    at: float
    start: float
    end: float


class Drop(NamedTuple):
    """How far the wall stands out at the top of `over` (towards the room: +), measured at `at` along it, if known."""

    at: float | None
    over: float
    offset: float


class Spot(NamedTuple):
    """Where to work on the wall: from `start` to `end` along the line, by what is beyond the limit at its worst."""

    work: Literal["fill", "sand"]
    start: float
    end: float
    beyond: float


class LineFinding(NamedTuple):
    """What one line shows: `hollow` is not above 0, `hump` not below, `step` has a sign; None: no points to tell."""

    line: Line
    hollow: Worst | None
    hump: Worst | None
    step: Worst | None
    spots: tuple[Spot, ...]
    verdict: Verdict
    evidence: str


class Flatness(NamedTuple):
    """The verdict over all lines, and each line's own."""

    condition: Condition
    lines: tuple[LineFinding, ...]


def judge_flatness(found: Sequence[LineFinding], rule: FlatnessRule, *, units: System = "us") -> Flatness:
    """Judge a wall by all its lines, each judged with the uncertainty it was measured with.

    It passes when lines along, across and over both diagonals pass; one line that fails is enough to fail it. Lines of
    a straightedge that is too short can fail the wall, and are passed over where other lines say more.
    """
    return Flatness(Condition("flatness", *_over_all(found, rule, units)), tuple(found))


def judge_line(line: Line, rule: FlatnessRule, *, uncertainty: float, units: System = "us") -> LineFinding:
    """Judge one line: hollow, hump and step against their limits, each with its own uncertainty. [m]"""
    x, y = np.array(sorted(line.points), np.float64).T
    highest, lowest = off_lines(x, y, rule.span)
    hump, hollow = _worst(x, highest, 1.0), _worst(x, lowest, -1.0)
    step = largest_step(x, y, rule.step_over)
    checks = [
        _offset_check("hump", hump, line, rule, HUMP_FACTOR * uncertainty, units),
        _offset_check("hollow", hollow, line, rule, HUMP_FACTOR * uncertainty, units),
        _step_check(step, rule, STEP_FACTOR * uncertainty, units),
        _points_check(line, x, rule, units),
    ]
    verdict, evidence = _together(checks)
    sand, fill = _spots(x, highest[0], "sand", rule.limit), _spots(x, -lowest[0], "fill", rule.limit)
    spots = tuple(sorted(sand + fill, key=lambda spot: -spot.beyond))
    return LineFinding(line, hollow, hump, step, spots, verdict, evidence)


def judge_plumb(drops: Sequence[Drop], rule: PlumbRule, *, uncertainty: float, units: System = "us") -> Condition:
    """Judge how the wall leans, by the worst of `drops`; `uncertainty` is the expanded one of an offset. [m]"""
    if not drops:
        return Condition("plumb", "unknown", "no plumb line is recorded")
    if not all(drop.over > 0 and math.isfinite(drop.offset) for drop in drops):
        raise QuantityError("a plumb line has no height", where="plumb", mend="Give the height it was measured over")
    found = [_drop_check(drop, rule, uncertainty, units) for drop in drops]
    verdict, evidence = _together(found)
    if verdict == "pass":
        evidence = max(zip(drops, found, strict=True), key=lambda pair: abs(pair[0].offset) / pair[0].over)[1][1]
    return Condition("plumb", verdict, evidence)


def judge_level(
    points: Sequence[tuple[float, float]], run: float, rule: LevelRule, *, uncertainty: float, units: System = "us"
) -> Condition:
    """Judge the first row's edge: points (position, height) over a `run`, against any level line; [m] all.

    `uncertainty` is the expanded one of a height.
    """
    if len(points) < 2:
        return Condition("first row level", "unknown", "fewer than two heights of the first row are recorded")
    if not all(math.isfinite(part) for point in points for part in point):
        raise QuantityError("a height is no number", where="first row level", mend="Give each as position, height")
    low, high = min(points, key=lambda point: point[1]), max(points, key=lambda point: point[1])
    places = f"from {format_length(low[0], units)} to {format_length(high[0], units)}"
    what = f"the first row rises {_fine(high[1] - low[1], units)} {places}"
    allowed = f"{format_length(rule.limit, units)} over the run"
    checks = [_against(high[1] - low[1], rule.limit, HUMP_FACTOR * uncertainty, what, allowed, units)]
    first, last = min(points)[0], max(points)[0]
    if max(first, run - last) > rule.ends_within + _NOISE:
        reach = f"heights reach from {format_length(first, units)} to {format_length(last, units)} only"
        checks.append(("unknown", f"{reach}, of a run of {format_length(run, units)}"))
    return Condition("first row level", *_together(checks))


def off_lines(x: Floats, y: Floats, span: float) -> tuple[tuple[Floats, Floats, Floats], tuple[Floats, Floats, Floats]]:
    """How far each point stands off the lines through a point before and one behind, at most `span` apart.

    Parameters
    ----------
    x, y : float64 (n,)
        Positions, rising, and deviations. [m]
    span : float
        [m]

    Returns
    -------
    highest, lowest : each three float64 (n,)
        The signed offset that is highest (lowest), and the positions of the two points; NaN where there are no two. A
        lean changes nothing. [m]
    """
    highest, lowest = np.full((3, len(x)), np.nan), np.full((3, len(x)), np.nan)
    for k in range(1, len(x) - 1):
        before, behind = x[:k, None], x[None, k + 1 :]
        share = (x[k] - before) / (behind - before)
        offset = y[k] - (y[:k, None] * (1 - share) + y[None, k + 1 :] * share)
        far = behind - before > span + _NOISE
        if far.all():
            continue
        for out, sign in ((highest, 1.0), (lowest, -1.0)):
            i, j = np.unravel_index(np.argmax(np.where(far, -np.inf, sign * offset)), offset.shape)
            out[:, k] = offset[i, j], x[i], x[k + 1 + j]
    return (highest[0], highest[1], highest[2]), (lowest[0], lowest[1], lowest[2])


def largest_step(x: Floats, y: Floats, over: float) -> Worst | None:
    """The largest rise or fall within `over` that neither the slope just before nor the one just behind explains.

    A slope is taken over as much of `over` as there are points for, and counts where it is at least as long as the
    rise. So a lean, a bow or a fold is no step; None where there are too few points. x and y as in `off_lines`. [m]
    """
    first = np.searchsorted(x, x - over - _NOISE)
    last = np.searchsorted(x, x + over + _NOISE, side="right") - 1
    before, behind = x - x[first], x[last] - x
    slope_before = np.divide(y - y[first], before, out=np.zeros_like(x), where=before > 0)
    slope_behind = np.divide(y[last] - y, behind, out=np.zeros_like(x), where=behind > 0)
    run, rise = x[None, :] - x[:, None], y[None, :] - y[:, None]
    by_before = np.where(before[:, None] >= run - _NOISE, slope_before[:, None] * run, np.nan)
    by_behind = np.where(behind[None, :] >= run - _NOISE, slope_behind[None, :] * run, np.nan)
    least, most = np.fmin(by_before, by_behind), np.fmax(by_before, by_behind)
    step = rise - np.clip(rise, least, most)
    known = (run > 0) & ~np.isnan(least)
    if not known.any():
        return None
    i, j = np.unravel_index(np.argmax(np.where(known, abs(step), -1.0)), step.shape)
    return Worst(float(step[i, j]), float(x[j]), float(x[i]), float(x[j]))


def workings(result: Flatness, units: System) -> list[str]:
    """The verdict, then each line's figures and where to work on the wall, in feet and inches ("us") or metres."""
    lines = [f"Flatness: {result.condition.verdict}: {result.condition.evidence}"]
    for finding in result.lines:
        lines.append(f"{_title(finding.line)}: {finding.verdict}: {finding.evidence}")
        lines += [f"  {told}" for told in where_to_work(finding, units)]
        if len(finding.spots) > 1:
            lines.append("  begin with the first and measure again: one often cures the others")
    return lines


def where_to_work(finding: LineFinding, units: System) -> list[str]:
    """ "sand from 3 ft to 7 ft, 1/16 in beyond the limit", the worst first."""
    told = []
    for spot in finding.spots:
        where = f"at {format_length(spot.start, units)}"
        if spot.end > spot.start:
            where = f"from {format_length(spot.start, units)} to {format_length(spot.end, units)}"
        told.append(f"{spot.work} {where}, {_fine(spot.beyond, units)} beyond the limit")
    return told


def _title(line: Line) -> str:
    return line.label[0].upper() + line.label[1:]


def _fine(metres: float, units: System) -> str:
    """To 1/64 in or 0.1 mm."""
    return format_length(metres, units, denominator=64)


def _worst(x: Floats, found: tuple[Floats, Floats, Floats], sign: float) -> Worst | None:
    amount, start, end = found
    if np.isnan(amount).all():
        return None
    k = int(np.nanargmax(sign * amount))
    return Worst(sign * max(0.0, float(sign * amount[k])), float(x[k]), float(start[k]), float(end[k]))


def _against(amount: float, limit: float, uncertainty: float, what: str, allowed: str, units: System) -> Found:
    """Pass, fail, or unknown where the limit is within the uncertainty of the amount."""
    if amount - uncertainty > limit + _NOISE:
        return "fail", f"{what}: more than {allowed}"
    if amount + uncertainty <= limit + _NOISE:
        return "pass", f"{what} (at most {allowed})"
    return "unknown", f"{what}: too near to {allowed} to tell with an uncertainty of {_fine(uncertainty, units)}"


def _offset_check(
    name: str, worst: Worst | None, line: Line, rule: FlatnessRule, uncertainty: float, units: System
) -> Found:
    if worst is None:
        return "unknown", f"no three points to tell a {name}"
    what = f"no {name}"
    if abs(worst.amount) > _NOISE:
        places = [format_length(place, units) for place in (worst.at, worst.start, worst.end)]
        what = f"{name} of {_fine(abs(worst.amount), units)} at {places[0]}, between {places[1]} and {places[2]}"
    whole = line.extent <= rule.span + _NOISE
    over = f"the whole {format_length(line.extent, units)}" if whole else format_length(rule.span, units)
    allowed = f"{format_length(rule.limit, units)} over {over}"
    return _against(abs(worst.amount), rule.limit, uncertainty, what, allowed, units)


def _step_check(step: Worst | None, rule: FlatnessRule, uncertainty: float, units: System) -> Found:
    over = format_length(rule.step_over, units)
    if step is None:
        return "unknown", f"no points near enough to tell a step over {over}"
    what = "no step"
    if abs(step.amount) > _NOISE:
        places = [format_length(place, units) for place in (step.start, step.end)]
        what = f"step of {_fine(abs(step.amount), units)} between {places[0]} and {places[1]}"
    return _against(
        abs(step.amount), rule.step, uncertainty, what, f"{format_length(rule.step, units)} over {over}", units
    )


def _points_check(line: Line, x: Floats, rule: FlatnessRule, units: System) -> Found:
    """Whether the points are near enough, up to both ends, and the straightedge, if it was one, long enough."""
    if _short(line, rule):
        enough = format_length(min(rule.span, line.extent), units)
        short = format_length(line.straightedge or 0.0, units)
        return "unknown", f"a straightedge of {short} can't show alone what {enough} would"
    stops = np.concatenate(([0.0], x, [line.extent]))
    k = int(np.argmax(np.diff(stops)))
    apart, most = float(stops[k + 1] - stops[k]), format_length(rule.points_apart, units)
    if apart <= rule.points_apart + _NOISE:
        return "pass", f"points {_fine(apart, units)} apart or less"
    bare = f"nothing is measured between {format_length(stops[k], units)} and {format_length(stops[k + 1], units)}"
    return "unknown", f"{bare}: points may be {most} apart, a narrow ridge hides between wider ones"


def _short(line: Line, rule: FlatnessRule) -> bool:
    return line.straightedge is not None and line.straightedge < min(rule.span, line.extent) - _NOISE


def _drop_check(drop: Drop, rule: PlumbRule, uncertainty: float, units: System) -> Found:
    most = rule.offset * drop.over / rule.over
    way = "away from the room" if drop.offset < 0 else "towards the room"
    where = "it leans" if drop.at is None else f"at {format_length(drop.at, units)} it leans"
    what = f"{where} {_fine(abs(drop.offset), units)} {way}"
    allowed = f"{_fine(most, units)} over {format_length(drop.over, units)}"
    return _against(abs(drop.offset), most, uncertainty, what, allowed, units)


def _together(checks: Sequence[Found]) -> Found:
    """The worst verdict and what was said for it."""
    verdicts = [verdict for verdict, _ in checks]
    worst: Verdict = "fail" if "fail" in verdicts else "unknown" if "unknown" in verdicts else "pass"
    return worst, "; ".join(said for verdict, said in checks if verdict == worst)


def _over_all(found: Sequence[LineFinding], rule: FlatnessRule, units: System) -> Found:
    if failed := [finding for finding in found if finding.verdict == "fail"]:
        return "fail", _each(failed)
    whole = [finding for finding in found if not _short(finding.line, rule)]
    missing = [name for name in DIRECTIONS if name not in {finding.line.direction for finding in whole}]
    unclear = [f for f in found if f.verdict == "unknown" and (f in whole or f.line.direction in missing)]
    if missing or unclear:
        bare = [f"no whole line is measured: {', '.join(missing)}"] if missing else []
        return "unknown", "; ".join(bare + ([_each(unclear)] if unclear else []))
    hump = max(finding.hump.amount for finding in whole if finding.hump)
    hollow = max(-finding.hollow.amount for finding in whole if finding.hollow)
    return "pass", f"{len(whole)} lines, hump {_fine(hump, units)} at most, hollow {_fine(hollow, units)} at most"


def _each(findings: Sequence[LineFinding]) -> str:
    return "; ".join(f"{finding.line.label}: {finding.evidence}" for finding in findings)


def _spots(x: Floats, beyond: Floats, work: Literal["fill", "sand"], limit: float) -> tuple[Spot, ...]:
    """Stretches of neighbouring points that are further off than the limit."""
    out = [k for k in range(len(x)) if beyond[k] > limit + _NOISE]
    stretches: list[list[int]] = []
    for k in out:
        if stretches and stretches[-1][-1] == k - 1:
            stretches[-1].append(k)
        else:
            stretches.append([k])
    return tuple(
        Spot(work, float(x[s[0]]), float(x[s[-1]]), float(max(beyond[k] for k in s) - limit)) for s in stretches
    )
