"""What the tests of the listener share: sources, a memory in the place of the store, a listener in a thread."""

import contextlib
import threading
import time

import paho.mqtt.publish

from monitor.basis.clock import SetClock
from monitor.basis.errors import StoreError
from monitor.basis.times import DAY, SECOND
from monitor.basis.values import Quantity
from monitor.config.settings import Broker, Field, Service, Source
from monitor.intake.mqtt import Listener

NOW = 1_767_595_200_000  # 2026-01-05T06:40:00Z
T, H = Quantity.AIR_TEMPERATURE, Quantity.AIR_HUMIDITY
FIELDS = {T: Field("/t", "degC"), H: Field("/h", "%")}
SOURCES = (
    Source("home/{sensor}/climate", "json", FIELDS, "home/{sensor}/climate"),
    Source("timed/{sensor}", "json", FIELDS, "timed/{sensor}", "/time", "milliseconds"),
    Source("bare/{sensor}/temperature", "number", {T: Field("", "degF")}, "bare/{sensor}"),
)
OUT = StoreError("the disk is full", where="store", mend="Make room")


class Memory:
    """What was kept; `fail` the errors that the next calls raise."""

    def __init__(self, *fail):
        self.readings, self.refused, self.calls, self.fail = [], [], [], list(fail)

    def __call__(self, readings, refused):
        self.calls.append(([r.value for r in readings], [r.topic for r in refused]))
        if self.fail:
            error = self.fail[0] if callable(self.fail[0]) else self.fail.pop(0)
            raise error() if callable(error) else error
        self.readings += readings
        self.refused += refused

    def values(self):
        return [reading.value for reading in self.readings]

    def reasons(self):
        return [refused.reason for refused in self.refused]


class Log(list):
    def __call__(self, level, event, **fields):
        self.append((level, event, fields))

    def count(self, event):
        return sum(1 for _, said, _ in self if said == event)


def soon(condition, within=30.0):
    end = time.monotonic() + within
    while not condition():
        assert time.monotonic() < end, "it did not happen in time"
        time.sleep(0.005)


@contextlib.contextmanager
def listening(broker, keep, *, sources=SOURCES, clock=None, log=None, live=True, newest=None, **settings):
    service = Service(60_000, settings.pop("linger", 20), settings.pop("batch", 500), 7 * DAY)
    more = {
        name: settings.pop(name) for name in ("clock_stepped", "admission", "filters", "dropped") if name in settings
    }
    settings = {"client_id": "wallclime-test", "user": None, "password": None, "keepalive": 60 * SECOND} | settings
    listener = Listener(
        Broker(broker.host, broker.port, **settings),
        sources,
        service,
        clock=clock or SetClock(NOW),
        keep=keep,
        newest_arrival=newest or (lambda: None),
        log=log if log is not None else Log(),
        **more,
    )
    stop = threading.Event()
    thread = threading.Thread(target=listener.run, args=(stop,))
    thread.start()
    try:
        if live:
            soon(lambda: listener.status.marker == "returned")
        yield listener
    finally:
        stop.set()
        thread.join(10)
    assert not thread.is_alive()


def publish(broker, *messages, **options):
    """Each message: (topic, payload) or (topic, payload, qos) or (topic, payload, qos, retained)."""
    sent = [dict(zip(("topic", "payload", "qos", "retain"), (*m, 1)[: max(3, len(m))], strict=False)) for m in messages]
    paho.mqtt.publish.multiple(sent, hostname=broker.host, port=broker.port, **options)


def timed(value, at=NOW):
    return ("timed/7", f'{{"t":{value},"time":{at}}}')
