"""The sheet for the people who live with the wall: its air, its care, what harms it, what is recorded of their home."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from monitor.basis.times import DAY
from monitor.basis.units import format_percent, format_temperature
from monitor.basis.values import Entry, Kind
from monitor.config.profile import Profile
from monitor.rules.assessment import Assessment
from monitor.rules.cautions import CAUTIONS, at_step
from monitor.rules.install.care import Item
from monitor.tell import diary, words
from monitor.tell.pages.page import render
from monitor.tell.pages.views import Hears
from monitor.tell.views import JobFacts
from monitor.tell.words import Display

CALLS = (  # two in a row; nobody is named: the sheet is filled in by hand
    ("heating or cooling fails, or water leaks", "a plank comes loose, or joints open"),
    ("wires in the wall, or something heavy to hang", "the record: a copy of it, or an end to it"),
)
ACT = {"dust": "dust it", "wipe": "wipe it", "look": "look it over"}
HEARD: Mapping[Hears, str] = {
    "air": "temperature and humidity of",
    "outdoors": "the air outdoors, of",
    "box": "temperature inside boxes, of",
    "surface": "temperature on the wall, of",
}
FEW = 6  # of sensors and of names; the report has them all


class SensorHere(NamedTuple):
    """A sensor at a place of the job from `since` until `gone`: it was taken away, or its file ended. [ms]

    `hears`: as of `Stay`.
    """

    name: str
    place: str
    since: int
    gone: int | None
    hears: Hears = "air"


class HandoverPage(NamedTuple):
    """All that the sheet shows; `entries` as corrected, times in UTC ms."""

    assessment: Assessment
    facts: JobFacts
    profile: Profile
    items: tuple[Item, ...]
    sensors: tuple[SensorHere, ...]
    entries: tuple[Entry, ...]
    written_at: int
    software: str


def render_handover(page: HandoverPage) -> str:
    """The sheet as HTML text, the same for the same values. Raises TimeError when the job's zone is unknown here."""
    assessment, profile = page.assessment, page.profile
    display = words.display_of(assessment, page.facts.units)
    return render(
        "handover.html",
        {},
        sheets=("sheet.css",),
        job=words.visible(assessment.job),
        training=words.TRAINING if assessment.training else "",
        written=words.when(page.written_at, display),
        humidity=" to ".join(format_percent(limit, places=0) for limit in _outward(profile.life.humidity, 1.0)),
        temperature=_warmth(profile, display),
        how=words.visible(profile.care.how.strip()),
        never=words.visible(profile.care.never.strip()),
        plan=[_planned(item, profile, page.written_at, display) for item in page.items],
        facts=_facts(page, display),
        so_far=" ".join([words.verdict(assessment, display, page.facts.open_at_start), *page.facts.looser]),
        recorded=_recorded(page, display),
        cautions=[CAUTIONS[one].text for one in at_step("care")],
        calls=CALLS,
        source=words.visible(profile.sources.get("care.how", "none given")),
        software=page.software,
    )


def _outward(limits: tuple[float, float], size: float) -> tuple[float, float]:
    """Limits as they stand; one that whole numbers would widen is not shown wider."""
    low, high = limits
    return -(-low // size) * size, high // size * size


def _warmth(profile: Profile, display: Display) -> str:
    """The life band's temperatures in whole degrees of the job's unit, never wider than it is."""
    scale, zero = (1.8, 32.0) if display.units == "us" else (1.0, 0.0)
    low, high = (round(limit * scale + zero, 6) for limit in profile.life.temperature)
    inside = _outward((low, high), 1.0)
    return " to ".join(format_temperature((limit - zero) / scale, display.units, places=0) for limit in inside)


def _planned(item: Item, profile: Profile, now: int, display: Display) -> tuple[str, str, str, str]:
    every = {"dust": profile.care.dust_every, "wipe": profile.care.wipe_every, "look": profile.care.look_every}
    often = f"every {words.counted_things(round(every[item.what] / DAY), 'day')}" if item.what in every else "once"
    last = "never yet" if item.last is None else words.when(item.last, display)[:10]
    day = words.when(item.due, display)[:10]
    by = "done" if item.over else f"overdue since {day}" if item.overdue(now) else day
    return ACT.get(item.what, item.what), often, by, last


def _facts(page: HandoverPage, display: Display) -> list[tuple[str, str]]:
    facts = page.facts
    size = words.size(facts.length, facts.height, facts.units)
    installs = [entry for entry in page.entries if entry.kind is Kind.INSTALL]
    found = [
        ("wall", f"{size}, in {words.visible(facts.wall_place)}" if size else words.visible(facts.wall_place)),
        ("put up", _put_up(installs, display)),
        ("by", _said(installs, "who_installed")),
        ("fixed with", ", ".join(filter(None, (_said(installs, "fastening"), _said(installs, "adhesive"))))),
        ("kept for repairs", _said(installs, "offcut")),
        ("planks", words.visible(page.assessment.profile)),
    ]
    return [(name, value) for name, value in found if value]


def _put_up(installs: Sequence[Entry], display: Display) -> str:
    """Start and finish, each with what was entered late."""
    finished = next((entry for entry in installs if entry.body["finish"] is not None), None)
    told = [_with_late(words.when(entry.at, display), entry) for entry in installs[:1]]
    if finished is not None:
        told.append(_with_late(words.when(finished.body["finish"], display), finished))
    return " to ".join(told)


def _with_late(text: str, entry: Entry) -> str:
    late = diary.entered(entry)
    return f"{text} ({late})" if late else text


def _said(installs: Sequence[Entry], key: str) -> str:
    values: Mapping[str, Any] = {entry.body[key]: None for entry in installs if key in entry.body}
    return words.visible("; ".join(values))


def _recorded(page: HandoverPage, display: Display) -> list[tuple[str, str]]:
    """What is recorded about the home, and by whom."""
    sensors = [(HEARD[hears], words.few(_sensors(page, hears, display), FEW)) for hears in HEARD]
    told = [entry for entry in page.entries if not diary.own(entry)]
    people = [words.visible(name) for name in dict.fromkeys(entry.who for entry in told)]
    papers = [
        words.counted_things(number, noun)
        for kind, noun in ((Kind.PHOTO, "photo"), (Kind.DOCUMENT, "document"))
        if (number := sum(entry.kind is kind for entry in page.entries))
    ]
    found = [
        *(sensors if page.sensors else [(HEARD["air"], "no room: there is no sensor")]),
        ("what people said", f"{len(told)} {'entry' if len(told) == 1 else 'entries'}, by {words.few(people, FEW)}"),
        ("kept with it", ", ".join(papers)),
    ]
    return [(name, value) for name, value in found if value]


def _sensors(page: HandoverPage, hears: Hears, display: Display) -> list[str]:
    return [
        f"{words.visible(one.name)} in {words.visible(one.place)} since {words.when(one.since, display)[:10]}"
        f"{'' if one.gone is None else f', until {words.when(one.gone, display)[:10]}'}"
        for one in page.sensors
        if one.hears == hears
    ]
