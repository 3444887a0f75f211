"""A picture as it is handed over: the same pixels, byte for byte, without what says where it was taken.

Kept is what a reader needs to show it, which way up it is and when it was taken; Exif is written anew with these two
alone. All else goes: GPS, XMP, captions, maker's notes, thumbnails, what is hung on behind the end. What stays is
listed, not what goes: places hide in more of these than a list would name.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable, Iterable, Mapping
from types import MappingProxyType

from monitor.intake.picture import (
    ASCII,
    EXIF_IFD,
    EXIF_SIGN,
    JPEG,
    LONG,
    ORIENTATION,
    PNG,
    PNG_SIGN,
    SHORT,
    SOI,
    TAKEN,
    TAKEN_OFFSET,
    WEBP,
    Part,
    Picture,
    jpeg_parts,
    picture_of,
    png_parts,
    webp_parts,
)

_APP0, _COM = 0xE0, 0xFE  # application segments, reserved ones and comments have the numbers from here to there
_KEPT_SEGMENTS = ((b"\xe0", b"JFIF\0"), (b"\xe2", b"ICC_PROFILE\0"), (b"\xee", b"Adobe"))  # colours depend on them
_KEPT_PNG = frozenset(
    b"IHDR PLTE IDAT IEND tRNS cHRM gAMA iCCP sBIT sRGB cICP mDCV cLLI bKGD pHYs acTL fcTL fdAT".split()
)
_KEPT_WEBP = frozenset((b"VP8X", b"VP8 ", b"VP8L", b"ALPH", b"ICCP"))
_HAS_EXIF, _HAS_XMP = 0x08, 0x04  # flags of VP8X


def handed_over(raw: bytes) -> bytes | None:
    """The picture without place data; None for one that can't be freed of it safely (HEIC, an animated WebP).

    Raises RecordError for what is no whole picture.
    """
    picture = picture_of(raw, where="picture")
    strip = _STRIPPERS.get(picture.media_type)
    return None if strip is None else strip(raw, _exif(picture))


def _exif(picture: Picture) -> bytes:
    """Exif (a TIFF) that says which way up the picture is and when it was taken; empty where that is not known."""
    first: list[tuple[int, int, bytes]] = []
    below: list[tuple[int, int, bytes]] = []
    if picture.orientation is not None:
        first.append((ORIENTATION, SHORT, struct.pack(">H", picture.orientation & 0xFFFF)))
    if picture.taken is not None:
        below.append((TAKEN, ASCII, picture.taken.strftime("%Y:%m:%d %H:%M:%S\0").encode()))
        if offset := picture.taken.strftime("%z"):
            below.append((TAKEN_OFFSET, ASCII, f"{offset[:3]}:{offset[3:5]}\0".encode()))
    if not first and not below:
        return b""
    at = 8 + 2 + 12 * (len(first) + bool(below)) + 4
    if below:
        first.append((EXIF_IFD, LONG, struct.pack(">I", at)))
    return b"MM\0*" + struct.pack(">I", 8) + _directory(first, 8) + (_directory(below, at) if below else b"")


def _directory(fields: Iterable[tuple[int, int, bytes]], at: int) -> bytes:
    """A directory of a TIFF that stands at `at`, its longer values behind it."""
    fields = list(fields)
    head, behind = struct.pack(">H", len(fields)), b""
    values_at = at + 2 + 12 * len(fields) + 4
    for tag, kind, value in fields:
        count = len(value) if kind == ASCII else 1
        stored = value.ljust(4, b"\0") if len(value) <= 4 else struct.pack(">I", values_at + len(behind))
        behind += value if len(value) > 4 else b""
        head += struct.pack(">HHI", tag, kind, count) + stored
    return head + bytes(4) + behind


def _jpeg(raw: bytes, exif: bytes) -> bytes:
    kept = b"".join(part.whole for part in jpeg_parts(raw) if part.name[0] != SOI and _shows(part))
    segment = b"\xff\xe1" + struct.pack(">H", 8 + len(exif)) + EXIF_SIGN + exif if exif else b""
    return raw[:2] + segment + kept


def _shows(part: Part) -> bool:
    """Whether a segment has to do with what is seen."""
    own = not _APP0 <= part.name[0] <= _COM
    return own or any(part.name == name and part.body.startswith(sign) for name, sign in _KEPT_SEGMENTS)


def _png(raw: bytes, exif: bytes) -> bytes:
    head, *rest = (part.whole for part in png_parts(raw) if part.name in _KEPT_PNG)
    chunk = b"eXIf" + exif
    added = struct.pack(">I", len(exif)) + chunk + struct.pack(">I", zlib.crc32(chunk)) if exif else b""
    return PNG_SIGN + head + added + b"".join(rest)


def _webp(raw: bytes, exif: bytes) -> bytes | None:
    parts = list(webp_parts(raw))
    if any(part.name == b"ANMF" for part in parts):
        return None
    kept = b"".join(_flagged(part, exif) for part in parts if part.name in _KEPT_WEBP)
    if exif:
        kept += b"EXIF" + struct.pack("<I", len(exif)) + exif + bytes(len(exif) % 2)
    return b"RIFF" + struct.pack("<I", 4 + len(kept)) + b"WEBP" + kept


def _flagged(part: Part, exif: bytes) -> bytes:
    """A chunk; of VP8X with the flags of what is left."""
    if part.name != b"VP8X":
        return part.whole
    flags = part.body[0] & ~(_HAS_EXIF | _HAS_XMP) | (_HAS_EXIF if exif else 0)
    return part.whole[:8] + bytes([flags]) + part.whole[9:]


_STRIPPERS: Mapping[str, Callable[[bytes, bytes], bytes | None]] = MappingProxyType(
    {JPEG: _jpeg, PNG: _png, WEBP: _webp}
)
