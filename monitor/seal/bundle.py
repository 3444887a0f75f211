"""The bundle: what one job's record is handed over as. Written from values; see `layout` for what stands where.

The same values give the same bytes. Of two bundles of one record made at different times, only the files of
`layout.VARYING` differ.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import NamedTuple

from monitor.basis.errors import ReportError
from monitor.basis.segment import Segment, content_hash, decode, encode
from monitor.basis.times import rfc3339
from monitor.basis.values import Entry
from monitor.seal import keys, layout, tables
from monitor.seal.bag import write_bag
from monitor.seal.canonical import text_of
from monitor.seal.chain import Withheld
from monitor.seal.heads import SignedHead
from monitor.seal.keys import Key, Statement, fingerprint, public_of
from monitor.seal.layout import ProvenHead, ProvenLeaf, ProvenRefusal
from monitor.seal.merkle import Tree
from monitor.seal.records import AMENDMENT, SEGMENT, Record, read_record


class Attachment(NamedTuple):
    """A photo or document that the log names by its SHA-256."""

    content: bytes
    media_type: str


@dataclass(frozen=True, slots=True)
class Contents:
    """All that a bundle of one job holds.

    `made` UTC ms; `segments` of each segment or amendment leaf its canonical bytes, or of a disclosure those of the
    channels that are shown; `unsealed` canonical bytes; `documents` by the name of their file; `timestamps` by the hash
    of the head. A document called as the form for a qualified person stands in its place, filled in.
    """

    job: str
    zone: str
    made: int
    software: str
    statements: Sequence[Statement]
    heads: Sequence[ProvenHead]
    leaves: Sequence[ProvenLeaf]
    segments: Mapping[int, Sequence[bytes]]
    log: Sequence[Entry | Withheld]
    sensors_log: Sequence[Entry | Withheld]
    unsealed: Sequence[bytes] = ()
    refused: Sequence[ProvenRefusal] = ()
    attachments: Iterable[tuple[str, Attachment]] = ()
    documents: Mapping[str, bytes] = field(default_factory=dict)
    timestamps: Mapping[str, bytes] = field(default_factory=dict)
    disclosure: bool = False


def proven_leaves(tree: Tree, leaves: Iterable[tuple[int, str]], size: int) -> list[ProvenLeaf]:
    """Leaves (index, text) with their proofs in the tree of `size`, in order."""
    return [ProvenLeaf(index, text, tuple(tree.inclusion(index, size))) for index, text in sorted(leaves)]


def proven_heads(tree: Tree, heads: Sequence[SignedHead]) -> list[ProvenHead]:
    """Heads, oldest first, each with the proof that the last one's tree begins with its own."""
    size = heads[-1].head.size
    return [ProvenHead(one, tuple(tree.consistency(one.head.size, size))) for one in heads]


def write(target: Path, contents: Contents, key: Key | None) -> str:
    """Write the bundle into the new folder `target`, signed with `key`; answers the tag manifest's SHA-256, in hex.

    A disclosure may go without a key: what it shows is proven by the heads. Raises ReportError.
    """
    info = [
        ("Bagging-Date", rfc3339(contents.made)[:10]),
        ("Bag-Software-Agent", contents.software),
        ("External-Description", f"Record of the job {contents.job}; begin with data/VERIFY.md"),
    ]
    digest = write_bag(target, _payload(contents), info)
    if key is not None:
        last = contents.heads[-1].signed.hash if contents.heads else None
        own = fingerprint(public_of(key))
        said = {"tagmanifest": digest, "made": contents.made, "head": last, "key": own}
        text = text_of(said)
        try:
            (target / layout.SIGNATURE).write_bytes(layout.write_signature(text, keys.sign(key, keys.BUNDLE, text)))
        except OSError as exc:
            raise ReportError(
                f"it can't be written ({exc.strerror})", where=str(target), mend="Make room, or name another folder"
            ) from exc
    return digest


def _payload(contents: Contents) -> Iterator[tuple[str, bytes]]:
    records = {one.index: read_record(one.text) for one in contents.leaves}
    unsealed = [decode(data) for data in contents.unsealed]
    sensors = sorted({r["stream"] for r in records.values() if "stream" in r} | {one.stream for one in unsealed})
    yield layout.ABOUT, _about(contents, sensors)
    yield layout.VERIFY, template(layout.VERIFY)
    yield from {layout.STATEMENT: template(layout.STATEMENT), **contents.documents}.items()
    yield layout.JOB_LOG, _lines(layout.write_entry(one) for one in contents.log)
    yield layout.SENSORS_LOG, _lines(layout.write_entry(one) for one in contents.sensors_log)
    yield layout.KEYS, _lines(layout.write_statement(one) for one in contents.statements)
    yield layout.HEADS, _lines(layout.write_head(one) for one in contents.heads)
    yield layout.RECORDS, _lines(layout.write_leaf(one) for one in contents.leaves)
    yield layout.QUARANTINE, _lines(layout.write_refusal(one) for one in contents.refused)
    for sha256, attachment in contents.attachments:
        yield layout.attachment_name(sha256, attachment.media_type), attachment.content
    for head, token in contents.timestamps.items():
        yield f"timestamps/{head}.tsr", token
    for place, stream in enumerate(sensors):
        own = {index: record for index, record in records.items() if record.get("stream") == stream}
        yield from _readings(place, own, contents.segments, [one for one in unsealed if one.stream == stream])


def template(name: str) -> bytes:
    """One of the texts that go into every bundle."""
    return (files("monitor.seal") / name).read_bytes()


def _about(contents: Contents, sensors: Sequence[str]) -> bytes:
    said = {
        "format": layout.FORMAT,
        "job": contents.job,
        "zone": contents.zone,
        "made": contents.made,
        "software": contents.software,
        "sensors": list(sensors),
        "disclosure": contents.disclosure,
        "varying": list(layout.VARYING),
    }
    return _lines([text_of(said)])


def _lines(lines: Iterable[str]) -> bytes:
    return "".join(f"{line}\n" for line in lines).encode()


def _readings(
    place: int, records: Mapping[int, Record], segments: Mapping[int, Sequence[bytes]], unsealed: Sequence[Segment]
) -> Iterator[tuple[str, bytes]]:
    """The files of one sensor; no more than a month of its readings is held at once."""
    sealed: dict[str, list[int]] = {}
    for index, record in sorted(records.items()):
        if record["record"] in (SEGMENT, AMENDMENT):
            sealed.setdefault(tables.month_of(record["day"]), []).append(index)
    rest: dict[str, list[Segment]] = {}
    for segment in sorted(unsealed, key=lambda one: one.day):
        rest.setdefault(tables.month_of(rfc3339(segment.day)), []).append(segment)
    for month in sorted({*sealed, *rest}):
        found: list[tuple[int | None, Segment]] = []
        for index in sealed.get(month, ()):
            for data in segments.get(index, ()):
                found.append((index, decode(data)))
                yield shown_name(place, index, records[index], data, found[-1][1]), data
        for segment in rest.get(month, ()):
            found.append((None, segment))
            yield layout.unsealed_name(place, rfc3339(segment.day)[:10]), encode(segment)
        if not found:
            continue
        rows = tables.rows_of(found)
        yield layout.csv_name(place, month), tables.csv_of(rows)
        yield layout.senml_name(place, month), tables.senml_of(rows, layout.senml_base(place))


def shown_name(place: int, index: int, record: Record, data: bytes, segment: Segment) -> str:
    """The file of a segment: named for its channel, or as thinned, where it is not the whole one of its record."""
    if len(data) == record["bytes"] and len(segment) == record["readings"]:
        return layout.segment_name(place, record["day"], index)
    quantity, alone = segment.columns[0].quantity.value, content_hash(data).hex()
    part = quantity if record["channels"].get(quantity, {}).get("sha256") == alone else layout.THINNED
    return layout.segment_name(place, record["day"], index, part)
