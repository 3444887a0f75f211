"""An invented installation for the tests: sealed day by day as the service would, and one job's bundle of it."""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from monitor.basis.segment import encode, from_readings
from monitor.basis.times import DAY, HOUR, MINUTE, rfc3339
from monitor.basis.values import BACK_FILL, LIVE, SENSORS_CHAIN, Draft, Entry, Kind, Quantity, Reading
from monitor.seal import bag, bundle, keys, layout, records
from monitor.seal.bundle import Attachment, Contents
from monitor.seal.chain import GENESIS, Withheld, link, withheld
from monitor.seal.heads import SignedHead, next_head
from monitor.seal.keys import Statement
from monitor.seal.layout import ProvenRefusal
from monitor.seal.merkle import Frontier, Tree, grown, leaf_hash, root
from monitor.seal.records import Record, Refusal, Thread, leaf_text, thread_of

MONDAY = 1_767_571_200_000  # 2026-01-05T00:00Z
HALL, ATTIC, SECRET = "site/hall", "=site/attic", "site/other job"
JOB, OTHER = "Attic wall", "Secret wall"
PHOTO = b"\xff\xd8 a picture, invented"
SOFTWARE = "wallclime 0.1.0"
C, RH = Quantity.AIR_TEMPERATURE, Quantity.AIR_HUMIDITY


def key_of(number: int) -> keys.Key:
    return Ed25519PrivateKey.from_private_bytes(bytes([number]) * 32)


def salt_of(number: int) -> bytes:
    return hashlib.sha256(b"salt %d" % number).digest()[:16]


def readings_of_day(stream: str, day: int, every: int = HOUR, origin=LIVE) -> list[Reading]:
    found = []
    for place, t in enumerate(range(day, day + DAY, every)):
        wave = ((place * 7) % 11) / 10
        found.append(Reading(stream, C, t, round(20 + wave, 1), "degC", t + 130 + place, origin))
        found.append(Reading(stream, RH, t, round(47 + 2 * wave, 1), "%", t + 130 + place, origin))
    return found


@dataclass
class Recorder:
    """Seals as the service does: leaves, heads, logs; everything a bundle is made from."""

    key: keys.Key = field(default_factory=lambda: key_of(1))
    leaves: list[str] = field(default_factory=list)
    segments: dict[int, bytes] = field(default_factory=dict)
    last: dict[Thread, int] = field(default_factory=dict)
    heads: list[SignedHead] = field(default_factory=list)
    statements: list[Statement] = field(default_factory=list)
    logs: dict[str, list[Entry]] = field(default_factory=dict)
    refused: list[ProvenRefusal] = field(default_factory=list)
    frontier: Frontier = field(default_factory=Frontier)

    def __post_init__(self) -> None:
        self.statements.append(keys.first_statement(self.key, MONDAY))

    def before(self, kind: str, name: str = "") -> dict:
        return {"previous": self.last.get(Thread(kind, name)), "salt": salt_of(len(self.leaves))}

    def add(self, record: Record) -> int:
        index = len(self.leaves)
        self.last[thread_of(record)] = index
        self.leaves.append(leaf_text(record))
        self.frontier = grown(self.frontier, [leaf_hash(leaf_text(record).encode())])
        return index

    def seal(self, stream: str, day: int, readings: Iterable[Reading]) -> int:
        segment = from_readings(stream, day, readings)
        index = self.add(records.segment_record(segment, **self.before("sensor", stream)))
        self.segments[index] = encode(segment)
        return index

    def amend(self, stream: str, day: int, readings: Iterable[Reading], amends: int | None) -> int:
        segment = from_readings(stream, day, readings)
        record = records.amendment_record(
            segment, reason="a logger was read out later", amends=amends, **self.before("sensor", stream)
        )
        index = self.add(record)
        self.segments[index] = encode(segment)
        return index

    def refuse(self, day: int, refusals: Sequence[Refusal]) -> None:
        index = self.add(records.quarantine_record(day, refusals, **self.before("recorder")))
        tree = records.quarantine_tree(refusals)
        for place, one in enumerate(records.in_order(refusals)):
            self.refused.append(ProvenRefusal(index, place, one, tuple(tree.inclusion(place, len(refusals)))))

    def log(self, chain: str, *drafts: Draft) -> None:
        entries = self.logs.setdefault(chain, [])
        for draft in drafts:
            number = len(entries) + 1
            entry = Entry(
                chain, number, draft.kind, draft.at, draft.at + MINUTE, draft.who, draft.body, draft.corrects,
                salt_of(1000 + number), b"",
            )  # fmt: skip
            entries.append(entry._replace(link=link(entries[-1].link if entries else GENESIS, entry)))
        last = entries[-1]
        self.add(records.log_head_record(chain, last.number, last.link, **self.before("log", chain)))

    def head(self, made: int, closes: str | None = None, reason: str = "day") -> SignedHead:
        one = next_head(
            self.key, self.heads[-1] if self.heads else None, size=len(self.leaves), root=root(self.frontier),
            made=made, reason=reason, software=SOFTWARE, closes=closes, clock_offset=12,
        )  # fmt: skip
        self.heads.append(one)
        return one

    def rotate(self, new: keys.Key, at: int) -> None:
        last = self.heads[-1].hash if self.heads else None
        self.statements.append(keys.rotation(self.key, new, at=at, head=last, reason="yearly"))
        self.key = new

    def lose(self, new: keys.Key, at: int) -> None:
        last = self.heads[-1].hash if self.heads else None
        own = keys.fingerprint(keys.public_of(self.key))
        self.statements.append(keys.declared_lost(own, new, at=at, head=last, reason="disk broken"))
        self.key = new


def day_text(day: int) -> str:
    return rfc3339(day)[:10]


REFUSED = (
    Refusal(HALL, "conflict", "kept", "air_humidity", MONDAY + DAY, MONDAY + DAY + 5, b"{}"),
    Refusal("x", "unreadable", "?", None, None, MONDAY + DAY + 6, b"\x00\xff"),
)


def begun() -> Recorder:
    """The first entries of the logs."""
    made = Recorder()
    picture = {"file": "a.jpg", "sha256": hashlib.sha256(PHOTO).hexdigest(), "media_type": "image/jpeg"}
    made.log(
        SENSORS_CHAIN,
        Draft(Kind.SENSOR, MONDAY, "ann", {"stream": HALL}),
        Draft(Kind.SENSOR, MONDAY, "ann", {"stream": SECRET}),
    )
    made.log(
        JOB,
        Draft(Kind.JOB, MONDAY, "ann", {"zone": "UTC", "length_m": 4.2}),
        Draft(Kind.DELIVER, MONDAY + HOUR, "ben", {"boxes": 12}),
        Draft(Kind.PHOTO, MONDAY + HOUR, "ben", {**picture, "bytes": len(PHOTO)}),
    )
    made.log(OTHER, Draft(Kind.JOB, MONDAY, "cid", {"zone": "UTC"}))
    return made


def recorded(every: int = HOUR, days: int = 3) -> Recorder:
    """Some days of two sensors of the job and one of another, with all kinds of records and a change of the key."""
    made = begun()
    monday = readings_of_day(HALL, MONDAY, every)
    late = [one._replace(origin=BACK_FILL) for one in monday[6:10]]
    made.seal(SECRET, MONDAY, readings_of_day(SECRET, MONDAY, every))
    first = made.seal(HALL, MONDAY, monday[:6] + monday[10:])
    made.head(MONDAY + DAY + 10 * MINUTE, day_text(MONDAY))
    made.rotate(key_of(2), MONDAY + DAY + 11 * MINUTE)
    for day in range(MONDAY + DAY, MONDAY + days * DAY, DAY):
        for stream in (SECRET, HALL, ATTIC):
            made.seal(stream, day, readings_of_day(stream, day, every))
        if day == MONDAY + DAY:
            made.amend(HALL, MONDAY, late, first)
            made.add(records.gap_record(ATTIC, day + HOUR, day + 3 * HOUR, **made.before("sensor", ATTIC)))
            made.add(records.absence_record(day, day + HOUR, **made.before("recorder")))
            made.add(records.clock_step_record(day, -5000, **made.before("recorder")))
            made.refuse(day, REFUSED)
        made.head(day + DAY + 10 * MINUTE, day_text(day))
    made.log(JOB, Draft(Kind.NOTE, MONDAY + days * DAY + HOUR, "ben", {"text": "dry"}))
    made.head(MONDAY + days * DAY + 2 * HOUR, reason="bundle")
    return made


def contents_of(made: Recorder, /, streams: Sequence[str] = (HALL, ATTIC), **changes) -> Contents:
    """What a bundle of JOB holds."""
    tree = Tree(leaf_hash(text.encode()) for text in made.leaves)
    size = made.heads[-1].head.size
    chosen = []
    for index, text in enumerate(made.leaves[:size]):
        thread = thread_of(records.read_record(text))
        if thread.kind == "recorder" or thread.name in (*streams, JOB, SENSORS_CHAIN):
            chosen.append((index, text))
    sensors_log: list[Entry | Withheld] = [
        withheld(one) if one.body.get("stream") == SECRET else one for one in made.logs[SENSORS_CHAIN]
    ]
    end = MONDAY + 3 * DAY
    today = encode(from_readings(HALL, end, readings_of_day(HALL, end)[:4]))
    base = Contents(
        job=JOB,
        zone="UTC",
        made=end + 3 * HOUR,
        software=SOFTWARE,
        statements=made.statements,
        heads=bundle.proven_heads(tree, made.heads),
        leaves=bundle.proven_leaves(tree, chosen, size),
        segments={index: [data] for index, data in made.segments.items() if index in dict(chosen)},
        log=made.logs[JOB],
        sensors_log=sensors_log,
        unsealed=[today],
        refused=made.refused,
        attachments=[(hashlib.sha256(PHOTO).hexdigest(), Attachment(PHOTO, "image/jpeg"))],
        documents={
            layout.REPORT: b"<!doctype html><title>Report</title>",
            layout.ASSESSMENT: b'{"job":"Attic wall"}',
            layout.PROFILE: b'name = "invented"\n',
        },
    )
    return replace(base, **changes)


def whole_bundle(target: Path, **changes) -> Recorder:
    made = recorded()
    bundle.write(target, contents_of(made, **changes), made.key)
    return made


def packed_again(root: Path, key: keys.Key | None) -> None:
    """Make the manifests and, with `key`, the signature fit whatever is under `root` now: what a forger would do."""
    payload = [
        (path.relative_to(root / "data").as_posix(), path.read_bytes())
        for path in sorted((root / "data").rglob("*"))
        if path.is_file()
    ]
    info = [
        tuple(line.split(": ", 1))
        for line in (root / bag.INFO).read_text().splitlines()
        if not line.startswith("Payload-Oxum")
    ]
    said = keys_of_signature(root)
    shutil.rmtree(root)
    digest = bag.write_bag(root, payload, info)
    if key is not None:
        text = layout.text_of({**said, "tagmanifest": digest, "key": keys.fingerprint(keys.public_of(key))})
        (root / layout.SIGNATURE).write_bytes(layout.write_signature(text, keys.sign(key, keys.BUNDLE, text)))


def keys_of_signature(root: Path) -> dict:
    if not (root / layout.SIGNATURE).exists():
        return {}
    return layout.value_of(layout.read_signature((root / layout.SIGNATURE).read_bytes())[0])
