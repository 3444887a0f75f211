"""What stands beside a sensor: readings by hand at its time, and its neighbours over weeks."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from itertools import combinations

import numpy as np

from monitor.basis.times import DAY
from monitor.basis.values import AIR, Entry, Quantity
from monitor.rules.channel import Channel
from monitor.rules.frame import Frame
from monitor.rules.hand import HAND, Compared, Drift, Said, drift, held_against, said_at
from monitor.rules.replay import Readings, heard
from monitor.rules.stays import Stay
from monitor.rules.trend import Recent
from monitor.watch.desk import Desk

WEEKS = 30 * DAY  # how far back neighbours are compared; ours [ms]


def hand_beside(desk: Desk, frame: Frame, entry: Entry, as_of: int) -> dict[Quantity, tuple[Compared, ...]]:
    """Each value of a hand reading's entry against the sensors that spoke at the job's places at its time. [ms]"""
    holds = {name: sensor.hold for name, sensor in frame.sensors.items()}
    here = {stay.sensor for stay in frame.air_stays if stay.covers(entry.at)}
    start = entry.at - max(holds.values(), default=0)
    channels = heard(frame, max(as_of, entry.at + 1), desk.store, start, entry.at + 1) if here else {}
    given = entry.body.get("uncertainty", {})
    found = {}
    for name, value in entry.body["values"].items():
        quantity = Quantity(name)
        said = {s: _said(channels[s, quantity], holds[s], entry.at) for s in here if (s, quantity) in channels}
        hand = Said(value, given.get(name, HAND[quantity]))
        found[quantity] = held_against(hand, {s: one for s, one in said.items() if one is not None})
    return found


def _said(channel: Channel, hold: int, at: int) -> Said | None:
    value = said_at(Recent(channel.t, channel.value), hold, at)
    if value is None:
        return None
    return Said(value, float(channel.uncertainty[np.searchsorted(channel.t, at, "right") - 1]))


def drifts(desk: Desk, frame: Frame, as_of: int, readings: Readings | None = None) -> tuple[Drift, ...]:
    """Every pair of sensors that stand at one place and have moved apart over the last weeks. [ms]

    `readings`: who knows the store's bounds of channels already.
    """
    pairs = list(_neighbours(frame, as_of))
    if not pairs:
        return ()
    channels = heard(frame, as_of, readings or desk.store, as_of - WEEKS, as_of)
    found = [
        _drift(frame, channels, quantity, first, second, as_of) for first, second in pairs for quantity in AIR
    ]  # fmt: skip
    return tuple(each for each in found if each is not None)


def _neighbours(frame: Frame, as_of: int) -> Iterator[tuple[Stay, Stay]]:
    now = sorted(
        (stay for stay in frame.air_stays if stay.covers(as_of - 1)),
        key=lambda stay: stay.sensor,
    )
    return ((a, b) for a, b in combinations(now, 2) if a.place == b.place)


def _drift(
    frame: Frame,
    channels: Mapping[tuple[str, Quantity], Channel],
    quantity: Quantity,
    first: Stay,
    second: Stay,
    as_of: int,
) -> Drift | None:
    """From the last check of either on, since a check moves what a sensor says."""
    both = [channels.get((stay.sensor, quantity)) for stay in (second, first)]
    if any(channel is None or not len(channel.t) for channel in both):
        return None
    checked = [
        check.at
        for stay in (first, second)
        for check in frame.sensors[stay.sensor].checks
        if check.quantity is quantity
    ]
    start = max(first.start, second.start, *checked)
    since = [
        Recent(channel.t[channel.t >= start], channel.value[channel.t >= start])
        for channel in both
        if channel is not None
    ]
    combined = math.hypot(*(float(channel.uncertainty[-1]) for channel in both if channel is not None))
    return drift(quantity, (second.sensor, since[0]), (first.sensor, since[1]), combined, as_of)
