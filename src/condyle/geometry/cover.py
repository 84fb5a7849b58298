"""Are all placements of a cell clear? One query for a whole neighbourhood of turns about a point, not for one place.

A cell is every placement that differs from its middle one by a turn of at most ``wide`` about a point, whatever its axis,
after a turn of at most ``spin`` about a line. No point of the moved surface is then further from where the middle
puts it than lever · wide + arm · spin · (1 + wide): the lever is its distance from the point, the arm from the line. If every pair of
triangles is further apart in the middle than that and the clearance together, the whole cell is clear. Nothing is sampled.

Turns about the point keep each distance from it, so two triangles whose distances from it are apart by the clearance never
meet at all: faces cut concentric with a ball drop out. That holds with a spin too where its line goes through the point.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from condyle.geometry.bvh import closest_on_triangle
from condyle.geometry.gap import (
    EVERY_PAIR,
    Marks,
    Rule,
    Surface,
    boxes_apart2,
    counts,
    place_box,
    place_triangle,
    wider,
)
from condyle.geometry.mesh import FloatArray, IntArray
from condyle.geometry.trianglepair import pair_distance2

_STACK = 2048
_LEVEL = 1e-9


@dataclass(frozen=True, eq=False)
class Shells:
    """A surface with its distances from one point: of each triangle (m, 2) in the order of the tree, nearest and furthest,
    and of each node (k, 2) those of all below it."""

    surface: Surface
    centre: FloatArray
    triangles: FloatArray
    nodes: FloatArray

    @property
    def span(self) -> tuple[float, float]:
        """Of the whole surface."""
        return (float(self.nodes[0, 0]), float(self.nodes[0, 1]))


def shells_about(surface: Surface, centre: FloatArray) -> Shells:
    """A surface made ready for cells about a point (3,)."""
    at = np.ascontiguousarray(centre, dtype=np.float64)
    triangles, nodes = _spans(surface.bvh.triangles, surface.bvh.nodes, at)
    return Shells(surface, at, triangles, nodes)


@dataclass(frozen=True, eq=False)
class Cell:
    """Placements: the middle one (4, 4) and how far others differ from it, radians.

    The middle one turns about the shells' point, and before that about the spin's line where there is one: ``point`` and
    ``axis`` give the line as it lies in the middle placement.
    """

    matrix: FloatArray
    wide: float
    spin: float = 0.0
    point: FloatArray | None = None
    axis: FloatArray | None = None


def first_near(moved: Shells, still: Shells, cell: Cell, clearance_mm: float, rule: Rule = EVERY_PAIR) -> int | None:
    """None where the whole cell is clear; else a triangle of the still mesh that something may come too near to."""
    point = moved.centre if cell.point is None else np.ascontiguousarray(cell.point, dtype=np.float64)
    axis = np.array([0.0, 0.0, 1.0]) if cell.axis is None else np.ascontiguousarray(cell.axis, dtype=np.float64)
    through = cell.spin == 0.0 or float(np.linalg.norm(np.cross(moved.centre - point, axis))) < _LEVEL
    a, b = moved.surface, still.surface
    found = _first_near(
        a.bvh.triangles, a.bvh.boxes, a.bvh.nodes, a.placed, a.some, a.every, moved.triangles, moved.nodes,
        b.bvh.triangles, b.bvh.boxes, b.bvh.nodes, b.placed, b.some, b.every, still.triangles, still.nodes,
        np.ascontiguousarray(cell.matrix), moved.centre, cell.wide, point, axis, cell.spin, through,
        float(clearance_mm), rule.skip_any, rule.skip_both, rule.need_both,
    )  # fmt: skip
    return None if found < 0 else int(b.bvh.order[found])


@njit(cache=True, nogil=True)
def _spans(tri: FloatArray, nodes: IntArray, at: FloatArray) -> tuple[FloatArray, FloatArray]:  # pragma: no cover
    m, k = tri.shape[0], nodes.shape[0]
    spans = np.empty((m, 2))
    for i in range(m):
        spans[i, 0] = np.sqrt(closest_on_triangle(tri[i], at[0], at[1], at[2])[0])
        spans[i, 1] = 0.0
        for c in range(3):
            dx, dy, dz = tri[i, c, 0] - at[0], tri[i, c, 1] - at[1], tri[i, c, 2] - at[2]
            spans[i, 1] = max(spans[i, 1], np.sqrt(dx * dx + dy * dy + dz * dz))
    below = np.empty((k, 2))
    for node in range(k - 1, -1, -1):
        if nodes[node, 1] == 0:
            left, right = node + 1, nodes[node, 2]
            below[node, 0] = min(below[left, 0], below[right, 0])
            below[node, 1] = max(below[left, 1], below[right, 1])
        else:
            first = nodes[node, 0]
            below[node, 0], below[node, 1] = spans[first, 0], spans[first, 1]
            for p in range(first + 1, first + nodes[node, 1]):
                below[node, 0] = min(below[node, 0], spans[p, 0])
                below[node, 1] = max(below[node, 1], spans[p, 1])
    return spans, below


@njit(cache=True, inline="always")
def _arm(x: float, y: float, z: float, point: FloatArray, axis: FloatArray) -> float:  # pragma: no cover
    dx, dy, dz = x - point[0], y - point[1], z - point[2]
    cx = axis[1] * dz - axis[2] * dy
    cy = axis[2] * dx - axis[0] * dz
    cz = axis[0] * dy - axis[1] * dx
    return float(np.sqrt(cx * cx + cy * cy + cz * cz))


@njit(cache=True, inline="always")
def _from(x: float, y: float, z: float, centre: FloatArray) -> float:  # pragma: no cover
    dx, dy, dz = x - centre[0], y - centre[1], z - centre[2]
    return float(np.sqrt(dx * dx + dy * dy + dz * dz))


@njit(cache=True, nogil=True)
def _first_near(
    tri_a: FloatArray, box_a: FloatArray, node_a: IntArray, mark_a: Marks, some_a: Marks, every_a: Marks,
    span_a: FloatArray, below_a: FloatArray,
    tri_b: FloatArray, box_b: FloatArray, node_b: IntArray, mark_b: Marks, some_b: Marks, every_b: Marks,
    span_b: FloatArray, below_b: FloatArray,
    m: FloatArray, centre: FloatArray, wide: float, point: FloatArray, axis: FloatArray, spin: float, through: bool,
    clearance: float, skip_any: int, skip_both: int, need_both: int,
) -> int:  # pragma: no cover  # fmt: skip
    """The place in the still tree of a triangle that is not proved clear, or -1."""
    if not counts(some_a[0], every_a[0], some_b[0], every_b[0], skip_any, skip_both, need_both):
        return -1
    stack = np.empty((_STACK, 2), dtype=np.int32)
    placed = np.empty((2, 3))
    corners = np.empty((3, 3))
    points = np.empty(6)
    child = np.empty((2, 2), dtype=np.int32)
    key = np.empty(2)
    stack[0, 0], stack[0, 1] = 0, 0
    top = 1
    while top > 0:
        top -= 1
        i, j = stack[top, 0], stack[top, 1]
        leaf_a, leaf_b = node_a[i, 1] > 0, node_b[j, 1] > 0
        if leaf_a and leaf_b:
            for p in range(node_a[i, 0], node_a[i, 0] + node_a[i, 1]):
                place_triangle(tri_a[p], m, corners)
                arm, lever = 0.0, span_a[p, 1]
                if spin > 0.0:
                    for c in range(3):
                        arm = max(arm, _arm(corners[c, 0], corners[c, 1], corners[c, 2], point, axis))
                        if not through:
                            lever = max(lever, _from(corners[c, 0], corners[c, 1], corners[c, 2], centre))
                near = clearance + lever * wide + arm * spin * (1.0 + wide)
                for q in range(node_b[j, 0], node_b[j, 0] + node_b[j, 1]):
                    if through:
                        apart = max(span_a[p, 0] - span_b[q, 1], span_b[q, 0] - span_a[p, 1])
                        if apart > clearance:
                            continue
                    if not counts(mark_a[p], mark_a[p], mark_b[q], mark_b[q], skip_any, skip_both, need_both):
                        continue
                    if pair_distance2(corners, tri_b[q], near * near, points) < near * near:
                        return q
            continue
        if leaf_b or (not leaf_a and wider(box_a[i], box_b[j])):
            child[0, 0], child[0, 1] = i + 1, j
            child[1, 0], child[1, 1] = node_a[i, 2], j
        else:
            child[0, 0], child[0, 1] = i, j + 1
            child[1, 0], child[1, 1] = i, node_b[j, 2]
        for c in range(2):
            ci, cj = child[c, 0], child[c, 1]
            key[c] = np.inf
            if through:
                apart = max(below_a[ci, 0] - below_b[cj, 1], below_b[cj, 0] - below_a[ci, 1])
                if apart > clearance:
                    continue
            if not counts(some_a[ci], every_a[ci], some_b[cj], every_b[cj], skip_any, skip_both, need_both):
                continue
            place_box(box_a[ci], m, placed)
            arm, lever = 0.0, below_a[ci, 1]
            if spin > 0.0:
                side = box_a[ci]
                sx, sy, sz = side[1, 0] - side[0, 0], side[1, 1] - side[0, 1], side[1, 2] - side[0, 2]
                half = 0.5 * np.sqrt(sx * sx + sy * sy + sz * sz)
                arm = _arm(placed[0, 0], placed[0, 1], placed[0, 2], point, axis) + half
                if not through:
                    lever = max(lever, _from(placed[0, 0], placed[0, 1], placed[0, 2], centre) + half)
            near = clearance + lever * wide + arm * spin * (1.0 + wide)
            gap2 = boxes_apart2(placed, box_b[cj])
            if gap2 < near * near:
                key[c] = np.sqrt(gap2) - near
        # The deepest last, so that it is opened first: a pair in the way is found at once.
        first = 1 if key[0] <= key[1] else 0
        for c in (first, 1 - first):
            if key[c] < np.inf:
                stack[top, 0], stack[top, 1] = child[c, 0], child[c, 1]
                top += 1
    return -1
