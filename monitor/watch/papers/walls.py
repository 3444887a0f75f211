"""The board over all walls: a folder with a page of all and a report of each, written anew where something changed.

Every file is written beside its place and moved there, the page of all last, so that whoever looks finds a whole board.
The folder has a list of what the board wrote; nothing else in it is ever touched.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections import Counter
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import NamedTuple

import numpy as np

import monitor
from monitor.basis.alarm import HOUSE, Alarm
from monitor.basis.errors import OutOfReachError, ReportError, WallclimeError
from monitor.basis.times import DAY
from monitor.basis.values import AIR, SENSORS_CHAIN, Quantity
from monitor.rules.alarm.within import coverage_within
from monitor.rules.assessment import Assessment
from monitor.rules.begun import open_at_start
from monitor.rules.frame import Frame
from monitor.rules.install.care import Item
from monitor.rules.replay import heard
from monitor.rules.thinning import thinned_days
from monitor.tell import words
from monitor.tell.pages.marks import BUCKETS, STRIP, DayState, Week
from monitor.tell.pages.walls import Board, WallNow
from monitor.watch.desk import Desk
from monitor.watch.job.life import items_of
from monitor.watch.judging import assess
from monitor.watch.papers.pages import write_report
from monitor.watch.papers.printing import write_whole
from monitor.watch.papers.shown import display
from monitor.watch.papers.spans import judged_span
from monitor.watch.papers.summary import EVER, ended, watched_until

INDEX = "index.html"
LIST = ".wallclime-board.json"
SPAN = 7 * DAY  # of the small charts
SOFTWARE = f"wallclime {monitor.__version__}"


class Written(NamedTuple):
    """What became of a board: how many walls, and of their reports how many were written, left as they were, failed."""

    walls: int
    reports: int
    left: int
    failed: int
    removed: int


def write_boards(
    desk: Desk, folder: Path, *, full: bool = False, told: Callable[[float], None] = lambda share: None
) -> Written:
    """Write the board of all walls into `folder`, which is made if it is not there; `told` hears the share done.

    The charts of its reports stand still, which makes a report a tenth as large, unless they are asked for in `full`. A
    wall that can't be judged and a report that can't be written are named on the page, and the rest goes on. Raises
    ReportError, StoreError.
    """
    before = _begun(folder)
    files = {name: file_of(name) for name in desk.book.names()}
    _note(folder, before | {file: before.get(file, "") for file in files.values()})
    prints, walls, unjudged = {file: before.get(file, "") for file in files.values()}, [], []
    alarms, became = _alarms(desk), Counter[str]()
    for place, (name, file) in enumerate(files.items(), 1):
        try:
            wall = _wall(desk, name, alarms.get(name, ()))
        except OutOfReachError:
            raise
        except WallclimeError as exc:
            unjudged.append((name, exc.faults[0].what))
            continue
        prints[file], what, wall = _reported(desk, wall, folder / file, before.get(file, ""), full=full)
        became[what] += 1
        walls.append(wall)
        told(place / len(files))
    board = Board(tuple(walls), desk.clock.now(), SOFTWARE, tuple(unjudged), alarms.get(HOUSE, ()))
    write_whole(folder / INDEX, _page(board))
    removed = _cleared(folder, set(before) - set(prints))
    _note(folder, prints)
    return Written(len(walls), became["written"], became["left"], became["failed"], removed)


def file_of(job: str) -> str:
    """The file of a job's report: of its name what any file system and address takes, and what tells it apart."""
    plain = re.sub(r"[^a-z0-9]+", "-", job.lower()).strip("-")[:40].strip("-") or "wall"
    return f"{plain}-{hashlib.sha256(job.encode()).hexdigest()[:8]}.html"


def _page(board: Board) -> str:
    from monitor.tell.pages.walls_page import render_board

    return render_board(board)


# --- the folder -------------------------------------------------------------------------------------------------------


def _begun(folder: Path) -> dict[str, str]:
    """The files that a board wrote here before, with the fingerprint of what each shows. Raises ReportError."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        kept = json.loads((folder / LIST).read_text(encoding="utf-8"))["files"]
        return {str(file): str(mark) for file, mark in kept.items() if Path(file).name == file}
    except FileNotFoundError:
        if (folder / INDEX).exists():
            raise ReportError(
                "there is a page that no board wrote", where=str(folder / INDEX), mend="Name another folder with -o DIR"
            ) from None
        return {}
    except OSError as exc:
        raise ReportError(
            f"the folder can't be used ({exc.strerror})", where=str(folder), mend="Name another folder with -o DIR"
        ) from exc
    except (ValueError, KeyError, AttributeError, TypeError) as exc:
        raise ReportError(
            "the list of what the board wrote can't be read",
            where=str(folder / LIST),
            mend="Empty the folder, or name another with -o DIR",
        ) from exc


def _note(folder: Path, files: Mapping[str, str]) -> None:
    about = "What wallclime board wrote here, and removes again; it touches nothing else."
    write_whole(folder / LIST, json.dumps({"about": about, "files": dict(sorted(files.items()))}, indent=1) + "\n")


def _cleared(folder: Path, files: set[str]) -> int:
    """Remove the reports of walls that are no more; how many there were. Raises ReportError."""
    try:
        for file in files:
            (folder / file).unlink(missing_ok=True)
    except OSError as exc:
        raise ReportError(
            f"it can't be removed ({exc.strerror})", where=str(folder / file), mend="Remove it by hand"
        ) from exc
    return len(files)


# --- a wall -----------------------------------------------------------------------------------------------------------


def _reported(desk: Desk, wall: WallNow, path: Path, before: str, *, full: bool) -> tuple[str, str, WallNow]:
    """The fingerprint of a wall's report, what became of it, and the wall with its link or the fault."""
    mark = fingerprint(desk, wall, full=full)
    if mark == before and path.exists():
        return mark, "left", wall._replace(report=path.name)
    try:
        write_report(desk, wall.assessment.job, path, still=not full)
    except WallclimeError as exc:
        return "", "failed", wall._replace(report_fault=f"Its report could not be written: {exc.faults[0].what}.")
    return mark, "written", wall._replace(report=path.name)


def fingerprint(desk: Desk, wall: WallNow, *, full: bool = False) -> str:
    """What a report hangs on: the logs, the rules, the day, and what was found, whatever time has merely passed since.

    So the report of a wall that goes on as it was is written once a day, that of a closed one no more, and any at once
    where something happened.
    """
    found = wall.assessment
    whole = found.to_json()
    parts = {key: whole[key] for key in ("rules_version", "profile", "conflicts", "training", "phase", "excursions")}
    over = found.as_of if wall.closed_at is None else wall.closed_at
    clocks = ("lot", "completed_at", "restarts", "history")
    hangs_on = {
        **parts,
        "chains": [desk.store.head(chain)[1].hex() for chain in (found.job, SENSORS_CHAIN)],
        "day": words.when(over, wall.display)[:10],
        "gaps": [gap.to_json() for gap in found.gaps if gap.end < over],
        "lots": [[lot[key] for key in clocks] for lot in whole["acclimation"]["lots"]],
        "now": found.now.state,
        "readiness": [[one.name, one.verdict] for one in found.readiness],
        "software": SOFTWARE,
        "full": full,
        "units": wall.display.units,
    }
    return hashlib.sha256(json.dumps(hangs_on, sort_keys=True).encode()).hexdigest()


def _alarms(desk: Desk) -> dict[str, tuple[Alarm, ...]]:
    """The alarms that stand, of each job."""
    found: dict[str, tuple[Alarm, ...]] = {}
    for one in desk.store.alarms():
        if not one.notice:
            found[one.job] = (*found.get(one.job, ()), one)
    return found


def _wall(desk: Desk, job: str, alarms: tuple[Alarm, ...]) -> WallNow:
    found = assess(desk, job)
    frame = desk.book.frame_at(job, found.as_of)
    start = found.as_of - SPAN
    lately = coverage_within(found, start, found.as_of)
    return WallNow(
        assessment=found,
        profile=frame.profile,
        display=display(desk, job),
        building=desk.book.building(job),
        watched=watched_until(frame, EVER, found.as_of + 1) is not None,
        ended=ended(frame, EVER, found.as_of + 1),
        open_at_start=open_at_start(desk.book.log(job), found.as_of, lambda at: assess(desk, job, at=at)),
        weeks=_weeks(desk, frame, found),
        days=_days(found),
        out=lately.known - lately.in_band,
        unknown=lately.elapsed - lately.known,
        due=_overdue(desk, frame, found.as_of),
        alarms=alarms,
        closed_at=frame.close,
        thinned=_thinned(desk, frame, found),
    )


def _thinned(desk: Desk, frame: Frame, found: Assessment) -> int:
    """How many days of the judged span were thinned, of any sensor."""
    span = judged_span(found, frame)
    thinned = () if span is None else thinned_days(desk.book.entries(SENSORS_CHAIN), frame.stays, *span)
    return len({day for some in thinned for day in some.days})


def judged_place(frame: Frame, at: int) -> str:
    """The place whose air is judged at `at` [ms]; of several lots' places the job's own stands for all."""
    return frame.job.wall_place if frame.start is not None and frame.start <= at else frame.job.boxes_place


def _weeks(desk: Desk, frame: Frame, found: Assessment) -> dict[Quantity, Week]:
    """Lowest and highest of what was heard at the judged place, in equal lengths of the last seven days."""
    start, end = found.as_of - SPAN, found.as_of
    drawn = {quantity: (np.full(BUCKETS, np.nan), np.full(BUCKETS, np.nan)) for quantity in AIR}
    place = judged_place(frame, end)
    for (sensor, quantity), channel in heard(frame, end, desk.store, start, end).items():
        if quantity not in drawn:
            continue
        here = np.zeros(len(channel.t), np.bool_)
        for stay in frame.air_stays:
            if (stay.sensor, stay.place) == (sensor, place):
                here |= (channel.t >= stay.start) & (channel.t < (end if stay.end is None else stay.end))
        here &= channel.t >= start  # one that spoke on into the week comes along
        into = (channel.t[here] - start) * BUCKETS // SPAN
        np.fmin.at(drawn[quantity][0], into, channel.value[here])
        np.fmax.at(drawn[quantity][1], into, channel.value[here])
    limits = {quantity: words.limits_of(frame.profile, quantity, found.phase) for quantity in AIR}
    return {quantity: Week(*drawn[quantity], limits[quantity]) for quantity in AIR}


def _days(found: Assessment) -> tuple[DayState, ...]:
    """The last days of UTC: out where any excursion lasted into it, else not known where less than half of it is."""
    rows = found.days[-STRIP:]
    out: set[int] = set()
    for one in found.excursions:
        last = found.as_of if one.end is None else one.end
        out.update(range(one.start // DAY, -(-last // DAY)))
    return tuple(
        "out" if int(row["day"]) in out else "unknown" if 2 * int(row["known"]) < int(row["elapsed"]) else "in"
        for row in rows
    )


def _overdue(desk: Desk, frame: Frame, as_of: int) -> tuple[Item, ...]:
    if frame.finish is None or frame.close is not None:
        return ()
    return tuple(item for item in items_of(desk, frame, frame.finish, as_of) if item.overdue(as_of))
