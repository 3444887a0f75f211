"""Steps 7 to 11 of the check of a bundle: readings, tables, logs, attachments, what was refused. See `verify`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import NamedTuple

from monitor.basis.segment import MAX_BYTES, Segment, content_hash, decode, decode_strictly, encode, only
from monitor.basis.times import rfc3339
from monitor.basis.values import SENSORS_CHAIN, Entry
from monitor.seal import chain, layout, tables
from monitor.seal.chain import Withheld
from monitor.seal.findings import FaultKind, Findings
from monitor.seal.folder import Folder
from monitor.seal.layout import ProvenRefusal
from monitor.seal.merkle import includes, leaf_hash
from monitor.seal.proving import About, read_lines
from monitor.seal.records import AMENDMENT, LOG_HEAD, QUARANTINE, SEGMENT, Record, refusal_text
from monitor.seal.thinned import Thinned, is_left, thinned_leaves

_COPY = "Compare with another copy of the bundle"
_TABLE = "It does not show what was sealed; the segment is what counts"


class Shown(NamedTuple):
    """Canonical bytes of a segment that is in the bundle, and the leaf that it is sealed in (None: not sealed)."""

    leaf: int | None
    day: str
    data: bytes


# --- 7. the readings --------------------------------------------------------------------------------------------------


def check_segments(
    folder: Folder, about: About, records: Mapping[int, Record], closed: int | None, findings: Findings
) -> dict[str, list[Shown]]:
    """Step 7: each segment is the one of its record, or left of it, and every record of readings has its segment."""
    shown: dict[str, list[Shown]] = {}
    thinned = _thinned(folder, records)
    used: set[str] = set()
    for place, stream in enumerate(about.sensors):
        found = shown.setdefault(stream, [])
        for index, record in sorted(records.items()):
            if record.get("stream") == stream and record["record"] in (SEGMENT, AMENDMENT):
                names = _names(folder, place, index, record)
                used |= {f"data/{name}" for name in names}
                found += _sealed(folder, names, index, record, about, thinned.get(index), findings)
        _tell_thinned(stream, found, records, thinned, findings)
        for path in folder.under(f"data/unsealed/{layout.number_of(place)}/"):
            used.add(path)
            found += _unsealed(folder, path, place, stream, closed, findings)
    for path in folder.under("data/segments/") + folder.under("data/unsealed/"):
        if path not in used:
            findings.fault(FaultKind.ADDED, path, "no record is about it", "It belongs to nothing that was sealed")
    return shown


def _names(folder: Folder, place: int, index: int, record: Record) -> list[str]:
    """The files of a record that are there: the whole segment, or channels of it."""
    channels = [layout.segment_name(place, record["day"], index, name) for name in record["channels"]]
    whole, left = (layout.segment_name(place, record["day"], index, part) for part in (None, layout.THINNED))
    return [name for name in [whole, left, *channels] if f"data/{name}" in folder]


def _sealed(
    folder: Folder,
    names: Sequence[str],
    index: int,
    record: Record,
    about: About,
    thinned: Thinned | None,
    findings: Findings,
) -> Iterator[Shown]:
    hashes = {record["sha256"]: record["readings"]}
    hashes |= {channel["sha256"]: channel["readings"] for channel in record["channels"].values()}
    hashes |= {thinned.sha256: thinned.readings} if thinned else {}
    if not names:
        where, day = f"the sensor {record['stream']}", record["day"]
        if about.disclosure:
            findings.remark(f"Withheld: {record['readings']} readings of {day} of {where} (leaf {index}).")
        else:
            what = f"the readings of {day} that leaf {index} is about are not there"
            findings.fault(FaultKind.MISSING, where, what, "They were sealed and are left out")
    read, whole = 0, record["readings"]
    for name in names:
        there = _read(folder, f"data/{name}", findings)
        if there is None:
            continue
        segment, data = there
        if (segment.stream, rfc3339(segment.day)[:10]) != (record["stream"], record["day"]):
            findings.fault(FaultKind.UNLIKE, f"data/{name}", f"it is of another sensor or day than leaf {index}", _COPY)
            continue
        digest = content_hash(data).hex()
        if hashes.get(digest) != len(segment):
            findings.fault(FaultKind.UNLIKE, f"data/{name}", f"it is not what leaf {index} sealed", "It was altered")
            continue
        read += len(segment)
        if thinned and digest == thinned.sha256:
            whole = thinned.readings
        elif len(segment) == record["readings"]:
            _check_channels(segment, index, record, findings)
        yield Shown(index, record["day"], data)
    if names and read < whole and about.disclosure:
        findings.remark(f"Withheld: {whole - read} of {whole} readings of leaf {index}.")
    elif names and read != whole:
        what = f"of {whole} readings of leaf {index} there are {read}"
        findings.fault(
            FaultKind.MISSING, f"the sensor {record['stream']}", what, "Sealed readings are left out or double"
        )


def _thinned(folder: Folder, records: Mapping[int, Record]) -> dict[int, Thinned]:
    """What sealed entries of the sensors' log say of thinned days; the log itself is checked in step 9."""
    heads = [one["number"] for one in records.values() if one["record"] == LOG_HEAD and one["chain"] == SENSORS_CHAIN]
    entries = read_lines(folder, layout.SENSORS_LOG, layout.read_entry, Findings())
    return thinned_leaves(entries, max(heads, default=0))


def _tell_thinned(
    stream: str,
    shown: Sequence[Shown],
    records: Mapping[int, Record],
    thinned: Mapping[int, Thinned],
    findings: Findings,
) -> None:
    leaves = [
        one.leaf for one in shown if one.leaf is not None and is_left(one.data, records[one.leaf], thinned, one.leaf)
    ]
    if leaves:
        days, entry = {records[leaf]["day"] for leaf in leaves}, max(thinned[leaf].entry for leaf in leaves)
        findings.remark(
            f"Thinned: of {len(days)} days of the sensor {stream}, {min(days)} to {max(days)}, there are "
            f"{sum(thinned[leaf].readings for leaf in leaves)} of {sum(records[leaf]['readings'] for leaf in leaves)} "
            f"readings; they rest on the sensors' log (entry {entry}), not on the seals of "
            "these days."
        )


def _check_channels(segment: Segment, index: int, record: Record, findings: Findings) -> None:
    """The hashes of the channels alone are those of the whole: nobody can be shown another channel than this one."""
    for quantity in sorted({column.quantity for column in segment.columns}):
        stated = record["channels"].get(quantity.value, {}).get("sha256")
        if content_hash(encode(only(segment, quantity))).hex() != stated:
            what = f"what leaf {index} says of {quantity.value} alone is not what it says of all"
            findings.fault(FaultKind.UNLIKE, f"the sensor {record['stream']}", what, "The record contradicts itself")


def _unsealed(
    folder: Folder, path: str, place: int, stream: str, closed: int | None, findings: Findings
) -> Iterator[Shown]:
    there = _read(folder, path, findings)
    if there is None:
        return
    segment, data = there
    day = rfc3339(segment.day)[:10]
    if segment.stream != stream or path != f"data/{layout.unsealed_name(place, day)}":
        findings.fault(FaultKind.UNLIKE, path, "it is of another sensor or day than its name says", _COPY)
    elif closed is not None and segment.day < closed:
        means = "They rest on the signature of this bundle alone, though the day was closed"
        findings.fault(FaultKind.UNSEALED, path, f"{len(segment)} readings of {day} are not sealed", means)
    else:
        findings.remark(
            f"Not sealed yet: {len(segment)} readings of {day} of the sensor {stream}; they rest on the signature of "
            "this bundle alone."
        )
    yield Shown(None, day, data)


def _read(folder: Folder, path: str, findings: Findings) -> tuple[Segment, bytes] | None:
    try:
        data = folder.read(path, MAX_BYTES)
        return decode_strictly(data), data
    except (OSError, ValueError, OverflowError) as exc:
        findings.fault(FaultKind.ALTERED, path, f"its readings can't be read ({exc})", _COPY)
    return None


# --- 8. the tables ----------------------------------------------------------------------------------------------------


def check_tables(folder: Folder, about: About, shown: Mapping[str, Sequence[Shown]], findings: Findings) -> None:
    """Step 8: CSV and SenML are what the segments say, to the letter."""
    used: set[str] = set()
    for place, stream in enumerate(about.sensors):
        months: dict[str, list[Shown]] = {}
        for one in shown.get(stream, ()):
            months.setdefault(tables.month_of(one.day), []).append(one)
        for month, found in sorted(months.items()):
            used |= _check_month(folder, place, month, found, findings)
    for path in folder.under("data/readings/") + folder.under("data/senml/"):
        if path not in used:
            findings.fault(FaultKind.ADDED, path, "it is a table of readings that are not there", _TABLE)


def _check_month(folder: Folder, place: int, month: str, found: Sequence[Shown], findings: Findings) -> set[str]:
    csv_path, senml_path = f"data/{layout.csv_name(place, month)}", f"data/{layout.senml_name(place, month)}"
    try:
        rows = tables.rows_of((one.leaf, decode(one.data)) for one in found)
        csv, senml = tables.csv_of(rows), tables.senml_of(rows, layout.senml_base(place))
    except (ValueError, OverflowError) as exc:
        findings.fault(FaultKind.UNREADABLE, csv_path, f"no table can be made of the readings ({exc})", _COPY)
        return {csv_path, senml_path}
    for one, other in pairwise(row.reading for row in rows):
        if (one.t, one.quantity) == (other.t, other.quantity):
            what = f"there are two readings of {one.quantity.value} at {rfc3339(one.t)}"
            findings.fault(FaultKind.UNLIKE, csv_path, what, "One of them was added")
    _check_table(folder, csv_path, csv, findings)
    _check_table(folder, senml_path, senml, findings)
    return {csv_path, senml_path}


def _check_table(folder: Folder, path: str, expected: bytes, findings: Findings) -> None:
    if path not in folder:
        findings.fault(FaultKind.MISSING, path, "the table is not there", "Make it anew from the segments")
        return
    try:
        if folder.equals(path, expected):
            return
        what = _first_difference(folder.read(path), expected)
    except (OSError, ValueError) as exc:
        what = f"it can't be read ({exc})"
    findings.fault(FaultKind.UNLIKE, path, what, _TABLE)


def _first_difference(there: bytes, expected: bytes) -> str:
    stands, sealed = there.split(b"\n"), expected.split(b"\n")
    for number, (a, b) in enumerate(zip(stands, sealed, strict=False), 1):
        if a != b:
            return f"line {number} is {_cut(a)}, and sealed is {_cut(b)}"
    return f"it has {len(stands) - 1} lines, and sealed are {len(sealed) - 1}"


def _cut(line: bytes) -> str:
    return repr(line[:120].decode(errors="replace").rstrip("\r"))


# --- 9. the log -------------------------------------------------------------------------------------------------------


def check_log(
    folder: Folder, name: str, wanted: str, records: Mapping[int, Record], findings: Findings
) -> list[Entry | Withheld]:
    """Step 9: one chain hangs together from its first entry to the last that was sealed."""
    entries = read_lines(folder, name, layout.read_entry, findings)
    for fault in chain.faults(entries):
        findings.fault(FaultKind.BROKEN_CHAIN, f"data/{name}, {fault.where}", fault.what, fault.mend)
    if any(entry.chain != wanted for entry in entries):
        findings.fault(FaultKind.UNLIKE, f"data/{name}", "there are entries of another log", _COPY)
    links = {entry.number: entry.link.hex() for entry in entries}
    sealed = 0
    for index, record in sorted(records.items()):
        if record["record"] == LOG_HEAD and record["chain"] == wanted:
            sealed = _check_log_head(index, record, links, name, sealed, findings)
    if sealed < len(entries):
        findings.remark(f"Not sealed yet: entries {sealed + 1} to {len(entries)} of data/{name}.")
    hidden = sum(isinstance(entry, Withheld) for entry in entries)
    if hidden:
        findings.remark(f"Withheld or erased: what {hidden} of {len(entries)} entries of data/{name} say.")
    return entries


def _check_log_head(
    index: int, record: Record, links: Mapping[int, str], name: str, sealed: int, findings: Findings
) -> int:
    number: int = record["number"]
    if number not in links:
        what = f"leaf {index} sealed {number} entries and there are {len(links)}"
        findings.fault(FaultKind.CUT_SHORT, f"data/{name}", what, "Entries were taken out at the end")
    elif links[number] != record["link"]:
        what = f"entry {number} is not the one that leaf {index} sealed"
        findings.fault(FaultKind.BROKEN_CHAIN, f"data/{name}", what, "The log was written anew after it was sealed")
    if number < sealed:
        what = f"leaf {index} seals fewer entries than one before it"
        findings.fault(FaultKind.OUT_OF_ORDER, f"data/{name}", what, "The log was cut short in between")
    return max(sealed, number)


def chains_of(about: About) -> tuple[tuple[str, str], ...]:
    """The two logs of a bundle: file and chain."""
    return (layout.JOB_LOG, about.job), (layout.SENSORS_LOG, SENSORS_CHAIN)


# --- 10. attachments --------------------------------------------------------------------------------------------------


def check_attachments(folder: Folder, entries: Sequence[Entry | Withheld], about: About, findings: Findings) -> None:
    """Step 10: each photo and document that an entry names is there and is the one that it names."""
    named: dict[str, str] = {}
    for entry in entries:
        if isinstance(entry, Entry) and {"sha256", "media_type"} <= set(entry.body):
            name = layout.attachment_name(str(entry.body["sha256"]), str(entry.body["media_type"]))
            named[f"data/{name}"] = f"entry {entry.number} of {entry.chain or 'the sensors'}"
    for path in folder.under("data/attachments/"):
        if path not in named:
            findings.fault(FaultKind.ADDED, path, "no entry names it", "It is not part of the record")
        elif _sha256(folder, path) != path.split("/")[-1].split(".")[0]:
            findings.fault(FaultKind.ALTERED, path, f"it is not the file that {named[path]} names", _COPY)
    for path, by in named.items():
        if path not in folder and about.disclosure:
            findings.remark(f"Withheld: the file that {by} names.")
        elif path not in folder:
            findings.fault(FaultKind.MISSING, path, f"it is not there, and {by} names it", "It was left out")


def _sha256(folder: Folder, path: str) -> str:
    try:
        return folder.sha256(path)
    except OSError:
        return ""


# --- 11. what was refused ---------------------------------------------------------------------------------------------


def check_refused(folder: Folder, records: Mapping[int, Record], findings: Findings) -> list[ProvenRefusal]:
    """Step 11: each refused thing is in the tree of its day."""
    found = []
    for one in read_lines(folder, layout.QUARANTINE, layout.read_refusal, findings):
        where = f"data/{layout.QUARANTINE}, item {one.place} of leaf {one.leaf}"
        record = records.get(one.leaf, {})
        leaf = leaf_hash(refusal_text(one.refusal).encode())
        if record.get("record") != QUARANTINE:
            findings.fault(FaultKind.UNSEALED, where, "there is no record of its day", "It rests on nothing")
        elif not includes(bytes.fromhex(record["root"]), record["items"], one.place, leaf, one.proof):
            findings.fault(FaultKind.BROKEN_PROOF, where, "the record of its day does not contain it", "It was altered")
        else:
            found.append(one)
    return found
