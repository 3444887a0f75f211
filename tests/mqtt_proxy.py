"""A bad network between the daemon and its broker that also keeps the minutes.

It reads the MQTT 3.1.1 packets that pass (OASIS MQTT 3.1.1, chapter 2.2) and writes down which message was handed to
the daemon and which one the daemon has acknowledged. A PUBACK carries a packet identifier only; the message it speaks
of is the one that was handed over under that identifier on the same connection; the oldest of them, where the broker
has given one identifier to several (mosquitto 2.0 does, when its count of 65,535 comes round to one that is in use). It
counts when it is read from the daemon, whether or not it reaches the broker: from then on the daemon must have kept the
message.
"""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections import Counter, defaultdict, deque
from collections.abc import Callable, Iterator
from typing import NamedTuple

PUBLISH, PUBACK = 3, 4
_PIECE = 65_536  # [bytes]
_AHEAD = 64  # pieces that wait for their time


class _Piece(NamedTuple):
    """Bytes and the time at which they may go on; no bytes are the end."""

    due: float
    data: bytes


class Packets:
    """Cuts a stream of bytes into packets: (first byte, what follows the length)."""

    def __init__(self) -> None:
        self._rest = bytearray()

    def feed(self, data: bytes) -> Iterator[tuple[int, bytes]]:
        rest, at = self._rest, 0
        rest += data
        while (found := _packet(rest, at)) is not None:
            start, end = found
            yield rest[at], bytes(rest[start:end])
            at = end
        del rest[:at]


def _packet(data: bytearray, at: int) -> tuple[int, int] | None:
    """Where the packet that begins at `at` has its body; None where it is not whole yet."""
    length = 0
    for digit in range(4):
        place = at + 1 + digit
        if place >= len(data):
            return None
        length |= (data[place] & 0x7F) << 7 * digit
        if data[place] < 0x80:
            end = place + 1 + length
            return (place + 1, end) if end <= len(data) else None
    raise ValueError("a packet's length has more than four digits")


class Minutes:
    """What passed with QoS 1, by payload: how often it was handed to the daemon, how often the daemon acknowledged it.

    `unknown` counts acknowledgements of an identifier under which nothing was handed over on that connection, `shared`
    the messages that were handed over under an identifier which was still in use for another.
    """

    def __init__(self) -> None:
        self.handed: Counter[bytes] = Counter()
        self.acknowledged: Counter[bytes] = Counter()
        self.unknown = 0
        self.shared = 0


class LinkMinutes:
    """The minutes of one connection."""

    def __init__(self, minutes: Minutes) -> None:
        self._minutes, self._open = minutes, defaultdict[int, deque[bytes]](deque)
        self._down, self._up = Packets(), Packets()

    def from_broker(self, data: bytes) -> None:
        for first, body in self._down.feed(data):
            if first >> 4 == PUBLISH and first & 0x06:
                name_end = 2 + int.from_bytes(body[:2])
                payload = body[name_end + 2 :]
                under = self._open[int.from_bytes(body[name_end : name_end + 2])]
                self._minutes.shared += bool(under)
                under.append(payload)
                self._minutes.handed[payload] += 1

    def from_daemon(self, data: bytes) -> None:
        for first, body in self._up.feed(data):
            if first >> 4 == PUBACK:
                if under := self._open[int.from_bytes(body)]:
                    self._minutes.acknowledged[under.popleft()] += 1
                else:
                    self._minutes.unknown += 1


class Proxy:
    """Listens on a free port of the loopback and passes everything on to `to_port`, as well as its faults let it."""

    def __init__(self, to_port: int) -> None:
        self.minutes = Minutes()
        self.port = 0
        self._to_port = to_port
        self._delay, self._rate, self._is_cut = 0.0, float("inf"), False
        self._ends: set[asyncio.StreamWriter] = set()
        self._loop = asyncio.new_event_loop()
        self._stop = asyncio.Event()
        self._ready = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> Proxy:
        self._thread.start()
        assert self._ready.wait(10)
        return self

    def __exit__(self, *_exc: object) -> None:
        self._loop.call_soon_threadsafe(self._stop.set)
        self._thread.join(10)
        assert not self._thread.is_alive()

    def slow(self, delay: float, rate: float) -> None:
        """From now on everything takes `delay` [s] each way, at most `rate` [bytes/s]."""
        self._delay, self._rate = delay, rate

    def cut(self) -> None:
        """Break every link at once, and each new one, until mend()."""
        self._is_cut = True
        self._loop.call_soon_threadsafe(self._abort)

    def mend(self) -> None:
        """A network without faults again."""
        self._is_cut, self._delay, self._rate = False, 0.0, float("inf")

    def _abort(self) -> None:
        for end in self._ends:
            end.transport.abort()

    def _run(self) -> None:
        with contextlib.closing(self._loop):
            self._loop.run_until_complete(self._serve())

    async def _serve(self) -> None:
        server = await asyncio.start_server(self._link, "127.0.0.1", 0)
        self.port = server.sockets[0].getsockname()[1]
        self._ready.set()
        await self._stop.wait()
        server.close()
        self._abort()
        others = asyncio.all_tasks() - {asyncio.current_task()}
        await asyncio.wait_for(asyncio.gather(*others, return_exceptions=True), 5)

    async def _link(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._ends.add(writer)
        try:
            with contextlib.suppress(OSError):  # a link that breaks is what we are here for
                if not self._is_cut:
                    await self._join(reader, writer)
        finally:
            self._ends.discard(writer)
            writer.transport.abort()

    async def _join(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Both directions of one link, until one of them ends."""
        up_reader, up_writer = await asyncio.open_connection("127.0.0.1", self._to_port)
        self._ends.add(up_writer)
        link = LinkMinutes(self.minutes)
        ways = [
            asyncio.create_task(self._pass(reader, up_writer, link.from_daemon)),
            asyncio.create_task(self._pass(up_reader, writer, link.from_broker)),
        ]
        try:
            await asyncio.wait(ways, return_when=asyncio.FIRST_COMPLETED)
        finally:
            self._ends.discard(up_writer)
            for way in ways:
                way.cancel()
            await asyncio.gather(*ways, return_exceptions=True)
            up_writer.transport.abort()

    async def _pass(
        self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, seen: Callable[[bytes], None]
    ) -> None:
        """One direction; ends when the sender has ended and all of it was passed on."""
        waiting: asyncio.Queue[_Piece] = asyncio.Queue(_AHEAD)

        async def read() -> None:
            while data := await reader.read(_PIECE):
                seen(data)
                await waiting.put(_Piece(self._loop.time() + self._delay, data))
            await waiting.put(_Piece(0.0, b""))

        async def write() -> None:
            while (piece := await waiting.get()).data:
                await asyncio.sleep(max(piece.due - self._loop.time(), len(piece.data) / self._rate))
                writer.write(piece.data)
                await writer.drain()

        async with asyncio.TaskGroup() as both:
            both.create_task(read())
            both.create_task(write())
        writer.close()
        await writer.wait_closed()
