"""The daemon's figures for Prometheus, in its exposition format; needs the extra `wallclime[metrics]`.

Names follow prometheus.io/docs/practices/naming: a prefix, base units, `_total` for what only grows, a time as seconds
since 1970, humidity as a ratio 0 to 1. The labels are names that people gave (sensor, job, broker, work) or words of
ours; topics and payloads are in none. Each scrape reads the store anew, from a registry of its own.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path

from prometheus_client import CollectorRegistry
from prometheus_client.exposition import CONTENT_TYPE_LATEST, generate_latest
from prometheus_client.metrics_core import CounterMetricFamily, GaugeMetricFamily, InfoMetricFamily, Metric
from prometheus_client.registry import Collector

import monitor
from monitor.basis.times import SECOND
from monitor.basis.units import to_base
from monitor.basis.values import Quantity
from monitor.config.brokers import Broker
from monitor.keep.rows import Doing, Scheduled
from monitor.keep.sensors import Newest
from monitor.watch.desk import Desk
from monitor.watch.disk import room, store_file
from monitor.watch.evidence.sealcheck import overdue
from monitor.watch.service.health import Answer
from monitor.watch.service.pulse import Pulse, named
from monitor.watch.service.ready import Told

_PERCENT = 100.0
_AS_SENT = "as it was sent, without calibration; absent once the reading is older than the sensor's hold"
_VALUES = {
    Quantity.AIR_TEMPERATURE: ("air_temperature_celsius", "Air temperature"),
    Quantity.AIR_HUMIDITY: ("air_humidity_ratio", "Relative humidity of the air, 0 to 1"),
    Quantity.SURFACE_TEMPERATURE: ("surface_temperature_celsius", "Temperature of a surface"),
    Quantity.BOX_TEMPERATURE: ("box_temperature_celsius", "Temperature in a box"),
    Quantity.WALL_MOISTURE: ("wall_moisture_ratio", "Moisture of the wall, 0 to 1"),
    Quantity.BATTERY: ("battery_ratio", "What is left of the battery, 0 to 1"),
}


def metrics(told: Told) -> Answer:
    """All figures of now. Raises StoreError."""
    registry = CollectorRegistry(auto_describe=False)
    registry.register(_Figures(list(_all(told))))
    return Answer("200 OK", CONTENT_TYPE_LATEST, generate_latest(registry))


class _Figures(Collector):
    def __init__(self, figures: Sequence[Metric]) -> None:
        self._figures = figures

    def collect(self) -> Iterable[Metric]:
        return self._figures


def _all(told: Told) -> Iterator[Metric]:
    yield InfoMetricFamily("wallclime_build", "The program that runs.", {"version": monitor.__version__})
    yield from _links(told.pulse)
    yield from _sensors(told.desk)
    yield from _jobs(told)
    yield from _works(told.runs())
    yield from _store(told.desk)
    yield from _seals(told)


def _gauge(name: str, text: str, values: Mapping[str, float] | float | None, label: str = "") -> GaugeMetricFamily:
    """A gauge with a value for each value of one label, or with one, or none."""
    if isinstance(values, Mapping):
        made = GaugeMetricFamily(f"wallclime_{name}", text, labels=[label])
        for of, value in sorted(values.items()):
            made.add_metric([of], value)
        return made
    made = GaugeMetricFamily(f"wallclime_{name}", text)
    if values is not None:
        made.add_metric([], values)
    return made


def _counter(name: str, text: str, values: Mapping[str, float], label: str) -> CounterMetricFamily:
    made = CounterMetricFamily(f"wallclime_{name}", text, labels=[label])
    for of, value in values.items():
        made.add_metric([of], value)
    return made


def _seconds(ms: int | None) -> float | None:
    return None if ms is None else ms / SECOND


def _known(times: Mapping[str, int | None]) -> dict[str, float]:
    return {name: ms / SECOND for name, ms in times.items() if ms is not None}


# --- brokers ----------------------------------------------------------------------------------------------------------


def _links(pulse: Pulse) -> Iterator[Metric]:
    of = {_name(broker): listener.status for broker, listener in pulse.links}
    up = {name: float(status.connected) for name, status in of.items()}
    yield _gauge("broker_connected", "Whether the broker is connected, 0 or 1.", up, "broker")
    granted = {name: float(status.subscribed) for name, status in of.items()}
    yield _gauge("broker_subscribed", "Whether the broker has granted every topic, 0 or 1.", granted, "broker")
    last = _known({name: status.last_message_at for name, status in of.items()})
    yield _gauge("broker_last_message_timestamp_seconds", "When the last message came.", last, "broker")
    kept = {name: float(status.kept) for name, status in of.items()}
    yield _counter("readings_kept", "Readings kept since the start of the daemon.", kept, "broker")
    refused = {name: float(status.refused) for name, status in of.items()}
    yield _counter("messages_refused", "Messages refused since the start of the daemon.", refused, "broker")
    held = {name: float(status.held) for name, status in of.items()}
    yield _gauge("messages_held", "Messages that were read and could not be kept yet.", held, "broker")


def _name(broker: Broker) -> str:
    return broker.name or named(broker)


# --- sensors ----------------------------------------------------------------------------------------------------------


def _sensors(desk: Desk) -> Iterator[Metric]:
    """Of each sensor that has a name: when it spoke last, and what it said if that still holds."""
    found = {heard.name: heard for heard in desk.store.heard() if heard.name is not None}
    spoke = _known({name: heard.last_t for name, heard in found.items()})
    yield _gauge("sensor_last_reading_timestamp_seconds", "Of when its newest reading speaks.", spoke, "sensor")
    came = _known({name: heard.last_arrival for name, heard in found.items()})
    yield _gauge("sensor_last_arrival_timestamp_seconds", "When its newest reading came.", came, "sensor")
    holds = {name: sensor.hold for name, sensor in desk.book.sensors().items()}
    now = desk.clock.now()
    speaking = [one for one in desk.store.newest() if one.t > now - holds.get(one.name, 0)]
    for quantity, (name, text) in _VALUES.items():
        values = {one.name: _value(one, name) for one in speaking if one.quantity == quantity}
        if values:
            yield _gauge(f"sensor_{name}", f"{text}, {_AS_SENT}.", values, "sensor")


def _value(one: Newest, name: str) -> float:
    value = float(to_base(one.value, one.unit))
    return value / _PERCENT if name.endswith("_ratio") else value


# --- jobs -------------------------------------------------------------------------------------------------------------


def _jobs(told: Told) -> Iterator[Metric]:
    """Of each job how it stood when the daemon judged it last, and the alarms that stand."""
    names = set(told.desk.book.names())
    of = {job: look for job, look in sorted(told.looked.items()) if job in names}
    judged = {job: look.as_of / SECOND for job, look in of.items()}
    yield _gauge("job_judged_timestamp_seconds", "As of when the job was judged last.", judged, "job")
    ready = {job: float(look.ready) for job, look in of.items()}
    yield _gauge("job_ready", "Whether every condition of readiness passed then, 0 or 1.", ready, "job")
    inside = {job: float(look.in_band) for job, look in of.items()}
    yield _gauge("job_in_band", "Whether the room was known to be in band then, 0 or 1.", inside, "job")
    counted = {job: look.counted / SECOND for job, look in of.items()}
    yield _gauge("job_acclimation_counted_seconds", "What the acclimation clock had counted.", counted, "job")
    required = {job: look.required / SECOND for job, look in of.items()}
    yield _gauge("job_acclimation_required_seconds", "What the profile asks for.", required, "job")
    alarms = Counter((alarm.job, alarm.priority.value) for alarm in told.desk.store.alarms() if alarm.asks)
    standing = GaugeMetricFamily(
        "wallclime_alarms",
        'Alarms that stand, none shelved and no notices; those of no single wall have the job "".',
        labels=["job", "priority"],
    )
    for labels, count in sorted(alarms.items()):
        standing.add_metric(labels, count)
    yield standing


# --- the house --------------------------------------------------------------------------------------------------------


def _works(runs: Sequence[Scheduled]) -> Iterator[Metric]:
    ended = _known({run.name: run.ended for run in runs})
    yield _gauge("scheduled_work_last_end_timestamp_seconds", "When a run of it ended well last.", ended, "work")
    failed = {run.name: float(run.state is Doing.FAILED) for run in runs}
    yield _gauge("scheduled_work_failed", "Whether its last run failed, 0 or 1.", failed, "work")


def _store(desk: Desk) -> Iterator[Metric]:
    file = store_file(desk.settings)
    if file is not None:
        size = sum(path.stat().st_size for path in (file, Path(f"{file}-wal")) if path.exists())
        yield _gauge("store_size_bytes", "The store's file and its write-ahead log.", size)
    yield _gauge("disk_free_bytes", "What is free where the store is.", room(desk.settings)[1])
    refused: Counter[str] = Counter()
    for (_topic, reason), count in desk.store.quarantine_counts().items():
        refused[reason] += count
    yield _gauge("quarantined_messages", "What is in quarantine.", refused, "reason")
    waiting = {state.value: float(count) for state, count in desk.store.outbox_counts().items()}
    yield _gauge("outbox_messages", "Messages to people and programs.", waiting, "state")


def _seals(told: Told) -> Iterator[Metric]:
    head, offset = told.desk.store.newest_head(), told.desk.clock.offset()
    yield _gauge("last_head_timestamp_seconds", "When the newest head was signed.", _seconds(head and head.made))
    yield _gauge("days_not_sealed", "Days that are over and should be sealed by now.", float(len(overdue(told.desk))))
    yield _gauge("dead_man_last_call_timestamp_seconds", "When its URL was called last.", _seconds(told.switch.called))
    yield _gauge("clock_offset_seconds", "How far the clock is off, where its kernel knows.", _seconds(offset))
