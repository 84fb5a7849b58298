"""Signed distances of a closed mesh on a small regular grid.

Within about two steps of the surface a grid point carries its exact distance to the nearest triangle; from there on each
point tries the triangles that are nearest to its neighbours (vector propagation: Danielsson, Euclidean distance mapping,
1980, from memory), which is a hundredth of the step too far at most places where it is not exact; beyond the band it
carries the band's width. The sign is a winding number, counted up each column of the grid. Between grid points the field
is interpolated: exact on planes, and near a sharp edge off by about a tenth of the step.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy import ndimage

from condyle.geometry.bvh import closest_on_triangle
from condyle.geometry.frame import Frame
from condyle.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh

Values = NDArray[np.float32]

# Columns stand a little beside the grid points, so that they do not run along edges of surfaces drawn on the same grid.
_BESIDE = (0.00137, 0.00083)
_BESIDES = 2  # steps along the axes to the neighbours whose triangles a point tries
_EXACT = 1.8  # steps from the surface within which every triangle is asked: a little more than a cell's diagonal


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

    def seen_from(self, frame: Frame) -> tuple[Values, Values, Values]:
        """The three coordinates of every grid point in a frame, (nx, ny, nz) each."""
        axes = np.ogrid[tuple(slice(0, n) for n in self.shape)]
        away = [(self.low[k] - frame.origin[k] + self.step_mm * axes[k]).astype(np.float32) for k in range(3)]
        turn = np.asarray(frame.rotation, dtype=np.float32)
        x, y, z = (away[0] * turn[0, k] + away[1] * turn[1, k] + away[2] * turn[2, k] for k in range(3))
        return x, y, z

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


def signed_field(mesh: Mesh, grid: Grid, band_mm: float, within_mm: float = math.inf) -> Values:
    """Signed distance (nx, ny, nz) to a closed, outward mesh, negative inside, kept within ± ``band_mm``.

    Further than ``within_mm`` from the grid's middle only the sign is told: the distance is the band's width.
    """
    first, last = grid.bounds
    near, below = _about(mesh.vertices, mesh.faces, first, last, band_mm, within_mm)
    triangles = mesh.vertices[mesh.faces[near]]
    distance = np.full(grid.shape, band_mm, dtype=np.float32)
    owner = np.full(grid.shape, -1, dtype=np.int32)
    exact = min(band_mm, _EXACT * grid.step_mm)
    _splat(triangles, grid.low, grid.step_mm, exact, distance, owner)
    if exact < band_mm:
        _spread(triangles, grid.low, grid.step_mm, band_mm, distance, owner)
    turns = np.zeros(grid.shape, dtype=np.int16)
    beside = grid.low + grid.step_mm * np.array([*_BESIDE, 0.0])
    _cross(mesh.vertices, mesh.faces[below], beside, grid.step_mm, turns)
    _signed(distance, turns)
    return distance


def far_filled(values: Values, grid: Grid, band_mm: float) -> Values:
    """The same field with points at the band's width or beyond told how far at least the rest is: for long strides.

    Blocks of four points a side are looked at, so what is told is up to three of their diagonals too little.
    """
    block = 4
    rough = tuple(-(-n // block) for n in values.shape)
    near = np.zeros(rough, dtype=np.bool_)
    _blocks_within(values, band_mm, block, near)
    if not near.any():
        return values
    cells = ndimage.distance_transform_edt(~near)
    least = np.asarray(band_mm + block * grid.step_mm * np.maximum(cells - math.sqrt(3.0), 0.0), dtype=np.float32)
    out = values.copy()
    _raise_to(out, least, band_mm, block)
    return out


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


@njit(cache=True, nogil=True)
def _about(
    vertices: FloatArray, faces: IntArray, first: FloatArray, last: FloatArray, band: float, within: float
) -> tuple[IntArray, IntArray]:  # pragma: no cover
    """Numbers of the triangles that come within the band of a box and of a ball in it, and of those in or under the box."""
    near = np.empty(len(faces), dtype=np.int32)
    below = np.empty(len(faces), dtype=np.int32)
    x, y, z = 0.5 * (first[0] + last[0]), 0.5 * (first[1] + last[1]), 0.5 * (first[2] + last[2])
    n = b = 0
    for t in range(len(faces)):
        i, j, k = faces[t, 0], faces[t, 1], faces[t, 2]
        x0, x1, x2 = vertices[i, 0], vertices[j, 0], vertices[k, 0]
        if max(x0, x1, x2) < first[0] - band or min(x0, x1, x2) > last[0] + band:
            continue
        y0, y1, y2 = vertices[i, 1], vertices[j, 1], vertices[k, 1]
        if max(y0, y1, y2) < first[1] - band or min(y0, y1, y2) > last[1] + band:
            continue
        low = min(vertices[i, 2], vertices[j, 2], vertices[k, 2])
        if low > last[2] + band:
            continue
        if low <= last[2]:
            below[b] = t
            b += 1
        high = max(vertices[i, 2], vertices[j, 2], vertices[k, 2])
        if high < first[2] - band:
            continue
        dx = max(min(x0, x1, x2) - x, x - max(x0, x1, x2), 0.0)
        dy = max(min(y0, y1, y2) - y, y - max(y0, y1, y2), 0.0)
        dz = max(low - z, z - high, 0.0)
        if dx * dx + dy * dy + dz * dz <= (within + band) ** 2:
            near[n] = t
            n += 1
    return near[:n].copy(), below[:b].copy()


@njit(cache=True, nogil=True)
def _splat(
    triangles: FloatArray, low: FloatArray, step: float, reach: float, distance: Values, owner: NDArray[np.int32]
) -> None:  # pragma: no cover
    """Distances to the nearest triangle and its number, at grid points within ``reach`` of it."""
    nx, ny, nz = distance.shape
    for t in range(triangles.shape[0]):
        tri = triangles[t]
        i0 = max(0, int(np.ceil((min(tri[0, 0], tri[1, 0], tri[2, 0]) - reach - low[0]) / step)))
        i1 = min(nx - 1, int(np.floor((max(tri[0, 0], tri[1, 0], tri[2, 0]) + reach - low[0]) / step)))
        j0 = max(0, int(np.ceil((min(tri[0, 1], tri[1, 1], tri[2, 1]) - reach - low[1]) / step)))
        j1 = min(ny - 1, int(np.floor((max(tri[0, 1], tri[1, 1], tri[2, 1]) + reach - low[1]) / step)))
        k0 = max(0, int(np.ceil((min(tri[0, 2], tri[1, 2], tri[2, 2]) - reach - low[2]) / step)))
        k1 = min(nz - 1, int(np.floor((max(tri[0, 2], tri[1, 2], tri[2, 2]) + reach - low[2]) / step)))
        if i0 > i1 or j0 > j1 or k0 > k1:
            continue
        ax, ay, az = tri[0, 0], tri[0, 1], tri[0, 2]
        ux, uy, uz = tri[1, 0] - ax, tri[1, 1] - ay, tri[1, 2] - az
        vx, vy, vz = tri[2, 0] - ax, tri[2, 1] - ay, tri[2, 2] - az
        px, py, pz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        length = np.sqrt(px * px + py * py + pz * pz)
        # The plane's normal over its length; none for a triangle without area, which then is asked everywhere.
        scale = 1.0 / length if length > 0.0 else 0.0
        px, py, pz = px * scale, py * scale, pz * scale
        for i in range(i0, i1 + 1):
            x = low[0] + step * i
            for j in range(j0, j1 + 1):
                y = low[1] + step * j
                flat = (x - ax) * px + (y - ay) * py
                for k in range(k0, k1 + 1):
                    z = low[2] + step * k
                    # Nearer than the plane that it lies in no triangle is.
                    so_far = min(float(distance[i, j, k]), reach)
                    if abs(flat + (z - az) * pz) >= so_far:
                        continue
                    d2, _, _, _ = closest_on_triangle(tri, x, y, z)
                    if d2 < so_far * so_far:
                        distance[i, j, k] = np.sqrt(d2)
                        owner[i, j, k] = t


@njit(cache=True, nogil=True)
def _spread(
    triangles: FloatArray, low: FloatArray, step: float, band: float, distance: Values, owner: NDArray[np.int32]
) -> None:  # pragma: no cover
    """Outwards from the points that know their triangle, ring by ring, until the band is full."""
    nx, ny, nz = distance.shape
    count = 0
    for i in range(nx):
        for j in range(ny):
            for k in range(nz):
                if owner[i, j, k] >= 0:
                    count += 1
    front = np.empty(count, dtype=np.int64)
    count = 0
    for i in range(nx):
        for j in range(ny):
            for k in range(nz):
                if owner[i, j, k] >= 0:
                    front[count] = (i * ny + j) * nz + k
                    count += 1
    while count:
        ring = np.empty(6 * count, dtype=np.int64)
        n = 0
        for p in range(count):
            for side in range(6):
                i, j, k = front[p] // (ny * nz), front[p] // nz % ny, front[p] % nz
                by = 1 if side % 2 else -1
                if side < 2:
                    i += by
                elif side < 4:
                    j += by
                else:
                    k += by
                if i < 0 or j < 0 or k < 0 or i >= nx or j >= ny or k >= nz or owner[i, j, k] != -1:
                    continue
                owner[i, j, k] = -2
                ring[n] = (i * ny + j) * nz + k
                n += 1
        found = np.empty(n, dtype=np.int32)
        for p in range(n):
            i, j, k = ring[p] // (ny * nz), ring[p] // nz % ny, ring[p] % nz
            x, y, z = low[0] + step * i, low[1] + step * j, low[2] + step * k
            best, where, last = band * band, -3, -1
            for a in range(max(i - 1, 0), min(i + 2, nx)):
                for b in range(max(j - 1, 0), min(j + 2, ny)):
                    for c in range(max(k - 1, 0), min(k + 2, nz)):
                        t = owner[a, b, c]
                        if t < 0 or t in (where, last) or abs(a - i) + abs(b - j) + abs(c - k) > _BESIDES:
                            continue
                        last = t
                        d2, _, _, _ = closest_on_triangle(triangles[t], x, y, z)
                        if d2 < best:
                            best, where = d2, t
            found[p] = where
            if where >= 0:
                distance[i, j, k] = np.sqrt(best)
        # Only now, so that a ring's points do not learn from each other and their order does not matter.
        count = 0
        for p in range(n):
            owner[ring[p] // (ny * nz), ring[p] // nz % ny, ring[p] % nz] = found[p]
            if found[p] >= 0:
                ring[count] = ring[p]
                count += 1
        front = ring


@njit(cache=True, nogil=True)
def _signed(distance: Values, turns: NDArray[np.int16]) -> None:  # pragma: no cover
    """Turns distances negative where the crossings below a point leave it inside."""
    nx, ny, nz = distance.shape
    for i in range(nx):
        for j in range(ny):
            winding = 0
            for k in range(nz):
                winding += turns[i, j, k]
                if winding > 0:
                    distance[i, j, k] = -distance[i, j, k]


@njit(cache=True, nogil=True)
def _blocks_within(values: Values, band: float, block: int, near: BoolArray) -> None:  # pragma: no cover
    nx, ny, nz = values.shape
    for i in range(nx):
        for j in range(ny):
            for k in range(nz):
                if values[i, j, k] < band:
                    near[i // block, j // block, k // block] = True


@njit(cache=True, nogil=True)
def _raise_to(values: Values, least: Values, band: float, block: int) -> None:  # pragma: no cover
    nx, ny, nz = values.shape
    for i in range(nx):
        for j in range(ny):
            for k in range(nz):
                if values[i, j, k] >= band:
                    values[i, j, k] = max(values[i, j, k], least[i // block, j // block, k // block])


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
                    p, q = faces[t, e], faces[t, (e + 1) % 3]
                    py, qy = vertices[p, 1], vertices[q, 1]
                    if (py > y) == (qy > y):
                        continue
                    if py > qy:
                        p, q, py, qy = q, p, qy, py
                    px = vertices[p, 0]
                    if x < (vertices[q, 0] - px) * (y - py) / (qy - py) + px:
                        passed = not passed
                if not passed:
                    continue
                slope = (uz * vy - uy * vz) * (x - a[0]) + (ux * vz - uz * vx) * (y - a[1])
                k = int(np.ceil((a[2] + slope / up - low[2]) / step))
                if k < nz:
                    # Seen from below the faces that look down come first.
                    turns[i, j, max(k, 0)] += 1 if up < 0.0 else -1
