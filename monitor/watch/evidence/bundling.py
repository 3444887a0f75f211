"""The bundle of a job: everything of it is sealed first, and the verdict is judged from what the bundle holds alone."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import NamedTuple

from monitor.basis.errors import ReportError
from monitor.basis.packing import unpack
from monitor.basis.segment import Segment, series_of
from monitor.basis.times import DAY, day_of
from monitor.basis.values import SENSORS_CHAIN, Entry, Kind, Quantity, Series
from monitor.keep.rows import Leaf
from monitor.rules.assessment import Assessment
from monitor.rules.stays import Stay
from monitor.seal import bundle, layout, records
from monitor.seal.bundle import Attachment, Contents
from monitor.seal.canonical import bytes_of_hex, text_of
from monitor.seal.chain import Withheld, withheld
from monitor.seal.heads import SignedHead
from monitor.seal.layout import ProvenRefusal
from monitor.seal.merkle import Tree, leaf_hash
from monitor.seal.records import Refusal, read_record
from monitor.tell.pages.evidence import with_digest
from monitor.watch.desk import Desk
from monitor.watch.evidence import keyring, sealing
from monitor.watch.evidence.disclosing import is_bare
from monitor.watch.evidence.rejudging import Material, Shown, judged
from monitor.watch.evidence.statement import filled
from monitor.watch.judging import assess
from monitor.watch.papers.pages import report_page

LOOK_BACK = (0, DAY)  # before a sensor came: whether it was stuck may only show in what it said before [ms]

_READINGS = (records.SEGMENT, records.AMENDMENT)


class Written(NamedTuple):
    """A bundle that was written: its last head, the tag manifest's SHA-256, how many photos say more than they show."""

    head: SignedHead
    digest: str
    photos: int


def write_bundle(desk: Desk, job: str, target: Path) -> Written:
    """Seal what there is of a job and write its bundle into the new folder `target`.

    Raises RecordError, StoreError (also where the key is not there), ReportError.
    """
    desk.book.log(job)
    if target.exists():
        raise ReportError("there is something already", where=str(target), mend="Name a new folder with -o DIR")
    as_of = desk.clock.now()
    sealing.close_due(desk)
    head = sealing.seal_now(desk, "bundle", job)
    if head is None:
        raise ReportError("nothing is sealed", where=f"job {job}", mend="Try again")
    live = assess(desk, job, at=as_of)
    for back in LOOK_BACK:
        chosen = _chosen(desk, job, head, back)
        found = judged(chosen.material(), as_of)
        if found.to_json() == live.to_json():
            break
    key = keyring.key_in_use(desk, keyring.epochs(desk))
    contents = chosen.contents(_documents(desk, found, chosen, head))
    digest = bundle.write(target, contents, key)
    photos = [one for _, one in _files(desk, chosen.named()) if one.media_type.startswith("image/")]
    return Written(head, digest, sum(not is_bare(one.content) for one in photos))


# --- what is chosen ---------------------------------------------------------------------------------------------------


def stays_of_job(desk: Desk, job: str) -> list[Stay]:
    """Where and when sensors stood at the places of a job."""
    places = desk.book.places(job)
    return [stay for stay in desk.book.stays() if stay.place in places]


def _chosen(desk: Desk, job: str, head: SignedHead, back: int) -> _Chosen:
    """What belongs to a job, as it is under `head`."""
    sensors, size = desk.book.sensors(), head.head.size
    spans: dict[str, tuple[int, int]] = {}
    for stay in stays_of_job(desk, job):
        stream = sensors[stay.sensor].stream
        start, end = spans.get(stream, (stay.start, stay.start))
        until = desk.clock.now() if stay.end is None else stay.end
        spans[stream] = (min(start, day_of(stay.start) - back), max(end, until))
    leaves = [*desk.store.leaves("log", job), *desk.store.leaves("log", SENSORS_CHAIN)]
    leaves += desk.store.leaves("recorder", "")
    for stream, (start, end) in spans.items():
        leaves += _run(desk.store.leaves("sensor", stream), day_of(start), end)
    return _Chosen(desk, job, head, sorted(leaf for leaf in leaves if leaf.number < size), frozenset(spans))


def _run(leaves: Sequence[Leaf], start: int, end: int) -> Sequence[Leaf]:
    """The leaves of a sensor from the first to the last that speaks of [start, end): none between is left out."""
    places = [place for place, leaf in enumerate(leaves) if _speaks_of(leaf, start, end)]
    return leaves[places[0] : places[-1] + 1] if places else ()


def _speaks_of(leaf: Leaf, start: int, end: int) -> bool:
    if leaf.day is not None:
        return start <= leaf.day < end
    record = read_record(leaf.text)
    return bool(record["start"] < end and record["end"] > start)


@dataclass
class _Chosen:
    """The part of the record that a bundle shows."""

    desk: Desk
    job: str
    head: SignedHead
    leaves: list[Leaf]
    streams: frozenset[str]

    @cached_property
    def log(self) -> list[Entry | Withheld]:
        """The job's log; what was erased is withheld."""
        return [_shown(entry) for entry in self.desk.store.entries(self.job)]

    @cached_property
    def sensors_log(self) -> list[Entry | Withheld]:
        """The sensors' log; entries about sensors and places that are not the job's are withheld."""
        entries = self.desk.store.entries(SENSORS_CHAIN)
        about = _about(entries, self.streams, self.desk.book.places(self.job))
        return [_shown(entry) if entry.number in about else _hidden(entry) for entry in entries]

    def material(self) -> Material:
        """What the verdict rests on."""
        return Material(
            [entry for entry in self.log if isinstance(entry, Entry)],
            [entry for entry in self.sensors_log if isinstance(entry, Entry)],
            Shown(self._series),
            [one.refusal for one in self.refused],
        )

    def _series(self, stream: str, quantity: Quantity) -> Series:
        return series_of(self._segments(stream), quantity)

    def _segments(self, stream: str) -> Iterator[Segment]:
        for leaf in self.leaves:
            if leaf.kind == "sensor" and leaf.thread == stream and leaf.record in _READINGS:
                yield sealing.sealed_segment(self.desk, leaf.number)

    @cached_property
    def refused(self) -> list[ProvenRefusal]:
        """What was refused on the topics of the job's sensors, proven, as far as it is kept still."""
        found: list[ProvenRefusal] = []
        for leaf in self.leaves:
            if leaf.record == records.QUARANTINE and leaf.day is not None:
                found += _refused(self.desk, leaf, leaf.day, self.streams)
        return found

    def named(self) -> dict[str, str]:
        """The files that the shown entries name: SHA-256 in hex -> media type."""
        found: dict[str, str] = {}
        for entry in [*self.log, *self.sensors_log]:
            if isinstance(entry, Entry) and {"sha256", "media_type"} <= set(entry.body):
                found[str(entry.body["sha256"])] = str(entry.body["media_type"])
        return found

    def contents(self, documents: Mapping[str, bytes]) -> Contents:
        """All that the bundle holds; what is large is fetched when it is written."""
        desk, size = self.desk, self.head.head.size
        tree = Tree(leaf_hash(text.encode()) for text in desk.store.leaf_texts())
        rows = desk.store.heads()[: self.head.head.number]
        heads = [sealing.signed_of(row) for row in rows]
        stamps = desk.store.timestamps()
        return Contents(
            job=self.job,
            zone=desk.book.job(self.job).zone,
            made=desk.clock.now(),
            software=sealing.SOFTWARE,
            statements=keyring.statements(desk),
            heads=bundle.proven_heads(tree, heads),
            leaves=bundle.proven_leaves(tree, [(leaf.number, leaf.text) for leaf in self.leaves], size),
            segments=_Stored(desk),
            log=self.log,
            sensors_log=self.sensors_log,
            refused=self.refused,
            attachments=_files(desk, self.named()),
            documents=documents,
            timestamps={head.hash: stamps[head.hash] for head in heads if head.hash in stamps},
        )


def _shown(entry: Entry) -> Entry | Withheld:
    if entry.kind is not Kind.ERASED:
        return entry
    said = bytes_of_hex(entry.body["body_hash"], 32)
    return Withheld(entry.chain, entry.number, entry.entered, said, entry.link)


def _hidden(entry: Entry) -> Withheld:
    found = _shown(entry)
    return found if isinstance(found, Withheld) else withheld(found)


def _about(entries: Sequence[Entry], streams: frozenset[str], places: set[str]) -> set[int]:
    """The numbers of the entries that are about these sensors at these places, or about no sensor at all."""
    names = {e.body["name"] for e in entries if e.kind is Kind.SENSOR and e.body["stream"] in streams}
    found: set[int] = set()
    for entry in entries:
        name, place = entry.body.get("sensor", entry.body.get("name")), entry.body.get("place")
        mine = (name is None or name in names) and (place is None or place in places)
        if (entry.corrects in found) if entry.kind is Kind.CORRECTION else mine:
            found.add(entry.number)
    return found


def _refused(desk: Desk, leaf: Leaf, day: int, streams: frozenset[str]) -> Iterator[ProvenRefusal]:
    """The items of one record that are of the streams, or of topics below them."""
    items = sealing.sealed_items(desk, leaf.number)
    places = {item: place for place, item in enumerate(items)}
    tree = Tree(items)
    wanted: list[tuple[int, Refusal]] = []
    for row in desk.store.refused_on(day):
        one = sealing.refusal_of(row)
        place = places.get(sealing.item_hash(one))
        if place is not None and any(f"{one.topic}/".startswith(f"{stream}/") for stream in streams):
            wanted.append((place, one))
    for place, one in sorted(wanted):
        yield ProvenRefusal(leaf.number, place, one, tuple(tree.inclusion(place, len(items))))


def _files(desk: Desk, named: Mapping[str, str]) -> Iterator[tuple[str, Attachment]]:
    for sha256, media_type in named.items():
        found = desk.store.attachment(sha256)
        if found is not None:
            yield sha256, Attachment(found.content, media_type)


@dataclass(frozen=True)
class _Stored(Mapping[int, Sequence[bytes]]):
    """The canonical segments of leaves, each fetched when it is asked for."""

    desk: Desk

    def __getitem__(self, leaf: int) -> Sequence[bytes]:
        packed = self.desk.store.sealed(leaf)
        if packed is None:
            raise KeyError(leaf)
        return [unpack(packed)]

    def __iter__(self) -> Iterator[int]:
        raise TypeError("it is only asked for single leaves")

    def __len__(self) -> int:
        raise TypeError("it is only asked for single leaves")


# --- documents --------------------------------------------------------------------------------------------------------


def _documents(desk: Desk, found: Assessment, chosen: _Chosen, head: SignedHead) -> dict[str, bytes]:
    from monitor.tell.pages.report import render_report

    assessment = assessment_bytes(found)
    page = report_page(desk, found.job, at=found.as_of)._replace(assessment=found)
    return {
        layout.REPORT: with_digest(render_report(page), assessment).encode(),
        layout.ASSESSMENT: assessment,
        layout.PROFILE: desk.book.profile(found.job, found.as_of).text.encode(),
        layout.STATEMENT: filled(desk, found, chosen.material(), head).encode(),
    }


def assessment_bytes(found: Assessment) -> bytes:
    """The Assessment as it stands in a bundle: canonical JSON, one line."""
    return f"{text_of(found.to_json())}\n".encode()
