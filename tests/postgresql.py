"""A PostgreSQL for tests, in a folder of its own."""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest


def _postgresql_programs() -> Path:
    """The folder with initdb and pg_ctl."""
    on_path = shutil.which("initdb")
    found = [Path(on_path).resolve().parent] if on_path else sorted(Path("/usr/lib/postgresql").glob("*/bin"))
    if not found:
        pytest.fail("the store's tests run on PostgreSQL too: install it, e.g. apt-get install postgresql")
    return found[-1]


def _unprivileged() -> dict[str, Any]:
    """PostgreSQL refuses to run as root: then it runs as the user postgres, or nobody."""
    if os.geteuid() != 0:
        return {}
    users = {user.pw_name: user for user in pwd.getpwall()}
    user = users.get("postgres") or users["nobody"]
    return {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []}


@contextmanager
def server() -> Iterator[str]:
    """A running server that only a socket in its own folder leads to: the folder."""
    programs, user = _postgresql_programs(), _unprivileged()
    home = Path(tempfile.mkdtemp(prefix="keep-", dir="/tmp"))  # short: the path of a socket has 107 bytes at most
    os.chown(home, user.get("user", -1), user.get("group", -1))

    def run(*command: str) -> None:
        with (home / "said").open("w+") as said:
            done = subprocess.run(command, cwd=home, stdout=said, stderr=said, stdin=subprocess.DEVNULL, **user)
            said.seek(0)
            assert done.returncode == 0, said.read()

    data, serve = str(home / "data"), f"-k {home} -c listen_addresses='' -c fsync=off"
    run(f"{programs}/initdb", "-D", data, "-U", "keeper", "-E", "UTF8", "--no-locale", "--no-sync", "--auth=trust")
    try:
        run(f"{programs}/pg_ctl", "-D", data, "-w", "-l", str(home / "log"), "-o", serve, "start")
        yield str(home)
        run(f"{programs}/pg_ctl", "-D", data, "-w", "-m", "immediate", "stop")
    finally:
        shutil.rmtree(home)
