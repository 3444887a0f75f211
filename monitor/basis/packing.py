"""Segments as they are kept: by columns, so that they take few bytes and are read at once.

    0x02  check sum  deflated

Deflated (RFC 1951, with `_DICTIONARY` before it) is the segment up to the LF of its header; then the first bytes of all
its numbers, the second bytes of all that have one, and so on; then its doubles. The check sum is CRC-32 over all that,
big-endian. Columns that differ much are deflated apart, each with codes of its own. The canonical bytes, which the
content hash is over, come back as they were.

What was packed by earlier versions is zlib (RFC 1950) over the canonical bytes, and begins with 0x78.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Iterator
from itertools import groupby, pairwise
from typing import Any

import numpy as np

from monitor.basis import segment
from monitor.basis.segment import MAGIC, STRANGE, Ints, Segment, assembled, counted, doubles_of, parts

_BY_COLUMNS = 0x02
_WINDOW = -15  # deflate without a frame, and its largest window
_COLD = 64  # what is deflated to fewer bytes shares its codes with its neighbours; ours [bytes]
_DICTIONARY = MAGIC + (
    b'{"channels":[{"count":1440,"decimals":1,"quantity":"air_humidity","unit":"%"},{"count":1440,"decimals":1,"quantity"'
    b':"air_temperature","unit":"degC"}],"day":"2026-01-05","lag_tick":1,"origins":[["live",""]],"rows":1440,"stream":"'
)
_BROKEN = "a packed segment that is broken"


def pack(data: bytes) -> bytes:
    """For keeping: canonical bytes, as `encode` makes them. Another version of zlib may pack to other bytes."""
    header, body = parts(data)
    numbers = segment.numbers_of(body[: len(body) - doubles_of(header)], counted(header))
    begin, end = data[: len(data) - len(body)], body[len(body) - doubles_of(header) :]
    pieces = [begin, *_planes(header, numbers), end]
    check = zlib.crc32(b"".join(pieces)).to_bytes(4, "big")
    return bytes([_BY_COLUMNS]) + check + _deflated(begin, list(_grouped(pieces[1:])))


def unpack(packed: bytes) -> bytes:
    """What was packed. Raises ValueError for what is broken, or larger than `MAX_BYTES`."""
    if packed[:1] != bytes([_BY_COLUMNS]):
        return _inflated(packed, zlib.decompressobj())
    text = _checked(packed)
    _, numbers, doubles = _read(text)
    end = text.index(b"\n", len(MAGIC)) + 1
    return b"".join([text[:end], segment.varints(numbers), doubles])


def decode_packed(packed: bytes) -> Segment:
    """The segment of packed bytes, without its canonical bytes in between. Raises ValueError for what is broken."""
    if packed[:1] != bytes([_BY_COLUMNS]):
        return segment.decode(unpack(packed))
    try:
        return assembled(*_read(_checked(packed)))
    except STRANGE as exc:
        raise ValueError(_BROKEN) from exc


# --- columns ----------------------------------------------------------------------------------------------------------


def _planes(header: dict[str, Any], numbers: Ints) -> Iterator[bytes]:
    """The first bytes of each column, the second bytes of each, and so on."""
    table, used = segment.septets(numbers)
    whole = [one["count"] for one in header["channels"] if one["decimals"] is not None]
    edges = np.cumsum([0, *[header["rows"]] * 4, *whole]).tolist()
    for place in range(table.shape[1]):
        for a, b in pairwise(edges):
            yield table[a:b, place][used[a:b, place]].tobytes()


def _read(text: bytes) -> tuple[dict[str, Any], Ints, bytes]:
    """Header, numbers and doubles of what was inflated. Raises ValueError."""
    try:
        header, body = parts(text)
        raw = np.frombuffer(body, np.uint8)
        numbers, at = _from_planes(raw, counted(header))
        if len(raw) - at != doubles_of(header):
            raise ValueError(_BROKEN)
    except STRANGE as exc:
        raise ValueError(_BROKEN) from exc
    return header, numbers, body[at:]


def _from_planes(raw: np.ndarray[Any, np.dtype[np.uint8]], count: int) -> tuple[Ints, int]:
    """The numbers whose bytes `raw` begins with, and how many bytes they take. Raises ValueError."""
    plane, at = raw[:count], count
    found = (plane & 127).astype(np.int64)
    more = np.flatnonzero(plane > 127)
    for shift in range(7, 63, 7):
        if not len(more):
            break
        plane, at = raw[at : at + len(more)], at + len(more)
        found[more] |= (plane & 127).astype(np.int64) << shift
        more = more[plane > 127]
    if at > len(raw) or len(more):
        raise ValueError(_BROKEN)
    return segment.unzigzag(found), at


# --- deflate ----------------------------------------------------------------------------------------------------------


def _grouped(pieces: Iterable[bytes]) -> Iterator[bytes]:
    """The pieces, those in a row that hold little joined to one."""
    for is_cold, run in groupby(pieces, lambda piece: len(_smallest(piece, last=True)) < _COLD):
        some = list(run)
        yield from [b"".join(some)] if is_cold else some


def _deflated(begin: bytes, pieces: list[bytes]) -> bytes:
    """One stream of them all, each with codes of its own; the first with the dictionary."""
    opened = zlib.compressobj(9, zlib.DEFLATED, _WINDOW, 9, zlib.Z_DEFAULT_STRATEGY, _DICTIONARY)
    begun = opened.compress(begin) + opened.flush(zlib.Z_SYNC_FLUSH)
    return begun + b"".join(_smallest(one, last=place == len(pieces)) for place, one in enumerate(pieces, 1))


def _smallest(piece: bytes, *, last: bool) -> bytes:
    """A piece deflated in the way that takes fewest bytes, to the end of a byte."""
    tried = []
    for strategy in (zlib.Z_DEFAULT_STRATEGY, zlib.Z_HUFFMAN_ONLY, zlib.Z_RLE):
        opened = zlib.compressobj(9, zlib.DEFLATED, _WINDOW, 9, strategy)
        tried.append(opened.compress(piece) + opened.flush(zlib.Z_FINISH if last else zlib.Z_SYNC_FLUSH))
    return min(tried, key=len)


def _checked(packed: bytes) -> bytes:
    """What was deflated, with the check sum that stands before it. Raises ValueError."""
    text = _inflated(packed[5:], zlib.decompressobj(_WINDOW, _DICTIONARY))
    if zlib.crc32(text) != int.from_bytes(packed[1:5], "big"):
        raise ValueError(_BROKEN)
    return text


def _inflated(packed: bytes, opened: Any) -> bytes:
    try:
        data: bytes = opened.decompress(packed, segment.MAX_BYTES)
    except zlib.error as exc:
        raise ValueError(_BROKEN) from exc
    if not opened.eof or opened.unused_data:
        raise ValueError("a packed segment that is cut short or too large")
    return data
