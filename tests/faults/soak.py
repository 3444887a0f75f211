"""Lets the daemon hear for a long time and looks whether it grows: its memory, and the files that it holds open.

    python tests/faults/soak.py --minutes 30 --rate 500

After the first sixth (five minutes of half an hour), memory may grow by less than 1 MiB in 10 min (the slope of a
straight line laid through it), and as many files are open at the end as then, give or take 2. Exit status: 0 level,
1 it grows or something is not kept.

The three sensors of the job are heard once a minute, as sensors speak: what is judged of a job rightly grows with the
number of its readings, and each thread that judges keeps the memory that the largest of its judgings took. 237 others
share the rest. The first day is sealed five minutes after the daemon has begun, thus in what is looked at.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from fault_scene import MovedDaemon, Scene, Stream, build, outcome
from mqtt_proxy import Proxy
from processes import Mosquitto, write_home

LIMIT = 2**20 / 600  # of memory [bytes/s]
FILES = 2
_SENSORS = 240
_EVERY = 5.0  # between two looks [s]


def soak(folder: Path, minutes: float, rate: int) -> int:
    """Hear for so long; prints what was found."""
    broker = Mosquitto(folder / "broker", persistence="true")
    broker.start()
    with Proxy(broker.port) as proxy:
        home = write_home(folder / "home", proxy.port, judge_every="5 s")
        daemon = MovedDaemon(home, folder / "clock")
        stream = Stream(broker.port, rate, random.Random(1), _SENSORS, apart=rate * 60)
        build(home, stream.first)
        scene = Scene(home, broker, proxy, daemon, folder / "clock", stream, random.Random(1), 0, 0)
        daemon.start(until="backlog_over")
        try:
            stream.start()
            looks = list(_watched(daemon, minutes * 60))
            stream.stop()
            scene.settle()
            daemon.stop()
        finally:
            daemon.kill()
            broker.stop()
    found = outcome("soak", scene)
    slope, files = _told(np.array(looks), minutes)
    print(
        f"sent {found.sent}, kept {found.kept}, lost {len(found.lost)}, doubled {len(found.doubled)}, good {found.good}"
    )
    return 0 if found.good and slope < LIMIT and files <= FILES else 1


def _watched(daemon: MovedDaemon, seconds: float):
    """(time [s], memory [bytes], open files), again and again."""
    began = time.monotonic()
    while (at := time.monotonic() - began) < seconds:
        yield at, daemon.rss(), daemon.files()
        time.sleep(_EVERY)


def _told(looks: np.ndarray, minutes: float) -> tuple[float, int]:
    """Memory's slope [bytes/s] and by how many the open files differ, both after the first sixth."""
    t, rss, files = looks[looks[:, 0] >= minutes * 10].T
    slope = float(np.polyfit(t, rss, 1)[0])
    print(f"{minutes:g} min: memory {rss[0] / 2**20:.1f} to {rss[-1] / 2**20:.1f} MiB, most {rss.max() / 2**20:.1f}, "
          f"{slope * 600 / 2**20:+.2f} MiB in 10 min; open files {files[0]:.0f} to {files[-1]:.0f}")  # fmt: skip
    return slope, int(abs(files[-1] - files[0]))


def main() -> int:
    parser = argparse.ArgumentParser(description="Let the daemon hear for a long time.")
    parser.add_argument("--minutes", type=float, default=30)
    parser.add_argument("--rate", type=int, default=500, help="messages a second")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        return soak(Path(folder), asked.minutes, asked.rate)


if __name__ == "__main__":
    sys.exit(main())
