"""Where things stand in a bundle: the names of its files, and the lines of those that have lines.

bagit.txt bag-info.txt manifest-sha256.txt tagmanifest-sha256.txt    a bag of BagIt 1.0
signature.json                    the tag manifest's SHA-256, signed
data/bundle.json                  what this is: job, sensors, day it was made
data/VERIFY.md  data/statement.md how to check it; a form for a qualified person
data/report.html assessment.json profile.toml ...   documents
data/log/job.jsonl  sensors.jsonl the condition log
data/seals/keys.jsonl heads.jsonl records.jsonl     keys, signed heads, leaves with their proofs
data/segments/001/2026-01-05-17.segment             sealed readings of the first sensor: day and leaf
data/segments/001/2020-01-05-17-thinned.segment     what is left of them where the day was thinned
data/unsealed/001/2026-01-09.segment                readings of days that are not sealed yet
data/readings/001/2026-01.csv  data/senml/001/2026-01.json   the same readings to look at
data/attachments/SHA256.jpg       photos and documents that the log names
data/quarantine.jsonl             what was refused, with proofs
data/timestamps/HASH.tsr          RFC 3161 time-stamps of heads
"""

from __future__ import annotations

import base64
import binascii
from dataclasses import dataclass
from typing import Any, NamedTuple

from monitor.basis.values import Entry, Kind
from monitor.seal.canonical import bytes_of_hex, text_of, value_of
from monitor.seal.chain import Withheld, body_of
from monitor.seal.heads import SignedHead
from monitor.seal.keys import Statement
from monitor.seal.records import Refusal, refusal_text

FORMAT = "wallclime-bundle 1"
ABOUT, VERIFY, STATEMENT = "bundle.json", "VERIFY.md", "statement.md"
REPORT, ASSESSMENT, PROFILE = "report.html", "assessment.json", "profile.toml"
JOB_LOG, SENSORS_LOG = "log/job.jsonl", "log/sensors.jsonl"
KEYS, HEADS, RECORDS = "seals/keys.jsonl", "seals/heads.jsonl", "seals/records.jsonl"
QUARANTINE = "quarantine.jsonl"
THINNED = "thinned"  # stands for a quantity in the name of a segment
SIGNATURE = "signature.json"
# What may differ between two bundles of one record: they tell when they were made, or follow from what does.
VARYING = (
    "bag-info.txt",
    "data/assessment.json",
    "data/bundle.json",
    "data/report.html",
    "manifest-sha256.txt",
    "signature.json",
    "tagmanifest-sha256.txt",
)

_EXTENSION = {"image/jpeg": "jpg", "image/png": "png", "image/webp": "webp", "application/pdf": "pdf"}


@dataclass(frozen=True, slots=True)
class ProvenLeaf:
    """A leaf with the proof that it is in the tree of the last head."""

    index: int
    text: str
    proof: tuple[bytes, ...]


class ProvenHead(NamedTuple):
    """A signed head with the proof that the tree of the last head begins with its own (none for the last)."""

    signed: SignedHead
    proof: tuple[bytes, ...]


class ProvenRefusal(NamedTuple):
    """A refused thing: the leaf of its day's record, its place in the tree of that day, and the proof."""

    leaf: int
    place: int
    refusal: Refusal
    proof: tuple[bytes, ...]


def number_of(sensor: int) -> str:
    """The folder of a sensor: its place in the bundle, from 1."""
    return f"{sensor + 1:03d}"


def segment_name(sensor: int, day: str, leaf: int, quantity: str | None = None) -> str:
    """The file of a sealed segment; of one channel alone where the others are withheld."""
    return f"segments/{number_of(sensor)}/{day}-{leaf}{f'-{quantity}' if quantity else ''}.segment"


def unsealed_name(sensor: int, day: str) -> str:
    """The file of the readings of a day that is not sealed yet."""
    return f"unsealed/{number_of(sensor)}/{day}.segment"


def csv_name(sensor: int, month: str) -> str:
    """The table of a sensor's month."""
    return f"readings/{number_of(sensor)}/{month}.csv"


def senml_name(sensor: int, month: str) -> str:
    """The SenML pack of a sensor's month."""
    return f"senml/{number_of(sensor)}/{month}.json"


def senml_base(sensor: int) -> str:
    """The base name of a sensor in SenML, where not every stream is a name."""
    return f"sensor{number_of(sensor)}"


def attachment_name(sha256: str, media_type: str) -> str:
    """The file of an attachment."""
    return f"attachments/{sha256}.{_EXTENSION.get(media_type, 'bin')}"


# --- lines ------------------------------------------------------------------------------------------------------------


def _hex(proof: tuple[bytes, ...]) -> list[str]:
    return [one.hex() for one in proof]


def _line(text: str, *names: str) -> dict[str, Any]:
    """The object of a line, which has exactly these names. Raises ValueError."""
    value = value_of(text)
    if not isinstance(value, dict) or set(value) != set(names):
        raise ValueError(f"it should have {', '.join(names)}")
    return value


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError("a text is none")
    return value


def _whole(value: Any) -> int:
    if type(value) is not int or value < 0:
        raise ValueError("a number is none")
    return value


def _proof(value: Any) -> tuple[bytes, ...]:
    if not isinstance(value, list) or len(value) > 64:
        raise ValueError("a proof is none")
    return tuple(bytes_of_hex(one, 32) for one in value)


def write_entry(entry: Entry | Withheld) -> str:
    """The line of an entry, or of one whose body is withheld."""
    frame = {"chain": entry.chain, "number": entry.number, "entered": entry.entered, "link": entry.link.hex()}
    if isinstance(entry, Withheld):
        return text_of({**frame, "body_hash": entry.body_hash.hex()})
    return text_of({**frame, "salt": entry.salt.hex(), "body": text_of(body_of(entry))})


def read_entry(text: str) -> Entry | Withheld:
    """The entry of a line. Raises ValueError."""
    value = value_of(text)
    if isinstance(value, dict) and "body_hash" in value:
        value = _line(text, "chain", "number", "entered", "link", "body_hash")
        chain, number, entered = _text(value["chain"]), _whole(value["number"]), _whole(value["entered"])
        return Withheld(chain, number, entered, bytes_of_hex(value["body_hash"], 32), bytes_of_hex(value["link"], 32))
    value = _line(text, "chain", "number", "entered", "link", "salt", "body")
    body = _line(_text(value["body"]), "kind", "at", "who", "body", "corrects")
    if (
        not isinstance(body["body"], dict)
        or type(body["at"]) is not int
        or not isinstance(body["corrects"], int | None)
    ):
        raise ValueError("what the entry says can't be read")
    return Entry(
        chain=_text(value["chain"]),
        number=_whole(value["number"]),
        kind=Kind(body["kind"]),
        at=body["at"],
        entered=_whole(value["entered"]),
        who=_text(body["who"]),
        body=body["body"],
        corrects=body["corrects"],
        salt=bytes_of_hex(value["salt"]),
        link=bytes_of_hex(value["link"], 32),
    )


def write_statement(statement: Statement) -> str:
    """The line of a statement about a key."""
    return text_of({"statement": statement.text, "new": statement.new.hex(), "old": statement.old.hex()})


def read_statement(text: str) -> Statement:
    """The statement of a line. Raises ValueError."""
    value = _line(text, "statement", "new", "old")
    return Statement(_text(value["statement"]), bytes_of_hex(value["new"]), bytes_of_hex(value["old"]))


def write_head(one: ProvenHead) -> str:
    """The line of a head."""
    return text_of({"head": one.signed.text, "signature": one.signed.signature.hex(), "consistency": _hex(one.proof)})


def read_head_line(text: str) -> ProvenHead:
    """The head of a line; what it says is not looked at yet. Raises ValueError."""
    value = _line(text, "head", "signature", "consistency")
    signed = SignedHead(_text(value["head"]), bytes_of_hex(value["signature"]))
    return ProvenHead(signed, _proof(value["consistency"]))


def write_leaf(one: ProvenLeaf) -> str:
    """The line of a record."""
    return text_of({"index": one.index, "leaf": one.text, "inclusion": _hex(one.proof)})


def read_leaf(text: str) -> ProvenLeaf:
    """The record of a line; what it says is not looked at yet. Raises ValueError."""
    value = _line(text, "index", "leaf", "inclusion")
    return ProvenLeaf(_whole(value["index"]), _text(value["leaf"]), _proof(value["inclusion"]))


def write_refusal(one: ProvenRefusal) -> str:
    """The line of a refused thing."""
    item, raw = refusal_text(one.refusal), base64.b64encode(one.refusal.raw).decode()
    return text_of({"record": one.leaf, "place": one.place, "item": item, "raw": raw, "inclusion": _hex(one.proof)})


def read_refusal(text: str) -> ProvenRefusal:
    """The refused thing of a line. Raises ValueError, also where its bytes are not those of its hash."""
    value = _line(text, "record", "place", "item", "raw", "inclusion")
    said = _line(_text(value["item"]), *Refusal._fields)
    try:
        raw = base64.b64decode(_text(value["raw"]), validate=True)
    except binascii.Error as exc:
        raise ValueError("its bytes are not in base64") from exc
    refusal = Refusal(**{**said, "raw": raw})
    if refusal_text(refusal) != value["item"]:
        raise ValueError("its bytes are not those of its hash")
    return ProvenRefusal(_whole(value["record"]), _whole(value["place"]), refusal, _proof(value["inclusion"]))


def write_signature(statement: str, signature: bytes) -> bytes:
    """The file that signs the tag manifest."""
    return (text_of({"statement": statement, "signature": signature.hex()}) + "\n").encode()


def read_signature(data: bytes) -> tuple[str, bytes]:
    """The signed statement and the signature of that file. Raises ValueError."""
    text = data.decode()
    if not text.endswith("\n"):
        raise ValueError("it is cut short")
    value = _line(text[:-1], "statement", "signature")
    return _text(value["statement"]), bytes_of_hex(value["signature"], 64)
