"""The doctor: looks at the home, the store, its seals, the clock, the daemon and the brokers, and changes nothing."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping
from functools import partial
from pathlib import Path

from monitor.basis.clock import Clock, SystemClock
from monitor.basis.errors import WallclimeError
from monitor.config.settings import Settings, load_settings
from monitor.keep.store import open_store
from monitor.seal import chain
from monitor.watch import examine_service as service
from monitor.watch.book import Book
from monitor.watch.desk import Desk
from monitor.watch.disk import room, store_file
from monitor.watch.examine_store import store_looks
from monitor.watch.examining import Check, IllError, Look, UnknownError, look
from monitor.watch.service import undelivered
from monitor.watch.service.awake import called, workers
from monitor.watch.service.parts import unheard
from monitor.watch.service.ready import LEAST_ROOM


def doctor(
    home: Path,
    *,
    environ: Mapping[str, str] = os.environ,
    clock: Clock | None = None,
    progress: Callable[[float], None] = lambda _: None,
) -> list[Check]:
    """All that can be looked at, in the order in which one rests on the other; `progress` of the longest, 0 to 1."""
    return list(_looked_at(home.resolve(), environ, clock or SystemClock(), progress))


def _looked_at(
    home: Path, environ: Mapping[str, str], clock: Clock, progress: Callable[[float], None]
) -> Iterator[Check]:
    if not home.is_dir():
        yield Check("home", "fail", f"there is no folder {home}", "Name it with --home, or begin: wallclime init")
        return
    try:
        settings = load_settings(home, environ)
    except WallclimeError as exc:
        for fault in exc.faults:
            yield Check("settings", "fail", f"{fault.where}: {fault.what}", fault.mend)
        return
    file = home / service.FILE
    told = f"{file} can be read" if file.exists() else f"there is no {service.FILE}: all is as by default"
    yield Check("settings", "pass", told)
    yield look("file modes", lambda: _modes(settings))
    yield look("disk room", lambda: _room(settings))
    yield from _store(settings, clock, progress)
    for contact in settings.contacts:
        yield look(f"contact {contact.name}", partial(service.contact, contact))
    for broker in settings.brokers:
        yield look(f"broker {broker.host}:{broker.port}", partial(service.broker, settings, broker))


# --- the home ---------------------------------------------------------------------------------------------------------


def _modes(settings: Settings) -> str:
    """Nobody but the owner reads the store and the keys, or writes the settings."""
    if os.name != "posix":
        raise UnknownError("this system has no modes of files", "See to it that nobody else can read the home")
    file, home = store_file(settings), settings.home
    secret = [Path(f"{file}{ending}") for ending in ("", "-wal", "-shm")] if file is not None else []
    secret += [home / "keys", *sorted((home / "keys").glob("*"))]
    looked = [(path, 0o077, "read", "go-rwx") for path in secret]
    looked += [(path, 0o022, "write", "go-w") for path in (home, home / service.FILE)]
    for path, forbidden, what, change in looked:
        if path.exists() and path.stat().st_mode & forbidden:
            raise IllError(f"others than its owner may {what} {path}", f"Run: chmod {change} {path}")
    return "nobody else may read the store and the keys, or write the settings"


def _room(settings: Settings) -> str:
    folder, free = room(settings)
    told = f"{free / 2**30:.1f} GiB are free in {folder}"
    if free < LEAST_ROOM:
        raise IllError(told, f"Free some space: at least {LEAST_ROOM >> 20} MiB")
    return told


# --- what rests on the store ------------------------------------------------------------------------------------------


def _store(settings: Settings, clock: Clock, progress: Callable[[float], None]) -> Iterator[Check]:
    file = store_file(settings)
    if file is not None and not file.exists():
        yield Check("store", "unknown", f"there is none yet: {file}", "It is made by the first command that needs it")
        return
    try:
        store = open_store(settings.store_url, clock=clock, link=chain.link)
    except WallclimeError as exc:
        yield Check("store", "fail", f"{exc.faults[0].where}: {exc.faults[0].what}", exc.faults[0].mend)
        return
    with store:
        desk = Desk(settings, store, Book(store), clock)
        for name, one in {**store_looks(desk, file, progress), **_service_looks(desk)}.items():
            yield look(name, one)


def _service_looks(desk: Desk) -> dict[str, Look]:
    """What is looked at around the store, as far as the settings ask for it."""
    settings = desk.settings
    looks: dict[str, Look] = {
        "clock": lambda: service.clock(desk),
        "clock source": lambda: service.clock_source(desk),
        "daemon": lambda: service.daemon(desk),
        **{
            f"daemon {number}, {called(one.part)}": partial(service.worker, desk, one)
            for number, one in enumerate(workers(desk), 1)
        },
        "messages": lambda: undelivered.examined(desk),
    }
    if settings.dead_man is not None:
        looks["dead-man's URL"] = partial(service.dead_man, desk, settings.dead_man)
    if settings.health is not None:
        looks["health port"] = partial(service.health, desk, settings.health)
    if (settings.home / service.FILE).exists():
        several = len(settings.brokers) > 1
        for one in settings.sources:
            name = f"topic {one.topic}{f' at {one.broker}' if several else ''}"
            looks[name] = partial(service.topic, desk, one)
        for topic, said in unheard(settings).items():
            looks[f"shares of {topic}"] = partial(service.unshared, said)
    return looks
