"""A disclosure: chosen days, channels and entries of a bundle, proven under the same signed heads.

What is not chosen stays out: readings as hashes in the proofs, entries as the salted hash of their body. Report and
Assessment stay out too, for they tell of everything; readings that are not sealed, for nothing proves them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import NamedTuple, TypeVar

from monitor.basis.errors import RecordError
from monitor.basis.segment import content_hash, decode, encode, ms_of_day, only
from monitor.basis.times import DAY
from monitor.basis.values import Entry, Quantity
from monitor.seal import bundle, layout
from monitor.seal.bundle import Attachment, Contents
from monitor.seal.chain import Withheld, withheld
from monitor.seal.keys import Key
from monitor.seal.layout import ProvenLeaf
from monitor.seal.records import AMENDMENT, LOG_HEAD, SEGMENT, Record, read_record
from monitor.seal.thinned import Thinned, is_left, thinned_leaves
from monitor.seal.verify import Verified

Read = TypeVar("Read")


class Choice(NamedTuple):
    """What is shown; None is all of it.

    `days` the first and the last UTC day (2026-01-05); `channels` pairs of stream and quantity; `entries` pairs of
    chain and number. `withhold` the SHA-256 of files that stay out though their entries are shown.
    """

    days: tuple[str, str] | None = None
    channels: frozenset[tuple[str, Quantity]] | None = None
    entries: frozenset[tuple[str, int]] | None = None
    withhold: frozenset[str] = frozenset()


def disclose(source: Verified, target: Path, choice: Choice, *, made: int, software: str, key: Key | None) -> str:
    """Write what is chosen of a checked bundle into the new folder `target`; answers the tag manifest's SHA-256.

    Without `key` it is not signed as a whole: anybody who holds a bundle can disclose. `made` UTC ms. Raises
    RecordError for a bundle with faults or a choice of nothing, ReportError.
    """
    where = str(source.folder.root)
    if not source.whole:
        raise RecordError("the bundle has faults", where=where, mend="Check it first, and disclose from a whole one")
    if choice.days is not None and choice.days[0] > choice.days[1]:
        raise RecordError("the last day is before the first", where="days", mend="Give the first day, then the last")
    leaves = [one for one in _lines(source, layout.RECORDS, layout.read_leaf) if _chosen(read_record(one.text), choice)]
    kept = {one.index for one in leaves}
    log = [_entry(one, choice) for one in _lines(source, layout.JOB_LOG, layout.read_entry)]
    sensors_log = [_entry(one, choice) for one in _lines(source, layout.SENSORS_LOG, layout.read_entry)]
    if choice.channels is None:
        refused = [one for one in _lines(source, layout.QUARANTINE, layout.read_refusal) if one.leaf in kept]
    else:
        refused = []  # whatever bytes these are, they may be of another channel
    contents = Contents(
        job=source.about.job,
        zone=source.about.zone,
        made=made,
        software=software,
        statements=list(_lines(source, layout.KEYS, layout.read_statement)),
        heads=list(_lines(source, layout.HEADS, layout.read_head_line)),
        leaves=leaves,
        segments=_segments(source, leaves, choice, thinned_leaves([*sensors_log])),
        log=log,
        sensors_log=sensors_log,
        refused=refused,
        attachments=_attachments(source, [*log, *sensors_log], choice.withhold),
        timestamps=dict(_timestamps(source)),
        disclosure=True,
    )
    return bundle.write(target, contents, key)


def _lines(source: Verified, name: str, read: Callable[[str], Read]) -> Iterator[Read]:
    return (read(line) for line in source.folder.lines(f"data/{name}"))


def _chosen(record: Record, choice: Choice) -> bool:
    """Whether a record is shown. Where the logs stood is: without it no entry would be proven."""
    if record["record"] == LOG_HEAD:
        return True
    streams = None if choice.channels is None else {stream for stream, _ in choice.channels}
    if streams is not None and "stream" in record and record["stream"] not in streams:
        return False
    if choice.channels is not None and "channels" in record and not _quantities(record, choice):
        return False
    if choice.days is None:
        return True
    first, end = ms_of_day(choice.days[0]), ms_of_day(choice.days[1]) + DAY
    if "day" in record:
        return first <= ms_of_day(record["day"]) < end
    begins = int(record["start"] if "start" in record else record["at"])
    return begins < end and int(record.get("end", begins + 1)) > first


def _quantities(record: Record, choice: Choice) -> list[Quantity]:
    """The channels of a record that are shown."""
    every = [Quantity(name) for name in record["channels"]]
    return [one for one in every if choice.channels is None or (record["stream"], one) in choice.channels]


def _segments(
    source: Verified, leaves: Iterable[ProvenLeaf], choice: Choice, thinned: Mapping[int, Thinned]
) -> dict[int, list[bytes]]:
    there: dict[int, list[bytes]] = {}
    for found in source.shown.values():
        for one in found:
            if one.leaf is not None:
                there.setdefault(one.leaf, []).append(one.data)
    records = {one.index: read_record(one.text) for one in leaves}
    return {
        index: [data for whole in there.get(index, ()) for data in _parts(whole, index, record, choice, thinned)]
        for index, record in records.items()
        if record["record"] in (SEGMENT, AMENDMENT)
    }


def _parts(data: bytes, leaf: int, record: Record, choice: Choice, thinned: Mapping[int, Thinned]) -> list[bytes]:
    """A segment as it is shown: whole where all its channels are, else each shown channel alone.

    Nothing proves one channel of what is left of a thinned day, nor anything of it without the entry that says so.
    """
    wanted = _quantities(record, choice)
    every = len(wanted) == len(record["channels"])
    if content_hash(data).hex() not in _hashes(record):
        return [data] if every and is_left(data, record, thinned, leaf) else []
    if every:
        return [data]
    segment = decode(data)
    alone = (only(segment, quantity) for quantity in wanted)
    return [encode(one) for one in alone if len(one)]


def _hashes(record: Record) -> set[str]:
    """Of the whole segment of a record, and of each channel alone."""
    return {record["sha256"], *(channel["sha256"] for channel in record["channels"].values())}


def _entry(entry: Entry | Withheld, choice: Choice) -> Entry | Withheld:
    if isinstance(entry, Withheld) or choice.entries is None or (entry.chain, entry.number) in choice.entries:
        return entry
    return withheld(entry)


def _attachments(
    source: Verified, entries: Iterable[Entry | Withheld], withhold: frozenset[str]
) -> Iterator[tuple[str, Attachment]]:
    named: dict[str, str] = {}
    for entry in entries:
        if isinstance(entry, Entry) and {"sha256", "media_type"} <= set(entry.body):
            named[str(entry.body["sha256"])] = str(entry.body["media_type"])
    for sha256, media_type in named.items():
        content = source.document(layout.attachment_name(sha256, media_type))
        if content is not None and sha256 not in withhold:
            yield sha256, Attachment(content, media_type)


def _timestamps(source: Verified) -> Iterator[tuple[str, bytes]]:
    for head in source.heads:
        token = source.document(f"timestamps/{head.hash}.tsr")
        if token is not None:
            yield head.hash, token
