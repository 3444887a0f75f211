"""How fast a job is judged: after one reading, after a day that comes late, alone among many, and all of them a minute.

    python tests/bench/judge_speed.py

Half of the jobs have boxes that lie in the room, half a finished wall. Each has two sensors. In the large store of the
last rows, of 2,000 jobs, two of every 100 have minutes of both quantities for days and are heard each minute, as more
can't be filled in a few minutes. What such a job costs is multiplied by 10,000, and what a round costs in which nobody
was heard by 10,000 / 2,000: that is of each job that stands in it. The others have boxes that came an hour ago and are
not judged in these rounds. Of several rounds the one that took least counts, as others on the computer only add.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import NamedTuple

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "watch"))

import numpy as np
import yard
from desks import HUMIDITY, TEMPERATURE, opening

from monitor.basis.clock import SetClock, SystemClock
from monitor.basis.times import DAY, HOUR, MINUTE, day_of
from monitor.basis.values import LIVE, SENSORS_CHAIN, Draft, Entry, Kind, Reading
from monitor.watch.desk import Desk, open_desk
from monitor.watch.evidence.sealing import close_due
from monitor.watch.job.delivery import deliver
from monitor.watch.job.installing import Installing, install
from monitor.watch.job.jobs import open_job
from monitor.watch.judging import assess
from monitor.watch.service.vitals import JUDGE, LOOK
from monitor.watch.service.works import Looked, works_of

SENSORS = 2  # a job
MINUTES = 4  # rounds that are measured: no job that was heard before them is due to be judged again
START = day_of(SystemClock().now()) - 12 * HOUR  # noon: half of that day is folded each time [ms]


class Size(NamedTuple):
    """How many jobs there are, of each how many two are heard, and for how many days they were [d]."""

    jobs: int
    heard_of: int
    days: int

    @property
    def began(self) -> int:
        """When the boxes of finished walls came. [ms]"""
        return START - self.days * DAY

    @property
    def heard(self) -> list[int]:
        """The numbers of the jobs that are heard."""
        return [k for k in range(self.jobs) if k % self.heard_of in (0, 1)]


SMALL, LARGE, ALL = Size(10, 2, 5), Size(2_000, 100, 5), 10_000
ALONE = Size(1_000, 1_000, 40)


def stream(job: int, sensor: int) -> str:
    """The address of a sensor of a job."""
    return f"site/{job}-{sensor}/climate"


def rows_of(job: int, times: Sequence[int]) -> list[Reading]:
    """What the sensors of a job send at these times. [ms]"""
    t, rng = np.asarray(times), np.random.default_rng(job)
    night = np.sin(t * (2 * np.pi / DAY))
    found = []
    for sensor in range(SENSORS):
        warm = (21 + night + rng.normal(0, 0.05, len(t))).round(2).tolist()
        damp = (50 - 3 * night + rng.normal(0, 0.3, len(t))).round(1).tolist()
        of = stream(job, sensor)
        for at, k, rh in zip(times, warm, damp, strict=True):
            found.append(Reading(of, TEMPERATURE, at, k, "degC", at, LIVE))
            found.append(Reading(of, HUMIDITY, at, rh, "%", at, LIVE))
    return found


def pattern(desk: Desk, name: str, began: int, *, finished: bool) -> list[Entry]:
    """A job as people enter it, its log to be copied for others."""
    open_job(desk, opening(name, boxes_place=name), who="robin")
    deliver(desk, name, at=began, lot=None, place=None, boxes=None, facts={}, who="robin")
    if finished:
        begun = Installing(began + 50 * HOUR, finish=began + 60 * HOUR, not_ready=True, reason="guests")
        install(desk, name, begun, who="robin")
    return list(desk.store.entries(name))


def copied(one: Entry, name: str, other: str) -> Draft:
    """An entry as it is written for another job."""
    places = {key: other for key, value in one.body.items() if value == name}
    return Draft(one.kind, one.at, one.who, {**one.body, **places})


def furnish(desk: Desk, size: Size) -> None:
    """The jobs and their sensors."""
    began = START - 30 * HOUR, size.began
    patterns = [pattern(desk, f"job-{k}", began[k], finished=k == 1) for k in range(2)]
    drafts, heard = [], set(size.heard)
    for k in range(2, size.jobs):
        of = k % 2 if k in heard else 0
        new = [copied(one, f"job-{of}", f"job-{k}") for one in patterns[of]]
        new = new if k in heard else [replace(one, at=max(one.at, START - HOUR)) for one in new]
        desk.store.append(f"job-{k}", new, new=True)
    for k in range(size.jobs):
        for sensor in range(SENSORS):
            name = f"{k}-{sensor}"
            stated = {HUMIDITY.value: 3.0, TEMPERATURE.value: 0.5}
            body = {"name": name, "stream": stream(k, sensor), "hold_ms": 30 * MINUTE, "uncertainty": stated}
            drafts.append(Draft(Kind.SENSOR, size.began, "robin", {**body, "check": "maker"}))
            here = {"sensor": name, "place": f"job-{k}", "from": size.began, "to": None}
            drafts.append(Draft(Kind.ASSIGNMENT, size.began, "robin", here))
    desk.store.append(SENSORS_CHAIN, drafts)


def fill(desk: Desk, size: Size) -> None:
    """Minutes for those that are heard, and a few readings for the others."""
    few, heard = [], set(size.heard)
    for k in range(size.jobs):
        if k in heard:
            desk.store.keep_readings(rows_of(k, range(START - size.days * DAY, START, MINUTE)))
        else:
            few += rows_of(k, range(START - 3 * MINUTE, START, MINUTE))
    desk.store.keep_readings(few)


@contextmanager
def sat_down(size: Size, settings: str = "") -> Iterator[tuple[Desk, Path]]:
    """A desk over such a store, on disk or where the settings say."""
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        (home / "wallclime.toml").write_text(settings, encoding="utf-8")
        with open_desk(home, environ={}, clock=SetClock(START)) as desk:
            furnish(desk, size)
            fill(desk, size)
            yield desk, home


# --- one job -------------------------------------------------------------------------------------


def one_commit(desk: Desk) -> None:
    """A row of its own, as safe as a reading is."""
    desk.store.stay_awake(1, {"n": time.monotonic_ns()}, [])


def hear(desk: Desk, jobs: Sequence[int], at: int | None = None) -> None:
    """A minute goes by; one reading of each channel of these jobs."""
    desk.clock.move(MINUTE)  # type: ignore[attr-defined]
    now = desk.clock.now() - 1 if at is None else at
    desk.store.keep_readings([one for k in jobs for one in rows_of(k, [now])])


def clocked(what: partial, clock=time.perf_counter) -> float:  # type: ignore[type-arg, no-untyped-def]
    """What a call takes. [s]"""
    begin = clock()
    what()
    return clock() - begin


def alone(desk: Desk) -> Iterator[yard.Row]:
    """One job, heard once, and with a day that came late; days that are over are sealed, as a daemon leaves them."""
    desk.store.wake()
    close_due(desk)
    assess(desk, "job-1")
    commits, one, late = [], [], []
    for _ in range(9):
        commits.append(clocked(partial(one_commit, desk)))
        hear(desk, [1])
        one.append(clocked(partial(assess, desk, "job-1")))
    for run in range(yard.RUNS):
        hear(desk, [1])
        day = START - 30 * DAY + run + 1
        desk.store.keep_readings(rows_of(1, range(day, day + DAY, MINUTE)))
        late.append(clocked(partial(assess, desk, "job-1")))
    commit, judged, again = (float(np.median(times)) for times in (commits, one, late))
    said = f"{1e3 * judged:.2f} ms against {1e3 * commit:.2f} ms"
    yield yard.Row("assess after one new reading", "one-row commits", judged / commit, 12, said=said)
    said = f"{1e3 * again:.1f} ms against {1e3 * judged:.2f} ms"
    yield yard.Row("assess after a late day 30 days back", "after one new reading", again / judged, 40, said=said)


def status(home: Path) -> yard.Row:
    """`status` of one job beside `--help`, in processes of their own that find modules compiled, as once installed."""
    compiled = {**os.environ, "PYTHONDONTWRITEBYTECODE": "", "PYTHONPYCACHEPREFIX": str(home / "compiled")}
    run = [sys.executable, "-c", "from cli.main import main; main()"]
    ways = [[*run, "--help"], [*run, "--home", str(home), "status", "job-1"]]
    helping, asking = (
        partial(subprocess.run, way, check=True, stdout=subprocess.DEVNULL, env=compiled) for way in ways
    )
    yard.medians(helping, asking, runs=1, clock=time.perf_counter)
    less, more = yard.medians(helping, asking, clock=time.perf_counter)
    said = f"{more:.2f} s against {less:.2f} s"
    return yard.Row("status of one of 1,000 jobs", "--help", more - less, 0.5, "s more", said=said)


# --- all of them ---------------------------------------------------------------------------------


class Rounds(NamedTuple):
    """What a round takes: with nobody heard, and to judge and to look at a job that was heard. [s]"""

    idle: float
    judge: float
    look: float

    @property
    def job(self) -> float:
        """Both. [s]"""
        return self.judge + self.look


def rounds(size: Size, settings: str = "", clock: Callable[[], float] = time.process_time) -> Rounds:
    """Judge and look as the daemon does, minute by minute."""
    with sat_down(size, settings) as (desk, _):
        works = {one.name: one for one in works_of(desk, lambda: None, Looked())}
        heard = size.heard

        def round_() -> list[float]:
            return [clocked(partial(works[name].run, ""), clock) for name in (JUDGE, LOOK)]

        round_()
        spent = []
        for _ in range(MINUTES):
            hear(desk, heard)
            spent.append(round_() + round_())  # heard, then nobody
        judge, look, *idle = (min(column) for column in zip(*spent, strict=True))
        return Rounds(sum(idle), (judge - idle[0]) / len(heard), (look - idle[1]) / len(heard))


def rows() -> Iterator[yard.Row]:
    """All rows."""
    with sat_down(ALONE) as (desk, home):
        yield from alone(desk)
        yield status(home)
    few, many = rounds(SMALL), rounds(LARGE)
    idle = many.idle * ALL / LARGE.jobs
    minute = idle + ALL * many.job
    said = f"from {LARGE.jobs:,} jobs: {1e3 * many.judge:.2f} + {1e3 * many.look:.2f} ms to judge and look at a job, "
    said += f"{idle:.2f} s a round whoever was heard"
    yield yard.Row("10,000 jobs judged", "one core", minute, 60, "s", said=said)
    each, other = minute / ALL, few.idle / SMALL.jobs + few.job
    said = f"from {LARGE.jobs:,} jobs: {1e3 * each:.2f} ms a job and minute against {1e3 * other:.2f} ms"
    yield yard.Row("CPU a reading at 10,000 jobs", "at 10 jobs", each / other, 1.5, said=said)


if __name__ == "__main__":
    sys.exit(yard.main(__doc__, rows))
