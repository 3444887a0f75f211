"""Tiny pictures made by hand, with a place inside: Exif with GPS, XMP, captions. The place is invented.

JPEG is a grey 8 x 8 (T.81: one code each, so that two bits are the whole picture), PNG 1 x 1 grey, WebP carries bytes
that stand for a picture, HEIC is boxes only.
"""

from __future__ import annotations

import struct
import zlib

LATITUDE = struct.pack(">6I", 48, 1, 7, 1, 4217, 100)  # 48 deg 7' 42.17"
XMP = b"<x:xmpmeta><exif:GPSLatitude>48,7.703N</exif:GPSLatitude></x:xmpmeta>"
TRACES = (LATITUDE, b"GPSLatitude", b"48,7.703N", b"Invented Lane 7", b"thumbnail", b"maker", b"xmpmeta")


def exif(*, taken: bytes | None = b"2026:01:05 08:30:15", offset: bytes | None = b"-05:00") -> bytes:
    """A big-endian TIFF: orientation 6, a caption, a maker's note, a time, and GPS with LATITUDE."""
    data, below = b"", [(0x927C, 7, b"maker of the camera: Invented Lane 7")]
    if taken is not None:
        below.insert(0, (0x9003, 2, taken + b"\0"))
    if offset is not None:
        below.insert(1, (0x9011, 2, offset + b"\0"))
    gps = [(1, 2, b"N\0"), (2, 5, LATITUDE)]
    first = [(0x010E, 2, b"Invented Lane 7\0"), (0x0112, 3, b"\0\6")]
    sizes = {2: 1, 3: 2, 4: 4, 5: 8, 7: 1}
    at_below = 8 + 2 + 12 * 4 + 4
    at_gps = at_below + 2 + 12 * len(below) + 4
    behind = at_gps + 2 + 12 * len(gps) + 4

    def directory(fields):
        nonlocal data
        out = struct.pack(">H", len(fields))
        for tag, kind, value in fields:
            held = value.ljust(4, b"\0") if len(value) <= 4 else struct.pack(">I", behind + len(data))
            data += value if len(value) > 4 else b""
            out += struct.pack(">HHI", tag, kind, len(value) // sizes[kind]) + held
        return out + bytes(4)

    pointers = [(0x8769, 4, struct.pack(">I", at_below)), (0x8825, 4, struct.pack(">I", at_gps))]
    heads = directory(first + pointers) + directory(below) + directory(gps)
    return b"MM\0*" + struct.pack(">I", 8) + heads + data


def segment(marker: int, body: bytes) -> bytes:
    return bytes([0xFF, marker]) + struct.pack(">H", len(body) + 2) + body


# A quantisation table of ones; DC and AC tables with the single code 0: difference 0, end of block; bits 00, then ones.
FRAME = segment(0xDB, b"\0" + b"\1" * 64) + segment(0xC0, b"\x08\0\x08\0\x08\1\1\x11\0")
TABLES = segment(0xC4, b"\0\1" + bytes(15) + b"\0") + segment(0xC4, b"\x10\1" + bytes(15) + b"\0")
SCAN = segment(0xDA, b"\1\1\0\0\x3f\0") + b"\x3f"
JFIF = segment(0xE0, b"JFIF\0\1\2\0\0\1\0\1\0\0")
ICC = segment(0xE2, b"ICC_PROFILE\0\1\1profile")
PIXELS = FRAME + TABLES + SCAN


def jpeg(tiff: bytes | None = None, *, pixels: bytes = PIXELS) -> bytes:
    """With Exif, XMP, a caption of the press, a table of further images, a comment, and a film behind its end."""
    place = segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0" + XMP) + segment(0xED, b"Photoshop 3.0\0Invented Lane 7")
    further = segment(0xE2, b"MPF\0MM\0*thumbnail") + segment(0xFE, b"Invented Lane 7")
    own = segment(0xE1, b"Exif\0\0" + (exif() if tiff is None else tiff))
    return (
        b"\xff\xd8" + JFIF + own + place + ICC + further + pixels + b"\xff\xd9" + b"\0\0\0\x20ftypmp42 Invented Lane 7"
    )


def plain_jpeg(filling: int = 0) -> bytes:
    """Without anything but pixels; `filling` bytes longer by a comment or more."""
    comments = b"".join(segment(0xFE, b"." * min(65_000, filling - at)) for at in range(0, filling, 65_000))
    return b"\xff\xd8" + JFIF + comments + PIXELS + b"\xff\xd9"


def chunk(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


IHDR = chunk(b"IHDR", struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0))
IDAT = chunk(b"IDAT", zlib.compress(b"\0\x80"))
GAMMA = chunk(b"gAMA", struct.pack(">I", 45455))


def png(tiff: bytes | None = None) -> bytes:
    texts = chunk(b"tEXt", b"Location\0Invented Lane 7") + chunk(b"iTXt", b"XML:com.adobe.xmp\0\0\0\0\0" + XMP)
    own = chunk(b"eXIf", exif() if tiff is None else tiff)
    return b"\x89PNG\r\n\x1a\n" + IHDR + GAMMA + own + texts + IDAT + chunk(b"IEND", b"") + b"Invented Lane 7"


def riff(name: bytes, body: bytes) -> bytes:
    return name + struct.pack("<I", len(body)) + body + bytes(len(body) % 2)


VP8 = riff(b"VP8 ", b"\x10\0\0\x9d\x01\x2a\1\0\1\0odd")


def webp(tiff: bytes | None = None, *, image: bytes = VP8) -> bytes:
    """Extended, flags Exif and XMP (RFC 9649: 0x08 and 0x04)."""
    head = riff(b"VP8X", b"\x0c\0\0\0" + bytes(6))
    own = riff(b"EXIF", b"Exif\0\0" + (exif() if tiff is None else tiff))
    body = b"WEBP" + head + image + own + riff(b"XMP ", XMP) + riff(b"LOC ", b"Invented Lane 7")
    return b"RIFF" + struct.pack("<I", len(body)) + body


def box(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", 8 + len(body)) + name + body


def heic(*, brands: bytes = b"mif1heic") -> bytes:
    item = struct.pack(">I", 6) + b"Exif\0\0" + exif()
    return box(b"ftyp", b"mif1\0\0\0\0" + brands) + box(b"meta", bytes(4)) + box(b"mdat", b"coded" + item)


PNG_WITHOUT_PIXELS = b"\x89PNG\r\n\x1a\n" + IHDR + chunk(b"IEND", b"")
