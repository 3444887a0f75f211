"""What the terminal shows: plain text of at most 80 columns, each line worth reading on a building site."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence

from monitor.basis.times import MINUTE, whole_seconds
from monitor.basis.values import AIR, Entry
from monitor.rules.assessment import Assessment, ClockReading, Condition
from monitor.tell import boards, words
from monitor.tell.views import JobRow, StatusView
from monitor.tell.words import Display

WIDTH = 80
LABEL = 11  # width of the left column
BAR = 24  # planks of the bar
LINES = 30  # of a status, where the job allows it
LATEST_FEW = 2  # of gaps and of excursions


def status_text(view: StatusView, *, ascii_only: bool = False) -> str:
    """One screen about one job: may the installer start, why not, what to do; about 30 lines."""
    assessment = view.assessment
    display = words.display_of(assessment, view.facts.units)
    blocks = [_heading(view, display), _clock(view, display), _room(view, display), _gaps(view, display)]
    left = LINES - sum(len(block) + 1 for block in blocks if block)
    blocks.insert(3, _excursions(view, display))
    if assessment.phase == "before":
        blocks.insert(3, _open_conditions(assessment, display, max(2, (left - 2) // 2)))
    return _finished("\n\n".join("\n".join(block) for block in blocks if block), ascii_only)


def ready_text(
    assessment: Assessment, display: Display, *, looser: Sequence[str] = (), ascii_only: bool = False
) -> str:
    """The verdict and every condition with its evidence, what is open first and with what to do."""
    lines = [f"{words.tag(assessment)}: {words.visible(assessment.job)}"]
    lines += _training(assessment) + _wrapped(" ".join([words.verdict(assessment, display), *looser]))
    still_open = words.open_conditions(assessment)
    passed = [condition for condition in assessment.readiness if condition.verdict == "pass"]
    for condition in [*still_open, *passed]:
        lines += _condition(condition, display)
    return _finished("\n".join(lines), ascii_only)


def jobs_text(rows: Sequence[JobRow], *, ascii_only: bool = False) -> str:
    """A table over all jobs, in the order given, those of a building under its name after those of none."""
    if not rows:
        return 'No job yet. Open one: wallclime job open NAME --zone ZONE --length "16 ft" --height "8 ft"\n'
    head = ("JOB", "VERDICT", "ROOM", "COUNTED", "COMPLETE")
    table = [(row.building, job_cells(row)) for row in rows]
    widths = [max(len(line[k]) for line in (head, *(cells for _, cells in table))) for k in range(1, 5)]
    room = WIDTH - sum(widths) - 2 * len(widths)
    lines = _table_row(head, room, widths)
    for building in sorted({name for name, _ in table}):
        lines += ["", f"in {words.visible(building)}:"] if building else []
        lines += [line for name, cells in table if name == building for line in _table_row(cells, room, widths)]
    return _finished("\n".join(lines), ascii_only)


def job_cells(row: JobRow) -> tuple[str, str, str, str, str]:
    """What a table says of a job: name, verdict, room, hours counted, when complete."""
    assessment = row.assessment
    display = words.display_of(assessment, "si")
    clock = assessment.lot.clock
    verdict = "CLOSED" if row.closed_at is not None else words.tag(assessment)
    if clock.completed_at is not None:
        complete = words.when(clock.completed_at, display)
    elif clock.projected_at is not None and row.closed_at is None:
        complete = f"{words.when_at_the_earliest(clock.projected_at, display)}?"
    else:
        complete = "-"
    now = "-" if row.closed_at is not None else assessment.now.state
    name = f"{words.visible(assessment.job)}{' (TRAINING)' if assessment.training else ''}"
    counted = "-" if words.unrecorded(assessment) else words.counted(clock).replace(" h of ", " of ")
    return name, verdict, now, counted, complete


def air_now(row: JobRow, display: Display) -> str:
    """ "46.2 % to 46.6 %, 68.7 degF": what the sensors of the room say now; "-" where none does."""
    told = []
    for quantity in reversed(AIR):
        found = [values[quantity] for values in row.assessment.now.values.values() if quantity in values]
        texts = (
            dict.fromkeys(words.measure(quantity, value, display) for value in (min(found), max(found)))
            if found
            else ()
        )
        told += [" to ".join(texts)] if texts else []
    return ", ".join(told) or "-"


def diary_text(entries: Sequence[Entry], display: Display, *, ascii_only: bool = False) -> str:
    """The condition log, an entry a paragraph, with what was entered late and what was corrected."""
    from monitor.tell import diary  # with all that a log may tell of, which a status does not

    if not entries:
        return "No entry yet.\n"
    corrected = diary.corrections(entries)
    return _finished("\n".join(line for entry in entries for line in _entry(entry, corrected, display)), ascii_only)


# --- the blocks of a status ------------------------------------------------------------------------


def _heading(view: StatusView, display: Display) -> list[str]:
    assessment, facts = view.assessment, view.facts
    as_of = f"as of {words.when(assessment.as_of, display)}"
    name = _short(words.visible(assessment.job), WIDTH - len(as_of) - 2)
    size = words.size(facts.length, facts.height, facts.units)
    places = f"boxes in {words.visible(facts.boxes_place)}, wall in {words.visible(facts.wall_place)}"
    about = f"wall {size}; {places}" if size else places
    verdict = " ".join(
        [f"{words.tag(assessment)}.", words.verdict(assessment, display, facts.open_at_start), *facts.looser]
    )
    return [
        f"{name.ljust(WIDTH - len(as_of))}{as_of}",
        _short(about, WIDTH),
        *_training(assessment),
        "",
        *_wrapped(verdict),
    ]


def _clock(view: StatusView, display: Display) -> list[str]:
    assessment = view.assessment
    if words.unrecorded(assessment):
        return []
    lot, clock = assessment.lot, assessment.lot.clock
    several = f"; {words.lot_named(lot.name)}, the one furthest back" if len(assessment.lots) > 1 else ""
    lines = _labelled("counted", f"{_bar(clock)} {words.counted(clock)}{several}")
    strict = f"{words.counted(lot.strict)} without a break, {words.clock_state(lot.strict, display)}"
    lines += _labelled("strict", strict)
    lines += _labelled("clock", words.clock_state(clock, display))
    if clock.completed_at is not None:
        lines += _labelled("", words.beyond_uncertainty(lot))
    if clock.restarts:
        lines += _labelled("restarted", words.restart(clock.restarts[-1], view.profile, display))
    return lines


def _room(view: StatusView, display: Display) -> list[str]:
    now, as_of = view.assessment.now, view.assessment.as_of
    lines = _labelled("room now", words.now_state(now, as_of, display))
    lines += _labelled("band", words.band(view.profile, view.assessment.phase, display))
    said = [
        f"{words.visible(sensor)} {', '.join(words.measure(q, value, display) for q, value in sorted(values.items()))}"
        for sensor, values in sorted(now.values.items())
    ]
    if now.last_heard is not None:
        said.append(f"last heard {words.when(now.last_heard, display)}")
    lines += _labelled("heard", "; ".join(said) or "nothing yet")[:2] + _boards(view, display)
    return lines + [line for note in view.notes for line in _labelled("advice", words.visible(note))]


def _boards(view: StatusView, display: Display) -> list[str]:
    """The core of the boxes, of several lots the worst, and the planks once they go up."""
    assessment, board = view.assessment, view.board
    if assessment.phase == "before":  # no lot is said to be used yet: all are
        said = boards.lots_status(assessment.lots, view.profile.readiness.box_core_within, display)
        return _labelled("boxes", said) if said else []
    last = boards.last_said(assessment.now, assessment.as_of, display)
    said = "" if board is None else boards.board_status(assessment.board, board.movements, display.units, last)
    return _labelled("boards", said) if said else []


def _open_conditions(assessment: Assessment, display: Display, most: int) -> list[str]:
    found = words.open_conditions(assessment)
    if not found:
        return []
    lines = ["Not met:"]
    for condition in found[:most]:
        lines += [_short(line, WIDTH) for line in _condition(condition, display, one_line=True)]
    if len(found) > most:
        lines.append(f"  and {len(found) - most} more: wallclime ready JOB")
    return lines


def _excursions(view: StatusView, display: Display) -> list[str]:
    found = view.assessment.excursions
    told = [words.excursion(each, view.profile, view.assessment.as_of, display) for each in found[-LATEST_FEW:]]
    if not told:
        return []
    title = words.counted_things(len(found), "excursion")
    lines = [f"{title}, the last:" if len(found) > LATEST_FEW else f"{title}:"]
    for each, text in zip(found[-LATEST_FEW:], told, strict=True):
        lines += _wrapped(f"{words.when(each.start, display)}: {text}", "  ", "    ")
    return lines


def _gaps(view: StatusView, display: Display) -> list[str]:
    found = view.assessment.gaps
    if not found:
        return []
    total = words.format_duration(whole_seconds(sum(gap.end - gap.start for gap in found)))
    long = [gap for gap in found if gap.end - gap.start >= MINUTE]
    if not long:
        return [f"Not heard, {total} in all, never for a minute."]
    lines = [f"Not heard, {total} in all:"]
    if len(long) > LATEST_FEW:
        lines[0] = f"Not heard, {total} in {len(found)} gaps, the last:"
    for gap in long[-LATEST_FEW:]:
        lines += _wrapped(words.gap(gap, display, view.away), "  ", "    ")
    return lines


# --- rows ------------------------------------------------------------------------------------------


def _table_row(row: Sequence[str], room: int, widths: Sequence[int]) -> list[str]:
    """One line; a name too long for its column has a line of its own, since it is what other commands ask for."""
    cells = [cell.ljust(width) for cell, width in zip(row[1:], widths, strict=True)]
    if len(row[0]) <= room:
        return ["  ".join([row[0].ljust(room), *cells]).rstrip()]
    return [row[0], "  ".join([" " * room, *cells]).rstrip()]


def _condition(condition: Condition, display: Display, *, one_line: bool = False) -> list[str]:
    told = words.evidence(condition.evidence, display)
    head = f"{condition.verdict.upper().ljust(8)} {words.visible(condition.name)}: {told}"
    lines = [f"  {head}"] if one_line else _wrapped(head, "  ", " " * LABEL)
    if condition.verdict == "pass":
        return lines
    return [*lines, *_wrapped(f"> {words.to_do(condition)}", " " * LABEL, " " * (LABEL + 2))]


def _entry(entry: Entry, corrected: dict[int, list[int]], display: Display) -> list[str]:
    from monitor.tell import diary

    notes = [diary.entered(entry)]
    notes += [f"corrected by entry {', '.join(map(str, corrected[entry.number]))}"] if entry.number in corrected else []
    aside = "; ".join(note for note in notes if note)
    head = f"{entry.number:>4}  {words.when(entry.at, display)}  {entry.kind.value}, {words.visible(entry.who)}"
    lines = _wrapped(f"{head} [{aside}]" if aside else head, "", " " * 6)
    said = diary.body(entry, display)
    return [*lines, *_wrapped(said, " " * 6, " " * 6)] if said else lines


# --- the page --------------------------------------------------------------------------------------


def _training(assessment: Assessment) -> list[str]:
    return _wrapped(f"*** {words.TRAINING} ***") if assessment.training else []


def _bar(clock: ClockReading) -> str:
    laid = BAR if clock.completed_at is not None else clock.counted * BAR // max(clock.required, 1)
    return f"[{'#' * min(laid, BAR)}{'.' * (BAR - laid)}]"


def _short(text: str, width: int) -> str:
    return text if len(text) <= width else f"{text[: width - 4].rstrip()} ..."


def _wrapped(text: str, first: str = "", further: str = "") -> list[str]:
    """Lines of at most 80 signs, no number parted from what follows it."""
    text = re.sub(r"(?<=\d) (?=[A-Za-z%])|(?<=\d h) (?=\d+ min)", "\u00a0", text)
    lines = textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=further, break_on_hyphens=False)
    return [line.replace("\u00a0", " ") for line in lines] or [first.rstrip()]


def _labelled(label: str, text: str) -> list[str]:
    return _wrapped(text, label.ljust(LABEL), " " * LABEL)


def _finished(text: str, ascii_only: bool) -> str:
    return f"{text.encode('ascii', 'backslashreplace').decode() if ascii_only else text}\n"
