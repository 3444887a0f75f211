"""What entries may say, by their kind: checked when they are told and when they are corrected."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from monitor.basis.errors import RecordError
from monitor.basis.values import Kind
from monitor.rules.install.care import ACTS
from monitor.watch.job.delivery import check_delivery
from monitor.watch.job.jobs import checked_name
from monitor.watch.job.site import checked_moisture, checked_site

EVENTS = ("leak", "heating-out", "works-next-door", "tenant-change", "other")
EDGES = ("left", "right", "top", "bottom")
WIDEST_GAP = 0.1  # of an edge or a joint; more is a slip of the pen, figure ours [m]
LONGEST = 10.0  # of a plank's offset [m]
MOST_PLANKS = 100_000


def check_body(kind: Kind, body: Mapping[str, Any]) -> None:
    """Raises RecordError where a body of a kind that is known here says what can't be."""
    check = _CHECKS.get(kind)
    if check is not None:
        check(body)


def _install(body: Mapping[str, Any]) -> None:
    for edge, gap in body.get("gaps_m", {}).items():
        _among(edge, EDGES, "--gap")
        _inside(gap, WIDEST_GAP, "--gap", f"the gap {edge} of")
    _inside(body.get("stagger_kept_m", 0.0), LONGEST, "--stagger-kept", "a stagger of")
    rejected = body.get("rejected_planks", 0)
    if not 0 <= rejected <= MOST_PLANKS:
        raise RecordError(
            f"{rejected} planks are not rejected", where="--rejected", mend=f"Give 0 to {MOST_PLANKS} planks"
        )
    for option in ("fastening", "adhesive", "pinned", "offcut", "who_installed"):
        if option in body:
            _said(body[option], f"--{option.replace('_', '-')}")
    for text in body.get("departures", ()):
        _said(text, "--departure")
    for lot, area in body.get("lot_areas", {}).items():
        _said(area, f"--lot-area {lot}")


def _care(body: Mapping[str, Any]) -> None:
    _among(body["did"], ACTS, "log care")
    if body["did"] == "repair" and not body["text"].strip():
        raise RecordError("nothing is said of the repair", where="log care", mend="Say what was done: --text TEXT")


def _inspection(body: Mapping[str, Any]) -> None:
    if not body["joints_m"] and not body["text"].strip():
        raise RecordError(
            "nothing was looked at", where="log inspect", mend='Give --joint "NAME=GAP" of each marked joint, or --text'
        )
    for name, gap in body["joints_m"].items():
        checked_name(name, "--joint")
        _inside(gap, WIDEST_GAP, "--joint", f"the gap of {name},")


def _event(body: Mapping[str, Any]) -> None:
    _among(body["what"], EVENTS, "log event")
    _said(body["text"], "log event")


def _cause(body: Mapping[str, Any]) -> None:
    _said(body["cause"], "--cause")


def _building(body: Mapping[str, Any]) -> None:
    checked_name(body["building"], "job building")


def _note(body: Mapping[str, Any]) -> None:
    if not body["text"].strip():
        raise RecordError("the note is empty", where="log note", mend="Write what happened")


_CHECKS: Mapping[Kind, Callable[[Mapping[str, Any]], object]] = {
    Kind.DELIVER: check_delivery,
    Kind.NOTE: _note,
    Kind.BUILDING: _building,
    Kind.INSTALL: _install,
    Kind.CARE: _care,
    Kind.INSPECTION: _inspection,
    Kind.EVENT: _event,
    Kind.CAUSE: _cause,
    Kind.SITE_CHECK: checked_site,
    Kind.WALL_MOISTURE: checked_moisture,
}


def _among(word: str, known: tuple[str, ...], where: str) -> None:
    if word not in known:
        raise RecordError(f"{word!r} is not understood", where=where, mend=f"Use {' or '.join(known)}")


def _inside(length: float, most: float, where: str, what: str) -> None:
    if not 0 <= length <= most:
        raise RecordError(f"{what} {length:g} m can't be", where=where, mend=f"Measure again: 0 to {most:g} m")


def _said(text: str, where: str) -> None:
    if not text.strip():
        raise RecordError("nothing is said", where=where, mend="Write it, or leave it out")
