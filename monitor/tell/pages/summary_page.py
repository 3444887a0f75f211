"""The page of a month over all walls, for whoever answers for them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal

from markupsafe import Markup

from monitor.rules.assessment import Coverage
from monitor.tell import words
from monitor.tell.alarm.alarm_words import lasting
from monitor.tell.pages import marks, summary
from monitor.tell.pages.page import render
from monitor.tell.pages.summary import Summary, WallSpan

HEAD = ("wall", "in band", "out of band", "known", "excursions", "alarms", "care done", "care due")
LEGEND: tuple[tuple[Literal["i", "o", "u"], str], ...] = (
    ("i", "in band"),
    ("o", "out of band"),
    ("u", "not known: never counted as in band"),
)
NOTHING = ("none", "nothing")  # what a small screen leaves out
MIND = (
    "Longest out of band first, then not watched, record ended, longest not known. Not watched: no sensor was at the "
    "wall's air in these days. Record ended: one was, until that day. Of a time without a sensor nothing is said, and "
    "nothing here says that the wall was well then.",
    "In band is measured by the wall's own profile: until the wall is finished by the band of its installation, from "
    "then on by that of its life. Each wall's days are those of its own time zone.",
    "The share in band is given of known time and of elapsed time; the second as a pair, unknown time counted out and "
    "counted in. An excursion that began before or ended after is counted here too.",
    "Worst values are measured; times, shares and what is due are computed from what was measured and entered.",
    "The report of a wall has every figure with its evidence: wallclime report JOB -o FILE.html.",
)


def render_summary(found: Summary) -> str:
    """The page as HTML text, the same for the same values."""
    groups = summary.by_building(summary.worst_first(found.walls))
    whole = summary.covered(found.walls)
    return render(
        "summary.html",
        {},
        sheets=("marks.css", "summary.css"),
        heading=f"Walls, as of {words.as_of(found.made, words.shared(wall.display for wall in found.walls))}",
        title=found.title,
        training=summary.TRAINING if any(wall.training for wall in found.walls) else "",
        opening=summary.opening(found),
        unjudged=summary.not_judged(found.unjudged),
        facts=_facts(found, whole),
        legend=[(marks.sign(kind), text) for kind, text in LEGEND],
        head=HEAD,
        buildings=[_building(name, walls) for name, walls in groups.items()],
        mind=MIND,
    )


def _facts(found: Summary, whole: Coverage) -> list[tuple[str, str]]:
    alarms = sum(not one.notice for wall in found.walls for one in wall.alarms)
    told = [
        ("building", "" if found.building is None else words.visible(found.building)),
        ("in band", words.in_band(whole) if whole.elapsed else ""),
        ("known", words.share(whole.known, whole.elapsed) if whole.elapsed else ""),
        ("alarms", str(alarms)),
        ("care", f"{sum(len(w.done) for w in found.walls)} done, {_overdue(found.walls)} overdue"),
        ("written by", found.software),
    ]
    return [(name, value) for name, value in told if value]


def _overdue(walls: Sequence[WallSpan]) -> int:
    return sum(item.overdue(wall.as_of) for wall in walls for item in wall.due)


def _building(name: str, walls: Sequence[WallSpan]) -> dict[str, Any]:
    whole = summary.covered(walls)
    share = f"; in band: {words.in_band(whole, short=True)}" if whole.elapsed else ""
    return {
        "name": summary.building_named(name),
        "opening": f"{words.counted_things(len(walls), 'wall')}{share}.",
        "walls": [_wall(wall) for wall in walls],
    }


def _wall(wall: WallSpan) -> dict[str, Any]:
    told = f"{len(wall.excursions) or 'none'}{': ' if wall.excursions else ''}{summary.worst(wall)}"
    cells = (
        lasting(wall.out) if wall.out else "none",
        summary.known(wall),
        told,
        summary.alarms(wall),
        summary.care_done(wall),
        summary.care_due(wall),
    )
    return {
        "name": f"{words.visible(wall.job)}{' (TRAINING)' if wall.training else ''}",
        "blind": not wall.watched,
        "bar": marks.share_bar(wall.coverage) if wall.coverage.elapsed else Markup(""),
        "stands": summary.stands(wall),
        "in_band": words.in_band(wall.coverage, short=True),
        "cells": [(name, cell, cell in NOTHING) for name, cell in zip(HEAD[2:], cells, strict=True)],
    }
