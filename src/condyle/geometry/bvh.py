"""A bounding volume hierarchy over the triangles of a mesh: closest points, signed distances, rays. float64 throughout.

The tree is split at the middle of the longest side of the centroids' box, at the median where that would leave one side
nearly bare, so its depth is bounded. Nodes lie in depth-first order: the left child follows its parent.
Rays are in bvh_rays.py, grids of parallel ones in bvh_view.py.
"""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numba import njit

from condyle.geometry.bvh_rays import all_hits, first_hits
from condyle.geometry.bvh_view import first_on_grid
from condyle.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh

if TYPE_CHECKING:
    from condyle.geometry.winding import WindingField

_LEAF = 4
_STACK = 256


class Bvh:
    """The hierarchy of one mesh. Not empty (ValueError); triangles without area are allowed, non-finite ones are not.

    order      (m,) int32: the mesh's triangle at each place of the tree
    triangles  (m, 3, 3): corners in the order of the tree
    boxes      (k, 2, 3): lower and upper corner of each node
    nodes      (k, 3) int32: first place, number of triangles (0 for inner nodes), right child
    """

    def __init__(self, mesh: Mesh) -> None:
        if mesh.triangle_count == 0:
            raise ValueError("a hierarchy needs at least one triangle")
        if not np.isfinite(mesh.vertices).all():
            raise ValueError("a hierarchy needs finite vertices")
        self.mesh = mesh
        self.order: IntArray
        self.triangles: FloatArray
        self.boxes: FloatArray
        self.nodes: IntArray
        self.order, self.triangles, self.boxes, self.nodes = _build(mesh.vertices, mesh.faces)

    def closest(
        self, points: FloatArray, within_mm: float | FloatArray = np.inf
    ) -> tuple[FloatArray, FloatArray, IntArray]:
        """Distance (n,), nearest point of the surface (n, 3) and its triangle (n,) for points (n, 3).

        Where nothing lies nearer than ``within_mm`` (one for all, or (n,)): distance inf, point NaN, triangle -1.
        Neighbouring points in sequence are answered faster than points in random order, and a near end of the search sooner.
        """
        points = _as_points(points)
        within = np.empty(len(points))
        within[:] = within_mm
        return _closest(points, within, self.order, self.triangles, self.boxes, self.nodes)

    def signed_distance(self, points: FloatArray) -> FloatArray:
        """Distance to the surface (n,), negative inside (generalised winding number above one half)."""
        distance = self.closest(points)[0]
        return np.where(self.inside(points), -distance, distance)

    def inside(self, points: FloatArray) -> BoolArray:
        """Whether each point (n, 3) lies inside: generalised winding number above one half."""
        return np.asarray(self.winding_field.at(points) > 0.5)

    @cached_property
    def winding_field(self) -> WindingField:
        from condyle.geometry.winding import WindingField

        return WindingField(self)

    def rays(self, origins: FloatArray, directions: FloatArray) -> FloatArray:
        """Distance (n,) in mm to the first hit in front of each origin; inf where there is none."""
        return self.first_hits(origins, directions)[0]

    def first_hits(
        self, origins: FloatArray, directions: FloatArray, within_mm: float = np.inf
    ) -> tuple[FloatArray, IntArray]:
        """Distance (n,) and triangle (n,) of the first hit at a distance ≥ 0; inf and -1 where none is ``within_mm``."""
        o, d = _as_rays(origins, directions)
        return first_hits(o, d, float(within_mm), self.order, self.triangles, self.boxes, self.nodes)

    def first_on_grid(
        self, origins: FloatArray, u: FloatArray, v: FloatArray, along: FloatArray, pixel_mm: float
    ) -> tuple[FloatArray, IntArray]:
        """Distance (p, q) and triangle (p, q) of what parallel rays meet first at a distance ≥ 0; inf and -1 for nothing.

        ``origins`` (p, q, 3) lie ``pixel_mm`` apart along the unit direction u, and along v from one column to the next; u, v
        and ``along`` are square to each other. As ``first_hits``, far quicker where triangles are no larger than pixels.
        """
        across = (np.ascontiguousarray(w, dtype=np.float64) for w in (u, v, along / np.linalg.norm(along)))
        o = np.ascontiguousarray(origins, dtype=np.float64)
        return first_on_grid(o, *across, float(pixel_mm), self.order, self.triangles, self.boxes, self.nodes)

    def all_hits(self, origins: FloatArray, directions: FloatArray) -> tuple[IntArray, FloatArray, IntArray]:
        """Every hit at a distance ≥ 0: ray (k,), distance (k,), triangle (k,), sorted by ray, then distance.

        A ray through a shared edge or vertex reports each triangle that it touches there.
        """
        o, d = _as_rays(origins, directions)
        ray, distance, triangle = all_hits(o, d, self.order, self.triangles, self.boxes, self.nodes)
        by = np.lexsort((triangle, distance, ray))
        return ray[by], distance[by], triangle[by]


def _as_points(points: FloatArray) -> FloatArray:
    return np.ascontiguousarray(points, dtype=np.float64).reshape(-1, 3)


def _as_rays(origins: FloatArray, directions: FloatArray) -> tuple[FloatArray, FloatArray]:
    o = _as_points(origins)
    d = _as_points(directions)
    if len(d) == 1 and len(o) != 1:
        d = np.broadcast_to(d, o.shape)
    length = np.linalg.norm(d, axis=1, keepdims=True)
    if len(o) != len(d) or not np.all(length > 0):
        raise ValueError("each ray needs an origin and a direction with a length")
    return o, np.ascontiguousarray(d / length)


@njit(cache=True, nogil=True)
def _build(
    vertices: FloatArray, faces: IntArray
) -> tuple[IntArray, FloatArray, FloatArray, IntArray]:  # pragma: no cover
    m = faces.shape[0]
    low = np.empty((m, 3))
    high = np.empty((m, 3))
    middle = np.empty((m, 3))
    for i in range(m):
        for k in range(3):
            a = vertices[faces[i, 0], k]
            b = vertices[faces[i, 1], k]
            c = vertices[faces[i, 2], k]
            low[i, k] = min(a, b, c)
            high[i, k] = max(a, b, c)
            middle[i, k] = low[i, k] + high[i, k]
    order = np.arange(m).astype(np.int32)
    most = max(1, 2 * m)
    boxes = np.empty((most, 2, 3))
    nodes = np.empty((most, 3), dtype=np.int32)
    # A range to split, and the parent whose right child it becomes (-1: it follows its parent).
    stack = np.empty((_STACK, 3), dtype=np.int64)
    stack[0, 0], stack[0, 1], stack[0, 2] = 0, m, -1
    top = 1
    used = 0
    clow = np.empty(3)
    chigh = np.empty(3)
    while top > 0:
        top -= 1
        start, end, parent = stack[top]
        here = used
        used += 1
        if parent >= 0:
            nodes[parent, 2] = here
        for k in range(3):
            boxes[here, 0, k] = np.inf
            boxes[here, 1, k] = -np.inf
            clow[k] = np.inf
            chigh[k] = -np.inf
        for p in range(start, end):
            t = order[p]
            for k in range(3):
                boxes[here, 0, k] = min(boxes[here, 0, k], low[t, k])
                boxes[here, 1, k] = max(boxes[here, 1, k], high[t, k])
                clow[k] = min(clow[k], middle[t, k])
                chigh[k] = max(chigh[k], middle[t, k])
        nodes[here, 0] = start
        n = end - start
        if n <= _LEAF:
            nodes[here, 1] = n
            nodes[here, 2] = -1
            continue
        nodes[here, 1] = 0
        axis = 0
        for k in range(1, 3):
            if chigh[k] - clow[k] > chigh[axis] - clow[axis]:
                axis = k
        cut = 0.5 * (clow[axis] + chigh[axis])
        i = start
        j = end - 1
        while i <= j:
            if middle[order[i], axis] < cut:
                i += 1
            else:
                order[i], order[j] = order[j], order[i]
                j -= 1
        if min(i - start, end - i) * 12 < n:
            i = start + n // 2
            _select(order, middle, axis, start, end - 1, i)
        stack[top, 0], stack[top, 1], stack[top, 2] = i, end, here
        stack[top + 1, 0], stack[top + 1, 1], stack[top + 1, 2] = start, i, -1
        top += 2
    triangles = np.empty((m, 3, 3))
    for p in range(m):
        for c in range(3):
            for k in range(3):
                triangles[p, c, k] = vertices[faces[order[p], c], k]
    return order, triangles, boxes[:used].copy(), nodes[:used].copy()


@njit(cache=True)
def _select(
    order: IntArray, middle: FloatArray, axis: int, left: int, right: int, nth: int
) -> None:  # pragma: no cover
    """Hoare's quickselect: place ``nth`` holds what it would if ``order`` were sorted by ``middle`` along ``axis``."""
    while left < right:
        pivot = middle[order[(left + right) // 2], axis]
        i, j = left, right
        while i <= j:
            while middle[order[i], axis] < pivot:
                i += 1
            while middle[order[j], axis] > pivot:
                j -= 1
            if i <= j:
                order[i], order[j] = order[j], order[i]
                i += 1
                j -= 1
        if nth <= j:
            right = j
        elif nth >= i:
            left = i
        else:
            return


@njit(cache=True, inline="always")
def _box_gap2(boxes: FloatArray, i: int, x: float, y: float, z: float) -> float:  # pragma: no cover
    """Squared distance from a point to box ``i``."""
    dx = max(boxes[i, 0, 0] - x, x - boxes[i, 1, 0], 0.0)
    dy = max(boxes[i, 0, 1] - y, y - boxes[i, 1, 1], 0.0)
    dz = max(boxes[i, 0, 2] - z, z - boxes[i, 1, 2], 0.0)
    return dx * dx + dy * dy + dz * dz


@njit(cache=True)
def closest_on_triangle(
    tri: FloatArray, x: float, y: float, z: float
) -> tuple[float, float, float, float]:  # pragma: no cover
    """Squared distance and nearest point of a triangle (3, 3): Voronoi regions as in Ericson, Real-Time Collision
    Detection (2005), section 5.1.5; a triangle without area falls back to its edges."""
    ax, ay, az = tri[0, 0], tri[0, 1], tri[0, 2]
    ux, uy, uz = tri[1, 0] - ax, tri[1, 1] - ay, tri[1, 2] - az
    vx, vy, vz = tri[2, 0] - ax, tri[2, 1] - ay, tri[2, 2] - az
    px, py, pz = x - ax, y - ay, z - az
    d1 = ux * px + uy * py + uz * pz
    d2 = vx * px + vy * py + vz * pz
    s, t = 0.0, 0.0
    if not (d1 <= 0.0 and d2 <= 0.0):
        uu = ux * ux + uy * uy + uz * uz
        uv = ux * vx + uy * vy + uz * vz
        vv = vx * vx + vy * vy + vz * vz
        d3 = d1 - uu
        d4 = d2 - uv
        d5 = d1 - uv
        d6 = d2 - vv
        vc = d1 * d4 - d3 * d2
        vb = d5 * d2 - d1 * d6
        va = d3 * d6 - d5 * d4
        if d3 >= 0.0 and d4 <= d3:
            s = 1.0
        elif vc <= 0.0 and d1 >= 0.0 and d3 <= 0.0:
            s = d1 / (d1 - d3) if d1 > d3 else 0.0
        elif d6 >= 0.0 and d5 <= d6:
            t = 1.0
        elif vb <= 0.0 and d2 >= 0.0 and d6 <= 0.0:
            t = d2 / (d2 - d6) if d2 > d6 else 0.0
        elif va <= 0.0 and d4 - d3 >= 0.0 and d5 - d6 >= 0.0:
            whole = (d4 - d3) + (d5 - d6)
            t = (d4 - d3) / whole if whole > 0.0 else 0.0
            s = 1.0 - t
        else:
            whole = va + vb + vc
            s = vb / whole
            t = vc / whole
    qx, qy, qz = ax + s * ux + t * vx, ay + s * uy + t * vy, az + s * uz + t * vz
    dx, dy, dz = x - qx, y - qy, z - qz
    return dx * dx + dy * dy + dz * dz, qx, qy, qz


@njit(cache=True)
def nearest(
    x: float,
    y: float,
    z: float,
    limit2: float,
    enough2: float,
    hint: int,
    triangles: FloatArray,
    boxes: FloatArray,
    nodes: IntArray,
    stack: IntArray,
    out: FloatArray,
) -> tuple[float, int]:  # pragma: no cover
    """Squared distance and place (order of the tree) of the nearest triangle within ``limit2``, else limit2 and -1.

    Stops early at anything within ``enough2``. ``hint``: a place to try first, or -1. ``out`` (3,): the nearest point.
    ``stack``: (256,) int32 scratch.
    """
    best = limit2
    where = -1
    if hint >= 0:
        d, qx, qy, qz = closest_on_triangle(triangles[hint], x, y, z)
        if d < best:
            best, where = d, hint
            out[0], out[1], out[2] = qx, qy, qz
            if best <= enough2:
                return best, where
    stack[0] = 0
    top = 1
    while top > 0:
        top -= 1
        node = stack[top]
        if _box_gap2(boxes, node, x, y, z) >= best:
            continue
        while nodes[node, 1] == 0:
            left = node + 1
            right = nodes[node, 2]
            gap_left = _box_gap2(boxes, left, x, y, z)
            gap_right = _box_gap2(boxes, right, x, y, z)
            if gap_left <= gap_right:
                near, far, gap_near, gap_far = left, right, gap_left, gap_right
            else:
                near, far, gap_near, gap_far = right, left, gap_right, gap_left
            if gap_far < best:
                stack[top] = far
                top += 1
            if gap_near >= best:
                node = -1
                break
            node = near
        if node < 0:
            continue
        first = nodes[node, 0]
        for p in range(first, first + nodes[node, 1]):
            d, qx, qy, qz = closest_on_triangle(triangles[p], x, y, z)
            if d < best:
                best, where = d, p
                out[0], out[1], out[2] = qx, qy, qz
        if best <= enough2:
            return best, where
    return best, where


@njit(cache=True, nogil=True)
def _closest(
    points: FloatArray, within: FloatArray, order: IntArray, triangles: FloatArray, boxes: FloatArray, nodes: IntArray
) -> tuple[FloatArray, FloatArray, IntArray]:  # pragma: no cover
    n = points.shape[0]
    distance = np.full(n, np.inf)
    point = np.full((n, 3), np.nan)
    triangle = np.full(n, -1, dtype=np.int32)
    stack = np.empty(_STACK, dtype=np.int32)
    out = np.empty(3)
    hint = -1
    for i in range(n):
        limit2 = within[i] * within[i]
        best, where = nearest(
            points[i, 0], points[i, 1], points[i, 2], limit2, -1.0, hint, triangles, boxes, nodes, stack, out
        )
        if where >= 0:
            distance[i] = np.sqrt(best)
            point[i] = out
            triangle[i] = order[where]
            hint = where
    return distance, point, triangle
