"""Upright columns through a closed mesh: where each enters and leaves, and what hangs over what, on a regular grid.

A column crosses a surface from below either into the solid (*entry*: the face looks down) or out of it (*exit*). The
crossings of a column, sorted by height, tell all that is above and below; the cost grows with triangles plus cells.
Edges are judged from their lower to their higher vertex number, so that neighbours agree and none is crossed twice.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from condyle.geometry.mesh import FloatArray, IntArray, Mesh

_PAD = 1
# Columns stand a little off round numbers, so that they do not run along edges drawn on such numbers.
_OFF = (0.0137, 0.0271)
_HAIR = 1e-6


@dataclass(frozen=True, eq=False)
class Columns:
    """Crossings of the columns of a grid, those of column ``c = i * ny + j`` at ``start[c]`` to ``start[c + 1]``.

    z         heights (k,), mm, rising within a column
    triangle  (k,) which triangle is crossed; ``entry`` (k,) whether it looks down
    The middle of column (i, j) stands at ``origin + pitch_mm * (i, j)``.
    """

    start: NDArray[np.int64]
    z: FloatArray
    triangle: IntArray
    entry: NDArray[np.bool_]
    shape: tuple[int, int]
    origin: FloatArray
    pitch_mm: float

    def at(self, i: int, j: int) -> tuple[FloatArray, IntArray, NDArray[np.bool_]]:
        """Heights, triangles and senses of one column."""
        c = i * self.shape[1] + j
        run = slice(int(self.start[c]), int(self.start[c + 1]))
        return self.z[run], self.triangle[run], self.entry[run]

    def cell(self, points: FloatArray) -> NDArray[np.int64]:
        """Numbers of the columns nearest to points (n, 2), those at the rim for points beyond it."""
        ij = np.rint((np.asarray(points)[:, :2] - self.origin) / self.pitch_mm).astype(np.int64)
        return np.asarray(
            np.clip(ij[:, 0], 0, self.shape[0] - 1) * self.shape[1] + np.clip(ij[:, 1], 0, self.shape[1] - 1)
        )

    def middles(self, cells: NDArray[np.int64]) -> FloatArray:
        """Where columns stand, (n, 2)."""
        return np.stack([cells // self.shape[1], cells % self.shape[1]], axis=1) * self.pitch_mm + self.origin

    def within(self, low: FloatArray, high: FloatArray) -> NDArray[np.int64]:
        """Numbers of the columns in a rectangle."""
        i0, j0 = np.maximum(np.ceil((low - self.origin) / self.pitch_mm).astype(int), 0)
        i1, j1 = np.minimum(np.floor((high - self.origin) / self.pitch_mm).astype(int), np.array(self.shape) - 1)
        i, j = np.meshgrid(np.arange(i0, i1 + 1), np.arange(j0, j1 + 1), indexing="ij")
        return np.asarray((i * self.shape[1] + j).ravel(), dtype=np.int64)

    def between(self, cells: NDArray[np.int64], z: FloatArray) -> tuple[FloatArray, IntArray, FloatArray, IntArray]:
        """What lies over and under heights in columns: height and triangle of the next entry, and of the exit below.

        Heights are inf, or -inf for nothing below, with triangle -1.
        """
        return _between(self.start, self.z, self.triangle, self.entry, cells, z)

    @property
    def volume_mm3(self) -> float:
        """Volume of the solid, by columns."""
        return float(np.where(self.entry, -self.z, self.z).sum() * self.pitch_mm**2)


def columns(mesh: Mesh, pitch_mm: float) -> Columns:
    """The columns through a closed mesh along z. ValueError for a pitch that is not positive or an empty mesh."""
    if not pitch_mm > 0:
        raise ValueError("the pitch must be positive")
    if not mesh.triangle_count:
        raise ValueError("a mesh without faces has no columns")
    corners = mesh.corners.reshape(-1, 3)
    origin, nx, ny = grid_over(corners[:, :2].min(axis=0), corners[:, :2].max(axis=0), float(pitch_mm))
    room = room_for(4 * nx * ny)
    start, z, triangle, entry = cross(mesh.vertices, mesh.faces, origin[0], origin[1], float(pitch_mm), nx, ny, room)
    return Columns(start, z, triangle, entry, (nx, ny), origin, float(pitch_mm))


@njit(cache=True, nogil=True)
def grid_over(low: FloatArray, high: FloatArray, pitch: float) -> tuple[FloatArray, int, int]:  # pragma: no cover
    """Origin (2,) and size of a grid that covers a rectangle, with an empty column all around."""
    nx = int(np.ceil((high[0] - low[0]) / pitch)) + 2 * _PAD
    ny = int(np.ceil((high[1] - low[1]) / pitch)) + 2 * _PAD
    origin = np.empty(2)
    origin[0] = 0.5 * (low[0] + high[0]) - 0.5 * pitch * (nx - 1) + _OFF[0] * pitch
    origin[1] = 0.5 * (low[1] + high[1]) - 0.5 * pitch * (ny - 1) + _OFF[1] * pitch
    return origin, nx, ny


@njit(cache=True, nogil=True)
def _longer(values, room):  # type: ignore[no-untyped-def]  # pragma: no cover
    out = np.empty(room, dtype=values.dtype)
    out[: len(values)] = values
    return out


class Room(NamedTuple):
    """Arrays that a sweep works in. Given again, they spare the system a new page for every direction looked at."""

    column: IntArray
    height: FloatArray
    which: IntArray
    z: FloatArray
    triangle: IntArray
    entry: NDArray[np.bool_]


@njit(cache=True, nogil=True)
def room_for(count: int) -> Room:  # pragma: no cover
    """Room for so many crossings; a sweep that finds more makes its own."""
    return Room(
        np.empty(count, dtype=np.int32), np.empty(count), np.empty(count, dtype=np.int32),
        np.empty(count), np.empty(count, dtype=np.int32), np.empty(count, dtype=np.bool_),
    )  # fmt: skip


@njit(cache=True, nogil=True, error_model="numpy")
def _sweep(
    v: FloatArray, faces: IntArray, ox: float, oy: float, pitch: float, nx: int, ny: int, room: Room
) -> tuple[int, IntArray, FloatArray, IntArray]:  # pragma: no cover
    """How many crossings there are; column and height of each, and its triangle, as -1 - t where that looks down."""
    inverse = 1.0 / pitch
    x, y = np.empty(len(v)), np.empty(len(v))
    right, left = np.empty(len(v), dtype=np.int32), np.empty(len(v), dtype=np.int32)
    above, under = np.empty(len(v), dtype=np.int32), np.empty(len(v), dtype=np.int32)
    for k in range(len(v)):
        x[k], y[k] = (v[k, 0] - ox) * inverse, (v[k, 1] - oy) * inverse
        right[k], left[k] = np.int32(np.ceil(x[k])), np.int32(np.floor(x[k]))
        above[k], under[k] = np.int32(np.ceil(y[k])), np.int32(np.floor(y[k]))
    column, z, which = room.column, room.height, room.which
    most, n = len(column), 0
    for f in range(len(faces)):
        ia, ib, ic = faces[f, 0], faces[f, 1], faces[f, 2]
        i0, i1 = max(min(right[ia], right[ib], right[ic]), 0), min(max(left[ia], left[ib], left[ic]), nx - 1)
        j0, j1 = max(min(above[ia], above[ib], above[ic]), 0), min(max(under[ia], under[ib], under[ic]), ny - 1)
        if i0 > i1 or j0 > j1:
            continue
        ax, ay, bx, by, cx, cy = x[ia], y[ia], x[ib], y[ib], x[ic], y[ic]
        area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        if area == 0.0:
            continue
        turn = area > 0.0
        # Each edge from its lower to its higher vertex, and on which side of it the triangle lies.
        px, py, dx, dy, ab = (ax, ay, bx - ax, by - ay, turn) if ia < ib else (bx, by, ax - bx, ay - by, not turn)
        qx, qy, ex, ey, bc = (bx, by, cx - bx, cy - by, turn) if ib < ic else (cx, cy, bx - cx, by - cy, not turn)
        rx, ry, gx, gy, ca = (cx, cy, ax - cx, ay - cy, turn) if ic < ia else (ax, ay, cx - ax, cy - ay, not turn)
        az, bz, cz = v[ia, 2], v[ib, 2], v[ic, 2]
        lowest, highest = min(az, bz, cz), max(az, bz, cz)
        wide = j1 - j0 > 1
        up_ab, up_bc, up_ca = 0.0, 0.0, 0.0
        if wide:
            up_ab, up_bc, up_ca = dy / dx, ey / ex, gy / gx
        first, last = j0, j1
        for i in range(i0, i1 + 1):
            if wide:
                # Only the columns that the triangle can hold, with room for rounding: most triangles are slivers.
                low, high = np.inf, -np.inf
                if (ax <= i) != (bx <= i):
                    at = py + up_ab * (i - px)
                    low, high = min(low, at), max(high, at)
                if (bx <= i) != (cx <= i):
                    at = qy + up_bc * (i - qx)
                    low, high = min(low, at), max(high, at)
                if (cx <= i) != (ax <= i):
                    at = ry + up_ca * (i - rx)
                    low, high = min(low, at), max(high, at)
                if low <= high:
                    first, last = max(j0, int(np.ceil(low - _HAIR))), min(j1, int(np.floor(high + _HAIR)))
                else:
                    first, last = j0, j1
            along_ab, along_bc, along_ca = dy * (i - px), ey * (i - qx), gy * (i - rx)
            for j in range(first, last + 1):
                in_ab = (dx * (j - py) - along_ab > 0.0) == ab
                in_bc = (ex * (j - qy) - along_bc > 0.0) == bc
                in_ca = (gx * (j - ry) - along_ca > 0.0) == ca
                if not (in_ab & in_bc & in_ca):
                    continue
                wb = ((i - ax) * (cy - ay) - (j - ay) * (cx - ax)) / area
                wc = ((bx - ax) * (j - ay) - (by - ay) * (i - ax)) / area
                if n == most:
                    most = 2 * most + 64
                    column, z, which = _longer(column, most), _longer(z, most), _longer(which, most)
                column[n] = i * ny + j
                z[n] = min(max(az + wb * (bz - az) + wc * (cz - az), lowest), highest)
                which[n] = f if turn else -1 - f
                n += 1
    return n, column, z, which


@njit(cache=True, nogil=True)
def cross(
    v: FloatArray, faces: IntArray, ox: float, oy: float, pitch: float, nx: int, ny: int, room: Room
) -> tuple[NDArray[np.int64], FloatArray, IntArray, NDArray[np.bool_]]:  # pragma: no cover
    """Crossings of a grid's columns: start (nx * ny + 1), heights, triangles, and whether each is an entry.

    The last three may lie in ``room``, and last as long as nothing else is swept in it.
    """
    total, column, height, which = _sweep(v, faces, ox, oy, pitch, nx, ny, room)
    at = np.zeros(nx * ny, dtype=np.int64)
    for n in range(total):
        at[column[n]] += 1
    start = np.empty(nx * ny + 1, dtype=np.int64)
    start[0] = 0
    for c in range(nx * ny):
        start[c + 1] = start[c] + at[c]
        at[c] = start[c]
    z, triangle, entry = room.z, room.triangle, room.entry
    if total > len(z):
        z, triangle, entry = np.empty(total), np.empty(total, dtype=np.int32), np.empty(total, dtype=np.bool_)
    # A column has few crossings: sorting by insertion is quickest. Of two at one height the exit comes first, so that
    # bodies that touch leave no gap of nothing.
    for n in range(total):
        c = column[n]
        level, e = height[n], which[n] < 0
        q = at[c]
        at[c] = q + 1
        while q > start[c] and (z[q - 1] > level or (z[q - 1] == level and entry[q - 1] and not e)):
            z[q], triangle[q], entry[q] = z[q - 1], triangle[q - 1], entry[q - 1]
            q -= 1
        z[q], triangle[q], entry[q] = level, which[n] if not e else -1 - which[n], e
    return start, z[:total], triangle[:total], entry[:total]


@njit(cache=True, nogil=True)
def _between(
    start: NDArray[np.int64], z: FloatArray, triangle: IntArray, entry: NDArray[np.bool_], cells: NDArray[np.int64],
    at: FloatArray,
) -> tuple[FloatArray, IntArray, FloatArray, IntArray]:  # pragma: no cover  # fmt: skip
    n = len(cells)
    over, under = np.full(n, np.inf), np.full(n, -np.inf)
    over_t, under_t = np.full(n, -1, dtype=np.int32), np.full(n, -1, dtype=np.int32)
    for k in range(n):
        c = cells[k]
        for p in range(start[c], start[c + 1]):
            if z[p] <= at[k]:
                if not entry[p]:
                    under[k], under_t[k] = z[p], triangle[p]
            elif entry[p]:
                over[k], over_t[k] = z[p], triangle[p]
                break
    return over, over_t, under, under_t
