"""What a picture's bytes are: its type by its content, whether all of it is there, what it says of its own time.

JPEG: ITU-T T.81 annex B. PNG: W3C, third edition. WebP: RFC 9649. HEIC: ISO/IEC 14496-12 boxes. Exif: CIPA DC-008.
"""

from __future__ import annotations

import re
import struct
import zlib
from collections.abc import Callable, Iterator, Mapping
from datetime import datetime, timedelta, timezone
from types import MappingProxyType
from typing import NamedTuple

from monitor.basis.errors import RecordError

JPEG, PNG, WEBP, HEIC = "image/jpeg", "image/png", "image/webp", "image/heic"
KINDS = "JPEG, PNG, WebP or HEIC"

PNG_SIGN = b"\x89PNG\r\n\x1a\n"
EXIF_SIGN = b"Exif\0\0"
SOI, EOI, SOS = 0xD8, 0xD9, 0xDA
_SOF = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_MARKER = re.compile(rb"\xff[\x01-\xcf\xd8-\xfe]")  # in coded data: no stuffed zero, no restart, no fill
_HEIC_BRANDS = frozenset((b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx"))
_TIFF = re.compile(rb"Exif\0\0(?=II\*\0|MM\0\*)")

ORIENTATION, EXIF_IFD, TAKEN, TAKEN_OFFSET = 0x0112, 0x8769, 0x9003, 0x9011
ASCII, SHORT, LONG = 2, 3, 4
_SIZES = {ASCII: 1, SHORT: 2, LONG: 4}
_OFFSET = re.compile(r"([+-])(\d\d):(\d\d)")


class Part(NamedTuple):
    """A piece of a file: a segment, chunk or box. `name` as the format has it, `whole` with its head."""

    name: bytes
    whole: bytes
    body: bytes


class Picture(NamedTuple):
    """A whole picture: its type, and when its Exif says it was taken (without a zone unless it names an offset)."""

    media_type: str
    taken: datetime | None
    orientation: int | None


class _BrokenError(ValueError):
    """It ends too soon or contradicts itself."""


def picture_of(raw: bytes, *, where: str) -> Picture:
    """Look a picture over. Raises RecordError for what is no picture, or not the whole of one."""
    kind = kind_of(raw)
    if kind is None:
        what = "it is empty" if not raw else f"it is no picture of a kind that is taken ({KINDS})"
        raise RecordError(what, where=where, mend="Send the file that the camera wrote, not a link or a preview")
    try:
        tiff = _EXIF[kind](list(_PARTS[kind](raw)))
    except (_BrokenError, struct.error, IndexError) as exc:
        why = exc if isinstance(exc, _BrokenError) else "its end is missing"
        raise RecordError(
            f"the picture is damaged or cut short ({why})", where=where, mend="Copy it from the camera again"
        ) from exc
    fields = exif_fields(tiff)
    orientation = fields.get(ORIENTATION)
    return Picture(kind, _taken(fields), orientation if orientation in range(1, 9) else None)  # type: ignore[arg-type]


def kind_of(raw: bytes) -> str | None:
    """The media type by the first bytes; None for what is no picture of ours."""
    if raw.startswith(b"\xff\xd8\xff"):
        return JPEG
    if raw.startswith(PNG_SIGN):
        return PNG
    if raw[:4] == b"RIFF" and raw[8:12] == b"WEBP":
        return WEBP
    if raw[4:8] == b"ftyp":
        size = int.from_bytes(raw[:4], "big")
        brands = {raw[at : at + 4] for at in (8, *range(16, min(size, len(raw)), 4))}
        return HEIC if brands & _HEIC_BRANDS else None
    return None


# --- parts --------------------------------------------------------------------------------------------


def jpeg_parts(raw: bytes) -> Iterator[Part]:
    """Segments from SOI to the first EOI, each scan with its coded data; what follows EOI is no part of the picture."""
    yield Part(bytes([SOI]), raw[:2], b"")
    at = 2
    while True:
        while raw[at : at + 2] == b"\xff\xff":
            at += 1
        if raw[at] != 0xFF:
            raise _BrokenError(f"no marker at byte {at}")
        marker = raw[at + 1]
        if marker == EOI:
            yield Part(bytes([EOI]), raw[at : at + 2], b"")
            return
        (length,) = struct.unpack_from(">H", raw, at + 2)
        end = at + 2 + length
        body = raw[at + 4 : end]
        if marker == SOS:
            found = _MARKER.search(raw, end)
            if found is None:
                raise _BrokenError("its end is missing")
            end = found.start()
        if end >= len(raw):
            raise _BrokenError("its end is missing")
        yield Part(bytes([marker]), raw[at:end], body)
        at = end


def png_parts(raw: bytes) -> Iterator[Part]:
    """Chunks from IHDR to IEND, each checked against its CRC."""
    at = len(PNG_SIGN)
    while True:
        length, name = struct.unpack_from(">I4s", raw, at)
        end = at + 12 + length
        whole = raw[at:end]
        if len(whole) < 12 + length or zlib.crc32(whole[4:-4]) != int.from_bytes(whole[-4:], "big"):
            raise _BrokenError(f"chunk at byte {at}")
        yield Part(name, whole, whole[8:-4])
        if name == b"IEND":
            return
        at = end


def webp_parts(raw: bytes) -> Iterator[Part]:
    """Chunks inside the RIFF container; each padded to an even length."""
    end = 8 + int.from_bytes(raw[4:8], "little")
    if end > len(raw):
        raise _BrokenError("its end is missing")
    at = 12
    while at < end:
        name, length = struct.unpack_from("<4sI", raw, at)
        whole = raw[at : at + 8 + length + length % 2]
        if at + len(whole) > end or len(whole) < 8 + length:
            raise _BrokenError(f"chunk at byte {at}")
        yield Part(name, whole, whole[8 : 8 + length])
        at += len(whole)


def _heic_parts(raw: bytes) -> Iterator[Part]:
    """Boxes of the top level."""
    at = 0
    while at < len(raw):
        size, name = struct.unpack_from(">I4s", raw, at)
        if size == 1:
            (size,) = struct.unpack_from(">Q", raw, at + 8)
        size = size or len(raw) - at
        if size < 8 or at + size > len(raw):
            raise _BrokenError(f"box at byte {at}")
        yield Part(name, raw[at : at + size], raw[at + 8 : at + size])
        at += size


_PARTS: Mapping[str, Callable[[bytes], Iterator[Part]]] = MappingProxyType(
    {JPEG: jpeg_parts, PNG: png_parts, WEBP: webp_parts, HEIC: _heic_parts}
)


# --- Exif ---------------------------------------------------------------------------------------------


def _need(parts: list[Part], *names: bytes) -> None:
    for name in names:
        if all(part.name != name for part in parts):
            raise _BrokenError(f"no {name.decode('ascii', 'replace').strip()}")


def _jpeg_exif(parts: list[Part]) -> bytes:
    if not any(part.name[0] in _SOF for part in parts) or not any(part.name[0] == SOS for part in parts):
        raise _BrokenError("no image data")
    return next((p.body[6:] for p in parts if p.name == b"\xe1" and p.body.startswith(EXIF_SIGN)), b"")


def _png_exif(parts: list[Part]) -> bytes:
    _need(parts, b"IHDR", b"IDAT")
    return next((part.body for part in parts if part.name == b"eXIf"), b"")


def _webp_exif(parts: list[Part]) -> bytes:
    if not any(part.name in (b"VP8 ", b"VP8L", b"ANMF") for part in parts):
        raise _BrokenError("no image data")
    return next((part.body.removeprefix(EXIF_SIGN) for part in parts if part.name == b"EXIF"), b"")


def _heic_exif(parts: list[Part]) -> bytes:
    """Looked for by its sign: where it lies is said in a table of items that nothing else here needs."""
    _need(parts, b"meta", b"mdat")
    for part in parts:
        if found := _TIFF.search(part.body):
            return part.body[found.end() :]
    return b""


_EXIF: Mapping[str, Callable[[list[Part]], bytes]] = MappingProxyType(
    {JPEG: _jpeg_exif, PNG: _png_exif, WEBP: _webp_exif, HEIC: _heic_exif}
)


def exif_fields(tiff: bytes) -> dict[int, int | str]:
    """Numbers and texts of the first directory and of the Exif one; nothing of one that can't be read."""
    order = {b"II*\0": "<", b"MM\0*": ">"}.get(tiff[:4])
    if order is None:
        return {}
    try:
        first = dict(_directory(tiff, order, struct.unpack_from(f"{order}I", tiff, 4)[0]))
        below = first.get(EXIF_IFD)
        return first | (dict(_directory(tiff, order, below)) if isinstance(below, int) else {})
    except struct.error:
        return {}


def _directory(tiff: bytes, order: str, at: int) -> Iterator[tuple[int, int | str]]:
    (count,) = struct.unpack_from(f"{order}H", tiff, at)
    for entry in range(at + 2, at + 2 + 12 * count, 12):
        tag, kind, number = struct.unpack_from(f"{order}HHI", tiff, entry)
        length = number * _SIZES.get(kind, 0)
        start = entry + 8 if length <= 4 else struct.unpack_from(f"{order}I", tiff, entry + 8)[0]
        value = tiff[start : start + length]
        if kind == ASCII:
            yield tag, value.split(b"\0")[0].decode("ascii", "replace").strip()
        elif number == 1 and len(value) == _SIZES.get(kind):
            yield tag, int.from_bytes(value, "little" if order == "<" else "big")


def _taken(fields: Mapping[int, int | str]) -> datetime | None:
    """When the shutter was released by the camera's own clock, with its offset where Exif 2.31 or later has one."""
    try:
        taken = datetime.strptime(str(fields[TAKEN]), "%Y:%m:%d %H:%M:%S")
    except (KeyError, ValueError):
        return None
    offset = _OFFSET.fullmatch(str(fields.get(TAKEN_OFFSET, "")))
    if offset is None or int(offset[2]) > 14 or int(offset[3]) > 59:
        return taken
    minutes = int(f"{offset[1]}1") * (60 * int(offset[2]) + int(offset[3]))
    return taken.replace(tzinfo=timezone(timedelta(minutes=minutes)))
