"""A take-off for people: its arithmetic and cut list as one text, and in short where a job is opened."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable
from shlex import quote

from monitor.basis.units import System, format_area
from monitor.rules.install.takenoff import places
from monitor.rules.install.takeoff import TakeOff, cut_list, workings
from monitor.tell.screen import WIDTH
from monitor.tell.words import counted_things, visible

PRACTICE = "The figures are the profile's; the maker's own instructions and local code come first."


def takeoff_text(result: TakeOff, profile: str, units: System, *, ascii_only: bool = False) -> str:
    """The whole of it: the profile's name, the arithmetic a line a step, every run with its pieces."""
    lines = [*_wrapped([f"Take-off by the profile {profile}. {PRACTICE}"]), ""]
    lines += _wrapped(workings(result, units))
    pieces = cut_list(result, units)
    if pieces:
        order = "lowest row first" if result.lay == "horizontal" else "row at the left first, each from the floor up"
        lines += ["", f"Cut list, {order}:", *_wrapped(pieces)]
    text = "\n".join(lines)
    return f"{text.encode('ascii', 'backslashreplace').decode() if ascii_only else text}\n"


def in_short(result: TakeOff, job: str, units: System, *, split: bool) -> list[str]:
    """What to order for a job, where to split, and what can't be laid as it ought to be: a line each."""
    rows = sum(len(panel.rows.widths) for panel in result.panels)
    lines = [
        f"take-off: {format_area(result.areas.net, units)} net, {counted_things(rows, 'row')}; "
        f"order {_boxes(result.boxes.order)}, "
        f"{result.boxes.for_repairs} of them kept for repairs"
    ]
    origins = ((result.splits_along, "the left end"), (result.splits_up, "the floor"))
    where = places([(found, origin) for found, origin in origins if found], units)
    if where and split:
        lines.append(f"it is to be split with a transition profile {where}")
    elif where:
        lines.append(
            f"too large for one unbroken run: split it with a transition profile {where}, and say so: "
            f"wallclime takeoff {quote(job)} --split --enter"
        )
    if result.stagger.verdict == "fail":
        lines.append(f"stagger: {result.stagger.evidence}")
    return lines


def delivered(short: tuple[int, int] | None) -> str:
    """What came of what the take-off asks for; "" where that is not known."""
    if short is None:
        return ""
    asked, came = short
    missing = f", {asked - came} missing" if came < asked else ""
    return f"Delivered by the log: {came} of {_boxes(asked)}{missing}"


def _boxes(count: int) -> str:
    return f"{count} {'box' if count == 1 else 'boxes'}"


def _wrapped(lines: Iterable[str]) -> list[str]:
    """Lines of at most 80 signs, no number parted from its unit or fraction."""
    bound = (re.sub(r"(?<=\d) (?=[\d/]*\d|[A-Za-z%])", "\u00a0", visible(line)) for line in lines)
    wrapped = (textwrap.wrap(line, WIDTH, subsequent_indent="    ", break_on_hyphens=False) for line in bound)
    return [line.replace("\u00a0", " ") for parts in wrapped for line in parts]
