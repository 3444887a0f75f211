"""A record heard, written, sealed, amended, its keys exchanged, parts of it forgotten, killed at any write, reopened.

Whatever happens, in whatever order: what was acknowledged is there, what was sealed never changes, what is not sealed
yet is marked so, the chains and the tree hold, and a bundle of it is whole.
"""

from __future__ import annotations

import contextlib
import shutil
import sys
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any
from unittest import mock

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule
from sqlalchemy import event

from monitor.basis.clock import SetClock
from monitor.basis.segment import content_hash, encode, readings_of
from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import BACK_FILL, LIVE, SENSORS_CHAIN, Draft, Entry, Kind, Reading, Refused
from monitor.keep.rows import HeadRow
from monitor.seal import keys
from monitor.seal.chain import Withheld, faults
from monitor.seal.heads import read_head
from monitor.seal.merkle import Tree, leaf_hash
from monitor.seal.records import read_record
from monitor.seal.verify import verify
from monitor.watch.desk import open_desk
from monitor.watch.evidence import bundling, keyring, sealing
from monitor.watch.evidence.forgetting import forget
from monitor.watch.job.jobs import close_job

sys.path.append(str(Path(__file__).parents[1] / "watch"))
from desks import HUMIDITY, T0, TEMPERATURE, furnish

SHELF, OTHER = "site/shelf/climate", "site/other/climate"
WRITES = 10  # of one use case, of which any may be the first that is not done because the power fails


class PowerCut(BaseException):
    """The process dies here."""


class Record(RuleBasedStateMachine):
    """One store and its keys, in the hands of processes that may die."""

    template: Path  # a home with a closed job, made once: each record begins with a copy of it

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp(prefix="seal-machine-"))
        shutil.copytree(self.template, self.folder / "home")
        self.clock = SetClock(T0 + HOUR)
        self.kept: set[tuple] = set()
        self.entries: dict[tuple[str, int], bytes] = {}
        self.leaves: list[str] = []
        self.heads: list[tuple[str, bytes]] = []  # text and signature
        self.keys: dict[str, bytes] = {}
        self.checked = 0  # heads whose root and signature were
        self.bundles = 0
        self.left: int | None = None  # writes before the power fails
        self._open()
        self._known()

    # --- the process

    def _open(self) -> None:
        self.context = open_desk(self.folder / "home", environ={}, clock=self.clock)
        self.desk = self.context.__enter__()
        self.written = True  # since the invariants were looked at
        for what in ("before_cursor_execute", "commit"):
            event.listen(self.desk.store._engine, what, self._writes)

    def _close(self) -> None:
        self.context.__exit__(None, None, None)

    def _writes(self, _conn: object, _cursor: object = None, statement: str = "COMMIT", *_: object) -> None:
        if not statement.startswith(("INSERT", "UPDATE", "DELETE", "VACUUM", "COMMIT")):
            return
        self.written = True
        if self.left is not None:
            self.left -= 1
            if self.left < 0:
                raise PowerCut

    def _do(self, work: Callable[[], Any], dies_at: int | None) -> Any:
        """What `work` answers; None where the power failed before its write of that number, and it was started anew."""
        self.left, found = dies_at, None
        with contextlib.suppress(PowerCut):
            found = work()
        dead, self.left = self.left is not None and self.left < 0, None
        if dead:
            self._close()
            self._open()
        return found

    def teardown(self) -> None:
        try:
            if self.desk.store.heads():
                self.bundle(None)
        finally:
            self._close()
            shutil.rmtree(self.folder)

    # --- what happens

    def _known(self) -> None:
        for chain in self.desk.store.chains():
            for entry in self.desk.store.entries(chain):
                self.entries.setdefault((chain, entry.number), entry.link)

    @rule(hours=st.sampled_from([1, 12, 26]))
    def time_passes(self, hours: int) -> None:
        self.clock.move(hours * HOUR)

    dies = st.one_of(st.none(), st.integers(0, WRITES))

    @rule(count=st.integers(1, 3), dies_at=dies)
    def hear_now(self, count: int, dies_at: int | None) -> None:
        self._hear(SHELF, 0, count, 50, LIVE, dies_at)

    @rule(
        stream=st.sampled_from([SHELF, OTHER]),
        ago=st.sampled_from([1, 2, 20, 30]),
        value=st.integers(50, 51),
        dies_at=dies,
    )
    def hear_late(self, stream: str, ago: int, value: int, dies_at: int | None) -> None:
        self._hear(stream, ago, 2, value, BACK_FILL, dies_at)

    def _hear(self, stream: str, ago: int, count: int, value: int, origin: Any, dies_at: int | None) -> None:
        begin = self.clock.now() - ago * HOUR
        batch = [
            Reading(stream, quantity, begin - begin % MINUTE + k * MINUTE, float(value), unit, self.clock.now(), origin)
            for k in range(count)  # of one minute the first value stays, the other is refused
            for quantity, unit in ((TEMPERATURE, "degC"), (HUMIDITY, "%"))
        ]
        refused = [Refused(stream, "unreadable", "?", b"%d" % value, self.clock.now())]
        if self._do(lambda: self.desk.store.keep_readings(batch, refused), dies_at) is not None:
            self.kept |= {(one.stream, one.quantity, one.t) for one in batch}

    @rule(chain=st.sampled_from(["den", SENSORS_CHAIN]), clock=st.booleans(), dies_at=dies)
    def enter(self, chain: str, clock: bool, dies_at: int | None) -> None:
        draft = Draft(Kind.CLOCK, self.clock.now(), "wallclime", {"by_ms": 9}) if clock and not chain else None
        draft = draft or Draft(Kind.NOTE, self.clock.now(), "kim", {"text": "x"})
        for entry in self._do(lambda: self.desk.store.append(chain, [draft]), dies_at) or ():
            self.entries[chain, entry.number] = entry.link

    @rule(dies_at=dies)
    def close(self, dies_at: int | None) -> None:
        self._do(lambda: sealing.close_due(self.desk), dies_at)

    @rule(job=st.sampled_from([None, "den"]), anyway=st.booleans(), dies_at=dies)
    def seal(self, job: str | None, anyway: bool, dies_at: int | None) -> None:
        self._do(lambda: sealing.seal_now(self.desk, "event", job, anyway=anyway), dies_at)

    @precondition(lambda self: self.heads)
    @rule(dies_at=dies)
    def exchange(self, dies_at: int | None) -> None:
        self._do(lambda: sealing.rotate(self.desk, "yearly"), dies_at)

    @precondition(lambda self: self.heads)
    @rule(dies_at=dies)
    def lose(self, dies_at: int | None) -> None:
        keyring.key_path(self.desk, len(keyring.epochs(self.desk))).unlink()
        if self._do(lambda: sealing.declare_lost(self.desk, "broken"), dies_at) is None:
            known = keyring.epochs(self.desk)
            if not keyring.is_there(self.desk, known):
                sealing.declare_lost(self.desk, "broken")

    @rule(place=st.integers(0, 99), dies_at=dies)
    def forget(self, place: int, dies_at: int | None) -> None:
        notes = [entry.number for entry in self.desk.store.entries("den") if entry.kind is Kind.NOTE]
        if notes:
            number = notes[place % len(notes)]
            self._do(lambda: forget(self.desk, "den", numbers=[number], reason="asked", who="robin"), dies_at)
            self._known()

    @precondition(lambda self: self.heads and self.bundles < 3)
    @rule(dies_at=dies)
    def bundle(self, dies_at: int | None) -> None:
        self.bundles += 1
        target = self.folder / f"bundle-{self.bundles}"
        with mock.patch.object(bundling, "_documents", return_value={}):
            written = self._do(lambda: bundling.write_bundle(self.desk, "den", target), dies_at)
        if written is not None:
            assert [str(fault) for fault in verify(target).faults] == []

    # --- what must hold

    @invariant()
    def all_holds(self) -> None:
        if self.written:  # where nothing was, all is as it was when it was looked at last
            entries = {chain: list(self.desk.store.entries(chain)) for chain in self.desk.store.chains()}
            leaves, heads = list(self.desk.store.leaf_texts()), self.desk.store.heads()
            self.nothing_acknowledged_is_lost(entries)
            self.nothing_sealed_changes(leaves, [(row.text, row.signature) for row in heads])
            self.every_reading_is_sealed_once_or_marked()
            self.chains_and_tree_hold(entries, leaves, heads)
        self.written = False

    def nothing_acknowledged_is_lost(self, entries: dict[str, list[Entry]]) -> None:
        for stream in (SHELF, OTHER):
            for quantity in (TEMPERATURE, HUMIDITY):
                wanted = {t for of, what, t in self.kept if (of, what) == (stream, quantity)}
                assert not wanted or wanted <= set(self.desk.store.series(stream, quantity).t.tolist())
        links = {(chain, entry.number): entry.link for chain, there in entries.items() for entry in there}
        assert self.entries.items() <= links.items()

    def nothing_sealed_changes(self, leaves: list[str], heads: list[tuple[str, bytes]]) -> None:
        assert leaves[: len(self.leaves)] == self.leaves
        assert heads[: len(self.heads)] == self.heads
        self.leaves, self.heads = leaves, heads

    def every_reading_is_sealed_once_or_marked(self) -> None:
        marks = {(mark.thread, mark.day) for mark in self.desk.store.unsealed()}
        for stream in (SHELF, OTHER):
            sealed: list[Reading] = []
            for leaf in self.desk.store.leaves("sensor", stream):
                if leaf.record != "gap":
                    segment = sealing.sealed_segment(self.desk, leaf.number)
                    assert content_hash(encode(segment)).hex() == read_record(leaf.text)["sha256"]
                    sealed += readings_of(segment)
            places = [(one.quantity, one.t) for one in sealed]
            assert len(places) == len(set(places))
            spoken = self.desk.store.spoken(stream, T0 - 9 * DAY, self.clock.now() + DAY)
            days = {int(t) - int(t) % DAY for t in spoken}
            kept = [one for day in days for one in readings_of(self.desk.store.day_segment(stream, day))]
            assert set(sealed) <= set(kept)
            assert all((stream, one.t - one.t % DAY) in marks for one in set(kept) - set(sealed))

    def chains_and_tree_hold(
        self, entries: dict[str, list[Entry]], leaves: list[str], heads: Sequence[HeadRow]
    ) -> None:
        assert [fault for there in entries.values() for fault in faults(map(_shown, there))] == []
        known = {one.fingerprint: one.public for one in keyring.epochs(self.desk)}
        assert self.keys.items() <= known.items()
        tree = Tree(leaf_hash(text.encode()) for text in leaves)
        assert not heads or heads[-1].size == len(leaves)
        for row in heads[self.checked :]:  # those before them are the same, and so are their leaves and keys
            head = read_head(row.text)
            assert head.root == tree.root(head.size).hex()
            assert keys.is_signed(known[head.key], keys.HEAD, row.text, row.signature)
        self.checked, self.keys = len(heads), known


def _shown(entry: Entry) -> Entry | Withheld:
    if entry.kind is not Kind.ERASED:
        return entry
    return Withheld(entry.chain, entry.number, entry.entered, bytes.fromhex(entry.body["body_hash"]), entry.link)


TestRecord = pytest.mark.usefixtures("_template")(Record.TestCase)
TestRecord.settings = settings(max_examples=50, stateful_step_count=30)


@pytest.fixture
def _template(tmp_path: Path) -> None:
    Record.template = tmp_path / "template"
    with open_desk(Record.template, environ={}, clock=SetClock(T0 + HOUR)) as desk:
        furnish(desk)
        close_job(desk, "den", at=None, reason="done", who="robin")
