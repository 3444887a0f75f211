"""The page to be signed where an installation was started although conditions were open."""

from __future__ import annotations

import re
from typing import NamedTuple

from monitor.basis.values import Entry
from monitor.rules.assessment import Condition
from monitor.rules.cautions import CAUTIONS, at_step
from monitor.tell import care, diary, words
from monitor.tell.pages.page import render
from monitor.tell.views import JobFacts
from monitor.tell.words import Display

_COMMAND = re.compile(r": wallclime [^.]*")
SIGN = ("who asked for the start", "who installs", "who owns the home, or speaks for its owner")


class NotReadyPage(NamedTuple):
    """`entry` says the start, with `not_ready` and `conditions` in its body; `training`: readings were simulated."""

    facts: JobFacts
    entry: Entry
    display: Display
    training: bool
    software: str


def render_not_ready(page: NotReadyPage) -> str:
    """The page as HTML text, the same for the same values."""
    entry, body = page.entry, page.entry.body
    open_ = [Condition(one["condition"], one["verdict"], one["evidence"]) for one in body["not_ready"]]
    return render(
        "notready.html",
        {},
        sheets=("sheet.css",),
        job=words.visible(entry.chain),
        training=words.TRAINING if page.training else "",
        count=words.counted_things(len(open_), "condition"),
        started=words.when(entry.at, page.display),
        facts=_facts(page),
        conditions=[
            (
                one.verdict.upper(),
                words.visible(one.name),
                words.evidence(one.evidence, page.display),
                plain(words.to_do(one)),
            )
            for one in sorted(open_, key=lambda one: one.verdict != "fail")
        ],
        record=care.at_the_start(body["conditions"], page.display),
        cautions=[CAUTIONS[one].text for one in at_step("install")],
        sign=SIGN,
        evidence=f"Entry {entry.number} of the condition log, link {entry.link.hex()}; {page.software}.",
    )


def plain(to_do: str) -> str:
    """What is to be done, without the command that it is done with: who signs the page has no screen at hand."""
    return _COMMAND.sub("", to_do)


def _facts(page: NotReadyPage) -> list[tuple[str, str]]:
    facts, entry = page.facts, page.entry
    size = words.size(facts.length, facts.height, facts.units)
    late = diary.entered(entry)
    told = f"{words.when(entry.entered, page.display)} by {words.visible(entry.who)}"
    found = [
        ("wall", size),
        ("stands in", words.visible(facts.wall_place)),
        ("boxes lie in", words.visible(facts.boxes_place)),
        ("lots used", words.visible(", ".join(entry.body["lots"])) or "not said"),
        ("reason", words.visible(entry.body["reason"])),
        ("asked for by", words.visible(entry.body["asked_by"]) or "not said"),
        ("entered", f"{told} ({late})" if late else told),
    ]
    return [(name, value) for name, value in found if value]
