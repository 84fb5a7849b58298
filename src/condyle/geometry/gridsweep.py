"""What a solid, given as a field on a grid, meets or sweeps when it is moved through a row of placements.

From one placement to the next a point moves, seen from the solid, by no more than the change of the rotation times its
distance from the grid's middle, and the middle's own way. So as long as the field says more than what the following
placements can cover, they are skipped: the field must not change by more than 1 mm in a mm.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from condyle.geometry.gridfield import Grid, Values
from condyle.geometry.mesh import FloatArray, IntArray


def first_hit(index: NDArray[np.intp], grid: Grid, field: Values, back: FloatArray, grown_mm: float) -> IntArray:
    """For grid points (n, 3): the first of the placements at which the solid of ``field`` comes within ``grown_mm``.

    back  (k, 3, 4): from figure coordinates back into the solid's own, placement by placement
    Returns -1 where none does.
    """
    middle, turns, ways = _paces(grid, back)
    return _first(grid.points(index), _to_grid(grid, back), field, middle, turns, ways, grid.step_mm, grown_mm)


def least_value(
    index: NDArray[np.intp], grid: Grid, field: Values, back: FloatArray, enough_mm: float, most_mm: float
) -> FloatArray:
    """For grid points (n, 3): the least value of the field over all placements, ``most_mm`` where none is less.

    The search ends at ``enough_mm``.
    """
    middle, turns, ways = _paces(grid, back)
    return _least(
        grid.points(index), _to_grid(grid, back), field, middle, turns, ways, grid.step_mm, enough_mm, most_mm
    )


def _to_grid(grid: Grid, back: FloatArray) -> FloatArray:
    out = np.array(back, dtype=np.float64).reshape(-1, 3, 4) / grid.step_mm
    out[:, :, 3] -= grid.low / grid.step_mm
    return out


def _paces(grid: Grid, back: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The grid's middle, and from each placement to the next how much it turns (mm per mm) and moves that middle (mm)."""
    middle = grid.bounds.mean(axis=0)
    m = np.asarray(back, dtype=np.float64).reshape(-1, 3, 4)
    step = np.diff(m, axis=0)
    turns = np.linalg.norm(step[:, :, :3], axis=(1, 2)) / np.sqrt(2.0)
    ways = np.linalg.norm(step[:, :, :3] @ middle + step[:, :, 3], axis=1)
    # After the last there is nothing more to come.
    return middle, np.append(turns, np.inf), np.append(ways, np.inf)


@njit(cache=True, inline="always")
def _interpolated(
    values: Values, x: float, y: float, z: float, step: float, beyond: float
) -> float:  # pragma: no cover
    """The value at grid coordinates; off the grid ``beyond`` and the way back to it, since nothing is known there."""
    i, j, k = int(np.floor(x)), int(np.floor(y)), int(np.floor(z))
    nx, ny, nz = values.shape
    if i < 0 or j < 0 or k < 0 or i >= nx - 1 or j >= ny - 1 or k >= nz - 1:
        dx, dy, dz = max(-x, x - nx, 0.0), max(-y, y - ny, 0.0), max(-z, z - nz, 0.0)
        return beyond + step * np.sqrt(dx * dx + dy * dy + dz * dz)
    u, v, w = x - i, y - j, z - k
    a = values[i, j, k] * (1 - w) + values[i, j, k + 1] * w
    b = values[i, j + 1, k] * (1 - w) + values[i, j + 1, k + 1] * w
    c = values[i + 1, j, k] * (1 - w) + values[i + 1, j, k + 1] * w
    d = values[i + 1, j + 1, k] * (1 - w) + values[i + 1, j + 1, k + 1] * w
    return float((a * (1 - v) + b * v) * (1 - u) + (c * (1 - v) + d * v) * u)


@njit(cache=True, nogil=True)
def _first(
    points: FloatArray,
    back: FloatArray,
    field: Values,
    middle: FloatArray,
    turns: FloatArray,
    ways: FloatArray,
    step: float,
    grown: float,
) -> IntArray:  # pragma: no cover
    n, steps = points.shape[0], back.shape[0]
    out = np.full(n, -1, dtype=np.int32)
    for p in range(n):
        x, y, z = points[p]
        far = np.sqrt((x - middle[0]) ** 2 + (y - middle[1]) ** 2 + (z - middle[2]) ** 2)
        k = 0
        while k < steps:
            m = back[k]
            value = _interpolated(
                field,
                m[0, 0] * x + m[0, 1] * y + m[0, 2] * z + m[0, 3],
                m[1, 0] * x + m[1, 1] * y + m[1, 2] * z + m[1, 3],
                m[2, 0] * x + m[2, 1] * y + m[2, 2] * z + m[2, 3],
                step,
                grown,
            )
            if value < grown:
                out[p] = k
                break
            room = value - grown - turns[k] * far - ways[k]
            k += 1
            while k < steps and room > turns[k] * far + ways[k]:
                room -= turns[k] * far + ways[k]
                k += 1
    return out


@njit(cache=True, nogil=True)
def _least(
    points: FloatArray,
    back: FloatArray,
    field: Values,
    middle: FloatArray,
    turns: FloatArray,
    ways: FloatArray,
    step: float,
    enough: float,
    most: float,
) -> FloatArray:  # pragma: no cover
    n, steps = points.shape[0], back.shape[0]
    out = np.full(n, most)
    for p in range(n):
        x, y, z = points[p]
        far = np.sqrt((x - middle[0]) ** 2 + (y - middle[1]) ** 2 + (z - middle[2]) ** 2)
        best = most
        k = 0
        while k < steps:
            m = back[k]
            value = _interpolated(
                field,
                m[0, 0] * x + m[0, 1] * y + m[0, 2] * z + m[0, 3],
                m[1, 0] * x + m[1, 1] * y + m[1, 2] * z + m[1, 3],
                m[2, 0] * x + m[2, 1] * y + m[2, 2] * z + m[2, 3],
                step,
                best,
            )
            if value < best:
                best = value
                if best <= enough:
                    break
            room = value - best - turns[k] * far - ways[k]
            k += 1
            while k < steps and room > turns[k] * far + ways[k]:
                room -= turns[k] * far + ways[k]
                k += 1
        out[p] = best
    return out
