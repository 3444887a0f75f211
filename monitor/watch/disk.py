"""Where the store of a home lies, and what is free there."""

from __future__ import annotations

import shutil
from pathlib import Path

from monitor.config.settings import Settings

SQLITE = "sqlite:///"  # how the address of a store begins that is a file


def store_file(settings: Settings) -> Path | None:
    """The file of a home's store; None where the store is on a server."""
    url = settings.store_url
    return Path(url.removeprefix(SQLITE)) if url.startswith(SQLITE) else None


def room(settings: Settings) -> tuple[Path, int]:
    """The folder of the store, else the home, and how much is free there. [bytes]"""
    file = store_file(settings)
    folder = settings.home if file is None or not file.parent.is_dir() else file.parent
    return folder, shutil.disk_usage(folder).free
