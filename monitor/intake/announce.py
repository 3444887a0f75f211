"""What the broker is told: of each job a state that it retains, and every event. Topics and JSON: see deploy/README.md.

The link has a client id of its own, `<client_id>-out`: a second one of the daemon's would end the daemon's. A broker
may forget what it retains, so on every new link every state is told anew.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from typing import Any
from urllib.parse import quote, unquote

from monitor.basis.alarm import Message
from monitor.basis.times import rfc3339
from monitor.config.brokers import Broker
from monitor.intake.sending import Sender

# What can't stand in a level of a topic, or should not (MQTT 3.1.1 sections 1.5.3 and 4.7), and the sign of an escape.
_UNFIT = re.compile("[/+#%\x00-\x1f\x7f-\x9f\ud800-\udfff\ufdd0-\ufdef\ufffe\uffff]")


def level_of(job: str) -> str:
    """The name of a job as a level of a topic: what can't stand there as in a URL, so that `job_of` gives it back."""
    return _UNFIT.sub(lambda sign: quote(sign[0], safe="", errors="surrogatepass"), job)


def job_of(level: str) -> str:
    """The name of the job that a level of a topic speaks of."""
    return unquote(level, errors="surrogatepass")


def state_topic(broker: Broker, job: str) -> str:
    """Where the state of a job stands, retained."""
    return f"wallclime/{broker.client_id}/job/{level_of(job)}/state"


def event_topic(broker: Broker) -> str:
    """Where every event is told, once."""
    return f"wallclime/{broker.client_id}/event"


def event_json(message: Message) -> bytes:
    """A message as one JSON object: what its body says, and the id by which a repetition is known."""
    said = {"id": message.id, "at": rfc3339(message.made), **message.body}
    return _json({**said, "jobs": list(message.jobs), "subject": message.subject, "text": message.text})


class Announcer:
    """Tells a broker events and states over one link, which is made when there is something to tell, and made anew.

    With a broker that is silent or away it has `patience` [s]. Methods raise BrokerError, and may be called again then.
    """

    def __init__(self, broker: Broker, *, patience: float = 10.0) -> None:
        self._broker, self._patience = broker, patience
        self._sender: Sender | None = None
        self._link = 0
        self._wanted: dict[str, bytes] = {}  # the state of each job
        self._told: dict[str, bytes] = {}  # what of it this link has been told

    def event(self, message: Message) -> None:
        """Tell an event; the broker has it when this returns."""
        self._on_link(lambda sender: sender.send(event_topic(self._broker), event_json(message)))

    def states(self, states: Mapping[str, Mapping[str, Any]]) -> None:
        """Let the broker retain the state of each job, and forget those of jobs that there are no more.

        Only what is new is told: a state that differs in nothing but its `as_of` is not.
        """
        self._wanted = {job: _json(state) for job, state in states.items()}
        self._on_link(self._tell_states)

    def rest(self, seconds: float) -> None:
        """Look after the link for a moment, where there is one; on a new one the states are told anew. [s]"""
        if self._sender is not None:
            self._on_link(lambda sender: sender.turn(seconds))
            if self._sender.links != self._link:
                self._on_link(self._tell_states)

    def close(self) -> None:
        """Take leave."""
        if self._sender is not None:
            self._sender.close()
            self._sender = None

    def _on_link(self, act: Callable[[Sender], None]) -> None:
        """Do it over the link, which is closed if that fails: nothing that was on its way comes later by itself."""
        try:
            if self._sender is None:
                self._sender = Sender(self._broker, f"{self._broker.client_id}-out", patience=self._patience)
                self._link = 0
                self._sender.reach()
            act(self._sender)
            self._sender.drain()
        except BaseException:
            self.close()
            raise

    def _tell_states(self, sender: Sender) -> None:
        if sender.links != self._link:
            self._link, gone = sender.links, self._told.keys() - self._wanted.keys()
            self._told = dict.fromkeys(gone, b"")
        for job in self._told.keys() - self._wanted.keys():
            sender.send(state_topic(self._broker, job), b"", retain=True)  # an empty message ends what was retained
        for job, state in self._wanted.items():
            if _but_its_time(self._told.get(job)) != _but_its_time(state):
                sender.send(state_topic(self._broker, job), state, retain=True)
        sender.drain()
        self._told = dict(self._wanted)


def _json(said: Mapping[str, Any]) -> bytes:
    return json.dumps(said, ensure_ascii=False, allow_nan=False).encode()


def _but_its_time(state: bytes | None) -> dict[str, Any] | None:
    return None if not state else {**json.loads(state), "as_of": None}
