"""Signed distances of a closed mesh on a small regular grid, and what a solid sweeps of it when it is moved.

Near the surface a grid point carries its exact distance to the nearest triangle; further off it carries the band's
width. The sign is a winding number, counted up each column of the grid. Between grid points the field is interpolated:
exact on planes, and near a sharp edge off by about a tenth of the step.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from condyle.geometry.bvh import closest_on_triangle
from condyle.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh

Values = NDArray[np.float32]

# Columns stand a little beside the grid points, so that they do not run along edges of surfaces drawn on the same grid.
_BESIDE = (0.00137, 0.00083)


@dataclass(frozen=True, eq=False)
class Grid:
    """Grid points at ``low + step_mm * (i, j, k)``, ``shape`` of them."""

    low: FloatArray
    step_mm: float
    shape: tuple[int, int, int]

    @property
    def bounds(self) -> FloatArray:
        """Lower and upper corner, (2, 3)."""
        return np.stack([self.low, self.low + self.step_mm * (np.array(self.shape) - 1)])

    def points(self, index: NDArray[np.intp]) -> FloatArray:
        """Grid indices (n, 3) as points in mm."""
        return np.asarray(self.low + self.step_mm * index)

    def all_points(self) -> FloatArray:
        """Every grid point, (nx, ny, nz, 3)."""
        return self.points(np.moveaxis(np.indices(self.shape), 0, -1))

    def at(self, values: Values, points: FloatArray) -> FloatArray:
        """Values at points (n, 3) that are grid points, by index."""
        index = np.rint((points - self.low) / self.step_mm).astype(np.intp)
        index = np.clip(index, 0, np.array(self.shape) - 1)
        return np.asarray(values[index[:, 0], index[:, 1], index[:, 2]], dtype=np.float64)


def grid_around(centre: FloatArray, radius_mm: float, step_mm: float) -> Grid:
    """A cube of grid points about a ball, one of them at its middle."""
    half = math.ceil(radius_mm / step_mm)
    low = np.asarray(centre, dtype=np.float64) - half * step_mm
    return Grid(low, step_mm, (2 * half + 1,) * 3)


def signed_field(mesh: Mesh, grid: Grid, band_mm: float) -> Values:
    """Signed distance (nx, ny, nz) to a closed, outward mesh, negative inside, kept within ± ``band_mm``."""
    triangles = mesh.corners
    low, high = triangles.min(axis=1), triangles.max(axis=1)
    first, last = grid.bounds
    flat = (low[:, :2] <= last[:2] + band_mm).all(axis=1) & (high[:, :2] >= first[:2] - band_mm).all(axis=1)
    below = flat & (low[:, 2] <= last[2])
    near = flat & (low[:, 2] <= last[2] + band_mm) & (high[:, 2] >= first[2] - band_mm)
    distance = np.full(grid.shape, band_mm, dtype=np.float32)
    _splat(np.ascontiguousarray(triangles[near]), grid.low, grid.step_mm, band_mm, distance)
    turns = np.zeros(grid.shape, dtype=np.int16)
    beside = grid.low + grid.step_mm * np.array([*_BESIDE, 0.0])
    _cross(mesh.vertices, np.ascontiguousarray(mesh.faces[below]), beside, grid.step_mm, turns)
    inside = np.cumsum(turns, axis=2, dtype=np.int16) > 0
    return np.where(inside, -distance, distance)


def first_hit(
    index: NDArray[np.intp], grid: Grid, field: Values, back: FloatArray, per_step_mm: FloatArray, grown_mm: float
) -> IntArray:
    """For grid points (n, 3): the first of the placements at which the solid of ``field`` comes within ``grown_mm``.

    back         (k, 3, 4): from figure coordinates back into the solid's own, placement by placement
    per_step_mm  (n,): how far the point moves, seen from the solid, from one placement to the next at most
    Returns -1 where none does.
    """
    return _first(grid.points(index), _to_grid(grid, back), grid.low, field, per_step_mm, grown_mm)


def least_value(index: NDArray[np.intp], grid: Grid, field: Values, back: FloatArray, enough: float) -> FloatArray:
    """For grid points (n, 3): the least value of the field over all placements; the search ends at ``enough``."""
    return _least(grid.points(index), _to_grid(grid, back), grid.low, field, enough)


def rim_of(marked: BoolArray) -> BoolArray:
    """Marked grid points with an unmarked neighbour along an axis, or at the grid's edge."""
    inner = marked.copy()
    for axis in range(3):
        for shift in (1, -1):
            moved = np.zeros_like(marked)
            there: list[slice] = [slice(None)] * 3
            here: list[slice] = [slice(None)] * 3
            there[axis], here[axis] = (
                (slice(1, None), slice(None, -1)) if shift > 0 else (slice(None, -1), slice(1, None))
            )
            moved[tuple(there)] = marked[tuple(here)]
            inner &= moved
    return marked & ~inner


def _to_grid(grid: Grid, back: FloatArray) -> FloatArray:
    out = np.array(back, dtype=np.float64).reshape(-1, 3, 4) / grid.step_mm
    out[:, :, 3] -= grid.low / grid.step_mm
    return out


@njit(cache=True, nogil=True)
def _splat(
    triangles: FloatArray, low: FloatArray, step: float, band: float, distance: Values
) -> None:  # pragma: no cover
    nx, ny, nz = distance.shape
    for t in range(triangles.shape[0]):
        tri = triangles[t]
        i0 = max(0, int(np.ceil((min(tri[0, 0], tri[1, 0], tri[2, 0]) - band - low[0]) / step)))
        i1 = min(nx - 1, int(np.floor((max(tri[0, 0], tri[1, 0], tri[2, 0]) + band - low[0]) / step)))
        j0 = max(0, int(np.ceil((min(tri[0, 1], tri[1, 1], tri[2, 1]) - band - low[1]) / step)))
        j1 = min(ny - 1, int(np.floor((max(tri[0, 1], tri[1, 1], tri[2, 1]) + band - low[1]) / step)))
        k0 = max(0, int(np.ceil((min(tri[0, 2], tri[1, 2], tri[2, 2]) - band - low[2]) / step)))
        k1 = min(nz - 1, int(np.floor((max(tri[0, 2], tri[1, 2], tri[2, 2]) + band - low[2]) / step)))
        # A ball about the triangle: a point further from it than its best so far need not be looked at.
        mx = (tri[0, 0] + tri[1, 0] + tri[2, 0]) / 3.0
        my = (tri[0, 1] + tri[1, 1] + tri[2, 1]) / 3.0
        mz = (tri[0, 2] + tri[1, 2] + tri[2, 2]) / 3.0
        reach2 = 0.0
        for c in range(3):
            reach2 = max(reach2, (tri[c, 0] - mx) ** 2 + (tri[c, 1] - my) ** 2 + (tri[c, 2] - mz) ** 2)
        reach = np.sqrt(reach2) + 1e-6
        for i in range(i0, i1 + 1):
            x = low[0] + step * i
            for j in range(j0, j1 + 1):
                y = low[1] + step * j
                flat2 = (x - mx) ** 2 + (y - my) ** 2
                if flat2 > (band + reach) ** 2:
                    continue
                for k in range(k0, k1 + 1):
                    z = low[2] + step * k
                    far = distance[i, j, k] + reach
                    if flat2 + (z - mz) ** 2 > far * far:
                        continue
                    d2, _, _, _ = closest_on_triangle(tri, x, y, z)
                    d = np.sqrt(d2)
                    if d < distance[i, j, k]:
                        distance[i, j, k] = d


@njit(cache=True, nogil=True)
def _cross(
    vertices: FloatArray, faces: IntArray, low: FloatArray, step: float, turns: NDArray[np.int16]
) -> None:  # pragma: no cover
    """Adds, at the first grid point above each crossing of a column, +1 where it enters the solid and -1 where it leaves.

    An edge is always looked at from its end with the lower y, so that the triangles on both sides agree on who is crossed,
    even where they do not share the vertices themselves.
    """
    nx, ny, nz = turns.shape
    for t in range(faces.shape[0]):
        a, b, c = vertices[faces[t, 0]], vertices[faces[t, 1]], vertices[faces[t, 2]]
        i0 = max(0, int(np.ceil((min(a[0], b[0], c[0]) - low[0]) / step)))
        i1 = min(nx - 1, int(np.floor((max(a[0], b[0], c[0]) - low[0]) / step)))
        j0 = max(0, int(np.ceil((min(a[1], b[1], c[1]) - low[1]) / step)))
        j1 = min(ny - 1, int(np.floor((max(a[1], b[1], c[1]) - low[1]) / step)))
        ux, uy, uz = b[0] - a[0], b[1] - a[1], b[2] - a[2]
        vx, vy, vz = c[0] - a[0], c[1] - a[1], c[2] - a[2]
        up = ux * vy - uy * vx
        if up == 0.0:
            continue
        for i in range(i0, i1 + 1):
            x = low[0] + step * i
            for j in range(j0, j1 + 1):
                y = low[1] + step * j
                passed = False
                for e in range(3):
                    p, q = vertices[faces[t, e]], vertices[faces[t, (e + 1) % 3]]
                    if p[1] > q[1]:
                        p, q = q, p
                    if (p[1] > y) != (q[1] > y) and x < (q[0] - p[0]) * (y - p[1]) / (q[1] - p[1]) + p[0]:
                        passed = not passed
                if not passed:
                    continue
                slope = (uz * vy - uy * vz) * (x - a[0]) + (ux * vz - uz * vx) * (y - a[1])
                k = int(np.ceil((a[2] + slope / up - low[2]) / step))
                if k < nz:
                    # Seen from below the faces that look down come first.
                    turns[i, j, max(k, 0)] += 1 if up < 0.0 else -1


@njit(cache=True, inline="always")
def _interpolated(values: Values, x: float, y: float, z: float, beyond: float) -> float:  # pragma: no cover
    i, j, k = int(np.floor(x)), int(np.floor(y)), int(np.floor(z))
    nx, ny, nz = values.shape
    if i < 0 or j < 0 or k < 0 or i >= nx - 1 or j >= ny - 1 or k >= nz - 1:
        return beyond
    u, v, w = x - i, y - j, z - k
    a = values[i, j, k] * (1 - w) + values[i, j, k + 1] * w
    b = values[i, j + 1, k] * (1 - w) + values[i, j + 1, k + 1] * w
    c = values[i + 1, j, k] * (1 - w) + values[i + 1, j, k + 1] * w
    d = values[i + 1, j + 1, k] * (1 - w) + values[i + 1, j + 1, k + 1] * w
    return float((a * (1 - v) + b * v) * (1 - u) + (c * (1 - v) + d * v) * u)


@njit(cache=True, nogil=True)
def _first(
    points: FloatArray, back: FloatArray, low: FloatArray, field: Values, per_step: FloatArray, grown: float
) -> IntArray:  # pragma: no cover
    n, steps = points.shape[0], back.shape[0]
    out = np.full(n, -1, dtype=np.int32)
    for p in range(n):
        x, y, z = points[p]
        k = 0
        while k < steps:
            m = back[k]
            value = _interpolated(
                field,
                m[0, 0] * x + m[0, 1] * y + m[0, 2] * z + m[0, 3],
                m[1, 0] * x + m[1, 1] * y + m[1, 2] * z + m[1, 3],
                m[2, 0] * x + m[2, 1] * y + m[2, 2] * z + m[2, 3],
                grown + 1.0,
            )
            if value < grown:
                out[p] = k
                break
            # As many placements as the point cannot cover the way in.
            k += max(1, int((value - grown) / max(per_step[p], 1e-6)))
    return out


@njit(cache=True, nogil=True)
def _least(
    points: FloatArray, back: FloatArray, low: FloatArray, field: Values, enough: float
) -> FloatArray:  # pragma: no cover
    n, steps = points.shape[0], back.shape[0]
    out = np.full(n, np.inf)
    for p in range(n):
        x, y, z = points[p]
        best = np.inf
        for k in range(steps):
            m = back[k]
            value = _interpolated(
                field,
                m[0, 0] * x + m[0, 1] * y + m[0, 2] * z + m[0, 3],
                m[1, 0] * x + m[1, 1] * y + m[1, 2] * z + m[1, 3],
                m[2, 0] * x + m[2, 1] * y + m[2, 2] * z + m[2, 3],
                np.inf,
            )
            if value < best:
                best = value
                if best <= enough:
                    break
        out[p] = best
    return out
