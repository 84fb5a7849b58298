"""Rays through a hierarchy's nodes: kernels of ``Bvh``.

The ray-triangle test is the watertight one of Woop, Benthin & Wald, J. Computer Graphics Techniques 2(1) (2013),
65-82: a ray aimed at a shared edge or vertex of a closed mesh never slips through.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from condyle.geometry.mesh import FloatArray, IntArray

_STACK = 256


@njit(cache=True, inline="always")
def _box_entry(
    boxes: FloatArray, n: int, o: FloatArray, d: FloatArray, inverse: FloatArray, limit: float
) -> float:  # pragma: no cover
    """Where a ray enters box ``n``, or inf; widened by a few roundings so that nothing is missed (Ize 2013)."""
    enter, leave = 0.0, limit
    for k in range(3):
        if d[k] == 0.0:
            if o[k] < boxes[n, 0, k] or o[k] > boxes[n, 1, k]:
                return np.inf
        else:
            a = (boxes[n, 0, k] - o[k]) * inverse[k]
            b = (boxes[n, 1, k] - o[k]) * inverse[k]
            if a > b:
                a, b = b, a
            enter = max(enter, a)
            leave = min(leave, b * (1.0 + 1e-14) if b > 0.0 else b)
    return enter if enter <= leave * (1.0 + 1e-14) else np.inf


@njit(cache=True)
def ray_triangle(tri: FloatArray, o: FloatArray, d: FloatArray) -> float:  # pragma: no cover
    """Distance along the ray, or inf (behind, beside, or edge-on)."""
    kz = 0
    if abs(d[1]) > abs(d[kz]):
        kz = 1
    if abs(d[2]) > abs(d[kz]):
        kz = 2
    kx = (kz + 1) % 3
    ky = (kx + 1) % 3
    sx, sy, sz = d[kx] / d[kz], d[ky] / d[kz], 1.0 / d[kz]
    az, bz, cz = tri[0, kz] - o[kz], tri[1, kz] - o[kz], tri[2, kz] - o[kz]
    ax, ay = tri[0, kx] - o[kx] - sx * az, tri[0, ky] - o[ky] - sy * az
    bx, by = tri[1, kx] - o[kx] - sx * bz, tri[1, ky] - o[ky] - sy * bz
    cx, cy = tri[2, kx] - o[kx] - sx * cz, tri[2, ky] - o[ky] - sy * cz
    u = cx * by - cy * bx
    v = ax * cy - ay * cx
    w = bx * ay - by * ax
    if (u < 0.0 or v < 0.0 or w < 0.0) and (u > 0.0 or v > 0.0 or w > 0.0):
        return np.inf
    det = u + v + w
    if det == 0.0:
        return np.inf
    t = sz * (u * az + v * bz + w * cz) / det
    return t if t >= 0.0 else np.inf


@njit(cache=True, nogil=True)
def first_hits(
    origins: FloatArray,
    directions: FloatArray,
    within: float,
    order: IntArray,
    triangles: FloatArray,
    boxes: FloatArray,
    nodes: IntArray,
) -> tuple[FloatArray, IntArray]:  # pragma: no cover
    n = origins.shape[0]
    distance = np.full(n, np.inf)
    triangle = np.full(n, -1, dtype=np.int32)
    stack = np.empty(_STACK, dtype=np.int32)
    for i in range(n):
        o, d = origins[i], directions[i]
        inverse = 1.0 / d
        best = within
        stack[0] = 0
        top = 1
        while top > 0:
            top -= 1
            node = stack[top]
            if _box_entry(boxes, node, o, d, inverse, best) > best:
                continue
            if nodes[node, 1] == 0:
                left, right = node + 1, nodes[node, 2]
                a = _box_entry(boxes, left, o, d, inverse, best)
                b = _box_entry(boxes, right, o, d, inverse, best)
                if a > b:
                    left, right, a, b = right, left, b, a
                if b < np.inf:
                    stack[top] = right
                    top += 1
                if a < np.inf:
                    stack[top] = left
                    top += 1
            else:
                for p in range(nodes[node, 0], nodes[node, 0] + nodes[node, 1]):
                    t = ray_triangle(triangles[p], o, d)
                    if t < best:
                        best = t
                        triangle[i] = order[p]
        distance[i] = best if triangle[i] >= 0 else np.inf
    return distance, triangle


@njit(cache=True)
def all_hits(
    origins: FloatArray,
    directions: FloatArray,
    order: IntArray,
    triangles: FloatArray,
    boxes: FloatArray,
    nodes: IntArray,
) -> tuple[IntArray, FloatArray, IntArray]:  # pragma: no cover
    room = max(16, 4 * origins.shape[0])
    ray = np.empty(room, dtype=np.int32)
    distance = np.empty(room)
    triangle = np.empty(room, dtype=np.int32)
    found = 0
    stack = np.empty(_STACK, dtype=np.int32)
    for i in range(origins.shape[0]):
        o, d = origins[i], directions[i]
        inverse = 1.0 / d
        stack[0] = 0
        top = 1
        while top > 0:
            top -= 1
            node = stack[top]
            if _box_entry(boxes, node, o, d, inverse, np.inf) == np.inf:
                continue
            if nodes[node, 1] == 0:
                stack[top] = nodes[node, 2]
                stack[top + 1] = node + 1
                top += 2
                continue
            for p in range(nodes[node, 0], nodes[node, 0] + nodes[node, 1]):
                t = ray_triangle(triangles[p], o, d)
                if t < np.inf:
                    if found == room:
                        room *= 2
                        ray = np.append(ray, np.empty(room - found, dtype=np.int32))
                        distance = np.append(distance, np.empty(room - found))
                        triangle = np.append(triangle, np.empty(room - found, dtype=np.int32))
                    ray[found], distance[found], triangle[found] = i, t, order[p]
                    found += 1
    return ray[:found].copy(), distance[:found].copy(), triangle[:found].copy()
