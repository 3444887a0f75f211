"""A real broker and a real browser for the tests that need one, and how Hypothesis searches."""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, settings
from processes import Mosquitto

if TYPE_CHECKING:
    from browser import Window

# How long an example takes says more of what else the computer does than of the code: no test looks at a clock.
settings.register_profile("wallclime", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("wallclime")

# A shell tells what it starts in the background to ignore Ctrl-C, and so would all that the tests start.
signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.fixture
def mosquitto_with(tmp_path: Path) -> Iterator[Callable[..., Mosquitto]]:
    """A factory of running brokers: `mosquitto_with(max_inflight_messages=5)` has that line in its configuration."""
    made: list[Mosquitto] = []

    def make(**settings: object) -> Mosquitto:
        made.append(Mosquitto(tmp_path / f"mosquitto-{len(made)}", **settings))
        made[-1].start()
        return made[-1]

    yield make
    for broker in made:
        broker.stop(at_once=True)


@pytest.fixture
def mosquitto(mosquitto_with: Callable[..., Mosquitto]) -> Mosquitto:
    """A running broker: host, port, pid, log, stop(), start()."""
    return mosquitto_with()


@pytest.fixture(scope="module")
def window(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Window]:
    """A running browser: `with window.open(html) as opened: ...`; one a module, since it takes a second to start."""
    from browser import window as started

    with started(tmp_path_factory.mktemp("browser")) as running:
        yield running
