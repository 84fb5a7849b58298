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


@njit(cache=True)
def _box_ring(box: FloatArray, line: FloatArray, out: FloatArray) -> None:  # pragma: no cover
    """Where a box lies about a line: least and greatest radius, least and greatest height, middle angle, half angle."""
    x, y, h = 0.0, 0.0, 0.0
    for k in range(3):
        d = 0.5 * (box[0, k] + box[1, k]) - line[0, k]
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
        half = 0.5 * (box[1, k] - box[0, k])
        outwards += half * abs(x * line[2, k] + y * line[3, k])
        along += half * abs(x * line[3, k] - y * line[2, k])
        tall += half * abs(line[1, k])
    least = radius - outwards
    out[0] = max(least, 0.0)
    out[1] = np.sqrt((radius + outwards) * (radius + outwards) + along * along)
    out[2], out[3] = h - tall, h + tall
    out[4], out[5] = 0.0, ALL_ROUND
    if least > 1e-6:
        out[4] = np.arctan2(y, x)
        out[5] = np.arctan2(along, least)


@njit(cache=True)
def flatten(tri: FloatArray, line: FloatArray, flat: FloatArray) -> None:  # pragma: no cover
    """A triangle's coordinates across and along a line, into ``flat`` (3, 3)."""
    for c in range(3):
        x, y, h = 0.0, 0.0, 0.0
        for k in range(3):
            d = tri[c, k] - line[0, k]
            h += d * line[1, k]
            x += d * line[2, k]
            y += d * line[3, k]
        flat[c, 0], flat[c, 1], flat[c, 2] = x, y, h


@njit(cache=True)
def triangle_ring(flat: FloatArray, out: FloatArray) -> None:  # pragma: no cover
    """As ``_box_ring``, of a triangle by its coordinates across and along the line."""
    most2, least2, mx, my = 0.0, np.inf, 0.0, 0.0
    out[2], out[3] = np.inf, -np.inf
    left, right = False, False
    for c in range(3):
        n = (c + 1) % 3
        x, y = flat[c, 0], flat[c, 1]
        most2 = max(most2, x * x + y * y)
        out[2], out[3] = min(out[2], flat[c, 2]), max(out[3], flat[c, 2])
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
    out[1] = np.sqrt(most2)
    out[0] = np.sqrt(least2) if left and right else 0.0
    out[4], out[5] = 0.0, ALL_ROUND
    if out[0] > 1e-6:
        half = 0.0
        for c in range(3):
            half = max(half, abs(np.arctan2(mx * flat[c, 1] - my * flat[c, 0], mx * flat[c, 0] + my * flat[c, 1])))
        if half < 1.5:
            out[4], out[5] = np.arctan2(my, mx), half


@njit(cache=True)
def _join(ring: FloatArray, other: FloatArray) -> None:  # pragma: no cover
    """Widen a ring so that it holds another."""
    ring[0], ring[1] = min(ring[0], other[0]), max(ring[1], other[1])
    ring[2], ring[3] = min(ring[2], other[2]), max(ring[3], other[3])
    apart = (other[4] - ring[4] + np.pi) % (2.0 * np.pi) - np.pi
    low, high = min(-ring[5], apart - other[5]), max(ring[5], apart + other[5])
    ring[4] += 0.5 * (low + high)
    ring[5] = 0.5 * (high - low)
    if ring[5] > 3.0:
        ring[5] = ALL_ROUND


@njit(cache=True)
def know(t: Tree, i: int, flat: FloatArray) -> None:  # pragma: no cover
    """Work out the ring of a node, and of all below it where those are few."""
    if t.known[i] != 0:
        return
    first, last = i, i
    while t.node[first, 1] == 0:
        first += 1
    while t.node[last, 1] == 0:
        last = t.node[last, 2]
    begin, end = t.node[first, 0], t.node[last, 0] + t.node[last, 1]
    t.known[i] = 1
    if end - begin > _FEW:
        _box_ring(t.box[i], t.line, t.around[i])
        return
    for p in range(begin, end):
        flatten(t.tri[p], t.line, flat)
        triangle_ring(flat, t.ring[p])
    for n in range(last, i - 1, -1):
        t.known[n] = 1
        if t.node[n, 1] > 0:
            t.around[n] = t.ring[t.node[n, 0]]
            for p in range(t.node[n, 0] + 1, t.node[n, 0] + t.node[n, 1]):
                _join(t.around[n], t.ring[p])
        else:
            t.around[n] = t.around[n + 1]
            _join(t.around[n], t.around[t.node[n, 2]])


@njit(cache=True)
def rings_meet(
    a: FloatArray, b: FloatArray, turned: float, sense: float, clearance: float, limit: float
) -> tuple[float, float]:  # pragma: no cover
    """Between which angles of the turn two rings may come within the clearance; inf and inf for never.

    turned  by how much the first one is turned at the start, in its line's own sense; ``sense``: +1 or −1, how it turns on
    """
    near = clearance + ROUNDING
    dr = max(a[0] - b[1], b[0] - a[1], 0.0)
    dh = max(a[2] - b[3], b[2] - a[3], 0.0)
    left2 = near * near - dr * dr - dh * dh
    if left2 < 0.0:
        return np.inf, np.inf
    arm = max(a[0], b[0])
    left = np.sqrt(left2)
    if left >= arm or a[5] + b[5] > np.pi:
        return 0.0, np.inf
    # A point is r·sin(angle) from a ray: within the clearance only for less than asin(clearance / r).
    half = a[5] + b[5] + np.arcsin(left / arm) + ROUNDING
    if half >= np.pi:
        return 0.0, np.inf
    apart = (sense * (b[4] - a[4] - turned)) % (2.0 * np.pi)
    if apart > np.pi and 2.0 * np.pi - apart <= half:
        apart -= 2.0 * np.pi
    enter, leave = max(apart - half, 0.0), apart + half
    if enter == 0.0 and apart + 2.0 * np.pi - half <= limit:
        return 0.0, np.inf
    return enter, leave
