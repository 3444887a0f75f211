"""Passwords, keys and secret URLs: from the environment or from a file that nobody else may read, nowhere else."""

from __future__ import annotations

import os
import stat
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from monitor.basis.errors import Fault, WallclimeError
from monitor.config import tables
from monitor.config.tables import Reader


def password(
    variable: str,
    name: str | None,
    spot: str,
    home: Path,
    environ: Mapping[str, str],
    faults: list[Fault],
    what: str = "password",
) -> str | None:
    """The password: $`variable`, else what stands in the file `name` in the folder `home`. What is wrong: `faults`.

    `what` else it is called.
    """
    from_environ = environ.get(variable)
    if from_environ or name is None:
        return from_environ or None
    path = home / name
    try:
        found = tables.file_text(path).strip("\r\n")
    except WallclimeError as exc:
        faults.extend(exc.faults)
        return None
    faults += exposed(path, spot)
    if not found.isprintable() or not found:
        faults.append(Fault(f"{path} does not hold one line", spot, f"Write the {what} into it, and nothing else"))
    return found


def exposed(path: Path, spot: str) -> list[Fault]:
    """The fault of a secret file that every user can read."""
    if os.name == "posix" and path.stat().st_mode & stat.S_IRWXO:
        return [Fault(f"{path} can be read by every user", spot, f"Run: chmod o-rwx {path}")]
    return []


def not_here(variable: str) -> Reader:
    """A reader that refuses a password in wallclime.toml without showing it."""

    def refuse(_value: Any, where: str) -> str:
        raise tables.fault("a password does not stand in this file", where, f"Give ${variable} or a password_file")

    return refuse
