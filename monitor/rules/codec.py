"""States and products as bytes and back, exactly: JSON with sorted names, in which a float comes back the same."""

from __future__ import annotations

import base64
import json
from typing import Any

from monitor.basis.values import Quantity
from monitor.rules.assessment import Excursion, Gap
from monitor.rules.board.lagging import Lagging
from monitor.rules.clock import Clock
from monitor.rules.fold import FoldState, GapState, Product, RunState


def _dump(value: Any) -> bytes:
    return json.dumps(value, sort_keys=True, separators=(",", ":"), allow_nan=False).encode()


def state_to_bytes(state: FoldState) -> bytes:
    """Equal states give equal bytes."""
    return _dump(
        {
            "begin": state.begin,
            "tracks": [track.to_json() for track in state.tracks],
            "runs": {name: [run.state, run.start] for name, run in state.runs.items()},
            "gap": None if state.gap is None else [state.gap.start, state.gap.missing, state.gap.silent],
            "clocks": {name: clock.to_json() for name, clock in state.clocks.items()},
            "apart": state.apart_since,
            "heard": state.heard,
            "lagging": state.lagging.to_json(),
        }
    )


def state_from_bytes(raw: bytes) -> FoldState:
    """What `state_to_bytes` wrote."""
    kept = json.loads(raw)
    state = FoldState(begin=kept["begin"], apart_since=kept["apart"], heard=kept["heard"])
    for track, was in zip(state.tracks, kept["tracks"], strict=True):
        track.restore(was)
    state.runs = {name: RunState(*run) for name, run in kept["runs"].items()}
    state.gap = None if kept["gap"] is None else GapState(*kept["gap"])
    state.lagging = Lagging.from_json(kept["lagging"])
    state.clocks = {name: Clock.from_json(clock) for name, clock in kept["clocks"].items()}
    return state


def product_to_bytes(product: Product) -> bytes:
    """A product, for a checkpoint."""
    return _dump(
        {
            "lengths": [product.elapsed, product.known, product.in_band, product.origins],
            "excursions": product.excursions,
            "gaps": product.gaps,
            "clocks": product.clocks,
            "days": base64.b64encode(product.days).decode("ascii"),
        }
    )


def product_from_bytes(raw: bytes) -> Product:
    """What `product_to_bytes` wrote."""
    kept = json.loads(raw)
    elapsed, known, in_band, origins = kept["lengths"]
    return Product(
        elapsed,
        known,
        in_band,
        origins,
        [Excursion(Quantity(first), *rest) for first, *rest in kept["excursions"]],
        [Gap(a, b, tuple(Quantity(q) for q in missing), silent) for a, b, missing, silent in kept["gaps"]],
        kept["clocks"],
        base64.b64decode(kept["days"]),
    )
