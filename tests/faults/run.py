"""Strikes the running daemon with faults and holds what is kept against what was sent and acknowledged.

    python tests/faults/run.py --long
    python tests/faults/run.py --fault daemon-killed --times 31 --rate 2000 --seconds 40

What was acknowledged is read off the wire: the daemon talks to the broker through a proxy of ours that writes down
every PUBLISH handed to the daemon and every PUBACK that comes back, by connection and packet identifier. All that the
daemon has ever acknowledged must be kept, once, with its own figures; so must all that the broker has acknowledged to
the sender, and what is missing of that is listed apart. Exit status: 0 all is kept, 1 not, 2 usage.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import random
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from fault_scene import MovedDaemon, Outcome, Scene, Stream, build, outcome, own_disk
from fault_table import FAULTS
from mqtt_proxy import Proxy
from processes import Mosquitto, write_home

HEAD = (
    *("fault", "sent", "handed over", "acknowledged", "kept", "lost", "never came", "doubled"),
    *("log whole", "judged the same", "verdict"),
)
_LISTED = 20


def strike(name: str, folder: Path, asked: argparse.Namespace) -> Outcome:
    """One fault from beginning to end, in a broker, a home and a stream of its own."""
    fault, draw = FAULTS[name], random.Random(asked.seed)
    broker = Mosquitto(folder / "broker", **fault.broker)
    broker.start()
    try:
        with Proxy(broker.port) as proxy, own_disk(folder / "home") if fault.own_disk else contextlib.nullcontext():
            home = write_home(folder / "home", proxy.port, judge_every="1 s")
            daemon, stream = MovedDaemon(home, folder / "clock"), Stream(broker.port, asked.rate, draw)
            build(home, stream.first)
            scene = Scene(home, broker, proxy, daemon, folder / "clock", stream, draw, *length(name, asked))
            daemon.start(until="backlog_over")
            try:
                stream.start()
                fault.strike(scene)
                stream.stop()
                scene.settle()
                code = daemon.stop()
            finally:
                daemon.kill()
            found = outcome(name, scene, forgetful=fault.forgetful, refuses=fault.refuses, says=fault.says)
    finally:
        broker.stop()
    if code:
        found.wrong.append(f"the daemon's exit status is {code}")
    return found


def length(name: str, asked: argparse.Namespace) -> tuple[float, int]:
    """How long a fault may take [s], and how often it strikes; in a long run as often as its line of the table says."""
    return (3.0 * FAULTS[name].often, FAULTS[name].often) if asked.long else (asked.seconds, asked.times)


def with_disks() -> None:
    """Go on in a mount namespace of our own, where a small disk can be mounted; root or not."""
    if sys.platform != "linux" or shutil.which("unshare") is None:
        sys.exit("a fault of the disk needs Linux and unshare: name the others with --fault")
    own = ["unshare", "--mount"] if os.geteuid() == 0 else ["unshare", "--mount", "--map-root-user"]
    if subprocess.run([*own, "true"], check=False, capture_output=True).returncode:
        own = ["unshare", "--user", "--mount", "--map-root-user"]
    os.execvp("unshare", [*own, sys.executable, *sys.argv, "--own-disks"])


def row(found: Outcome) -> tuple[str, ...]:
    counts = (found.sent, found.handed, found.acknowledged, found.kept)
    faults = (found.lost, found.never_came, found.doubled)
    return (
        found.fault,
        *(f"{count}" for count in counts),
        *(f"{len(numbers)}" for numbers in faults),
        "yes" if found.log_whole else "NO",
        "yes" if found.same else "NO",
        "FAULTY" if not found.good else "the rest kept" if found.never_came else "all kept",
    )


def details(found: Outcome) -> list[str]:
    """What is behind a verdict, and whatever else was remarkable."""
    named = {"lost": found.lost, "never came": [] if found.forgetful else found.never_came, "doubled": found.doubled}
    lines = [
        f"{found.fault}: {what}: {', '.join(map(str, numbers[:_LISTED]))}{' ...' if len(numbers) > _LISTED else ''}"
        for what, numbers in named.items()
        if numbers
    ]
    if found.shared:
        lines.append(f"{found.fault}: the broker gave {found.shared} messages an identifier that was still in use")
    return lines + [f"{found.fault}: {what}" for what in found.wrong]


def table(rows: list[tuple[str, ...]]) -> str:
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return "\n".join(
        "  ".join(
            cell.ljust(width) if at in (0, len(widths) - 1) else cell.rjust(width)
            for at, (cell, width) in enumerate(zip(cells, widths, strict=True))
        ).rstrip()
        for cells in rows
    )


def arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="Strike the running daemon with faults.")
    parser.add_argument("--fault", nargs="+", choices=sorted(FAULTS), default=sorted(FAULTS), help="all by default")
    parser.add_argument("--seconds", type=float, default=20, help="that a fault takes, about")
    parser.add_argument("--rate", type=int, default=1_000, help="messages a second")
    parser.add_argument("--times", type=int, default=5, help="that a fault strikes which strikes often")
    parser.add_argument(
        "--long", action="store_true", help="100 kills, 20 broker restarts, 10 full disks, the others 5"
    )
    parser.add_argument("--seed", type=int, default=1, help="of what is drawn by lot")
    parser.add_argument("--own-disks", action="store_true", help=argparse.SUPPRESS)
    return parser.parse_args()


def main() -> int:
    asked = arguments()
    if any(FAULTS[name].own_disk for name in asked.fault) and not asked.own_disks:
        with_disks()
    with tempfile.TemporaryDirectory() as folder:
        found = [strike(fault, Path(folder) / fault, asked) for fault in asked.fault]
    for line in (line for one in found for line in details(one)):
        print(line)
    print(table([HEAD, *map(row, found)]))
    return 0 if all(one.good for one in found) else 1


if __name__ == "__main__":
    sys.exit(main())
