"""What a grid of parallel rays meets first: triangle after triangle drawn into it, kernel of ``Bvh``.

A grid looks at a surface from one side, so each triangle is asked only by the rays that run through the upright box about
it as the grid sees it, and by none that has met something nearer than all of it. Each ray is tested as a single one is
(bvh_rays.py), with the same result to the last bit; where two triangles are met at one distance either may be told.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from condyle.geometry.bvh_rays import ray_triangle
from condyle.geometry.mesh import FloatArray, IntArray

_STACK = 256
_FEW = 64  # rays through a box: of these it is asked whether they have all met something nearer
_ROUNDING = 1e-6  # of a ray's spacing, and mm of depth


@njit(cache=True, nogil=True)
def first_on_grid(
    origins: FloatArray,
    u: FloatArray,
    v: FloatArray,
    along: FloatArray,
    pixel: float,
    order: IntArray,
    triangles: FloatArray,
    boxes: FloatArray,
    nodes: IntArray,
) -> tuple[FloatArray, IntArray]:  # pragma: no cover
    """Distance (p, q) and triangle (p, q) by rays from ``origins`` (p, q, 3), ``pixel`` apart along the unit directions u and v."""
    rows, columns = origins.shape[0], origins.shape[1]
    distance = np.full((rows, columns), np.inf)
    triangle = np.full((rows, columns), -1, dtype=np.int32)
    corner = origins[0, 0]
    stack = np.empty(_STACK, dtype=np.int32)
    at = np.empty((3, 3))
    stack[0] = 0
    top = 1
    while top > 0:
        top -= 1
        node = stack[top]
        x, y, z, dx, dy, dz = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
        for k in range(3):
            middle = 0.5 * (boxes[node, 0, k] + boxes[node, 1, k]) - corner[k]
            half = 0.5 * (boxes[node, 1, k] - boxes[node, 0, k])
            x += middle * u[k]
            y += middle * v[k]
            z += middle * along[k]
            dx += half * abs(u[k])
            dy += half * abs(v[k])
            dz += half * abs(along[k])
        first, last = _rays(x - dx, x + dx, pixel, rows)
        begin, end = _rays(y - dy, y + dy, pixel, columns)
        if first > last or begin > end:
            continue
        if (last - first + 1) * (end - begin + 1) <= _FEW:
            nearest, hidden = z - dz - _ROUNDING, True
            for i in range(first, last + 1):
                for j in range(begin, end + 1):
                    hidden = hidden and nearest >= distance[i, j]
            if hidden:
                continue
        if nodes[node, 1] == 0:
            left, right = node + 1, nodes[node, 2]
            ahead = 0.0
            for k in range(3):
                ahead += along[k] * (boxes[right, 0, k] + boxes[right, 1, k] - boxes[left, 0, k] - boxes[left, 1, k])
            # The nearer one is drawn first: what lies behind it is seldom asked then.
            stack[top], stack[top + 1] = (right, left) if ahead > 0.0 else (left, right)
            top += 2
            continue
        for p in range(nodes[node, 0], nodes[node, 0] + nodes[node, 1]):
            for c in range(3):
                at[c] = 0.0
                for k in range(3):
                    off = triangles[p, c, k] - corner[k]
                    at[c, 0] += off * u[k]
                    at[c, 1] += off * v[k]
                    at[c, 2] += off * along[k]
            first, last = _rays(min(at[0, 0], at[1, 0], at[2, 0]), max(at[0, 0], at[1, 0], at[2, 0]), pixel, rows)
            begin, end = _rays(min(at[0, 1], at[1, 1], at[2, 1]), max(at[0, 1], at[1, 1], at[2, 1]), pixel, columns)
            nearest = min(at[0, 2], at[1, 2], at[2, 2]) - _ROUNDING
            for i in range(first, last + 1):
                for j in range(begin, end + 1):
                    if nearest >= distance[i, j]:
                        continue
                    t = ray_triangle(triangles[p], origins[i, j], along)
                    if t < distance[i, j]:
                        distance[i, j] = t
                        triangle[i, j] = order[p]
    return distance, triangle


@njit(cache=True, inline="always")
def _rays(least: float, greatest: float, pixel: float, count: int) -> tuple[int, int]:  # pragma: no cover
    """First and last ray of a row that lie between two places of it."""
    first = max(np.ceil(least / pixel - _ROUNDING), 0.0)
    last = min(np.floor(greatest / pixel + _ROUNDING), count - 1.0)
    return int(min(first, float(count))), int(max(last, -1.0))
