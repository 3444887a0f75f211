"""Several daemons over one broker and one PostgreSQL, killed at random while they work, beside one that does all.

Three hear a share each, three judge, three may lead. Every message speaks of its own instant, so what is kept says what
was lost or came twice; the one daemon beside them hears the same messages, and must come to the same Assessments.
"""

from __future__ import annotations

import json
import random
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import quote

import numpy as np
from processes import Daemon, Mosquitto, publish

from monitor.basis.times import HOUR, MINUTE
from monitor.basis.values import AIR, Entry, Kind
from monitor.rules.install.wall import rectangle
from monitor.watch.desk import Desk, open_desk
from monitor.watch.job.delivery import deliver
from monitor.watch.job.jobs import Opening, open_job
from monitor.watch.judging import assess
from monitor.watch.sensing.sensors import MAKER, add_sensor, assign_sensor

SITES = ("north", "east", "south")
STEP = 5 * MINUTE  # between two messages of a sensor [ms]
HOURS = 60
WHO = "several"
ROLES = (*(("--role", "intake", "--share", site) for site in SITES), *[("--role", "judge")] * 3)
STANDING_BY = [("--role", "schedule")] * 3
SOURCE = """
[[source]]
topic = "site/{site}/{sensor}/climate"
format = "json"
temperature = { at = "/temperature", unit = "degC" }
humidity = { at = "/humidity", unit = "%" }
time = { at = "/time", as = "milliseconds" }
"""


def homes(folder: Path, port: int, postgresql: str) -> tuple[Path, Path]:
    """The home of the several, and that of the one."""
    shares = "".join(f'[[share]]\nname = "{site}"\ntopics = ["site/{site}/#"]\n' for site in SITES)
    store = f'[store]\nurl = "postgresql://keeper@/postgres?host={quote(postgresql, safe="")}"\n'
    found = []
    for name, more in (("several", store + shares), ("one", "")):
        home = folder / name
        home.mkdir(parents=True)
        common = f'[broker]\nport = {port}\n[log]\nformat = "json"\n[service]\njudge_every = "2 s"\n'
        (home / "wallclime.toml").write_text(common + SOURCE + more, encoding="utf-8")
        found.append(home)
    return found[0], found[1]


def furnish(desk: Desk, begin: int) -> None:
    """A wall with its boxes and two sensors at each site."""
    for site in SITES:
        shape = rectangle(4.0, 2.4)
        open_job(desk, Opening(site, zone="UTC", shape=shape, units="si", profile="laminate-planks"), who=WHO)
        deliver(desk, site, at=begin, lot=None, place=None, boxes=None, facts={}, who=WHO)
        for number in (1, 2):
            name = f"{site}-{number}"
            stream = f"site/{site}/{name}/climate"
            add_sensor(desk, name, stream, hold=30 * MINUTE, uncertainty=MAKER, who=WHO)
            assign_sensor(desk, name, site, at=begin, facts={}, who=WHO)


def messages(begin: int) -> list[tuple[str, bytes]]:
    """What all sensors say, in order of time: in band but for some hours of the first day at one site."""
    found = []
    for n in range(HOURS * HOUR // STEP):
        for place, site in enumerate(SITES):
            for number in (1, 2):
                damp = 30.0 if site == "east" and 60 <= n < 90 else 0.0
                said = {
                    "temperature": round(20 + n % 17 / 10 + place / 10, 2),
                    "humidity": round(45 + n % 13 / 5 + number / 10 + damp, 2),
                    "time": begin + n * STEP,
                }
                found.append((f"site/{site}/{site}-{number}/climate", json.dumps(said).encode()))
    return found


class Worker(Daemon):
    """A daemon with a part, whose log has a name of its own."""

    def __init__(self, home: Path, name: str, *options: str) -> None:
        super().__init__(home, *options)
        self.name, self._log = name, home / f"{name}.log"

    def terminate(self) -> None:
        assert self._process is not None
        self._process.terminate()

    def said(self) -> str:
        return self._log.read_text(encoding="utf-8") if self._log.exists() else ""


@contextmanager
def running(home: Path) -> Iterator[list[Worker]]:
    """Three of each role; what runs at the end is ended."""
    parts = [*ROLES, *STANDING_BY]
    workers = [Worker(home, f"{number}-{part[1]}", *part) for number, part in enumerate(parts)]
    with ExitStack() as stack:
        for worker in workers:
            stack.callback(worker.kill)
            worker.start()
        for worker in workers:
            worker.wait_for("started")
        yield workers


def strike(workers: list[Worker], lots: list[list[tuple[str, bytes]]], port: int, draw: random.Random) -> int:
    """Publish lot by lot; with each a worker is killed, and whoever was killed two lots before is started anew."""
    away: list[Worker] = []
    kills = 0
    for lot in lots:
        struck = draw.choice([worker for worker in workers if worker not in away])
        publish(port, lot[: len(lot) // 2])
        struck.kill()
        kills += 1
        away.append(struck)
        publish(port, lot[len(lot) // 2 :])
        if len(away) > 2:
            away.pop(0).start()
    for worker in away:
        worker.start()
    return kills


def stop_all(workers: list[Worker]) -> None:
    """End all that were started, at once."""
    for worker in workers:
        worker.wait_for("started")
        worker.terminate()
    for worker in workers:
        worker.stop()


def kept(desk: Desk) -> int:
    """How many readings a store has."""
    return sum(one.readings for one in desk.store.heard())


def wait_until(what: str, condition: Any, within: float = 120.0) -> None:
    end = time.monotonic() + within
    while not condition():
        assert time.monotonic() < end, f"not within {within:g} s: {what}"
        time.sleep(0.3)


def completions(desk: Desk, site: str) -> list[Entry]:
    """What the log tells of completions; each wall is complete once, and nothing that comes later can change it."""
    return [entry for entry in desk.book.log(site) if entry.kind in (Kind.COMPLETION, Kind.COMPLETION_REVISED)]


def complaints(desk: Desk, sent: list[tuple[str, bytes]]) -> Iterator[str]:
    """What was lost, doubled, set aside or told twice."""
    said: dict[str, list[dict[str, float]]] = {}
    for topic, payload in sent:
        said.setdefault(topic, []).append(json.loads(payload))
    for topic, rows in said.items():
        for quantity, name in zip(AIR, ("temperature", "humidity"), strict=True):
            found = desk.store.series(topic, quantity)
            wanted = np.array([[row["time"], row[name]] for row in rows])
            if not (found.t.tolist() == wanted[:, 0].tolist() and found.value.tolist() == wanted[:, 1].tolist()):
                yield f"{topic} {name}: {len(found.t)} of {len(rows)} are kept as they were sent"
    if counts := desk.store.quarantine_counts():
        yield f"set aside: {counts}"
    for site in SITES:
        if (count := len(completions(desk, site))) != 1:
            yield f"{site}: its completion was told {count} times"


def differences(several: Desk, one: Desk) -> Iterator[str]:
    """Where the Assessments of the two differ, as of one instant, with and without what was derived."""
    at = min(several.clock.now(), one.clock.now())
    for site in SITES:
        wanted = assess(one, site, at=at).to_json()
        for recompute in (False, True):
            if assess(several, site, at=at, recompute=recompute).to_json() != wanted:
                yield f"{site}: the Assessment is another{' when it is made anew' if recompute else ''}"


def play(folder: Path, postgresql: str, lots: int, seed: int) -> list[str]:
    """The whole scene: what is not as it should be, none where all is."""
    broker, draw = Mosquitto(folder / "broker"), random.Random(seed)
    broker.start()
    try:
        home, alone = homes(folder, broker.port, postgresql)
        begin = int(time.time() * 1000) // STEP * STEP - (HOURS + 1) * HOUR
        for each in (home, alone):
            with open_desk(each, environ={}) as desk:
                furnish(desk, begin)
        sent = messages(begin)
        size = -(-len(sent) // lots)
        one = Worker(alone, "one")
        with ExitStack() as stack:
            stack.callback(one.kill)
            one.start(until="started")
            workers = stack.enter_context(running(home))
            desk = stack.enter_context(open_desk(home, environ={}))
            only = stack.enter_context(open_desk(alone, environ={}))
            wait_until("somebody leads", lambda: any('"leads"' in worker.said() for worker in workers))
            kills = strike(workers, [sent[k : k + size] for k in range(0, len(sent), size)], broker.port, draw)
            for of in (desk, only):
                wait_until(f"all is kept, of {2 * len(sent)}", lambda of=of: kept(of) >= 2 * len(sent))
            wait_until("all is judged", lambda: all(completions(desk, site) for site in SITES))
            stop_all([*workers, one])
            errors = [
                line for worker in [*workers, one] for line in worker.said().splitlines() if '"error", "ev' in line
            ]
            found = [*errors, *complaints(desk, sent), *differences(desk, only)]
            leaders = [worker.name for worker in workers if '"leads"' in worker.said()]
            if kills >= lots > 20 and len(leaders) < 2:
                found.append(f"{kills} kills, and nobody else took the lead than {leaders}")
            return found
    finally:
        broker.stop(at_once=True)
