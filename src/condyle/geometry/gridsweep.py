"""What a solid, given as a field on a grid, meets or sweeps when it is moved through a row of placements.

From one placement to the next a point moves, seen from the solid, by no more than the change of the rotation times its
distance from the grid's middle, and the middle's own way. So as long as the field says more than what the following
placements can cover, they are skipped: the field must not change by more than 1 mm in a mm.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numba import njit
from numpy.typing import NDArray

from condyle.geometry.gridfield import Grid, Values
from condyle.geometry.mesh import BoolArray, FloatArray, IntArray

_SLAB = 8


def first_hit(index: NDArray[np.intp], grid: Grid, field: Values, back: FloatArray, grown_mm: float) -> IntArray:
    """For grid points (n, 3): the first of the placements at which the solid of ``field`` comes within ``grown_mm``.

    back  (k, 3, 4): from figure coordinates back into the solid's own, placement by placement
    Returns -1 where none does.
    """
    middle, turns, ways = _paces(grid, back)
    return _first(grid.points(index), _to_grid(grid, back), field, middle, turns, ways, grid.step_mm, grown_mm)


def swept_field(
    wanted: BoolArray,
    grid: Grid,
    field: Values,
    back: FloatArray,
    level_mm: float,
    out_mm: float,
    workers: int = 2,
) -> Values:
    """What the solid grown by ``level_mm`` sweeps, as a field: negative inside, within ± ``out_mm``; that where not wanted.

    ``workers``: how many threads look at slabs of the grid at once; the result does not depend on it.
    """
    middle, turns, ways = _paces(grid, back)
    placed = _to_grid(grid, back)
    out = np.full(grid.shape, out_mm, dtype=np.float32)

    def sweep(begin: int) -> None:
        _sweep(
            wanted, begin, begin + _SLAB, grid.low, grid.step_mm, placed, field, middle, turns, ways,
            float(level_mm), float(out_mm), out,
        )  # fmt: skip

    with ThreadPoolExecutor(workers) as pool:
        list(pool.map(sweep, range(0, grid.shape[0], _SLAB)))
    return out


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
def _lowest(
    x: float,
    y: float,
    z: float,
    back: FloatArray,
    field: Values,
    middle: FloatArray,
    turns: FloatArray,
    ways: FloatArray,
    step: float,
    enough: float,
    most: float,
) -> float:  # pragma: no cover
    """The least value of the field over all placements of one point, ``most`` where none is less."""
    far = np.sqrt((x - middle[0]) ** 2 + (y - middle[1]) ** 2 + (z - middle[2]) ** 2)
    best = most
    k, steps = 0, back.shape[0]
    while k < steps:
        value = _interpolated(
            field,
            back[k, 0, 0] * x + back[k, 0, 1] * y + back[k, 0, 2] * z + back[k, 0, 3],
            back[k, 1, 0] * x + back[k, 1, 1] * y + back[k, 1, 2] * z + back[k, 1, 3],
            back[k, 2, 0] * x + back[k, 2, 1] * y + back[k, 2, 2] * z + back[k, 2, 3],
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
    return best


@njit(cache=True, nogil=True)
def _sweep(
    wanted: BoolArray,
    begin: int,
    end: int,
    low: FloatArray,
    step: float,
    back: FloatArray,
    field: Values,
    middle: FloatArray,
    turns: FloatArray,
    ways: FloatArray,
    level: float,
    most: float,
    out: Values,
) -> None:  # pragma: no cover
    """Blocks of four points a side first, then of two, then points: whatever the block's middle decides is not refined."""
    nx, ny, nz = wanted.shape
    for i4 in range(begin, min(end, nx), 4):
        for j4 in range(0, ny, 4):
            for k4 in range(0, nz, 4):
                if not _any(wanted, i4, j4, k4, 4):
                    continue
                if _decided(i4, j4, k4, 4, wanted, low, step, back, field, middle, turns, ways, level, most, out):
                    continue
                for i2 in range(i4, min(i4 + 4, nx), 2):
                    for j2 in range(j4, min(j4 + 4, ny), 2):
                        for k2 in range(k4, min(k4 + 4, nz), 2):
                            if not _any(wanted, i2, j2, k2, 2):
                                continue
                            if _decided(
                                i2, j2, k2, 2, wanted, low, step, back, field, middle, turns, ways, level, most, out
                            ):
                                continue
                            for i in range(i2, min(i2 + 2, nx)):
                                for j in range(j2, min(j2 + 2, ny)):
                                    for k in range(k2, min(k2 + 2, nz)):
                                        if wanted[i, j, k]:
                                            x, y, z = low[0] + step * i, low[1] + step * j, low[2] + step * k
                                            value = _lowest(
                                                x,
                                                y,
                                                z,
                                                back,
                                                field,
                                                middle,
                                                turns,
                                                ways,
                                                step,
                                                level - most,
                                                level + most,
                                            )
                                            out[i, j, k] = min(max(value - level, -most), most)


@njit(cache=True, nogil=True)
def _any(wanted: BoolArray, i0: int, j0: int, k0: int, size: int) -> bool:  # pragma: no cover
    nx, ny, nz = wanted.shape
    for i in range(i0, min(i0 + size, nx)):
        for j in range(j0, min(j0 + size, ny)):
            for k in range(k0, min(k0 + size, nz)):
                if wanted[i, j, k]:
                    return True
    return False


@njit(cache=True, nogil=True)
def _decided(
    i0: int,
    j0: int,
    k0: int,
    size: int,
    wanted: BoolArray,
    low: FloatArray,
    step: float,
    back: FloatArray,
    field: Values,
    middle: FloatArray,
    turns: FloatArray,
    ways: FloatArray,
    level: float,
    most: float,
    out: Values,
) -> bool:  # pragma: no cover
    """Whether a block's middle lies so far from the surface that all its points lie further than ``most`` from it."""
    half = 0.5 * (size - 1)
    reach = step * half * np.sqrt(3.0)
    enough = reach + most
    x, y, z = low[0] + step * (i0 + half), low[1] + step * (j0 + half), low[2] + step * (k0 + half)
    value = _lowest(x, y, z, back, field, middle, turns, ways, step, level - enough, level + enough) - level
    if abs(value) < enough:
        return False
    told = most if value > 0.0 else -most
    nx, ny, nz = wanted.shape
    for i in range(i0, min(i0 + size, nx)):
        for j in range(j0, min(j0 + size, ny)):
            for k in range(k0, min(k0 + size, nz)):
                if wanted[i, j, k]:
                    out[i, j, k] = told
    return True
