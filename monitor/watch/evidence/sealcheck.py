"""The store against its seals: heads, leaves, readings, refused things and logs must be what was sealed."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence

from monitor.basis.errors import StoreError
from monitor.basis.packing import unpack
from monitor.basis.segment import Segment, content_hash, encode, ms_of_day, readings_of
from monitor.basis.times import DAY, HOUR, day_of, rfc3339
from monitor.basis.values import SENSORS_CHAIN
from monitor.seal import keys, records
from monitor.seal.heads import NO_HEAD, SignedHead
from monitor.seal.merkle import Frontier, Tree, grown, leaf_hash, root
from monitor.seal.records import Record, read_record
from monitor.seal.thinned import Thinned, is_left, thinned_leaves
from monitor.watch.desk import Desk
from monitor.watch.evidence import keyring
from monitor.watch.evidence.sealing import item_hash, refusal_of, sealed_items, sealed_segment, signed_of

CLOSING = HOUR  # how long the closing of a day may take, ours [ms]

_READINGS = (records.SEGMENT, records.AMENDMENT)


# --- heads ------------------------------------------------------------------------------------------------------------


def check_heads(desk: Desk) -> Iterator[str]:
    """What is wrong with the chain of heads, their signatures, and the tree under each."""
    known = {one.fingerprint: one.public for one in keyring.epochs(desk)}
    heads = [signed_of(row) for row in desk.store.heads()]
    previous = NO_HEAD
    for number, one in enumerate(heads, 1):
        try:
            head = one.head
        except ValueError as exc:
            yield f"head {number} can't be read ({exc})"
            return
        if head.number != number or head.previous != previous:
            yield f"head {head.number} does not follow on the head before it"
        if head.key not in known or not keys.is_signed(known[head.key], keys.HEAD, one.text, one.signature):
            yield f"the signature of head {head.number} does not hold"
        previous = one.hash
    yield from _trees(desk, heads)


def _trees(desk: Desk, heads: Sequence[SignedHead]) -> Iterator[str]:
    """The leaves grow to the root of each head, and there are none beyond the last one."""
    frontier, left = Frontier(), iter(desk.store.leaf_texts())
    for one in heads:
        head = one.head
        new = [leaf_hash(text.encode()) for _, text in zip(range(head.size - frontier.size), left, strict=False)]
        frontier = grown(frontier, new)
        if frontier.size != head.size or root(frontier).hex() != head.root:
            yield f"the leaves are not those that head {head.number} was made over"
            return
    newest = desk.store.newest_head()  # another may have been made since
    if next(left, None) is not None and (0 if newest is None else newest.number) == len(heads):
        yield "there are leaves that no head was made over"


def overdue(desk: Desk) -> list[int]:
    """The UTC days that are over and should have been sealed by now, in order. [ms]"""
    due = day_of(desk.clock.now() - desk.settings.service.seal_after - CLOSING)
    return sorted({mark.day for mark in desk.store.unsealed(due)})


# --- leaves -----------------------------------------------------------------------------------------------------------


def check_leaves(desk: Desk, progress: Callable[[float], None] = lambda _: None) -> Iterator[str]:
    """What is in the store and is not as it was sealed; `progress` is told which share was looked at, 0 to 1.

    Others may write and seal meanwhile: what seems wrong is looked at again.
    """
    days: dict[tuple[str, int], None] = {}
    refused: dict[int, None] = {}
    links = {name: _links(desk, name) for name in desk.store.chains()}
    thinned = _thinned(desk)
    for number, text in enumerate(desk.store.leaf_texts()):
        try:
            record = read_record(text)
        except ValueError as exc:
            yield f"leaf {number} can't be read ({exc})"
            continue
        if record["record"] in _READINGS:
            days[record["stream"], ms_of_day(record["day"])] = None
        elif record["record"] == records.QUARANTINE:
            refused[ms_of_day(record["day"])] = None
        yield from _leaf(desk, number, record, links, thinned)
    for done, (stream, day) in enumerate(days, 1):
        if _day(desk, stream, day):
            yield from _day(desk, stream, day)
        progress(done / len(days))
    for day in refused:
        if _refused(desk, day):
            yield from _refused(desk, day)


def _links(desk: Desk, chain: str) -> dict[int, str]:
    return {entry.number: entry.link.hex() for entry in desk.store.entries(chain)}


def _leaf(
    desk: Desk, number: int, record: Record, links: dict[str, dict[int, str]], thinned: Mapping[int, Thinned]
) -> Iterator[str]:
    kind = record["record"]
    if kind in _READINGS and not (_is_sealed(desk, number, record, thinned) or _is_sealed(desk, number, record)):
        yield f"what leaf {number} keeps of {record['day']} of {record['stream']} is not what was sealed"
    elif kind == records.LOG_HEAD:
        chain = record["chain"]
        if record["number"] not in links.get(chain, ()):
            links[chain] = _links(desk, chain)
        if links[chain].get(record["number"]) != record["link"]:
            yield f"entry {record['number']} of {chain or 'the sensors'} is not the one that leaf {number} sealed"
    elif kind == records.QUARANTINE:
        items = sealed_items(desk, number)
        if len(items) != record["items"] or Tree(items).root(len(items)).hex() != record["root"]:
            yield f"what leaf {number} keeps of the things refused on {record['day']} is not what was sealed"


def _thinned(desk: Desk) -> dict[int, Thinned]:
    return thinned_leaves(desk.store.entries(SENSORS_CHAIN))


def _is_sealed(desk: Desk, number: int, record: Record, thinned: Mapping[int, Thinned] | None = None) -> bool:
    """Whether a leaf keeps what was sealed, or what was left of it; `thinned` is looked up where it is not given."""
    data = _content(desk, number)
    if data is None or content_hash(data).hex() == record["sha256"]:
        return data is not None
    return is_left(data, record, _thinned(desk) if thinned is None else thinned, number)


def check_day(desk: Desk, stream: str, day: int, thinned: Mapping[int, Thinned]) -> list[str]:
    """What is wrong with the readings of one UTC day of a sensor, against its leaves and what was left of them."""
    leaves = [leaf for leaf in desk.store.leaves("sensor", stream, day=day) if leaf.record in _READINGS]
    found = [one for leaf in leaves for one in _leaf(desk, leaf.number, read_record(leaf.text), {}, thinned)]
    return found or _day(desk, stream, day)


def _content(desk: Desk, number: int) -> bytes | None:
    """The canonical segment of a leaf as it was kept; None where that can't be read."""
    try:
        return unpack(desk.store.sealed(number) or b"")
    except ValueError:
        return None


def _day(desk: Desk, stream: str, day: int) -> list[str]:
    """The readings of a day are those of its leaves; more there may be only while they wait to be sealed."""
    leaves = [leaf.number for leaf in desk.store.leaves("sensor", stream, day=day) if leaf.record in _READINGS]
    kept = desk.store.day_segment(stream, day)
    if len(leaves) == 1 and _content(desk, leaves[0]) == encode(kept):
        return []
    try:
        sealed = [sealed_segment(desk, number) for number in leaves]
    except StoreError:
        return []  # that is told of the leaf
    was, now, found = set(_readings(*sealed)), set(_readings(kept)), []
    if was - now:
        found.append(f"{len(was - now)} readings of {_name(day)} of {stream} are not as they were sealed")
    if now - was and not _waits(desk, "sensor", stream, day):
        found.append(f"{len(now - was)} readings of {_name(day)} of {stream} were added and are not sealed")
    return found


def _refused(desk: Desk, day: int) -> list[str]:
    """What was refused on a day is as it was sealed; less there may be, as it is let go in time."""
    leaves = desk.store.leaves("recorder", "", day=day)
    known = {item for leaf in leaves for item in sealed_items(desk, leaf.number)}
    new = sum(item_hash(refusal_of(row)) not in known for row in desk.store.refused_on(day))
    if not new or _waits(desk, "recorder", "", day):
        return []
    return [f"{new} refused things of {_name(day)} are not as they were sealed"]


def _waits(desk: Desk, kind: str, thread: str, day: int) -> bool:
    return any(mark.day == day for mark in desk.store.unsealed(day + DAY, [(kind, thread)]))


def _readings(*segments: Segment) -> Iterator[object]:
    return (reading for segment in segments for reading in readings_of(segment))


def _name(day: int) -> str:
    return rfc3339(day)[:10]
