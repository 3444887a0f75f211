"""A desk on which entries are written in pencil: the use cases check and number them, and all go into the log at once.

What a use case reads is the store as it is and what was pencilled before; what it writes to the log waits for `ink`.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, cast

from monitor.basis.errors import RecordError
from monitor.basis.values import Draft, Entry
from monitor.keep.store import Store
from monitor.watch.book import Book
from monitor.watch.desk import Desk
from monitor.watch.judging import PROGRAM


class Pencil:
    """Stands in for the store at such a desk; `mark` is written into what people say from then on."""

    def __init__(self, desk: Desk, job: str) -> None:
        self._desk, self._job = desk, job
        self._read = list(desk.book.log(job))
        self._drafts: list[Draft] = []
        self._files: dict[str, tuple[bytes, str]] = {}
        self.mark: dict[str, Any] = {}
        store = cast(Store, self)
        self.desk = desk._replace(store=store, book=Book(store))

    def __getattr__(self, name: str) -> Any:
        return getattr(self._desk.store, name)

    def entries(self, chain: str) -> list[Entry]:
        """A chain with what was pencilled."""
        if chain != self._job:
            return self._desk.store.entries(chain)
        return [*self._read, *self._pencilled()]

    def head(self, chain: str) -> tuple[int, bytes]:
        """Number and link of the last entry; what is pencilled has no link yet."""
        if chain != self._job:
            return self._desk.store.head(chain)
        return len(self._read) + len(self._drafts), b""

    def append(
        self, chain: str, drafts: Sequence[Draft], *, check: Callable[[list[Entry]], None] | None = None
    ) -> list[Entry]:
        """Pencil entries in, checked as the store would."""
        if check is not None:
            check(self.entries(chain))
        self._drafts += [replace(one, body={**one.body, **self.mark}) if one.who != PROGRAM else one for one in drafts]
        return self._pencilled()[-len(drafts) :] if drafts else []

    def keep_attachment(self, content: bytes, media_type: str) -> str:
        """Hold a file ready; its SHA-256 in hex."""
        sha256 = hashlib.sha256(content).hexdigest()
        self._files[sha256] = (content, media_type)
        return sha256

    def _pencilled(self) -> list[Entry]:
        now = self._desk.clock.now()
        return [
            Entry(self._job, number, one.kind, one.at, now, one.who, one.body, one.corrects, b"", b"")
            for number, one in enumerate(self._drafts, len(self._read) + 1)
        ]

    def ink(self) -> list[Entry]:
        """Write all of it to the store. Raises RecordError where the log has grown meanwhile, and then nothing is."""
        for content, media_type in self._files.values():
            self._desk.store.keep_attachment(content, media_type)
        return self._desk.store.append(self._job, self._drafts, check=self._unchanged) if self._drafts else []

    def _unchanged(self, entries: list[Entry]) -> None:
        if len(entries) != len(self._read):
            raise RecordError("the log has grown meanwhile", where=f"log of {self._job}", mend="Do it again")
