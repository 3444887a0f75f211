"""The faults in a few seconds each; `python tests/faults/run.py` takes its time."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from mqtt_proxy import LinkMinutes, Minutes, Packets

RUN = Path(__file__).with_name("run.py")


NETWORK = ["daemon-killed", "network-cut", "network-slow", "duplicates-and-reordering", "broker-restarted"]
MACHINE = ["disk-full", "store-read-only", "clock-stepped", "torn-copy", "huge-payloads"]


@pytest.mark.parametrize("faults", [NETWORK, MACHINE], ids=["network", "machine"])
def test_nothing_acknowledged_is_lost_and_nothing_is_doubled_whatever_strikes(faults):
    # each in a process of its own, at once: most of it is waiting
    options = ["--seconds", "1", "--times", "2", "--rate", "600"]
    runs = [
        subprocess.Popen([sys.executable, RUN, "--fault", fault, *options], stdout=subprocess.PIPE, text=True)
        for fault in faults
    ]
    told = [run.communicate(timeout=240)[0].splitlines() for run in runs]
    assert [run.returncode for run in runs] == [0] * len(faults), told
    for fault, lines in zip(faults, told, strict=True):
        name, sent, handed, acknowledged, kept, *rest = lines[-1].split()
        assert name == fault
        assert int(sent) == int(acknowledged) == int(kept) > 300, lines
        assert int(handed) >= int(sent), lines
        assert rest == ["0", "0", "0", "yes", "yes", "all", "kept"], lines


# --- the minutes that the faults are judged by


def published(mid: int, payload: bytes, flags: int = 0x02) -> bytes:
    """A PUBLISH packet on the topic "t" (MQTT 3.1.1 section 3.3), its length in as many digits as it takes."""
    body = b"\x00\x01t" + (mid.to_bytes(2) if flags & 0x06 else b"") + payload
    size, length = len(body), b""
    while True:
        size, digit = divmod(size, 128)
        length += bytes([digit | (0x80 if size else 0)])
        if not size:
            return bytes([0x30 | flags]) + length + body


def acknowledged(mid: int) -> bytes:
    return b"\x40\x02" + mid.to_bytes(2)


def test_packets_are_found_wherever_the_stream_is_cut():
    stream = published(1, b"x") + published(2, b"y" * 300) + acknowledged(7) + b"\xd0\x00"
    whole = list(Packets().feed(stream))
    assert [first >> 4 for first, _ in whole] == [3, 3, 4, 13]
    for step in (1, 2, 3, 7, 200):
        packets = Packets()
        pieces = [stream[at : at + step] for at in range(0, len(stream), step)]
        assert [packet for piece in pieces for packet in packets.feed(piece)] == whole


def test_an_acknowledgement_speaks_of_what_was_handed_over_under_its_number_on_the_same_link():
    minutes = Minutes()
    first = LinkMinutes(minutes)
    first.from_broker(published(1, b"a") + published(2, b"b") + published(3, b"c"))
    first.from_daemon(acknowledged(2))
    first.from_broker(published(2, b"d"))
    first.from_daemon(acknowledged(2) + acknowledged(2))
    second = LinkMinutes(minutes)
    second.from_broker(published(1, b"c", 0x0A))
    second.from_daemon(acknowledged(1) + acknowledged(3))
    assert minutes.handed == {b"a": 1, b"b": 1, b"c": 2, b"d": 1}
    assert minutes.acknowledged == {b"b": 1, b"d": 1, b"c": 1}
    assert minutes.unknown == 2


def test_a_message_of_qos_0_is_not_in_the_minutes():
    minutes = Minutes()
    LinkMinutes(minutes).from_broker(published(0, b"a", flags=0))
    assert minutes.handed == {}


def test_of_two_messages_under_one_number_the_first_is_acknowledged_first():
    minutes = Minutes()
    link = LinkMinutes(minutes)
    link.from_broker(published(1, b"a") + published(1, b"b"))
    link.from_daemon(acknowledged(1))
    assert minutes.acknowledged == {b"a": 1}
    link.from_daemon(acknowledged(1))
    assert minutes.acknowledged == {b"a": 1, b"b": 1}
    assert (minutes.shared, minutes.unknown) == (1, 0)
