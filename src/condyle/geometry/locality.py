"""Cheap local views of one large mesh: the triangles near a point, without a pass over all corners each time."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from condyle.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh

_MORE_MM = 2.5  # by which views are larger than asked, for the points near by that are asked for next
_ROUNDING = 1e-5  # middles are kept in single precision, which is good for this share of a coordinate


class Locality:
    """One mesh, ready to give local views of itself."""

    def __init__(self, mesh: Mesh) -> None:
        self.mesh = mesh
        self._middles, self._reach = _spread(mesh.vertices, mesh.faces)
        far = float(np.abs(mesh.bounds).max()) if len(mesh.vertices) else 0.0
        self._slack = _ROUNDING * far
        self._place = np.full(len(mesh.vertices), -1, dtype=np.int32)
        self._last: tuple[FloatArray, float, Mesh] | None = None

    def near(self, centre: FloatArray, radius_mm: float) -> Mesh:
        """The triangles that come within ``radius_mm`` of a point (and a few more); not closed.

        A view is kept, and given again for a point so near the last one's that it holds all of its triangles too.
        """
        if self._last is not None:
            about, reach, view = self._last
            if float(np.linalg.norm(about - centre)) + radius_mm <= reach:
                return view
        reach = radius_mm + _MORE_MM
        kept = _within(self._middles, *(float(v) for v in centre), reach + self._reach + self._slack)
        view = Mesh(*_view(self.mesh.vertices, self.mesh.faces, kept, self._place))
        self._last = (np.array(centre), reach, view)
        return view


def meeting(mesh: Mesh, low: FloatArray, high: FloatArray) -> list[Mesh]:
    """For each box, (n, 3) lower and upper corners, the triangles whose own bounds meet it; not closed, may be empty."""
    low, high = np.ascontiguousarray(low, dtype=np.float64), np.ascontiguousarray(high, dtype=np.float64)
    box, triangle = _in_boxes(mesh.vertices, mesh.faces, low, high)
    place = np.full(len(mesh.vertices), -1, dtype=np.int32)
    return [Mesh(*_view(mesh.vertices, mesh.faces, triangle[box == n], place)) for n in range(len(low))]


def holds(mesh: Mesh, points: FloatArray) -> BoolArray:
    """Whether points (n, 3) lie inside a closed mesh: told by how often its skin lies above them.

    Not for points on the skin itself.
    """
    return _odd_above(mesh.vertices, mesh.faces, np.ascontiguousarray(points, dtype=np.float64))


@njit(cache=True)
def _spread(vertices: FloatArray, faces: IntArray) -> tuple[NDArray[np.float32], float]:
    """The middle of each triangle, and the largest distance from a middle to a corner of its triangle."""
    middles = np.empty((len(faces), 3), dtype=np.float32)
    reach = 0.0
    for t in range(len(faces)):
        a, b, c = faces[t, 0], faces[t, 1], faces[t, 2]
        x = (vertices[a, 0] + vertices[b, 0] + vertices[c, 0]) / 3.0
        y = (vertices[a, 1] + vertices[b, 1] + vertices[c, 1]) / 3.0
        z = (vertices[a, 2] + vertices[b, 2] + vertices[c, 2]) / 3.0
        middles[t, 0], middles[t, 1], middles[t, 2] = x, y, z
        for k in range(3):
            v = faces[t, k]
            square = (vertices[v, 0] - x) ** 2 + (vertices[v, 1] - y) ** 2 + (vertices[v, 2] - z) ** 2
            if square > reach:
                reach = square
    return middles, np.sqrt(reach)


@njit(cache=True)
def _within(middles: NDArray[np.float32], x: float, y: float, z: float, radius: float) -> IntArray:
    """The triangles whose middle lies in a ball about a point."""
    found = np.empty(len(middles), dtype=np.int32)
    n = 0
    for t in range(len(middles)):
        if (middles[t, 0] - x) ** 2 + (middles[t, 1] - y) ** 2 + (middles[t, 2] - z) ** 2 <= radius * radius:
            found[n] = t
            n += 1
    return found[:n].copy()


@njit(cache=True)
def _in_boxes(vertices: FloatArray, faces: IntArray, low: FloatArray, high: FloatArray) -> tuple[IntArray, IntArray]:
    """All pairs of a box and a triangle whose bounds meet it, in the triangles' order."""
    boxes, triangles = np.empty(1024, dtype=np.int32), np.empty(1024, dtype=np.int32)
    found = 0
    for t in range(len(faces)):
        a, b, c = vertices[faces[t, 0]], vertices[faces[t, 1]], vertices[faces[t, 2]]
        x0, x1 = min(a[0], b[0], c[0]), max(a[0], b[0], c[0])
        y0, y1 = min(a[1], b[1], c[1]), max(a[1], b[1], c[1])
        z0, z1 = min(a[2], b[2], c[2]), max(a[2], b[2], c[2])
        for n in range(len(low)):
            if z0 > high[n, 2] or z1 < low[n, 2] or x0 > high[n, 0] or x1 < low[n, 0]:
                continue
            if y0 > high[n, 1] or y1 < low[n, 1]:
                continue
            if found == len(boxes):
                boxes = np.concatenate((boxes, np.empty(found, dtype=np.int32)))
                triangles = np.concatenate((triangles, np.empty(found, dtype=np.int32)))
            boxes[found], triangles[found] = n, t
            found += 1
    return boxes[:found].copy(), triangles[:found].copy()


@njit(cache=True)
def _view(vertices: FloatArray, faces: IntArray, kept: IntArray, place: IntArray) -> tuple[FloatArray, IntArray]:
    """The kept triangles with the vertices that they use, in order of use.

    ``place`` (one entry for each vertex) is -1 all over, before and after.
    """
    own = np.empty((len(kept), 3), dtype=np.int32)
    used = np.empty(min(3 * len(kept), len(vertices)), dtype=np.int32)
    n = 0
    for t in range(len(kept)):
        for k in range(3):
            v = faces[kept[t], k]
            if place[v] < 0:
                place[v] = n
                used[n] = v
                n += 1
            own[t, k] = place[v]
    points = np.empty((n, 3))
    for i in range(n):
        for k in range(3):
            points[i, k] = vertices[used[i], k]
        place[used[i]] = -1
    return points, own


@njit(cache=True)
def _odd_above(vertices: FloatArray, faces: IntArray, points: FloatArray) -> BoolArray:
    """Whether a line straight up from each point crosses an odd number of triangles.

    Each edge is looked at from its lower-numbered end, so that the triangles on both its sides agree on which of them a
    line passes, and none is missed or counted twice.
    """
    odd = np.zeros(len(points), dtype=np.bool_)
    for t in range(len(faces)):
        a, b, c = vertices[faces[t, 0]], vertices[faces[t, 1]], vertices[faces[t, 2]]
        low_x, high_x = min(a[0], b[0], c[0]), max(a[0], b[0], c[0])
        low_y, high_y = min(a[1], b[1], c[1]), max(a[1], b[1], c[1])
        for n in range(len(points)):
            x, y, z = points[n, 0], points[n, 1], points[n, 2]
            if x < low_x or x > high_x or y < low_y or y > high_y or z > max(a[2], b[2], c[2]):
                continue
            passed = False
            for k in range(3):
                i, j = faces[t, k], faces[t, (k + 1) % 3]
                p, q = vertices[min(i, j)], vertices[max(i, j)]
                if (p[1] > y) != (q[1] > y) and x < (q[0] - p[0]) * (y - p[1]) / (q[1] - p[1]) + p[0]:
                    passed = not passed
            if not passed:
                continue
            ux, uy, uz = b[0] - a[0], b[1] - a[1], b[2] - a[2]
            vx, vy, vz = c[0] - a[0], c[1] - a[1], c[2] - a[2]
            up = ux * vy - uy * vx
            slope = (uz * vy - uy * vz) * (x - a[0]) + (ux * vz - uz * vx) * (y - a[1])
            if up != 0.0 and a[2] + slope / up > z:
                odd[n] = not odd[n]
    return odd
