"""How far the record is sealed, in words, and the sentence that is sent so that others can witness it."""

from __future__ import annotations

import hashlib
import html
import re
from collections.abc import Sequence
from typing import NamedTuple

from monitor.basis.times import rfc3339
from monitor.rules.assessment import Assessment
from monitor.seal.codes import grouped
from monitor.tell import spanwords, words
from monitor.tell.pages.table import most
from monitor.tell.words import Display, visible, when

_PROGRAM = re.compile(r"<script.*?</script>|<style.*?</style>", re.S)
_TAG = re.compile(r"<[^>]*>")


class HeadView(NamedTuple):
    """A signed head: `made` UTC ms; `closes` a UTC day such as 2026-01-05, or None; `hash` in hex, `code` its short."""

    number: int
    hash: str
    code: str
    made: int
    closes: str | None
    reason: str
    size: int


class Sealed(NamedTuple):
    """How far the record is sealed.

    `heads` oldest first; `closed` how many UTC days are closed, `unsealed` how many days of sensors have readings that
    are in no head, the first of them `unsealed_from` [ms]; `fingerprint` of the key in use, in hex; `keys` how many
    there were.
    """

    heads: tuple[HeadView, ...] = ()
    closed: int = 0
    unsealed: int = 0
    unsealed_from: int | None = None
    fingerprint: str = ""
    keys: int = 0

    @property
    def last(self) -> HeadView | None:
        """The newest head."""
        return self.heads[-1] if self.heads else None


def evidence_rows(sealed: Sealed, display: Display) -> list[tuple[str, str]]:
    """What a report says of the seals: names and values."""
    last = sealed.last
    if last is None:
        return [("seal", "not sealed yet: nothing but the store itself vouches for the record")]
    return [
        ("head", f"{last.number}, made {when(last.made, display)}"),
        ("hash of the head", last.hash),
        ("code of the head", last.code),
        ("key, fingerprint", grouped(sealed.fingerprint) + (f" (the {ordinal(sealed.keys)})" * (sealed.keys > 1))),
        ("days closed", closed(sealed)),
        ("not sealed yet", unsealed(sealed)),
    ]


def closed(sealed: Sealed) -> str:
    """ "12, the last 2026-01-16 (UTC)"."""
    days = [head.closes for head in sealed.heads if head.closes is not None]
    return f"{sealed.closed}, the last {days[-1]} (UTC)" if days else "none"


def unsealed(sealed: Sealed) -> str:
    """ "3 days of sensors, from 2026-01-17 on"."""
    if not sealed.unsealed or sealed.unsealed_from is None:
        return "nothing"
    days = "1 day of a sensor" if sealed.unsealed == 1 else f"{sealed.unsealed} days of sensors"
    return f"{days}, from {rfc3339(sealed.unsealed_from)[:10]} on"


def ordinal(number: int) -> str:
    """ "2nd", "3rd", "11th"."""
    last = "th" if number % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{last}"


def to_send(job: str, head: HeadView, display: Display) -> list[str]:
    """What is said when a head was made that others should witness: the code, and a sentence to send as it is."""
    of = f"{visible(job)}, {head.reason}, {when(head.made, display)}"
    return [
        f"sealed: head {head.number}, code {head.code}",
        "send this to client and contractor, and write down who confirms it (wallclime log witness):",
        f"  Please keep this message. Record of the wall {of}: code {head.code}. "
        "With it you can show later that nothing before was changed.",
    ]


def with_digest(page: str, assessment: bytes) -> str:
    """A report that names the SHA-256 of the Assessment it was made from: so neither is exchanged unseen."""
    return page.replace("</head>", f"{_meta(hashlib.sha256(assessment).hexdigest())}\n</head>", 1)


def names_digest(page: str, assessment: bytes) -> bool:
    """Whether a report names that Assessment and no other."""
    return page.count('<meta name="assessment-sha256"') == 1 and _meta(hashlib.sha256(assessment).hexdigest()) in page


def _meta(digest: str) -> str:
    return f'<meta name="assessment-sha256" content="{digest}">'


def figures_of(found: Assessment, display: Display, open_at_start: int) -> list[tuple[str, str]]:
    """What a report says of an Assessment, as pairs of what it is and the very words: those that decide a dispute."""
    said = [
        ("the verdict in a word", words.tag(found)),
        ("the verdict", words.verdict(found, display, open_at_start)),
        ("the hours counted", words.counted(found.lot.clock)),
        ("the state of the clock", words.clock_state(found.lot.clock, display)),
        ("the strict reading", words.clock_state(found.lot.strict, display)),
        ("the share in band", words.in_band(found.span)),
    ]
    listed, _ = most(found.excursions, lambda one: (found.as_of if one.end is None else one.end) - one.start)
    return said + [("an excursion", spanwords.since(one.start, one.end, display)) for one in listed]


def missing_figures(page: str, figures: Sequence[tuple[str, str]]) -> list[tuple[str, str]]:
    """Those of the figures that a page does not show."""
    shown = html.unescape(_TAG.sub("", _PROGRAM.sub("", page))).replace("\u00a0", " ").replace("°", "deg")
    return [(name, text) for name, text in figures if text not in shown]
