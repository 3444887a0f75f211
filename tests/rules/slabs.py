"""Slabs and bars by finite differences, a method of its own to hold the eigenmodes against."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def slab(
    depth: float,
    diffusivity: float,
    front: float,
    drive: Floats,
    step: float,
    came: float,
    *,
    behind: float = 0.0,
    behind_at: float = 0.0,
    cells: int = 60,
) -> Floats:
    """The cells of a slab, back first, after each step of `drive`: Crank-Nicolson on finite volumes, (steps, cells).

    `front`, `behind`: what each surface exchanges per difference, by the capacity of the slab [m/s]; `step` [s].
    """
    dx = depth / cells
    matrix, source = np.zeros((cells, cells)), np.zeros((cells, 2))
    for left in range(cells - 1):
        matrix[left : left + 2, left : left + 2] += diffusivity / dx**2 * np.array([[-1.0, 1.0], [1.0, -1.0]])
    for cell, side, exchange in ((cells - 1, 0, front), (0, 1, behind)):
        if exchange:
            through = 1.0 / (1.0 / exchange + dx / (2.0 * diffusivity)) / dx
            matrix[cell, cell] -= through
            source[cell, side] = through
    half = step / 2.0 * matrix
    inverse = np.linalg.inv(np.eye(cells) - half)
    onward, pushed = inverse @ (np.eye(cells) + half), inverse @ source * step
    now, found = np.full(cells, came), []
    for value in drive:
        now = onward @ now + pushed @ np.array([value, behind_at])
        found.append(now)
    return np.array(found)


def bar_core(height: float, width: float, diffusivity: float, front: float, drive: Floats, came: float) -> Floats:
    """The core of a bar on an insulated floor with its top and sides in the air, each hour: explicit, [degC].

    A quarter of it: insulated below and at its middle.
    """
    rows, columns, step = 20, 20, 60.0
    dy, dx = height / rows, width / 2.0 / columns
    now, found = np.full((rows, columns), came), []
    top, side = (1.0 / (1.0 / front + d / (2.0 * diffusivity)) / d for d in (dy, dx))
    for value in drive:
        for _ in range(60):
            change = np.zeros_like(now)
            for axis, d in ((0, dy), (1, dx)):
                flow = diffusivity / d**2 * np.diff(now, axis=axis)
                change += np.diff(flow, axis=axis, prepend=0.0, append=0.0)
            change[-1] += top * (value - now[-1])
            change[:, -1] += side * (value - now[:, -1])
            now = now + step * change
        # the corner lies half a cell beyond the middle of the first one; the slopes there are zero: a parabola
        found.append(now[0, 0] + (now[0, 0] - now[1, 0]) / 8.0 + (now[0, 0] - now[0, 1]) / 8.0)
    return np.array(found)
