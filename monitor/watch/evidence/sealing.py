"""Sealing: what was kept and written becomes leaves of one tree, and a signed head over them.

A UTC day is closed by a head once it is over and `service.seal_after` has passed. A head that is made for an event (a
delivery, a start) seals all that there is of the job then, today's readings so far too; the rest of the day is an
amendment to them. A head and all that comes with it are one transaction; it fails if another head was made since it was
begun, and is then begun anew: nothing is lost, and nothing is sealed twice.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import partial

import numpy as np

import monitor
from monitor.basis.errors import StoreError
from monitor.basis.packing import pack
from monitor.basis.segment import Segment, encode, minus
from monitor.basis.times import DAY, HOUR, day_of, rfc3339
from monitor.basis.values import SENSORS_CHAIN, Draft, Entry, Kind, OriginKind
from monitor.keep.packed import opened
from monitor.keep.rows import HeadRow, KeyRow, Leaf, Quarantined, Unsealed
from monitor.seal import keys, records
from monitor.seal.heads import SignedHead, next_head
from monitor.seal.keys import Key, Statement
from monitor.seal.merkle import HASH, Frontier, grown, leaf_hash, root
from monitor.seal.records import Record, Refusal, Thread, read_record
from monitor.watch.desk import Desk
from monitor.watch.evidence import keyring
from monitor.watch.evidence.silences import away, silences
from monitor.watch.judging import PROGRAM

MOST = 1_000  # days of sensors that are sealed under one head: what is held in memory at once
SOFTWARE = f"wallclime {monitor.__version__}"
CLOSING, BACKLOG = "day", "earlier days"
REST = "the rest of the day"

_RECORDER = Thread("recorder", "")


def signed_of(row: HeadRow) -> SignedHead:
    """A head of the store as it was signed."""
    return SignedHead(row.text, row.signature)


def close_due(desk: Desk) -> list[SignedHead]:
    """Close every UTC day that is over by the time that the settings leave for late readings; the heads of it.

    The first day that is closed at all is the last one that is due, with everything that was kept until then. Raises
    StoreError.
    """
    made: list[SignedHead] = []
    note_keys(desk)
    while True:
        growing = _begun(desk)
        day = _due(desk)
        if day is None:
            return made
        marks = desk.store.unsealed(day + DAY)
        some = marks[:MOST]
        _fill(growing, some)
        if len(some) == len(marks):
            _fill_gaps(growing, day)
        head = _finished(growing, *((CLOSING, day) if len(some) == len(marks) else (BACKLOG, None)))
        made += [head] if head is not None else []


def seal_now(desk: Desk, reason: str, job: str | None = None, *, anyway: bool = False) -> SignedHead | None:
    """A head over all logs and, of the sensors of `job` or of all, every reading that there is.

    Where nothing is new it is the newest head, unless one is to be made `anyway`; None: there was never anything.
    Raises StoreError.
    """
    note_keys(desk)
    streams = None if job is None else {s for s, jobs in desk.book.jobs_of().items() if job in jobs}
    while True:
        growing = _begun(desk)
        marks = [
            mark
            for mark in desk.store.unsealed()
            if streams is None or mark.kind == _RECORDER.kind or mark.thread in streams
        ]
        some = marks[:MOST]
        _fill(growing, some)
        done = len(some) == len(marks)
        if done and not growing.leaves and (growing.newest is None or not anyway):
            return None if growing.newest is None else signed_of(growing.newest)
        head = _finished(growing, reason if done else BACKLOG, job=job if done else None)
        if done and head is not None:
            return head


# --- keys -------------------------------------------------------------------------------------------------------------


def rotate(desk: Desk, reason: str) -> SignedHead:
    """Take a new key into use, vouched for by the old one, and make a head with it. Raises StoreError."""
    while True:
        growing = _begun(desk)
        known = _known(desk)
        old = keyring.key_in_use(desk, known)
        make = partial(keys.rotation, old, at=desk.clock.now(), head=_last(growing), reason=reason)
        if head := _exchanged(growing, "key exchanged", known, make):
            return head


def declare_lost(desk: Desk, reason: str) -> SignedHead:
    """Take a new key into use, for which nobody can vouch as the old one is lost. Raises StoreError."""
    while True:
        growing = _begun(desk)
        known = _known(desk)
        if keyring.is_there(desk, known):
            where, mend = str(keyring.key_path(desk, len(known))), "Exchange it: wallclime seal rotate --reason TEXT"
            raise StoreError("the key is there", where=where, mend=mend)
        make = partial(
            keys.declared_lost, known[-1].fingerprint, at=desk.clock.now(), head=_last(growing), reason=reason
        )
        if head := _exchanged(growing, "key lost", known, make):
            return head


def _known(desk: Desk) -> list[keys.Epoch]:
    known = keyring.epochs(desk)
    if not known:
        raise StoreError(
            "there is no key yet", where=str(keyring.key_path(desk, 1)), mend="It is made with the first head"
        )
    return known


def _last(growing: _Growing) -> str | None:
    return None if growing.newest is None else signed_of(growing.newest).hash


def _exchanged(
    growing: _Growing, reason: str, known: list[keys.Epoch], make: Callable[[Key], Statement]
) -> SignedHead | None:
    desk = growing.desk
    _fill(growing, [])
    new = keyring.next_key(desk, known)
    head = _signed(growing, new, reason, None, None, make(new))
    if head is not None:
        note_keys(desk)
    return head


def note_keys(desk: Desk) -> None:
    """Write to the log of the sensors what it has not told yet of keys that were exchanged or lost."""
    said = keyring.statements(desk)
    if len(said) < 2:
        return
    told = sum(entry.kind is Kind.KEY for entry in desk.book.entries(SENSORS_CHAIN))
    drafts = [
        Draft(Kind.KEY, one.at, PROGRAM, {"how": one.how, "fingerprint": one.fingerprint, "reason": one.reason})
        for one in keyring.epochs(desk)[1:]
    ]
    if len(drafts) > told:
        desk.store.append(SENSORS_CHAIN, drafts[told:])


# --- growing the tree -------------------------------------------------------------------------------------------------


@dataclass(slots=True)
class _Growing:
    """The tree under the newest head, and the leaves that the next one adds to it."""

    desk: Desk
    newest: HeadRow | None
    frontier: Frontier
    leaves: list[Leaf] = field(default_factory=list)
    contents: dict[int, bytes] = field(default_factory=dict)
    settled: list[Unsealed] = field(default_factory=list)
    last: dict[Thread, int | None] = field(default_factory=dict)

    def add(
        self, thread: Thread, record_of: Callable[..., Record], day: int | None = None, content: bytes | None = None
    ) -> None:
        """Add the record that `record_of` makes of its forerunner and salt."""
        if thread not in self.last:
            found = self.desk.store.last_leaf(*thread)
            self.last[thread] = None if found is None else found.number
        record = record_of(previous=self.last[thread], salt=secrets.token_bytes(records.SALT))
        number, text = self.frontier.size, records.leaf_text(record)
        self.leaves.append(Leaf(number, text, *thread, record["record"], day))
        self.frontier = grown(self.frontier, [leaf_hash(text.encode())])
        self.last[thread] = number
        if content is not None:
            self.contents[number] = content


def _begun(desk: Desk) -> _Growing:
    """What stands now. It is read before anything that is to be sealed: see the module's text."""
    newest = desk.store.newest_head()
    if newest is None:
        return _Growing(desk, None, Frontier())
    roots = tuple(newest.frontier[at : at + HASH] for at in range(0, len(newest.frontier), HASH))
    frontier = Frontier(newest.size, roots)
    if root(frontier).hex() != signed_of(newest).head.root:
        raise StoreError(
            f"the tree under head {newest.number} is not the one that was signed",
            where="seals",
            mend="Put the store aside unchanged and continue from a backup",
        )
    return _Growing(desk, newest, frontier)


def _finished(growing: _Growing, reason: str, closes: int | None = None, job: str | None = None) -> SignedHead | None:
    """The next head with the key in use, which is made for the first one; None where another head came between."""
    desk = growing.desk
    known = keyring.epochs(desk)
    key = keyring.key_in_use(desk, known) if known else keyring.next_key(desk, known)
    statement = None if known else keys.first_statement(key, desk.clock.now())
    return _signed(growing, key, reason, closes, job, statement)


def _signed(
    growing: _Growing, key: Key, reason: str, closes: int | None, job: str | None, statement: Statement | None
) -> SignedHead | None:
    newest = growing.newest
    head = next_head(
        key,
        None if newest is None else signed_of(newest),
        size=growing.frontier.size,
        root=root(growing.frontier),
        made=growing.desk.clock.now(),
        reason=reason,
        software=SOFTWARE,
        closes=None if closes is None else rfc3339(closes)[:10],
        clock_offset=growing.desk.clock.offset(),
    )
    said = head.head
    row = HeadRow(
        said.number, said.size, head.text, head.signature, said.made, b"".join(growing.frontier.roots), closes, job
    )
    kept = growing.desk.store.append_head(
        row,
        growing.leaves,
        contents=growing.contents,
        settled=growing.settled,
        statement=None if statement is None else KeyRow(statement.text, statement.new, statement.old),
    )
    return head if kept else None


def _due(desk: Desk) -> int | None:
    """The next UTC day to be closed, if one is due: the one after the last, or the first one. [ms]"""
    newest = day_of(desk.clock.now() - desk.settings.service.seal_after) - DAY
    last = desk.store.last_closed()
    if last is None:
        return newest if desk.store.unsealed(newest + DAY) else None
    return last + DAY if last < newest else None


# --- what is sealed ---------------------------------------------------------------------------------------------------


def _fill(growing: _Growing, marks: Sequence[Unsealed]) -> None:
    """All that is new: what is marked, times without the recorder, the logs."""
    closed = growing.desk.store.last_closed()
    for mark in marks:
        if mark.kind == _RECORDER.kind:
            _fill_refused(growing, mark.day)
        else:
            _fill_readings(growing, mark.thread, mark.day, closed)
        growing.settled.append(mark)
    _fill_absences(growing)
    _fill_logs(growing)


def _fill_readings(growing: _Growing, stream: str, day: int, closed: int | None) -> None:
    """The day's segment, or what came since it was sealed as an amendment."""
    store, thread = growing.desk.store, Thread("sensor", stream)
    before = [leaf for leaf in store.leaves(*thread, day=day) if leaf.record in (records.SEGMENT, records.AMENDMENT)]
    new = minus(store.day_segment(stream, day), [sealed_segment(growing.desk, leaf.number) for leaf in before])
    if not len(new):
        return
    over = closed is not None and day <= closed
    amends = next((leaf.number for leaf in before if leaf.record == records.SEGMENT), None)
    if before or over:
        reason = _why(new) if over else REST
        make = partial(records.amendment_record, new, reason=reason, amends=amends)
    else:
        make = partial(records.segment_record, new)
    growing.add(thread, make, day, pack(encode(new)))


def sealed_segment(desk: Desk, leaf: int) -> Segment:
    """The readings of a leaf. Raises StoreError where they are not there or can't be read."""
    return opened(leaf, desk.store.sealed(leaf))


def _why(new: Segment) -> str:
    """Why readings of a day that was closed came later."""
    places = {int(place) for column in new.columns for place in np.unique(column.origin)}
    kinds = {new.origins[place].kind for place in places}
    said = {OriginKind.FILE: "a file was imported", OriginKind.BACK_FILL: "sent later by the sensor"}
    parts = [words for kind, words in said.items() if kind in kinds]
    if kinds - set(said):
        late = max(int(column.arrival.max()) for column in new.columns if len(column.t)) - new.day - DAY
        parts.append(f"heard {max(late, 0) / HOUR:.1f} h after the day was over")
    return "; ".join(parts)


def refusal_of(row: Quarantined) -> Refusal:
    """A thing in quarantine as it is sealed: what does not change when it comes again."""
    quantity = None if row.quantity is None else row.quantity.value
    return Refusal(row.topic, row.reason, row.detail, quantity, row.t, row.first_arrival, row.raw)


def _fill_refused(growing: _Growing, day: int) -> None:
    """What was refused on a day and is in no record of it yet; of its record the hashes of all items are kept."""
    store = growing.desk.store
    known = {item for leaf in store.leaves(*_RECORDER, day=day) for item in sealed_items(growing.desk, leaf.number)}
    rows = [refusal_of(row) for row in store.refused_on(day)]
    new = records.in_order(one for one in rows if item_hash(one) not in known)
    if new:
        content = b"".join(map(item_hash, new))
        growing.add(_RECORDER, partial(records.quarantine_record, day, new), day, content)


def item_hash(one: Refusal) -> bytes:
    """The hash of a refused thing as a leaf in the tree of its day."""
    return leaf_hash(records.refusal_text(one).encode())


def sealed_items(desk: Desk, leaf: int) -> list[bytes]:
    """The hashes of the items of a quarantine record, in order."""
    content = desk.store.sealed(leaf) or b""
    return [content[at : at + HASH] for at in range(0, len(content), HASH)]


def _fill_absences(growing: _Growing) -> None:
    """Times without the recorder that are over and in no record yet."""
    found = growing.desk.store.last_leaf(*_RECORDER, records.ABSENCE)
    told = 0 if found is None else int(read_record(found.text)["end"])
    for start, end in away(growing.desk):
        if told <= start and end < growing.desk.clock.now():
            growing.add(_RECORDER, partial(records.absence_record, start, end))


def _fill_logs(growing: _Growing) -> None:
    """Where every log stands that has grown, and the steps of the clock that the log of the sensors told since."""
    desk = growing.desk
    for chain, (number, link) in sorted(desk.store.chain_heads().items()):
        found = desk.store.last_leaf("log", chain)
        told = 0 if found is None else int(read_record(found.text)["number"])
        if number <= told:
            continue
        if chain == SENSORS_CHAIN:
            _fill_steps(growing, desk.store.entries(chain)[told:number])
        growing.add(Thread("log", chain), partial(records.log_head_record, chain, number, link))


def _fill_steps(growing: _Growing, entries: Iterable[Entry]) -> None:
    for entry in entries:
        if entry.kind is Kind.CLOCK:
            growing.add(_RECORDER, partial(records.clock_step_record, entry.at, int(entry.body["by_ms"])))


def _fill_gaps(growing: _Growing, day: int) -> None:
    """The silences since the last day that was closed."""
    last = growing.desk.store.last_closed()
    start = 0 if last is None else last + DAY
    for stream, begin, end in sorted(silences(growing.desk, start, day + DAY)):
        growing.add(Thread("sensor", stream), partial(records.gap_record, stream, begin, end))
