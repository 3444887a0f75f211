"""What the tests run on a disk of a few MiB, the folder of the first argument: fill it up, and write to the log."""

from __future__ import annotations

import sys
from pathlib import Path

from monitor.basis.clock import SystemClock
from monitor.basis.errors import StoreError
from monitor.basis.values import LIVE, SENSORS_CHAIN, Draft, Kind, Quantity, Reading
from monitor.keep.store import Store, open_store
from monitor.seal.chain import link

T = 1_767_600_000_000


def batch(number: int, size: int) -> list[Reading]:
    begin = T + number * size
    return [Reading("room", Quantity.AIR_HUMIDITY, begin + i, 45.0, "%", begin, LIVE) for i in range(size)]


def fill(path: Path) -> None:
    """Take what room there is."""
    try:
        with path.open("wb", buffering=0) as file:
            while file.write(bytes(4096)):
                pass
    except OSError:
        return


def tried(what: str, store: Store, number: int) -> None:
    try:
        print(what, store.keep_readings(batch(number, 2_000)).new)
    except StoreError as error:
        print(what, error)


def entered(what: str, store: Store) -> None:
    try:
        print(what, len(store.append(SENSORS_CHAIN, [Draft(Kind.NOTE, T, "Ada", {"text": "the disk is full"})])))
    except StoreError as error:
        print(what, error)


def main(folder: Path) -> None:
    filler, spare, ballast = folder / "filler", folder / "spare", folder / "store.ballast"
    with open_store(f"sqlite:///{folder}/store.db", clock=SystemClock(), link=link) as store:
        store.keep_readings(batch(0, 10))
        print("ballast", store.keep_ballast())
        ballast.rename(spare)
        fill(filler)
        tried("readings", store, 1)
        entered("without ballast", store)
        print("entries", len(store.entries(SENSORS_CHAIN)))
        spare.rename(ballast)
        tried("readings", store, 1)
        entered("with ballast", store)
        print("ballast there", ballast.exists())
        print("ballast on the full disk", store.keep_ballast())
        print("entries", len(store.entries(SENSORS_CHAIN)))
        filler.unlink()
        print("ballast once there is room", store.keep_ballast())
        print("kept", store.keep_readings(batch(1_000, 50)).new)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
