"""Where a surface runs through itself: every pair of triangles of which an edge of one pierces the other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import FloatArray, IntArray

DEPTH_MM = 1e-6
_STACK = 1024


@dataclass(frozen=True, eq=False)
class Crossings:
    """pairs (k, 2): crossing triangles, lower number first, sorted; points (k, 3): a place where they cross."""

    pairs: IntArray
    points: FloatArray

    def __len__(self) -> int:
        return len(self.pairs)


def crossings_of(bvh: Bvh, depth_mm: float = DEPTH_MM) -> Crossings:
    """All crossings of the mesh with itself.

    An edge counts as piercing when both its ends lie further than ``depth_mm`` from the other triangle's plane, on
    either side. Triangles that share an edge are never reported, nor are faces that lie upon each other.
    """
    faces = np.ascontiguousarray(bvh.mesh.faces[bvh.order])
    a, b, points = _self_pairs(bvh.triangles, faces, bvh.boxes, bvh.nodes, depth_mm)
    pairs = np.sort(np.stack([bvh.order[a], bvh.order[b]], axis=1), axis=1)
    by = np.lexsort((pairs[:, 1], pairs[:, 0]))
    return Crossings(pairs[by], points[by])


@njit(cache=True)
def _pierces(p: FloatArray, q: FloatArray, tri: FloatArray, depth: float, out: FloatArray) -> bool:  # pragma: no cover
    """Whether the segment p-q goes through the triangle; ``out`` (3,) becomes the place."""
    ax, ay, az = tri[0, 0], tri[0, 1], tri[0, 2]
    ux, uy, uz = tri[1, 0] - ax, tri[1, 1] - ay, tri[1, 2] - az
    vx, vy, vz = tri[2, 0] - ax, tri[2, 1] - ay, tri[2, 2] - az
    nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    limit = depth * np.sqrt(nx * nx + ny * ny + nz * nz)
    dp = (p[0] - ax) * nx + (p[1] - ay) * ny + (p[2] - az) * nz
    dq = (q[0] - ax) * nx + (q[1] - ay) * ny + (q[2] - az) * nz
    if not ((dp > limit and dq < -limit) or (dp < -limit and dq > limit)):
        return False
    sx, sy, sz = q[0] - p[0], q[1] - p[1], q[2] - p[2]
    positive = True
    negative = True
    for i in range(3):
        j = (i + 1) % 3
        ex, ey, ez = tri[i, 0] - p[0], tri[i, 1] - p[1], tri[i, 2] - p[2]
        fx, fy, fz = tri[j, 0] - p[0], tri[j, 1] - p[1], tri[j, 2] - p[2]
        side = sx * (ey * fz - ez * fy) + sy * (ez * fx - ex * fz) + sz * (ex * fy - ey * fx)
        positive = positive and side >= 0.0
        negative = negative and side <= 0.0
    if not (positive or negative):
        return False
    t = dp / (dp - dq)
    out[0], out[1], out[2] = p[0] + t * sx, p[1] + t * sy, p[2] + t * sz
    return True


@njit(cache=True)
def _crossing(
    s: FloatArray, t: FloatArray, fs: IntArray, ft: IntArray, depth: float, out: FloatArray
) -> bool:  # pragma: no cover
    for k in range(3):
        if max(s[0, k], s[1, k], s[2, k]) < min(t[0, k], t[1, k], t[2, k]):
            return False
        if max(t[0, k], t[1, k], t[2, k]) < min(s[0, k], s[1, k], s[2, k]):
            return False
    shared = 0
    i0, j0 = 0, 0
    for i in range(3):
        for j in range(3):
            if fs[i] == ft[j]:
                shared += 1
                i0, j0 = i, j
    if shared >= 2:
        return False
    if shared == 1:
        if _pierces(s[(i0 + 1) % 3], s[(i0 + 2) % 3], t, depth, out):
            return True
        return _pierces(t[(j0 + 1) % 3], t[(j0 + 2) % 3], s, depth, out)
    for i in range(3):
        j = (i + 1) % 3
        if _pierces(s[i], s[j], t, depth, out) or _pierces(t[i], t[j], s, depth, out):
            return True
    return False


@njit(cache=True)
def _self_pairs(
    triangles: FloatArray, faces: IntArray, boxes: FloatArray, nodes: IntArray, depth: float
) -> tuple[IntArray, IntArray, FloatArray]:  # pragma: no cover
    room = 256
    found_a = np.empty(room, dtype=np.int32)
    found_b = np.empty(room, dtype=np.int32)
    points = np.empty((room, 3))
    found = 0
    out = np.empty(3)
    stack = np.empty((_STACK, 2), dtype=np.int32)
    stack[0, 0], stack[0, 1] = 0, 0
    top = 1
    while top > 0:
        top -= 1
        a, b = stack[top, 0], stack[top, 1]
        if a != b:
            apart = False
            for k in range(3):
                apart = apart or boxes[a, 1, k] < boxes[b, 0, k] or boxes[b, 1, k] < boxes[a, 0, k]
            if apart:
                continue
        na, nb = nodes[a, 1], nodes[b, 1]
        if na == 0 and a == b:
            left, right = a + 1, nodes[a, 2]
            stack[top, 0], stack[top, 1] = right, right
            stack[top + 1, 0], stack[top + 1, 1] = left, left
            stack[top + 2, 0], stack[top + 2, 1] = left, right
            top += 3
        elif na == 0 or nb == 0:
            # The larger one is opened, so that both come down together.
            wide_a, wide_b = 0.0, 0.0
            for k in range(3):
                wide_a += boxes[a, 1, k] - boxes[a, 0, k]
                wide_b += boxes[b, 1, k] - boxes[b, 0, k]
            if nb > 0 or (na == 0 and wide_a >= wide_b):
                stack[top, 0], stack[top, 1] = nodes[a, 2], b
                stack[top + 1, 0], stack[top + 1, 1] = a + 1, b
            else:
                stack[top, 0], stack[top, 1] = a, nodes[b, 2]
                stack[top + 1, 0], stack[top + 1, 1] = a, b + 1
            top += 2
        else:
            for p in range(nodes[a, 0], nodes[a, 0] + na):
                first = p + 1 if a == b else nodes[b, 0]
                for q in range(first, nodes[b, 0] + nb):
                    if _crossing(triangles[p], triangles[q], faces[p], faces[q], depth, out):
                        if found == room:
                            room *= 2
                            found_a = np.append(found_a, np.empty(room - found, dtype=np.int32))
                            found_b = np.append(found_b, np.empty(room - found, dtype=np.int32))
                            grown = np.empty((room, 3))
                            grown[:found] = points
                            points = grown
                        found_a[found], found_b[found] = p, q
                        points[found] = out
                        found += 1
    return found_a[:found].copy(), found_b[:found].copy(), points[:found].copy()
