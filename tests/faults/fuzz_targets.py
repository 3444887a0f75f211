"""What takes bytes from outside, each as a function of bytes that may only end well or in an error of ours.

A target is made once, in a folder of its own, and then given one input after the other. Any other exception than a
WallclimeError, an exit status beyond 3, a hang or memory without bounds is a fault.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import random
import shlex
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from zoneinfo import ZoneInfo

from every_byte import files, tiny_bundle

from cli.main import run
from monitor.basis.clock import SetClock
from monitor.basis.errors import WallclimeError
from monitor.basis.packing import decode_packed, unpack
from monitor.basis.segment import decode_strictly
from monitor.basis.times import DAY, parse_time
from monitor.basis.units import parse_area, parse_duration, parse_length, parse_percent, parse_temperature, unit_of
from monitor.basis.values import Quantity
from monitor.config.jobfile import example_text, read_told
from monitor.config.profile import load_profile, profile_from_text
from monitor.config.settings import Field, Source, load_settings, starter_text
from monitor.intake import loggerfile, payload
from monitor.intake.handover import handed_over
from monitor.intake.loggerguess import Columns, guess
from monitor.intake.paper import document_type
from monitor.intake.picture import picture_of
from monitor.intake.points import read_heights, read_points
from monitor.intake.topics import compile_topic
from monitor.seal import codes, timestamp
from monitor.seal.verify import verify
from monitor.watch.desk import open_desk
from monitor.watch.papers.forms import import_form

Target = Callable[[bytes], None]
NOW = 1_767_595_200_000  # 2026-01-05T06:40:00Z
AIR = {
    Quantity.AIR_TEMPERATURE: Field("/a/0/t", "degC"),
    Quantity.AIR_HUMIDITY: Field("/h", "%"),
}
_TOPIC = "site/{sensor}/climate"
_FORMS = ("rfc3339", "seconds", "milliseconds")
SOURCES = (
    Source(_TOPIC, "json", AIR, _TOPIC),
    *(Source(_TOPIC, "json", AIR, _TOPIC, "/time", form) for form in _FORMS),
    Source("site/{sensor}/humidity", "number", {Quantity.AIR_HUMIDITY: Field("", "%")}, "site/{sensor}"),
    Source(_TOPIC, "senml", {}, "{sensor}/"),
    Source(_TOPIC, "plain", {}, _TOPIC),
)


def _payload(_folder: Path) -> Target:
    """First byte: which source, and whether the message is live, retained or waited; the rest is what was sent."""
    decoders = [payload.Decoder(source) for source in SOURCES]
    topics = [source.topic.replace("{sensor}", "hall") for source in SOURCES]

    def one(data: bytes) -> None:
        first = data[0] if data else 0
        number, how = first % len(SOURCES), first // len(SOURCES)
        moment = payload.Moment(NOW, NOW, bool(how & 1), bool(how & 2), NOW - DAY if how & 4 else None, 7 * DAY)
        stream = decoders[number].stream_of(topics[number])
        assert stream is not None
        for reading in decoders[number].decode(stream, topics[number], data[1:], moment):
            assert reading.value - reading.value == 0  # finite
            assert 0 <= reading.t <= NOW + 120_000

    return one


def _topic(_folder: Path) -> Target:
    """A template and a topic, a line each."""

    def one(data: bytes) -> None:
        template, _, name = data.decode("utf-8", "replace").partition("\n")
        compile_topic(template).match(name)

    return one


def _written(read: Callable[[Path], object], name: str) -> Callable[[Path], Target]:
    """A target that reads a file."""

    def make(folder: Path) -> Target:
        file = folder / name

        def one(data: bytes) -> None:
            file.write_bytes(data)
            read(file)

        return one

    return make


def _logger(file: Path) -> None:
    columns = Columns(("Date/Time",), "Temp", "RH", zone=ZoneInfo("America/New_York"), dst="earlier")
    guessed = guess(file, columns)
    loggerfile.check(file, guessed)
    for _ in loggerfile.read(file, guessed):
        pass


def _settings(folder: Path) -> Target:
    def one(data: bytes) -> None:
        (folder / "wallclime.toml").write_bytes(data)
        load_settings(folder, {})

    return one


def _points(file: Path) -> None:
    with contextlib.suppress(WallclimeError):
        read_points(file, ("along", "up"), {})
    read_heights(file, {})


def _texts(_folder: Path) -> Target:
    """Everything that people type as one word: amounts, times, units, codes."""
    readers = (parse_temperature, parse_percent, parse_duration, parse_length, parse_area)

    def one(data: bytes) -> None:
        text = data.decode("utf-8", "replace")
        for read in (
            *readers,
            partial(parse_time, zone=ZoneInfo("Australia/Lord_Howe"), where="--at"),
            partial(unit_of, quantity=Quantity.AIR_HUMIDITY, where="unit"),
            codes.read_code,
        ):
            with contextlib.suppress(WallclimeError):
                read(text)

    return one


def _segment(_folder: Path) -> Target:
    def one(data: bytes) -> None:
        for read in (decode_strictly, unpack, decode_packed):
            with contextlib.suppress(ValueError):  # their contract
                read(data)

    return one


def _picture(_folder: Path) -> Target:
    def one(data: bytes) -> None:
        with contextlib.suppress(WallclimeError):
            document_type(data, where="file")
        with contextlib.suppress(WallclimeError):
            handed_over(data)
        picture_of(data, where="file")

    return one


def _stamp(_folder: Path) -> Target:
    return lambda data: void(timestamp.imprint(data))


def void(_value: object) -> None:
    """Nothing is done with it."""


def _form(folder: Path) -> Target:
    """A saved form for a job; nothing of a bad one is entered."""
    home, file = folder / "home", folder / "form.json"
    _opened(home)

    def one(data: bytes) -> None:
        file.write_bytes(data)
        with open_desk(home, clock=SetClock(NOW)) as desk:
            import_form(desk, file, who=None)

    return one


def _bundle(folder: Path) -> Target:
    """First two bytes: which file of a small bundle; the rest is what stands in it."""
    root = folder / "bundle"
    tiny_bundle(root)
    paths = files(root)

    def one(data: bytes) -> None:
        path = paths[int.from_bytes(data[:2]) % len(paths)]
        whole = path.read_bytes()
        path.write_bytes(data[2:])
        try:
            assert data[2:] == whole or not verify(root).whole or path.suffix in (".html", ".md")
        finally:
            path.write_bytes(whole)

    return one


_LINES = (
    "takeoff --length {} --height {} --opening {}",
    "job open {} --zone {} --length {} --height {}",
    "job open w --zone UTC --length 4m --height 2m --boxes-place {} --who {}",
    "log deliver wall --at {} --boxes {} --lot {} --stack-height {} --box-temperature {}",
    "log install wall --start {} --not-ready --reason {} --lot {}",
    "log check wall --surface {} --point {} --who {}",
    "log moisture wall --meter {} --scale {} --material {} --point {}",
    "log reading wall --temperature {} --humidity {} --instrument {}",
    "log note wall {} --at {}",
    "log correct wall {} --set {} --reason {}",
    "sensor add {} --topic {} --hold {}",
    "sensor assign {} --job wall --at {} --height {} --near {}",
    "assess wall --json --at {}",
    "status {}",
    "care due --within {}",
    "seal witness {}",
    "quarantine list --reason {}",
    "{} {} {}",
)


def _command(folder: Path) -> Target:
    """First byte: which command; the lines that follow are its words. What a command may end with is 0 to 3."""
    home = folder / "home"
    _opened(home)
    os.chdir(folder)

    def one(data: bytes) -> None:
        first, given = (data[0] if data else 0), data[1:].decode("utf-8", "replace").split("\n")
        words = [
            word.replace("{}", given[number % len(given)])
            for number, word in enumerate(shlex.split(_LINES[first % len(_LINES)]))
        ]
        if words[0] not in ("serve", "simulate"):  # which go on until they are told to end
            code, said = _ran(["--home", str(home), *words])
            assert code in (0, 1, 2, 3), (words, code)
            assert "Traceback" not in said, (words, said)

    return one


def _ran(words: list[str], at: int = NOW) -> tuple[object, str]:
    """A command run at `at`: what it ended with, and all that it said."""
    said = io.StringIO()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
        try:
            run(words, clock=SetClock(at))
        except SystemExit as ended:
            return ended.code, said.getvalue()


def _opened(home: Path) -> None:
    words = ["job", "open", "wall", "--zone", "UTC", "--length", "4 m", "--height", "2.4 m", "--who", "Robin"]
    code, said = _ran(["--home", str(home), *words], NOW - 3 * DAY)
    assert code == 0, said


TARGETS: Mapping[str, Callable[[Path], Target]] = {
    "payload": _payload,
    "topic": _topic,
    "logger-file": _written(_logger, "logger.csv"),
    "settings": _settings,
    "profile": lambda _folder: lambda data: void(profile_from_text(data.decode("utf-8", "replace"), where="profile")),
    "job-file": _written(lambda file: read_told({}, file), "job.toml"),
    "points": _written(_points, "points.csv"),
    "text": _texts,
    "segment": _segment,
    "picture": _picture,
    "time-stamp": _stamp,
    "form": _form,
    "bundle": _bundle,
    "command": _command,
}

_JSON = b'{"a":[{"t":21.5}],"h":"47,5","time":"2026-01-05T06:39:00+01:00","simulated":true}'
_SENML = b'[{"bn":"hall/","bt":1767595100,"n":"t","u":"Cel","v":21.5},{"n":"h","u":"%RH","v":47,"t":-60,"vs":"x"}]'
_PLAIN = b'{"air":{"temperature":{"value":"70.1","unit":"F"},"rh_pct":47.5},"ts":1767595100,"battery":88}'
_CSV = b"Date/Time,Temp,RH\n2026-01-05 06:40,21.5,47.0\n05/01/2026 06:41:30 PM,21.6,nan\n"
_FORM = {
    "wallclime_form": 1,
    "job": "wall",
    "opened": NOW - 3 * DAY,
    "who": "Robin",
    "items": [{"id": "a", "section": "note", "at": "2026-01-05T06:00", "said": {"text": "x"}}],
}
_PNG = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\1\0\0\0\1\x08\0\0\0\0:~\x9bU\0\0\0\0IEND\xaeB`\x82"
_JPEG = b"\xff\xd8\xff\xe1\0\x16Exif\0\0II*\0\x08\0\0\0\0\0\0\0\0\0\xff\xda\0\x02\xff\xd9"
SEEDS: Mapping[str, tuple[bytes, ...]] = {
    "payload": (
        b"\x00" + _JSON,
        b"\x09" + _JSON,
        b"\x04" + b"47.5",
        b"\x05" + _SENML,
        b"\x06" + _PLAIN,
        b"\x06" + _JSON,
        b"\x0b[]",
        b"\x01\xef\xbb\xbf{}",
    ),
    "topic": (b"site/{sensor}/climate\nsite/hall/climate", b"{a}/+/#\nx/y"),
    "logger-file": (
        _CSV,
        b"\xff\xfe" + _CSV.decode().encode("utf-16-le"),
        _CSV.replace(b",", b";").replace(b".", b","),
    ),
    "settings": (starter_text().encode(), b'[[source]]\ntopic="a/{sensor}"\nformat="json"\n[broker]\nport=1883\n'),
    "profile": (load_profile("laminate-planks").text.encode(), b"[band]\nhumidity=['35 %','65 %']\n"),
    "job-file": (example_text().encode(), b'zone="UTC"\n'),
    "points": (b"along,up,off\n0 m,0 m,1 mm\n0.3 m,0 m,-2 mm\n", b"up,off\n0,0\n"),
    "text": (b"16 ft 4 3/8 in", b"68 degF", b"47.5 %", b"30 min", b"2026-03-08T02:30", b"10 sq ft"),
    "segment": (b"wallclime segment 1\n", bytes(64)),
    "picture": (_PNG, _JPEG, b"RIFF\x0c\0\0\0WEBPVP8 \0\0\0\0", b"%PDF-1.7\n%%EOF"),
    "time-stamp": (b"0\x03\x02\x01\x00",),
    "form": (json.dumps(_FORM).encode(),),
    "bundle": (b"\0\0x", b"\0\x05{}", b"\0\x09[]"),
    "command": tuple(bytes([n]) + b"16 ft\n8 ft\ndoor 36 in x 80 in" for n in range(len(_LINES))),
}
_SIGNS = (
    *(sign.encode() for sign in "\0\n\r\"'{}[],;:=-+%/"),
    *(b"\xff", b"\xe2\x80\xae", b"\x1b[2J", b"{{7*7}}", b"../", b"1e999", b"NaN", b"-0", b"9" * 30),
    *(b"\xed\xa0\x80", b"' OR 1=1 --", b"\r\n"),
)


def mutated(data: bytes, draw: random.Random, others: tuple[bytes, ...]) -> bytes:
    """A seed changed by lot in one to eight places: bytes changed, cut out, doubled, put in, spliced with another."""
    found = bytearray(data)
    for _ in range(draw.randint(1, 8)):
        at, to = sorted((draw.randint(0, len(found)), draw.randint(0, len(found))))
        match draw.randrange(6):
            case 0 if found:
                found[min(at, len(found) - 1)] ^= 1 << draw.randrange(8)
            case 1:
                del found[at : min(to, at + 40)]
            case 2:
                found[at:at] = found[at : min(to, at + 40)] * draw.randint(1, 3)
            case 3:
                found[at:at] = draw.choice(_SIGNS)
            case 4:
                found[at:at] = draw.randbytes(draw.randint(1, 8))
            case _:
                other = draw.choice(others)
                start = draw.randint(0, len(other))
                found[at:to] = other[start : start + 60]
    return bytes(found)


def harmless(one: Target, data: bytes) -> None:
    """Give an input to a target; an error of ours is an answer."""
    with contextlib.suppress(WallclimeError):
        one(data)
