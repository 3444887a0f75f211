"""Draining: what a session of an earlier daemon still holds at the brokers is kept, then the session is given up."""

from __future__ import annotations

import threading
from functools import partial
from pathlib import Path

from monitor.basis.clock import Clock
from monitor.basis.errors import SettingsError
from monitor.config.brokers import Broker
from monitor.config.shares import broker_of
from monitor.intake.admission import Admission
from monitor.intake.link import error_of
from monitor.intake.mqtt import Listener
from monitor.intake.roundtrip import round_trip
from monitor.intake.sessions import give_up
from monitor.watch.desk import Desk, open_desk
from monitor.watch.service import journal
from monitor.watch.service.daemon import Keeper, ended
from monitor.watch.service.journal import log
from monitor.watch.service.parts import heard_before
from monitor.watch.service.pulse import named


def drain(home: Path, *, share: str | None = None, clock: Clock | None = None) -> None:
    """Keep what waits for a share, one that wallclime.toml names no more too, or without one for the whole daemon.

    Its topics are heard no more, so that an end comes; then the broker forgets the session. Whoever hears them from now
    on must do so before: between the two nobody would. Raises SettingsError, StoreError, BrokerError.
    """
    stop = ended()
    with open_desk(home, clock=clock) as desk:
        journal.set_up(desk.settings.log)
        if share in [one.name for one in desk.settings.shares]:
            mend = "Take it out of wallclime.toml first, and let others hear its topics"
            raise SettingsError("wallclime.toml has that share", where=f"serve --drain --share {share}", mend=mend)
        topics = [source.filter for source in desk.settings.sources]
        dropped = sorted(heard_before(desk, share) | set(topics))
        known = Admission(heard.stream for heard in desk.store.heard())
        for broker in desk.settings.brokers:
            _drain(desk, broker if share is None else broker_of(broker, share), dropped, known, stop)
            if stop.is_set():
                return


def _drain(desk: Desk, broker: Broker, dropped: list[str], known: Admission, stop: threading.Event) -> None:
    if round_trip(broker).daemon:  # two of one client id put each other out for ever; and our marker must come back
        mend = "Stop it first; one that was cut off is taken for gone after the keepalive of wallclime.toml"
        raise error_of(broker, f"the daemon {broker.client_id!r} is there still", mend)
    listener = Listener(
        broker,
        desk.settings.sources,
        desk.settings.service,
        clock=desk.clock,
        keep=Keeper(desk).keep,
        newest_arrival=desk.store.newest_arrival,
        log=partial(log, broker=named(broker)),
        admission=known,
        filters=(),
        dropped=dropped,
    )
    empty = threading.Event()

    def over() -> bool:
        status = listener.status
        if status.marker == "returned" and not status.held:
            empty.set()
        return empty.is_set() or stop.is_set()

    listener.run(over)
    if empty.is_set():
        give_up(broker)
        log("info", "drained", client_id=broker.client_id, kept=listener.status.kept, refused=listener.status.refused)
