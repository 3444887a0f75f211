"""What the daemon answers at its health port, by path."""

from __future__ import annotations

import importlib.util

from monitor.basis.errors import SettingsError
from monitor.watch.service.health import Answer, Pages, page_of
from monitor.watch.service.ready import Told, not_ready


def pages_of(told: Told) -> Pages:
    """What is answered by path."""
    return {
        "/livez": page_of(told.pulse.still),
        "/readyz": page_of(lambda: not_ready(told.desk, told.pulse)),
        "/metrics": lambda: _metrics(told),
    }


def _metrics(told: Told) -> Answer:
    if importlib.util.find_spec("prometheus_client") is None:
        what, mend = "metrics need the package prometheus-client", "Install it: pip install 'wallclime[metrics]'"
        raise SettingsError(what, where="/metrics", mend=mend)
    from monitor.watch.service.metrics import metrics

    return metrics(told)
