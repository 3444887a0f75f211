"""A word to systemd, where it has started us: sd_notify(3) is a datagram to a socket that the environment names."""

from __future__ import annotations

import os
import socket
from collections.abc import Mapping
from typing import NamedTuple

_WITHIN = 1.0  # systemd reads at once, or does not live [s]


class Supervisor(NamedTuple):
    """Where systemd listens, and within how long it wants a sign of life, if at all. [s]

    An abstract address begins with NUL (unix(7)), which the environment writes as @.
    """

    address: str
    watchdog: float | None = None

    def tell(self, *lines: str) -> None:
        """Send lines like READY=1; what they hold can't begin a line of its own. Raises OSError."""
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as out:
            out.settimeout(_WITHIN)
            out.sendto("\n".join(" ".join(line.split()) for line in lines).encode(), self.address)


def supervisor(environ: Mapping[str, str] = os.environ, *, pid: int | None = None) -> Supervisor | None:
    """Who is to be told, None where nobody asks: $NOTIFY_SOCKET, and of sd_watchdog_enabled(3) $WATCHDOG_USEC, _PID."""
    address = environ.get("NOTIFY_SOCKET", "")
    if address[:1] not in ("/", "@") or not hasattr(socket, "AF_UNIX"):
        return None
    if address.startswith("@"):
        address = f"\0{address[1:]}"
    asked, whom = environ.get("WATCHDOG_USEC", ""), environ.get("WATCHDOG_PID", "")
    ours = not whom or whom == str(os.getpid() if pid is None else pid)
    return Supervisor(address, int(asked) / 1e6 if ours and asked.isdecimal() and int(asked) else None)
