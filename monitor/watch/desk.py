"""The desk: where a command sits down. It holds the store, the log as read, the settings and the clock."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

from monitor.basis.clock import Clock, SystemClock
from monitor.basis.errors import SettingsError, StoreError
from monitor.basis.units import System
from monitor.config.settings import Settings, load_settings, starter_text
from monitor.keep.store import Store, open_store
from monitor.seal import chain
from monitor.watch.book import Book


class Desk(NamedTuple):
    """What every use case works with."""

    settings: Settings
    store: Store
    book: Book
    clock: Clock

    def still(self, *, every: bool = False) -> Desk:
        """This desk over its book as that lies open now; see `Book.still`."""
        return self._replace(book=self.book.still(every=every))


@contextmanager
def open_desk(
    home: Path, *, environ: Mapping[str, str] = os.environ, clock: Clock | None = None, units: System | None = None
) -> Iterator[Desk]:
    """Sit down at the home `home`, which is made if it is not there yet; `units` are those of `Book`.

    Raises SettingsError, StoreError.
    """
    clock = clock or SystemClock()
    make_home(home)
    settings = load_settings(home, environ)
    with open_store(settings.store_url, clock=clock, link=chain.link) as store:
        yield Desk(settings, store, Book(store, units), clock)


def make_home(home: Path) -> None:
    """Make the home folder, for its owner only, if it is not there. Raises StoreError."""
    try:
        home.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as exc:
        raise StoreError(
            f"the folder can't be made ({exc.strerror})", where=str(home), mend="Choose another with --home DIR"
        ) from exc


def write_starter(home: Path, *, text: str = "") -> Path:
    """Write a commented wallclime.toml, or `text`, into `home`. Raises SettingsError when there is one, StoreError."""
    make_home(home)
    path = home / "wallclime.toml"
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text or starter_text())
    except FileExistsError:
        raise SettingsError(
            "it is there already", where=str(path), mend="Edit that file, or move it away first"
        ) from None
    except OSError as exc:
        raise StoreError(
            f"it can't be written ({exc.strerror})", where=str(path), mend="Choose another folder with --home DIR"
        ) from exc
    return path
