"""Sample points spread over triangles: each triangle halved across its longest side until it is small."""

from __future__ import annotations

import numpy as np
from numba import njit

from condyle.geometry.mesh import FloatArray, IntArray

_DEEPEST = 64


@njit(cache=True, nogil=True)
def samples(
    vertices: FloatArray, faces: IntArray, longest_mm: float
) -> tuple[FloatArray, FloatArray, FloatArray]:  # pragma: no cover
    """Middles (n, 3), unit normals (n, 3) and areas (n,) of the pieces, whose sides are at most ``longest_mm``.

    In the order of the triangles; pieces without area are left out.
    """
    room = max(64, 2 * len(faces))
    points, normals, areas = np.empty((room, 3)), np.empty((room, 3)), np.empty(room)
    stack = np.empty((_DEEPEST, 3, 3))
    edge = np.empty(3)
    n = 0
    for t in range(len(faces)):
        for k in range(3):
            stack[0, k] = vertices[faces[t, k]]
        top = 1
        while top > 0:
            top -= 1
            a, b, c = stack[top, 0].copy(), stack[top, 1].copy(), stack[top, 2].copy()
            for k in range(3):
                p, q = stack[top, k], stack[top, (k + 1) % 3]
                edge[k] = (p[0] - q[0]) ** 2 + (p[1] - q[1]) ** 2 + (p[2] - q[2]) ** 2
            longest = np.argmax(edge)
            if edge[longest] > longest_mm * longest_mm and top + 2 <= _DEEPEST:
                if longest == 1:
                    a, b, c = b, c, a
                elif longest == 2:
                    a, b, c = c, a, b
                middle = 0.5 * (a + b)
                stack[top, 0], stack[top, 1], stack[top, 2] = middle, b, c
                stack[top + 1, 0], stack[top + 1, 1], stack[top + 1, 2] = a, middle, c
                top += 2
                continue
            x = 0.5 * ((b[1] - a[1]) * (c[2] - a[2]) - (b[2] - a[2]) * (c[1] - a[1]))
            y = 0.5 * ((b[2] - a[2]) * (c[0] - a[0]) - (b[0] - a[0]) * (c[2] - a[2]))
            z = 0.5 * ((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))
            area = np.sqrt(x * x + y * y + z * z)
            if area <= 1e-8:
                continue
            if n == room:
                points = np.concatenate((points, np.empty((room, 3))))
                normals = np.concatenate((normals, np.empty((room, 3))))
                areas = np.concatenate((areas, np.empty(room)))
                room *= 2
            for k in range(3):
                points[n, k] = (a[k] + b[k] + c[k]) / 3.0
            normals[n, 0], normals[n, 1], normals[n, 2] = x / area, y / area, z / area
            areas[n] = area
            n += 1
    return points[:n].copy(), normals[:n].copy(), areas[:n].copy()
