"""The site check: is the wall fit for planks? Question by question; an answer that is missing or too old is unknown.

What is asked of the wall is common practice, no published source; the maker's own instructions and local code come
first. Facts are as the log keeps them: plain keys, SI units.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from monitor.basis.times import DAY
from monitor.basis.units import System, format_length
from monitor.basis.values import Entry, Kind
from monitor.config.profile import Profile
from monitor.rules.assessment import Condition, Verdict
from monitor.rules.install.flatness import (
    Drop,
    FlatnessRule,
    LevelRule,
    Line,
    PlumbRule,
    judge_flatness,
    judge_level,
    judge_line,
    judge_plumb,
    where_to_work,
)

NOT_SAID = "not said"
PLACES = {"several_homes": "a house of several homes", "stairs": "stairs", "corridor": "a corridor"}
_ASK = "ask the planks' maker in writing"
_TEST = "have it tested for lead and asbestos before anything is sanded"

SAID: Mapping[str, Mapping[Any, tuple[Verdict, str]]] = {
    "surface": {
        "drywall": ("pass", "drywall"),
        "plaster": ("fail", f"the surface is plaster, not drywall: {_ASK}"),
        "wood": ("fail", f"the surface is wood, not drywall: {_ASK}"),
        "masonry": ("fail", f"the surface is masonry, not drywall: {_ASK}"),
        "other": ("fail", f"the surface is not drywall: {_ASK}"),
    },
    "finish": {
        "bare": ("pass", "bare"),
        "primed": ("pass", "primed"),
        "painted": ("pass", "painted"),
        "wallpaper": ("fail", "there is wallpaper on it: take it off"),
        "panelling": ("fail", "there is panelling on it: take it off"),
    },
    "secure": {True: ("pass", "secure"), False: ("fail", "it is loose: fix it to the studs")},
    "clean": {True: ("pass", "clean"), False: ("fail", "it is dirty: take off dust, grease and what flakes")},
    "dry": {True: ("pass", "dry"), False: ("fail", "it is damp: find the water, mend that, and let the wall dry")},
    "stains": {False: ("pass", "no stains"), True: ("fail", "it has stains: find out where the water came from")},
    "windows": {
        "tight": ("pass", "tight windows"),
        "none": ("pass", "no windows"),
        "leaking": ("fail", "a window leaks: mend it, and let the wall dry"),
    },
    "old_paint": {
        "no": ("pass", "no old paint or texture"),
        "tested": ("pass", "old paint or texture was tested"),
        "yes": ("unknown", f"there is old paint or texture: {_TEST}"),
        "unknown": ("unknown", f"nobody knows how old the paint or texture is: {_TEST}"),
    },
}


class Answer(NamedTuple):
    """What was answered, when it was so [ms], and the expanded uncertainty of what was measured with it [m]."""

    value: Any
    at: int
    uncertainty: float = 0.0


class SiteFacts(NamedTuple):
    """The newest answer of each question, and the newest measurement of each line, by direction and name."""

    answers: Mapping[str, Answer]
    lines: Mapping[tuple[str, str], Answer]


def site_of(entries: Iterable[Entry]) -> SiteFacts | None:
    """What stands of all site checks among `entries`, corrections applied; None where there is none."""
    answers: dict[str, Answer] = {}
    lines: dict[tuple[str, str], Answer] = {}
    checks = [entry for entry in entries if entry.kind is Kind.SITE_CHECK]
    for entry in sorted(checks, key=lambda entry: (entry.at, entry.number)):
        spread = entry.body.get("uncertainty_m", 0.0)
        for key, value in entry.body.items():
            if key == "flatness":
                lines |= {(one["direction"], one.get("name", "")): Answer(one, entry.at, spread) for one in value}
            else:
                answers[key] = Answer(value, entry.at, spread)
    return SiteFacts(answers, lines) if checks else None


def judge_site(
    facts: SiteFacts | None, profile: Profile, *, length: float, at: int, units: System
) -> tuple[Condition, ...]:
    """Every question of the site check with its verdict and sentence.

    `length` is the wall's [m]; `at` the start of the installation, or the instant asked for before it has begun [ms].
    """
    facts = facts or SiteFacts({}, {})
    known = _Known(facts, at, profile.site.check_holds)
    plain = [_plain(key, known) for key in SAID]
    return (
        *plain[:-1],
        _heat(known, units),
        _flame(known),
        plain[-1],
        _flatness(known, profile, units),
        _plumb(known, profile, units),
        _level(known, profile, length, units),
    )


def site_condition(facts: SiteFacts | None, profile: Profile, *, length: float, at: int, units: System) -> Condition:
    """The site check as one condition of readiness: what fails is said first, then what is not known."""
    name = "site check"
    if facts is None:
        return Condition(name, "unknown", "no site check is recorded")
    newest = max(answer.at for answer in (*facts.answers.values(), *facts.lines.values()))
    if old := too_old(newest, at, profile.site.check_holds):
        return Condition(name, "unknown", f"it is {old}; a check holds for {profile.site.check_holds / DAY:g} days")
    found = judge_site(facts, profile, length=length, at=at, units=units)
    failed = [_sentence(one) for one in found if one.verdict == "fail"]
    unknown = _unknown([one for one in found if one.verdict == "unknown"])
    if failed or unknown:
        return Condition(name, "fail" if failed else "unknown", "; ".join([*failed, *unknown]))
    return Condition(name, "pass", "; ".join(_sentence(one) for one in found))


def too_old(then: int, at: int, holds: int) -> str:
    """ "31 days old" for what holds no more at `at`, days begun counted; else "". [ms]"""
    return f"{math.ceil((at - then) / DAY)} days old" if at - then > holds else ""


class _Known(NamedTuple):
    """The answers as they stand at an instant: one that is too old says how old it is instead."""

    facts: SiteFacts
    at: int
    holds: int

    def get(self, key: str) -> Answer | str:
        """The answer, or why there is none."""
        answer = self.facts.answers.get(key)
        return NOT_SAID if answer is None else too_old(answer.at, self.at, self.holds) or answer

    def lines(self) -> Sequence[Answer] | str:
        """The lines that were measured, or why there are none."""
        fresh = [one for one in self.facts.lines.values() if not too_old(one.at, self.at, self.holds)]
        newest = max((one.at for one in self.facts.lines.values()), default=None)
        return fresh or (NOT_SAID if newest is None else too_old(newest, self.at, self.holds))


def _sentence(one: Condition) -> str:
    """What was found, as it stands among others: only of flatness its name has to be said."""
    return f"flatness, {one.evidence}" if one.name == "flatness" else one.evidence


def _unknown(found: Sequence[Condition]) -> list[str]:
    """What is not known: sentences first, then the names of those that have none, by what they lack."""
    said: list[str] = []
    lacking: dict[str, list[str]] = {}
    for one in found:
        if one.evidence == NOT_SAID or one.evidence.endswith("days old"):
            lacking.setdefault(one.evidence, []).append(one.name)
        else:
            said.append(_sentence(one))
    return said + [f"{why}: {', '.join(names)}" for why, names in lacking.items()]


def _plain(key: str, known: _Known) -> Condition:
    name, answer = key.replace("_", " "), known.get(key)
    if isinstance(answer, str):
        return Condition(name, "unknown", answer)
    return Condition(name, *SAID[key][answer.value])


def _heat(known: _Known, units: System) -> Condition:
    """Heat sources near the wall: how near they may be is said by local code and their makers, not by us."""
    name, sources, as_code = "heat sources", known.get("heat_sources"), known.get("heat_as_code")
    if isinstance(sources, str):
        return Condition(name, "unknown", sources)
    if not sources.value:
        return Condition(name, "pass", "no heat source near")
    told = ", ".join(f"{one['what']} at {format_length(one['distance_m'], units)}" for one in sources.value)
    if isinstance(as_code, str) or as_code.at < sources.at:
        return Condition(name, "unknown", f"{told}: whether local code and its maker allow that is not said")
    if not as_code.value:
        return Condition(name, "fail", f"{told}: nearer than local code and its maker allow")
    return Condition(name, "pass", f"{told}, as local code and its maker allow")


def _flame(known: _Known) -> Condition:
    name, spread = "flame-spread class", known.get("flame_spread")
    if not isinstance(spread, str):
        return Condition(name, "pass", f"flame-spread class {spread.value}")
    places = {key: known.get(key) for key in PLACES}
    there = [PLACES[key] for key, answer in places.items() if not isinstance(answer, str) and answer.value]
    if there:
        what = f"{' and '.join(there)}: local code asks for a flame-spread class, and that of the planks is {spread}"
        return Condition(name, "unknown", what)
    for key, answer in places.items():
        if isinstance(answer, str):
            return Condition(PLACES[key], "unknown", answer)
    return Condition(name, "pass", "no stairs, no corridor, one home")


def _flatness(known: _Known, profile: Profile, units: System) -> Condition:
    lines, site = known.lines(), profile.site
    if isinstance(lines, str):
        return Condition("flatness", "unknown", lines)
    rule = FlatnessRule(
        limit=profile.wall.flatness, points_apart=site.points_apart, step=site.step, step_over=site.step_over
    )
    judged = [judge_line(line_of(one.value), rule, uncertainty=one.uncertainty, units=units) for one in lines]
    found = judge_flatness(judged, rule, units=units)
    work = [f"{one.line.label}: {told}" for one in found.lines for told in where_to_work(one, units)]
    return Condition("flatness", found.condition.verdict, "; ".join([found.condition.evidence, *work]))


def line_of(told: Mapping[str, Any]) -> Line:
    """A measured line as the log keeps it. Raises QuantityError for points that can't be."""
    points = tuple((float(position), float(deviation)) for position, deviation in told["points"])
    return Line(told["direction"], told["extent_m"], points, told.get("straightedge_m"), told.get("name", ""))


def _plumb(known: _Known, profile: Profile, units: System) -> Condition:
    answer = known.get("plumb")
    if isinstance(answer, str):
        return Condition("plumb", "unknown", answer)
    drops = [Drop(one.get("at_m"), one["over_m"], one["offset_m"]) for one in answer.value]
    rule = PlumbRule(profile.site.plumb, profile.site.plumb_over)
    return judge_plumb(drops, rule, uncertainty=answer.uncertainty, units=units)


def _level(known: _Known, profile: Profile, length: float, units: System) -> Condition:
    answer = known.get("level")
    if isinstance(answer, str):
        return Condition("first row level", "unknown", answer)
    points = [(position, height) for position, height in answer.value]
    return judge_level(points, length, LevelRule(profile.site.level), uncertainty=answer.uncertainty, units=units)
