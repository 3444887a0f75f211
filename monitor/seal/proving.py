"""Steps 3 to 6 of the check of a bundle: its signature, the keys, the heads, the records. See `verify` for the plan."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple, TypeVar

from monitor.basis.segment import ms_of_day
from monitor.basis.times import DAY, rfc3339
from monitor.seal import bag, codes, keys, layout
from monitor.seal.canonical import bytes_of_hex, value_of
from monitor.seal.findings import FaultKind, Findings
from monitor.seal.folder import Folder
from monitor.seal.heads import NO_HEAD, Head, SignedHead, conflicts
from monitor.seal.keys import Epoch
from monitor.seal.layout import ProvenHead
from monitor.seal.merkle import extends, includes, leaf_hash
from monitor.seal.records import AMENDMENT, SEGMENT, Record, Thread, read_record, thread_of

# What reading a foreign value can raise when it is of another shape than it should be.
STRANGE = (ValueError, TypeError, KeyError, AttributeError, OverflowError, RecursionError)
LATE = 3 * DAY  # a day sealed later than this after its end is remarked upon [ms]

_COPY = "Compare with another copy of the bundle"
_FORGED = "Somebody without the key made or changed it, or it was damaged"

Read = TypeVar("Read")


class About(NamedTuple):
    """What a bundle says of itself; `made` UTC ms, `sensors` streams in the order of their folders."""

    job: str
    zone: str
    made: int
    software: str
    sensors: tuple[str, ...]
    disclosure: bool


class Heard(NamedTuple):
    """A head that was read: its line, what it says, its number among the lines."""

    line: ProvenHead
    head: Head

    @property
    def signed(self) -> SignedHead:
        """The head as it was signed."""
        return self.line.signed


def read_lines(folder: Folder, name: str, read: Callable[[str], Read], findings: Findings) -> list[Read]:
    """What the lines of a payload file are; each that can't be read is a fault, and so is a file that is not there."""
    path, found, number = f"data/{name}", [], 0
    if path not in folder:
        findings.fault(FaultKind.MISSING, path, "it is not there", "A part of the record can't be checked")
    try:
        for number, line in enumerate(folder.lines(path), 1):
            try:
                found.append(read(line))
            except STRANGE as exc:
                findings.fault(FaultKind.ALTERED, f"{path}, line {number}", f"it can't be read ({exc})", _COPY)
    except (OSError, ValueError) as exc:
        findings.fault(FaultKind.CUT_SHORT, f"{path}, after line {number}", f"it can't be read on ({exc})", _COPY)
    return found


def read_about(folder: Folder, findings: Findings) -> About:
    """Step 2: what the bundle says of itself; where that can't be read, as little as can be said."""
    path = f"data/{layout.ABOUT}"
    try:
        text = folder.read(path).decode()
        said = value_of(text[:-1])
        if (
            not text.endswith("\n")
            or said["format"] != layout.FORMAT
            or set(said) != {*About._fields, "format", "varying"}
        ):
            raise ValueError(f"it is not of the form {layout.FORMAT}")
        about = About(**{name: said[name] for name in About._fields})
        strings = [about.job, about.zone, about.software, *about.sensors]
        if not all(isinstance(one, str) for one in strings) or not isinstance(about.disclosure, bool):
            raise ValueError("a text is none")
        rfc3339(about.made)
        return about._replace(sensors=tuple(about.sensors))
    except (*STRANGE, OSError) as exc:
        kind = FaultKind.ALTERED if path in folder else FaultKind.MISSING
        findings.fault(kind, path, f"it can't be read ({exc})", "It is not known what this bundle should hold")
    return About("", "UTC", 0, "", (), False)


# --- 3. the signature -------------------------------------------------------------------------------------------------


def check_signature(
    folder: Folder, about: About, epochs: Sequence[Epoch], heads: Sequence[Heard], findings: Findings
) -> None:
    """Step 3: the tag manifest was signed with the newest key, when this bundle was made and under its last head."""
    name = layout.SIGNATURE
    if name not in folder and about.disclosure:
        findings.remark(
            "The disclosure is not signed as a whole. What it shows of readings and entries is proven by the signed "
            "heads; VERIFY.md, statement.md and bundle.json are not."
        )
        return
    if name not in folder:
        findings.fault(
            FaultKind.MISSING, name, "the signature is not there", "Nothing vouches for the bundle as a whole"
        )
        return
    try:
        text, signature = layout.read_signature(folder.read(name))
        said = value_of(text)
        if not isinstance(said, dict) or set(said) != {"tagmanifest", "made", "head", "key"}:
            raise ValueError("it says something else")
    except (*STRANGE, OSError) as exc:
        findings.fault(FaultKind.BROKEN_SIGNATURE, name, f"it can't be read ({exc})", _FORGED)
        return
    key = next((one for one in epochs if one.fingerprint == said["key"]), None)
    if key is None or key is not epochs[-1]:
        which = "a key that the record does not know" if key is None else "a key that was replaced"
        findings.fault(
            FaultKind.WRONG_KEY, name, f"it was made with {which}", "The bundle is not from who kept the record"
        )
    if key is not None and not keys.is_signed(key.public, keys.BUNDLE, text, signature):
        findings.fault(FaultKind.BROKEN_SIGNATURE, name, "the signature does not hold", _FORGED)
    if said["tagmanifest"] != _digest(folder):
        findings.fault(
            FaultKind.ALTERED, bag.TAG_MANIFEST, "it is not the one that was signed", "The bundle was changed"
        )
    if heads and said["head"] != heads[-1].signed.hash:
        findings.fault(FaultKind.UNLIKE, name, "it names another last head than there is", "Heads were added or lost")
    if said["made"] != about.made:
        findings.fault(FaultKind.UNLIKE, name, f"it names another time than data/{layout.ABOUT}", "One was changed")


def _digest(folder: Folder) -> str | None:
    try:
        return hashlib.sha256(folder.read(bag.TAG_MANIFEST)).hexdigest()
    except (OSError, ValueError):
        return None  # that it is not there is a finding of the bag


# --- 4. the keys ------------------------------------------------------------------------------------------------------


def check_keys(folder: Folder, expected: str | None, findings: Findings) -> list[Epoch]:
    """Step 4: the keys, from the first one, each brought in by the one before it or declared lost."""
    statements = read_lines(folder, layout.KEYS, layout.read_statement, findings)
    try:
        epochs = keys.follow(statements)
    except STRANGE as exc:
        findings.fault(
            FaultKind.WRONG_KEY, f"data/{layout.KEYS}", str(exc), "No signature of the record can be trusted"
        )
        return []
    for one in epochs:
        if one.how == keys.LOST:
            findings.remark(
                f"The key before {codes.grouped(one.fingerprint)} was declared lost on {_when(one.at)} ({one.reason}): "
                "nothing but heads that others kept ties the record to what was before."
            )
        elif one.how == keys.ROTATION:
            findings.remark(f"The key was exchanged on {_when(one.at)} ({one.reason}), signed by both keys.")
    wanted = "".join((expected or "").split()).lower()
    if expected is None:
        findings.remark(
            f"The key is what the bundle says it is. Compare its fingerprint with an earlier report: "
            f"{codes.grouped(epochs[0].fingerprint)}"
        )
    elif wanted not in {one.fingerprint for one in epochs}:
        what = f"no key of the record has the fingerprint {codes.grouped(wanted)}"
        findings.fault(
            FaultKind.WRONG_KEY, f"data/{layout.KEYS}", what, "It is the record of somebody else, or a forged one"
        )
    return epochs


def _when(at: int) -> str:
    try:
        return rfc3339(at)
    except OverflowError:
        return "a day that no calendar has"


# --- 5. the heads -----------------------------------------------------------------------------------------------------


def _read_head(text: str) -> Heard:
    line = layout.read_head_line(text)
    return Heard(line, line.signed.head)


def check_heads(folder: Folder, epochs: Sequence[Epoch], findings: Findings) -> list[Heard]:
    """Step 5: every head follows on the one before it, is signed with the key of its time and part of the last one."""
    heads = read_lines(folder, layout.HEADS, _read_head, findings)
    if not heads:
        findings.fault(
            FaultKind.UNSEALED, f"data/{layout.HEADS}", "there is no head", "Nothing of the record is sealed"
        )
        return []
    places = {one.fingerprint: place for place, one in enumerate(epochs)}
    before: Heard | None = None
    for heard in heads:
        where = f"data/{layout.HEADS}, head {heard.head.number}"
        _check_follows(heard, before, where, findings)
        _check_head_key(heard, before, epochs, places, where, findings)
        if not _is_part_of(heard, heads[-1]):
            means = "The record was rewritten after this head was made"
            findings.fault(FaultKind.BROKEN_PROOF, where, "the last head does not contain it", means)
        before = heard
    _check_days(heads, findings)
    for one, other in conflicts([h.signed for h in heads], [h.signed for h in heads]):
        what = f"heads {one.head.number} and {other.head.number} can't belong to one record"
        findings.fault(FaultKind.BROKEN_CHAIN, f"data/{layout.HEADS}", what, "Two records were kept beside each other")
    return heads


def _check_follows(heard: Heard, before: Heard | None, where: str, findings: Findings) -> None:
    previous = before.signed.hash if before else NO_HEAD
    number = before.head.number + 1 if before else 1
    if heard.head.number != number:
        findings.fault(FaultKind.OUT_OF_ORDER, where, f"head {number} should stand here", "Heads are missing or moved")
    elif heard.head.previous != previous:
        findings.fault(
            FaultKind.BROKEN_CHAIN, where, "it does not follow on the head before it", "One of them was replaced"
        )
    if before and heard.head.made < before.head.made:
        findings.remark(f"Head {heard.head.number} says it was made before the one before it: the clock was put back.")


def _check_head_key(
    heard: Heard,
    before: Heard | None,
    epochs: Sequence[Epoch],
    places: Mapping[str, int],
    where: str,
    findings: Findings,
) -> None:
    place = places.get(heard.head.key)
    if place is None:
        findings.fault(FaultKind.WRONG_KEY, where, "it names a key that the record does not know", _FORGED)
        return
    if not keys.is_signed(epochs[place].public, keys.HEAD, heard.signed.text, heard.signed.signature):
        findings.fault(FaultKind.BROKEN_SIGNATURE, where, "the signature does not hold", _FORGED)
    last = places.get(before.head.key, place) if before else 0
    if place < last:
        what = "it is signed with a key that was replaced before"
        findings.fault(FaultKind.WRONG_KEY, where, what, "Whoever holds the old key made it")
    # The statement that brings a key in names the last head of the key before: it must be the one that stands here.
    named = {epoch.last for epoch in epochs[last + 1 : place + 1]}
    if before and named - {before.signed.hash}:
        what = "the key that signs it took over from another head than the one before it"
        findings.fault(FaultKind.WRONG_KEY, where, what, "Heads were made or taken out around the exchange of the key")


def _is_part_of(heard: Heard, last: Heard) -> bool:
    own, whole = heard.head, last.head
    return extends(bytes_of_hex(own.root), own.size, bytes_of_hex(whole.root), whole.size, heard.line.proof)


def _check_days(heads: Sequence[Heard], findings: Findings) -> None:
    """Every UTC day from the first closed one to the last is closed by a head made after its end."""
    expected: int | None = None
    for _, head in heads:
        if head.closes is None:
            continue
        day, where = ms_of_day(head.closes), f"data/{layout.HEADS}, head {head.number}"
        if expected is not None and day < expected:
            what = f"it closes {head.closes}, which was closed before"
            findings.fault(FaultKind.OUT_OF_ORDER, where, what, "Days were sealed twice or out of order")
        elif expected is not None and day > expected:
            what = f"no head closes the days from {rfc3339(expected)[:10]} to the one before {head.closes}"
            findings.fault(FaultKind.UNSEALED, where, what, "What was kept of these days rests on nothing")
        if head.made < day + DAY:
            what = f"it closes {head.closes} before that day was over"
            findings.fault(FaultKind.OUT_OF_ORDER, where, what, "The clock was wrong, or the day is not whole")
        elif head.made > day + DAY + LATE:
            findings.remark(f"{head.closes} was sealed late, on {_when(head.made)}.")
        expected = max(day + DAY, expected or 0)


def last_closed(heads: Sequence[Heard]) -> int | None:
    """The end of the last UTC day that is closed. [ms]"""
    closed = [ms_of_day(one.head.closes) + DAY for one in heads if one.head.closes is not None]
    return max(closed, default=None)


# --- 6. the records ---------------------------------------------------------------------------------------------------


def check_records(folder: Folder, about: About, heads: Sequence[Heard], findings: Findings) -> dict[int, Record]:
    """Step 6: every leaf is in the tree of the last head, and none between two of one thread is left out."""
    lines = read_lines(folder, layout.RECORDS, layout.read_leaf, findings)
    found: dict[int, Record] = {}
    newest = -1
    for line in lines:
        where = f"data/{layout.RECORDS}, leaf {line.index}"
        if line.index <= newest:
            findings.fault(FaultKind.OUT_OF_ORDER, where, "it stands after a later one, or twice", _COPY)
        newest = max(newest, line.index)
        if heads and not includes(
            bytes_of_hex(heads[-1].head.root),
            heads[-1].head.size,
            line.index,
            leaf_hash(line.text.encode()),
            line.proof,
        ):
            means = "It was altered, or never sealed"
            findings.fault(FaultKind.BROKEN_PROOF, where, "the last head does not contain it", means)
            continue
        try:
            found[line.index] = read_record(line.text)
        except STRANGE as exc:
            findings.fault(FaultKind.UNREADABLE, where, str(exc), "It may be from a later version of the program")
    _check_threads(found, about, findings)
    _check_days_of_readings(found, findings)
    return found


def _name(thread: Thread) -> str:
    if thread.kind == "log":
        return f"the log of {thread.name or 'the sensors'}"
    return f"the sensor {thread.name}" if thread.kind == "sensor" else "the recorder"


def _check_threads(records: Mapping[int, Record], about: About, findings: Findings) -> None:
    last: dict[Thread, int] = {}
    for index, record in sorted(records.items()):
        thread, previous = thread_of(record), record["previous"]
        before = last.get(thread)
        last[thread] = index
        if previous == before:
            continue
        what = f"leaf {previous} of {_name(thread)}, which comes before it, is not shown"
        if before is None and not about.disclosure:
            findings.remark(
                f"{_name(thread).capitalize()} has earlier records, up to leaf {previous}, that are not shown."
            )
        elif about.disclosure and (previous or 0) > (-1 if before is None else before):
            findings.remark(f"Withheld: records of {_name(thread)} before leaf {index}.")
        else:
            findings.fault(
                FaultKind.MISSING, f"data/{layout.RECORDS}, leaf {index}", what, "A part of the record is left out"
            )
    unnamed = {thread.name for thread in last if thread.kind == "sensor"} - set(about.sensors)
    for stream in sorted(unnamed):
        what = f"the sensor {stream} is not among those that data/{layout.ABOUT} names"
        findings.fault(FaultKind.UNLIKE, f"data/{layout.RECORDS}", what, "Its readings are not looked into")


def _check_days_of_readings(records: Mapping[int, Record], findings: Findings) -> None:
    """A day of a sensor is sealed once; what came later says which leaf it amends."""
    sealed: dict[tuple[str, str], int] = {}
    for index, record in sorted(records.items()):
        if record["record"] not in (SEGMENT, AMENDMENT):
            continue
        day, where = (record["stream"], record["day"]), f"data/{layout.RECORDS}, leaf {index}"
        if record["record"] == SEGMENT:
            if day in sealed:
                findings.fault(
                    FaultKind.OUT_OF_ORDER, where, f"{day[1]} of {day[0]} is sealed twice", "Neither is the record"
                )
            sealed[day] = index
        elif record["amends"] != sealed.get(day):
            what = f"it amends leaf {record['amends']}, which is not that of {day[1]} of {day[0]}"
            findings.fault(FaultKind.UNLIKE, where, what, "What was added to the day can't be told")
        else:
            findings.remark(
                f"Amended: {day[1]} of {day[0]}: {record['readings']} readings came after it was sealed "
                f"({record['reason']})."
            )
