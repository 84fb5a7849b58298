"""Kernels under plane sections: which triangles a plane crosses, and the outlines chained through them."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from condyle.geometry.mesh import BoolArray, FloatArray, IntArray

LongArray = NDArray[np.int64]


@njit(cache=True, nogil=True)
def turned_into(
    vertices: FloatArray, faces: IntArray, origin: FloatArray, rotation: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Vertices in a frame's coordinates, and the lowest and highest z of each triangle."""
    local = np.empty_like(vertices)
    for i in range(len(vertices)):
        x, y, z = vertices[i, 0] - origin[0], vertices[i, 1] - origin[1], vertices[i, 2] - origin[2]
        for k in range(3):
            local[i, k] = x * rotation[0, k] + y * rotation[1, k] + z * rotation[2, k]
    low, high = np.empty(len(faces)), np.empty(len(faces))
    for t in range(len(faces)):
        a, b, c = local[faces[t, 0], 2], local[faces[t, 1], 2], local[faces[t, 2], 2]
        low[t], high[t] = min(a, b, c), max(a, b, c)
    return local, low, high


@njit(cache=True, nogil=True)
def crossed(low: FloatArray, high: FloatArray, height: float) -> IntArray:
    """The triangles with a corner below the plane and one on it or above."""
    found = np.empty(len(low), dtype=np.int32)
    n = 0
    for t in range(len(low)):
        if low[t] < height and high[t] >= height:
            found[n] = t
            n += 1
    return found[:n].copy()


@njit(cache=True, nogil=True)
def steps(
    faces: IntArray, local: FloatArray, crossing: IntArray, height: float
) -> tuple[LongArray, LongArray, FloatArray, FloatArray]:
    """Each triangle's step of the outline: a name for the edge it starts and ends on, and the two points.

    Seen from above, the solid lies to the left.
    """
    m, n = len(crossing), len(local)
    start, end = np.empty(m, dtype=np.int64), np.empty(m, dtype=np.int64)
    first, second = np.empty((m, 2)), np.empty((m, 2))
    for s in range(m):
        t = crossing[s]
        up = (local[faces[t, 0], 2] >= height, local[faces[t, 1], 2] >= height, local[faces[t, 2], 2] >= height)
        # One corner is alone on its side; the others follow in the winding's order.
        lone_is_up = int(up[0]) + int(up[1]) + int(up[2]) == 1
        k = 0 if up[0] == lone_is_up else (1 if up[1] == lone_is_up else 2)
        a, b, c = faces[t, k], faces[t, (k + 1) % 3], faces[t, (k + 2) % 3]
        one, two = _name(a, b, n), _name(c, a, n)
        if not lone_is_up:
            one, two = two, one
        start[s], end[s] = one, two
        _point(one, n, local, height, first[s])
        _point(two, n, local, height, second[s])
    return start, end, first, second


@njit(cache=True, nogil=True)
def walked(follows: IntArray, has_before: BoolArray) -> tuple[IntArray, IntArray, BoolArray]:
    """Steps in the order of the outlines: the order, where each outline begins (and the end), and which are closed.

    follows: the step after each, or -1; has_before: whether any step leads to it. Open lines come first.
    """
    m = len(follows)
    order = np.empty(m, dtype=np.int32)
    begins, closed = np.empty(m + 1, dtype=np.int32), np.empty(m, dtype=np.bool_)
    seen = np.zeros(m, dtype=np.bool_)
    count = n = 0
    for pass_closed in (False, True):
        for s in range(m):
            if seen[s] or (has_before[s] and not pass_closed):
                continue
            begins[count] = n
            at = s
            while at >= 0 and not seen[at]:
                seen[at] = True
                order[n] = at
                n += 1
                at = follows[at]
            closed[count] = at == s
            count += 1
    begins[count] = n
    return order[:n], begins[: count + 1], closed[:count]


@njit(cache=True, nogil=True)
def crossed_by_each(low: FloatArray, high: FloatArray, heights: FloatArray) -> tuple[LongArray, IntArray]:
    """``crossed`` for many rising heights: where each plane's triangles begin (one more than heights), and the triangles."""
    count = len(heights)
    begins = np.zeros(count + 1, dtype=np.int64)
    for fill in (False, True):
        if fill:
            for k in range(count):
                begins[k + 1] += begins[k]
            found, at = np.empty(begins[count], dtype=np.int32), begins.copy()
        for t in range(len(low)):
            k = np.searchsorted(heights, low[t], side="right")
            while k < count and heights[k] <= high[t]:
                if fill:
                    found[at[k]] = t
                    at[k] += 1
                else:
                    begins[k + 1] += 1
                k += 1
    return begins, found


@njit(cache=True, nogil=True)
def followers(start: LongArray, end: LongArray) -> tuple[IntArray, BoolArray]:
    """The step after each: the first one that starts where it ends, or -1; and whether any step leads to it."""
    m = len(start)
    size = 4
    while size < 2 * m:
        size *= 2
    slots = np.full(size, -1, dtype=np.int32)
    for s in range(m):
        at = _slot(start[s], size)
        while slots[at] >= 0 and start[slots[at]] != start[s]:
            at = (at + 1) % size
        if slots[at] < 0:
            slots[at] = s
    follows, has_before = np.full(m, -1, dtype=np.int32), np.zeros(m, dtype=np.bool_)
    for s in range(m):
        at = _slot(end[s], size)
        while slots[at] >= 0 and start[slots[at]] != end[s]:
            at = (at + 1) % size
        if slots[at] >= 0:
            follows[s] = slots[at]
            has_before[slots[at]] = True
    return follows, has_before


@njit(cache=True, nogil=True)
def thinned(ring: FloatArray, tolerance: float) -> FloatArray:
    """A closed outline with fewer points, none left out further than the tolerance from what stays.

    Douglas and Peucker, The Canadian Cartographer 10 (1973), between the first point and the one farthest from it.
    """
    n = len(ring)
    far, most = 0, 0.0
    for i in range(1, n):
        d = (ring[i, 0] - ring[0, 0]) ** 2 + (ring[i, 1] - ring[0, 1]) ** 2
        if d > most:
            far, most = i, d
    keep = np.zeros(n + 1, dtype=np.bool_)
    keep[0] = keep[far] = keep[n] = True
    stack = np.empty((n + 2, 2), dtype=np.int64)
    stack[0, 0], stack[0, 1], stack[1, 0], stack[1, 1] = 0, far, far, n
    depth = 2
    while depth > 0:
        depth -= 1
        i, j = stack[depth, 0], stack[depth, 1]
        ax, ay = ring[i, 0], ring[i, 1]
        dx, dy = ring[j % n, 0] - ax, ring[j % n, 1] - ay
        length = max(dx * dx + dy * dy, 1e-18)
        at, worst = -1, tolerance * tolerance
        for k in range(i + 1, j):
            px, py = ring[k, 0] - ax, ring[k, 1] - ay
            share = min(1.0, max(0.0, (px * dx + py * dy) / length))
            d = (px - share * dx) ** 2 + (py - share * dy) ** 2
            if d > worst:
                at, worst = k, d
        if at >= 0:
            keep[at] = True
            stack[depth, 0], stack[depth, 1], stack[depth + 1, 0], stack[depth + 1, 1] = i, at, at, j
            depth += 2
    return ring[keep[:n]]


@njit(cache=True, inline="always")
def _slot(name: int, size: int) -> int:
    """Where a table of a power of two begins to look for a name: its digits well mixed."""
    mixed = np.uint64(name) * np.uint64(0x9E3779B97F4A7C15)
    return int(mixed >> np.uint64(32)) & (size - 1)


@njit(cache=True, inline="always")
def _name(i: int, j: int, n: int) -> int:
    """One number for an edge of a mesh of n vertices, the same from both of its sides."""
    return min(i, j) * n + max(i, j)


@njit(cache=True, inline="always")
def _point(edge: int, n: int, local: FloatArray, height: float, out: FloatArray) -> None:
    i, j = edge // n, edge % n
    t = (height - local[i, 2]) / (local[j, 2] - local[i, 2])
    out[0] = local[i, 0] + t * (local[j, 0] - local[i, 0])
    out[1] = local[i, 1] + t * (local[j, 1] - local[i, 1])
