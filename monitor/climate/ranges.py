"""Values in, values out: checked against their range, computed as arrays, handed back in the shape they came in."""

from __future__ import annotations

from typing import cast

import numpy as np
from numpy.typing import NDArray

from monitor.basis.units import FloatOrArray

Numbers = float | NDArray[np.float64]


def within(name: str, value: Numbers, low: float, high: float) -> NDArray[np.float64]:
    """`value` as an array of floats, each NaN or low to high. Raises ValueError that names the first one outside."""
    array = np.asarray(value, dtype=np.float64)
    outside = (array < low) | (array > high)
    if outside.any():
        raise ValueError(f"{name} {array[outside][0]:.10g} is outside {low:.10g} to {high:.10g}")
    return array


def as_given(result: NDArray[np.float64], given: FloatOrArray) -> FloatOrArray:
    """`result` as a float where it is a single number, else as the array; `given` tells a type checker which."""
    return cast("FloatOrArray", float(result) if np.ndim(result) == 0 else result)
