"""The faults by name."""

from __future__ import annotations

from collections.abc import Callable

from fault_scene import Scene


def daemon_killed(scene: Scene) -> None:
    """SIGKILL at any moment, in its start too, and a new start at once."""
    for number in range(scene.kills):
        scene.wait(scene.draw.uniform(0, 2 * scene.seconds / scene.kills))
        scene.daemon.kill()
        scene.note(f"killed for the {number + 1}. time")
        scene.daemon.start()


def network_cut(scene: Scene) -> None:
    """Every link is broken, and each new one, for a while; four times."""
    for number in range(4):
        scene.wait(scene.seconds / 8)
        scene.proxy.cut()
        scene.note(f"cut for the {number + 1}. time")
        scene.wait(scene.draw.uniform(0, scene.seconds / 8))
        scene.proxy.mend()


def network_slow(scene: Scene) -> None:
    """200 ms each way and 50 kB/s, less than what is sent."""
    scene.proxy.slow(0.2, 50_000)
    scene.note("slow")
    scene.wait(scene.seconds)
    scene.proxy.mend()


def duplicates_and_reordering(scene: Scene) -> None:
    """Messages come in disorder, every third of them twice."""
    scene.stream.mixed = True
    scene.note("mixed")
    scene.wait(scene.seconds)
    scene.stream.mixed = False


def broker_restarted(scene: Scene) -> None:
    """A broker that keeps its sessions on disk is stopped and started; three times."""
    for number in range(3):
        scene.wait(scene.seconds / 4)
        scene.broker.stop()
        scene.note(f"broker stopped for the {number + 1}. time")
        scene.broker.start()


FAULTS: dict[str, Callable[[Scene], None]] = {
    "daemon-killed": daemon_killed,
    "network-cut": network_cut,
    "network-slow": network_slow,
    "duplicates-and-reordering": duplicates_and_reordering,
    "broker-restarted": broker_restarted,
}
