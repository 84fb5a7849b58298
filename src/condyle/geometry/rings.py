"""Where the triangles and nodes of a surface lie about a line and about a point of it: what a turn about the line keeps.

A turn keeps each point's radius about the axis, its height along it and its distance from any point of it, and its angle
grows evenly. So two boxes of two hierarchies can come within a clearance only where their rings (radius, height) do, and
not before the angle between them is used up. Faces that are concentric with a joint drop out: turned ones by their radius, balls
by the distance from their centre. Derived here; a bound, never less than the truth: what it cannot tell apart stays in.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit

from condyle.geometry.bvh import closest_on_triangle
from condyle.geometry.frame import unit
from condyle.geometry.gap import Marks, Surface
from condyle.geometry.mesh import FloatArray, IntArray

ALL_ROUND = 4.0
"""A half angle that stands for every direction."""

ROUNDING = 1e-9
_FEW = 64  # triangles whose rings are worked out together


class Spans(NamedTuple):
    """Distances from a point of the axis, least and greatest: of each triangle in the order of the tree (m, 2), of each node
    (k, 2)."""

    triangles: FloatArray
    nodes: FloatArray


NO_SPANS = Spans(np.zeros((0, 2)), np.zeros((0, 2)))


def spans_about(surface: Surface, point: FloatArray) -> Spans:
    """Distances (mm) of a surface's triangles and nodes from a point (3,)."""
    return Spans(*_spans(surface.bvh.triangles, surface.bvh.nodes, np.ascontiguousarray(point, dtype=np.float64)))


def arms_about(surface: Surface, point: FloatArray, axis: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Greatest distance (mm) from a line of each triangle, in the order of the tree, and of each node."""
    offset = surface.bvh.triangles - np.asarray(point, dtype=np.float64)
    offset = offset - (offset @ np.asarray(axis, dtype=np.float64))[:, :, None] * axis
    triangles = np.linalg.norm(offset, axis=2).max(axis=1)
    return triangles, greatest_below(triangles, surface.bvh.nodes)


class Rings(NamedTuple):
    """Where triangles and nodes lie about a line: least and greatest radius, least and greatest height, middle angle, half angle.

    Worked out where a walk comes to look, and kept for the next one. ``line``: a point, the direction, and two directions
    across it.
    """

    line: FloatArray
    triangles: FloatArray
    nodes: FloatArray
    known: Marks


def rings_about(surface: Surface, centre: FloatArray, axis: FloatArray) -> Rings:
    """Rings about a line through ``centre``, none of them known yet. They belong to one thread at a time."""
    return rings_of(surface, line_along(np.asarray(centre, dtype=np.float64), unit(axis)))


def rings_of(surface: Surface, line: FloatArray) -> Rings:
    m, k = len(surface.bvh.triangles), len(surface.bvh.nodes)
    return Rings(line, np.empty((m, 6)), np.empty((k, 6)), np.zeros(k, dtype=np.uint8))


def forgotten(rings: Rings, line: FloatArray) -> Rings:
    """The same room, about another line: none of them known."""
    rings.known[:] = 0
    return rings._replace(line=line)


def line_along(centre: FloatArray, axis: FloatArray) -> FloatArray:
    """(4, 3): a point of a line, its direction, and two directions across it, right-handed."""
    least = np.eye(3)[int(np.abs(axis).argmin())]
    u = np.cross(axis, least)
    u /= np.linalg.norm(u)
    return np.array([centre, axis, u, np.cross(axis, u)])


class Tree(NamedTuple):
    """A surface as the kernel reads it."""

    tri: FloatArray
    box: FloatArray
    node: IntArray
    mark: Marks
    some: Marks
    every: Marks
    span: FloatArray
    below: FloatArray
    line: FloatArray
    ring: FloatArray
    around: FloatArray
    known: Marks


def tree_of(surface: Surface, spans: Spans, rings: Rings) -> Tree:
    """A surface with what is known of it."""
    bvh = surface.bvh
    return Tree(
        bvh.triangles, bvh.boxes, bvh.nodes, surface.placed, surface.some, surface.every, spans.triangles, spans.nodes,
        rings.line, rings.triangles, rings.nodes, rings.known,
    )  # fmt: skip


@njit(cache=True, nogil=True)
def _spans(tri: FloatArray, nodes: IntArray, at: FloatArray) -> tuple[FloatArray, FloatArray]:  # pragma: no cover
    spans = np.empty((tri.shape[0], 2))
    for i in range(tri.shape[0]):
        spans[i, 0] = np.sqrt(closest_on_triangle(tri[i], at[0], at[1], at[2])[0])
        spans[i, 1] = 0.0
        for c in range(3):
            dx, dy, dz = tri[i, c, 0] - at[0], tri[i, c, 1] - at[1], tri[i, c, 2] - at[2]
            spans[i, 1] = max(spans[i, 1], np.sqrt(dx * dx + dy * dy + dz * dz))
    below = np.empty((nodes.shape[0], 2))
    below[:, 0] = -greatest_below(-spans[:, 0], nodes)
    below[:, 1] = greatest_below(spans[:, 1], nodes)
    return spans, below


@njit(cache=True, nogil=True)
def greatest_below(values: FloatArray, nodes: IntArray) -> FloatArray:  # pragma: no cover
    """The greatest of the triangles' values (m,) below each node."""
    out = np.empty(nodes.shape[0])
    for node in range(nodes.shape[0] - 1, -1, -1):
        if nodes[node, 1] == 0:
            out[node] = max(out[node + 1], out[nodes[node, 2]])
        else:
            out[node] = values[nodes[node, 0] : nodes[node, 0] + nodes[node, 1]].max()
    return out


# Kernels take a whole array and a row of it: a row handed on by itself is counted in and out, which costs more than the work.


@njit(cache=True)
def _box_ring(boxes: FloatArray, i: int, line: FloatArray, out: FloatArray) -> None:  # pragma: no cover
    """Where box ``i`` lies about a line, into row ``i`` of ``out``: least and greatest radius, least and greatest height, middle angle, half angle."""
    x, y, h = 0.0, 0.0, 0.0
    for k in range(3):
        d = 0.5 * (boxes[i, 0, k] + boxes[i, 1, k]) - line[0, k]
        h += d * line[1, k]
        x += d * line[2, k]
        y += d * line[3, k]
    radius = np.sqrt(x * x + y * y)
    outwards, along, tall = 0.0, 0.0, 0.0
    if radius > 1e-9:
        x /= radius
        y /= radius
    else:
        x, y = 1.0, 0.0
    for k in range(3):
        half = 0.5 * (boxes[i, 1, k] - boxes[i, 0, k])
        outwards += half * abs(x * line[2, k] + y * line[3, k])
        along += half * abs(x * line[3, k] - y * line[2, k])
        tall += half * abs(line[1, k])
    least = radius - outwards
    out[i, 0] = max(least, 0.0)
    out[i, 1] = np.sqrt((radius + outwards) * (radius + outwards) + along * along)
    out[i, 2], out[i, 3] = h - tall, h + tall
    out[i, 4], out[i, 5] = 0.0, ALL_ROUND
    if least > 1e-6:
        out[i, 4] = np.arctan2(y, x)
        out[i, 5] = np.arctan2(along, least)


@njit(cache=True)
def flatten(tri: FloatArray, p: int, line: FloatArray, flat: FloatArray) -> None:  # pragma: no cover
    """The coordinates of triangle ``p`` across and along a line, into ``flat`` (3, 3)."""
    for c in range(3):
        x, y, h = 0.0, 0.0, 0.0
        for k in range(3):
            d = tri[p, c, k] - line[0, k]
            h += d * line[1, k]
            x += d * line[2, k]
            y += d * line[3, k]
        flat[c, 0], flat[c, 1], flat[c, 2] = x, y, h


@njit(cache=True)
def triangle_ring(flat: FloatArray, out: FloatArray, i: int) -> None:  # pragma: no cover
    """As ``_box_ring``, of a triangle by its coordinates across and along the line, into row ``i``."""
    most2, least2, mx, my = 0.0, np.inf, 0.0, 0.0
    out[i, 2], out[i, 3] = np.inf, -np.inf
    left, right = False, False
    for c in range(3):
        n = (c + 1) % 3
        x, y = flat[c, 0], flat[c, 1]
        most2 = max(most2, x * x + y * y)
        out[i, 2], out[i, 3] = min(out[i, 2], flat[c, 2]), max(out[i, 3], flat[c, 2])
        mx += x
        my += y
        ux, uy = flat[n, 0] - x, flat[n, 1] - y
        side = x * uy - y * ux
        left |= side > 0.0
        right |= side < 0.0
        uu = ux * ux + uy * uy
        s = 0.0
        if uu > 0.0:
            s = min(max(-(x * ux + y * uy) / uu, 0.0), 1.0)
        px, py = x + s * ux, y + s * uy
        least2 = min(least2, px * px + py * py)
    out[i, 1] = np.sqrt(most2)
    out[i, 0] = np.sqrt(least2) if left and right else 0.0
    out[i, 4], out[i, 5] = 0.0, ALL_ROUND
    if out[i, 0] > 1e-6:
        # The widest of the corners' angles by their tangents; a right angle or more is all round.
        half, narrow = 0.0, True
        for c in range(3):
            along = mx * flat[c, 0] + my * flat[c, 1]
            narrow &= along > 0.0
            if narrow:
                half = max(half, abs(mx * flat[c, 1] - my * flat[c, 0]) / along)
        if narrow and half < 14.0:
            out[i, 4], out[i, 5] = np.arctan2(my, mx), np.arctan(half)


@njit(cache=True)
def _join(rings: FloatArray, i: int, others: FloatArray, j: int) -> None:  # pragma: no cover
    """Widen ring ``i`` so that it holds ring ``j`` of others."""
    rings[i, 0], rings[i, 1] = min(rings[i, 0], others[j, 0]), max(rings[i, 1], others[j, 1])
    rings[i, 2], rings[i, 3] = min(rings[i, 2], others[j, 2]), max(rings[i, 3], others[j, 3])
    apart = (others[j, 4] - rings[i, 4] + np.pi) % (2.0 * np.pi) - np.pi
    low, high = min(-rings[i, 5], apart - others[j, 5]), max(rings[i, 5], apart + others[j, 5])
    rings[i, 4] += 0.5 * (low + high)
    rings[i, 5] = 0.5 * (high - low)
    if rings[i, 5] > 3.0:
        rings[i, 5] = ALL_ROUND


@njit(cache=True)
def know(t: Tree, i: int, flat: FloatArray) -> None:  # pragma: no cover
    """Work out the ring of a node, and of all below it where those are few."""
    if t.known[i] != 0:
        return
    tri, box, node, line, ring, around, known = t.tri, t.box, t.node, t.line, t.ring, t.around, t.known
    first, last = i, i
    while node[first, 1] == 0:
        first += 1
    while node[last, 1] == 0:
        last = node[last, 2]
    begin, end = node[first, 0], node[last, 0] + node[last, 1]
    known[i] = 1
    if end - begin > _FEW:
        _box_ring(box, i, line, around)
        return
    for p in range(begin, end):
        flatten(tri, p, line, flat)
        triangle_ring(flat, ring, p)
    for n in range(last, i - 1, -1):
        known[n] = 1
        if node[n, 1] > 0:
            for f in range(6):
                around[n, f] = ring[node[n, 0], f]
            for p in range(node[n, 0] + 1, node[n, 0] + node[n, 1]):
                _join(around, n, ring, p)
        else:
            for f in range(6):
                around[n, f] = around[n + 1, f]
            _join(around, n, around, node[n, 2])


@njit(cache=True)
def rings_meet(
    a: FloatArray, i: int, b: FloatArray, j: int, turned: float, sense: float, clearance: float, limit: float
) -> tuple[float, float]:  # pragma: no cover
    """Between which angles of the turn ring ``i`` of one surface and ``j`` of another may come within the clearance; inf and inf for never.

    turned  by how much the first one is turned at the start, in its line's own sense; ``sense``: +1 or −1, how it turns on
    """
    near = clearance + ROUNDING
    dr = max(a[i, 0] - b[j, 1], b[j, 0] - a[i, 1], 0.0)
    dh = max(a[i, 2] - b[j, 3], b[j, 2] - a[i, 3], 0.0)
    left2 = near * near - dr * dr - dh * dh
    if left2 < 0.0:
        return np.inf, np.inf
    arm = max(a[i, 0], b[j, 0])
    left = np.sqrt(left2)
    if left >= arm or a[i, 5] + b[j, 5] > np.pi:
        return 0.0, np.inf
    # A point is r·sin(angle) from a ray: within the clearance only for less than asin(clearance / r).
    half = a[i, 5] + b[j, 5] + np.arcsin(left / arm) + ROUNDING
    if half >= np.pi:
        return 0.0, np.inf
    apart = (sense * (b[j, 4] - a[i, 4] - turned)) % (2.0 * np.pi)
    if apart > np.pi and 2.0 * np.pi - apart <= half:
        apart -= 2.0 * np.pi
    enter, leave = max(apart - half, 0.0), apart + half
    if enter == 0.0 and apart + 2.0 * np.pi - half <= limit:
        return 0.0, np.inf
    return enter, leave
