"""What the doctor looks at around the record: clock, daemon, dead-man's URL, health port, contacts, topics, brokers."""

from __future__ import annotations

import http.client
import importlib.util
import os
import re
import socket
from collections import Counter
from collections.abc import Iterator

import monitor
from monitor.basis.times import MINUTE, SECOND, rfc3339
from monitor.basis.units import format_duration
from monitor.config.alarms import Contact, DeadMan, Health
from monitor.config.brokers import Broker
from monitor.config.settings import Settings, Source
from monitor.intake.topics import compile_topic
from monitor.keep.rows import DaemonState
from monitor.watch.desk import Desk
from monitor.watch.evidence.silences import AWAY_AFTER
from monitor.watch.examining import IllError, UnknownError
from monitor.watch.service.awake import daemon_trouble, lives, living
from monitor.watch.service.parts import NOBODY
from monitor.watch.service.ready import CLOCK_SLACK

FILE = "wallclime.toml"

_NO_FILE = f"there is no {FILE}, so it was not asked"
_INIT = "wallclime init writes one, to be filled in"
_NAMED = re.compile(r"\{[^}]*\}")
_ANSWERS_WITHIN = 5.0  # [s]
_LATE = MINUTE  # a call of the dead-man's URL may come so late [ms]


# --- the clock and the daemon -----------------------------------------------------------------------------------------


def clock(desk: Desk) -> str:
    """It is not behind what the store holds."""
    row, now = desk.store.newest_head(), desk.clock.now()
    last = [entries[-1].entered for name in desk.store.chains() if (entries := desk.store.entries(name))]
    known = max([*last, desk.store.newest_arrival() or 0, row.made if row else 0], default=0)
    if known > now + CLOCK_SLACK:
        told = f"it says {rfc3339(now)}, {format_duration(known - now)} before the newest thing in the store"
        raise IllError(told, "Set the computer's clock, best by NTP")
    return f"it says {rfc3339(now)}, and nothing in the store is of later"


def clock_source(desk: Desk) -> str:
    """A time source keeps it, where the kernel says so."""
    offset = desk.clock.offset()
    if offset is None:
        mend = "Let NTP set it, such as with: timedatectl set-ntp true"
        raise UnknownError("no time source is known to keep it, so how far it is off is not known", mend)
    return f"a time source keeps it; it is off by {offset} ms"


def daemon(desk: Desk) -> str:
    """It runs, alone under its client ids, in this version, and has its connections."""
    now = desk.clock.now()
    there, found = living(desk, now), desk.store.daemon_state()
    if found is None:
        raise UnknownError("none was ever here", "wallclime serve hears the sensors; a logger's file needs none")
    found = there[-1] if there else found
    if found.state.get("stopped"):
        raise UnknownError(f"it was stopped {rfc3339(found.last)}", "Start it: wallclime serve")
    for told, mend in _daemon_faults(desk, found):
        raise IllError(told, mend)
    for trouble in daemon_trouble(desk):
        raise IllError(trouble, "Look at its log, and at the brokers below")
    return f"it runs since {rfc3339(found.started)}, last sign of life {max(now - found.last, 0) // SECOND} s ago"


def _daemon_faults(desk: Desk, found: DaemonState) -> Iterator[tuple[str, str]]:
    running = together(desk)
    ids = Counter((link["broker"], link["client_id"]) for one in running for link in one.state.get("links", ()))
    for (host, client_id), count in sorted(ids.items()):
        if count > 1:
            told = f"{count} run at once, and take the client id {client_id!r} at {host} from each other"
            yield told, "Stop all but one of them, or give each a client_id of its own"
    version = found.state.get("version")
    if is_there(desk) and version not in (None, monitor.__version__):
        yield f"it is wallclime {version}, this command {monitor.__version__}", "Start it anew"


def worker(desk: Desk, found: DaemonState) -> str:
    """One of several daemons is there."""
    since = rfc3339(found.last)
    if found.state.get("stopped"):
        raise UnknownError(f"it was stopped {since}", "Start it, unless others do its part")
    if not lives(found, desk.clock.now()):
        raise IllError(f"it is not there since {since}", "Look at its log, and start it")
    hears = "" if found.part is None or not found.part.hears else f"; it hears {', '.join(found.part.hears)}"
    ago = max(desk.clock.now() - found.last, 0) // SECOND
    return f"it runs since {rfc3339(found.started)}, last sign of life {ago} s ago{hears}"


def unshared(said: str) -> str:
    """A source of which no share hears all. Raises IllError where none hears any."""
    if said == NOBODY:
        raise IllError(said, "Add its topic to a [[share]], unless a daemon hears all")
    return said


def is_there(desk: Desk) -> bool:
    """Whether a daemon gave a sign of life lately, and did not say that it ends."""
    return bool(living(desk, desk.clock.now()))


def together(desk: Desk) -> list[DaemonState]:
    """The daemons that are there now, where that is more than one: each gave a sign of life after the last began."""
    lately = desk.store.daemons(desk.clock.now() - AWAY_AFTER)
    running = [one for one in lately if not one.state.get("stopped")]
    begun = max((one.started for one in running), default=0)
    still = [one for one in running if one.last > begun or one.started == begun]
    return still if len(still) > 1 else []


# --- what the daemon is asked for by the settings ---------------------------------------------------------------------


def dead_man(desk: Desk, settings: DeadMan) -> str:
    """Its URL was called when it was due. It is not called here: that would be a sign of life of nobody."""
    there = living(desk, desk.clock.now())
    states = [one.state for one in there if one.part is None or one.part.role in ("all", "schedule")]
    if not states:
        raise UnknownError("the daemon calls it, and does not run", "Start it: wallclime serve")
    known = [state["dead_man"] for state in states if "dead_man" in state]
    said = max(known, key=lambda one: one["called"] or 0, default=None)  # who stands by has not called it
    if said is None:
        raise IllError("the daemon that runs does not know of it", "Start it anew")
    if said["trouble"]:
        mend = "Look at what stands still; if it is the URL, mend the one in its url_file and start the daemon anew"
        raise IllError(f"it is not called: {said['trouble']}", mend)
    if said["called"] is None:
        raise UnknownError("it was not called yet", "Wait a moment: the daemon has just begun")
    ago = desk.clock.now() - said["called"]
    if ago > settings.every + _LATE:
        told = f"it was called {format_duration(ago)} ago, and is due every {format_duration(settings.every)}"
        raise IllError(told, "Look at the daemon's log")
    return f"it was called {format_duration(max(ago, 0) // SECOND * SECOND)} ago"


def health(desk: Desk, settings: Health) -> str:
    """The daemon answers on its port that it lives; while none runs, nobody else has the port."""
    where = f"{settings.host}:{settings.port}"
    if not is_there(desk):
        try:
            socket.create_server((settings.host, settings.port)).close()
        except OSError as exc:
            mend = "Give [health] another port, or stop what has it"
            raise IllError(f"{where} can't be had: {os.strerror(exc.errno or 0)}", mend) from None
        raise UnknownError("the daemon answers there, and does not run", "Start it: wallclime serve")
    said = _asked(settings)
    if said != "ok":
        told = f"{where} does not answer as the daemon does" if said is None else said
        raise IllError(told, "Start the daemon anew if it began before; else another program may have the port")
    if importlib.util.find_spec("prometheus_client") is None:
        raise UnknownError("it answers, but has no metrics", "Install them: pip install 'wallclime[metrics]'")
    return f"{where} answers that it lives"


def _asked(settings: Health) -> str | None:
    """The first line of what /livez answers; None where that is no answer."""
    link = http.client.HTTPConnection(settings.host, settings.port, timeout=_ANSWERS_WITHIN)
    try:
        link.request("GET", "/livez")
        answer = link.getresponse()
        return answer.read(1_000).decode("utf-8", "replace").partition("\n")[0] if answer.status in (200, 503) else None
    except (OSError, http.client.HTTPException):
        return None
    finally:
        link.close()


def contact(one: Contact) -> str:
    """It can be told something, as far as that is seen without telling it."""
    from monitor.tell.alarm.courier import check

    check(one)
    return "it has a URL; whether it is reached shows: wallclime alarm test"


# --- what is heard ----------------------------------------------------------------------------------------------------


def topic(desk: Desk, source: Source) -> str:
    """Something was heard on it."""
    pattern = "[^/]*".join(map(re.escape, _NAMED.split(source.stream)))
    every = re.compile(pattern + (".*" if source.format in ("senml", "plain") else ""), re.DOTALL)
    last = [one.last_arrival for one in desk.store.heard() if every.fullmatch(one.stream) and one.last_arrival]
    if last:
        return f"heard of {len(last)} {'sensor' if len(last) == 1 else 'sensors'}, last {rfc3339(max(last))}"
    covers = compile_topic(source.topic)
    refused = [reason for (name, reason), _ in desk.store.quarantine_counts().items() if covers.match(name) is not None]
    if refused:
        told = f"what came there was refused: {', '.join(sorted(set(refused)))}"
        raise IllError(told, "See why with: wallclime quarantine list")
    if source.format != "plain" and any(one.format == "plain" for one in desk.settings.sources) and _any_heard(desk):
        return "nothing was heard there; what is heard comes on other topics"
    mend = f"Compare it with what the sensors publish on; listen with: mosquitto_sub -v -t '{covers.filter}'"
    raise UnknownError("nothing was ever heard there", mend)


def _any_heard(desk: Desk) -> bool:
    return any(one.last_arrival for one in desk.store.heard())


def broker(settings: Settings, one: Broker) -> str:
    """A message to oneself comes back."""
    from monitor.intake.roundtrip import marker_topic, round_trip

    if not (settings.home / FILE).exists():
        raise UnknownError(_NO_FILE, _INIT)
    if not settings.sources_at(one):
        raise UnknownError("nothing is heard there, so it was not asked", f"Add a [[source]] to {FILE}")
    took = round_trip(one).took
    return f"a message to {marker_topic(one)} came back in {took * 1000:.0f} ms"
