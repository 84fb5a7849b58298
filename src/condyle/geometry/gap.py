"""The smallest gap between two triangle surfaces, one of them moved rigidly: two hierarchies walked together.

Triangles carry marks (bits), and a query says by marks which pairs count: so bearing faces, which touch by design, can
be left out or looked at alone. Surfaces only: of two solids, one inside the other, it gives the gap between their
skins, and not whether one body holds another.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import FloatArray, IntArray
from condyle.geometry.trianglepair import pair_distance2

Marks = NDArray[np.uint8]
_STACK = 2048
_KEPT_ROUNDING = 1e-6  # mm: a place that was rounded to nine digits keeps its spans no better


class Surface:
    """A hierarchy whose triangles carry marks.

    marks (m,) uint8 in the order of the mesh; None for none set. In the order of the tree: ``placed``; for each node
    ``some`` (bits that any triangle below has) and ``every`` (bits that all have).
    """

    def __init__(self, bvh: Bvh, marks: Marks | None = None) -> None:
        self.bvh = bvh
        self.marks = np.zeros(len(bvh.order), dtype=np.uint8) if marks is None else np.asarray(marks, dtype=np.uint8)
        if self.marks.shape != bvh.order.shape:
            raise ValueError("one mark for each triangle")
        self.placed = self.marks[bvh.order]
        self.some, self.every = _gather(bvh.nodes, self.placed)

    def marked(self, marks: Marks) -> Surface:
        """The same surface with other marks."""
        return Surface(self.bvh, marks)


@dataclass(frozen=True)
class Rule:
    """Which pairs of triangles count, by their marks (bits).

    skip_any   a triangle with one of these bits never counts
    skip_both  a pair whose triangles share one of these bits does not count
    need_both  both triangles must have one of these bits (0: no demand)
    """

    skip_any: int = 0
    skip_both: int = 0
    need_both: int = 0


@dataclass(frozen=True, eq=False)
class Gap:
    """Distance in mm, the nearest points (3,) in the second surface's coordinates, and their triangles.

    inf, NaN and -1 where nothing lies within the limit that was asked.
    """

    distance_mm: float
    on_moved: FloatArray
    on_still: FloatArray
    moved_triangle: int
    still_triangle: int

    @property
    def middle(self) -> tuple[float, float, float]:
        x, y, z = (self.on_moved + self.on_still) / 2.0
        return (float(x), float(y), float(z))


class Kept(NamedTuple):
    """Spans, mm, that the motions asked about do not change (turnkept.py): of each triangle in the order of the tree (m, f, 2),
    and of each node (k, f, 2), least and greatest."""

    triangles: FloatArray
    nodes: FloatArray


EVERY_PAIR = Rule()
NOTHING_KEPT = Kept(np.zeros((0, 0, 2)), np.zeros((0, 0, 2)))


def smallest_gap(
    moved: Surface,
    still: Surface,
    matrix: FloatArray | None = None,
    *,
    limit_mm: float = np.inf,
    enough_mm: float = 0.0,
    rule: Rule = EVERY_PAIR,
    kept: tuple[Kept, Kept] = (NOTHING_KEPT, NOTHING_KEPT),
) -> Gap:
    """The smallest gap between ``moved`` under the rigid (4, 4) ``matrix`` and ``still``; 0 where they cross.

    Looks no further than ``limit_mm`` and is content with the first pair within ``enough_mm``. ``kept``: what ``matrix`` leaves
    as it is at rest, of both surfaces; it only saves work.
    """
    out = np.full(6, np.nan)
    pair = np.full(2, -1, dtype=np.int64)
    m = np.eye(4) if matrix is None else np.ascontiguousarray(matrix, dtype=np.float64)
    a, b = moved.bvh, still.bvh
    best2 = _walk(
        a.triangles, a.boxes, a.nodes, moved.placed, moved.some, moved.every,
        b.triangles, b.boxes, b.nodes, still.placed, still.some, still.every,
        m, float(limit_mm) ** 2, float(enough_mm) ** 2, rule.skip_any, rule.skip_both, rule.need_both,
        kept[0], kept[1], out, pair,
    )  # fmt: skip
    if pair[0] < 0:
        return Gap(np.inf, out[:3], out[3:], -1, -1)
    return Gap(float(np.sqrt(best2)), out[:3].copy(), out[3:].copy(), int(a.order[pair[0]]), int(b.order[pair[1]]))


@njit(cache=True, nogil=True)
def _gather(nodes: IntArray, placed: Marks) -> tuple[Marks, Marks]:  # pragma: no cover
    k = nodes.shape[0]
    some = np.zeros(k, dtype=np.uint8)
    every = np.full(k, 255, dtype=np.uint8)
    for node in range(k - 1, -1, -1):
        if nodes[node, 1] == 0:
            left, right = node + 1, nodes[node, 2]
            some[node] = some[left] | some[right]
            every[node] = every[left] & every[right]
        else:
            for p in range(nodes[node, 0], nodes[node, 0] + nodes[node, 1]):
                some[node] |= placed[p]
                every[node] &= placed[p]
    return some, every


@njit(cache=True, inline="always")
def counts(
    some_a: int, every_a: int, some_b: int, every_b: int, skip_any: int, skip_both: int, need_both: int
) -> bool:  # pragma: no cover
    """Whether a pair of nodes can hold a pair of triangles that counts; exact for two single triangles."""
    if (every_a & skip_any) != 0 or (every_b & skip_any) != 0 or (every_a & every_b & skip_both) != 0:
        return False
    return need_both == 0 or ((some_a & need_both) != 0 and (some_b & need_both) != 0)


@njit(cache=True)
def place_box(boxes: FloatArray, i: int, m: FloatArray, out: FloatArray) -> None:  # pragma: no cover
    """Middle (out[0]) and half sides (out[1]) of the upright box about box ``i`` moved by ``m`` (4, 4)."""
    for k in range(3):
        middle = m[k, 3]
        half = 0.0
        for j in range(3):
            middle += m[k, j] * 0.5 * (boxes[i, 0, j] + boxes[i, 1, j])
            half += abs(m[k, j]) * 0.5 * (boxes[i, 1, j] - boxes[i, 0, j])
        out[0, k] = middle
        out[1, k] = half


@njit(cache=True)
def boxes_apart2(placed: FloatArray, boxes: FloatArray, j: int) -> float:  # pragma: no cover
    """Squared distance between a placed box (middle, half sides) and box ``j``."""
    total = 0.0
    for k in range(3):
        gap = max(boxes[j, 0, k] - placed[0, k] - placed[1, k], placed[0, k] - placed[1, k] - boxes[j, 1, k], 0.0)
        total += gap * gap
    return total


@njit(cache=True)
def place_triangle(tri: FloatArray, p: int, m: FloatArray, out: FloatArray) -> None:  # pragma: no cover
    for c in range(3):
        x, y, z = tri[p, c, 0], tri[p, c, 1], tri[p, c, 2]
        for k in range(3):
            out[c, k] = m[k, 0] * x + m[k, 1] * y + m[k, 2] * z + m[k, 3]


@njit(cache=True)
def wider(box_a: FloatArray, i: int, box_b: FloatArray, j: int) -> bool:  # pragma: no cover
    """Whether the first box is the wider one, so that it is opened first."""
    a, b = 0.0, 0.0
    for k in range(3):
        a = max(a, box_a[i, 1, k] - box_a[i, 0, k])
        b = max(b, box_b[j, 1, k] - box_b[j, 0, k])
    return a > b


@njit(cache=True)
def _keep_apart(a: FloatArray, i: int, b: FloatArray, j: int, far: float) -> bool:  # pragma: no cover
    """Whether any of the spans that are kept lie further apart than ``far``."""
    most = -np.inf
    for f in range(a.shape[1]):
        most = max(most, a[i, f, 0] - b[j, f, 1], b[j, f, 0] - a[i, f, 1])
    return most > far


@njit(cache=True, nogil=True)
def _walk(
    tri_a: FloatArray, box_a: FloatArray, node_a: IntArray, mark_a: Marks, some_a: Marks, every_a: Marks,
    tri_b: FloatArray, box_b: FloatArray, node_b: IntArray, mark_b: Marks, some_b: Marks, every_b: Marks,
    m: FloatArray, limit2: float, enough2: float, skip_any: int, skip_both: int, need_both: int,
    kept_a: Kept, kept_b: Kept, out: FloatArray, pair: IntArray,
) -> float:  # pragma: no cover  # fmt: skip
    best, far = limit2, np.sqrt(limit2) + _KEPT_ROUNDING
    spans = len(kept_a.triangles) > 0 and len(kept_b.triangles) > 0
    stack = np.empty((_STACK, 2), dtype=np.int32)
    keys = np.empty(_STACK)
    placed = np.empty((2, 3))
    corners = np.empty((3, 3))
    child = np.empty((2, 2), dtype=np.int32)
    key = np.empty(2)
    if not counts(some_a[0], every_a[0], some_b[0], every_b[0], skip_any, skip_both, need_both):
        return best
    place_box(box_a, 0, m, placed)
    stack[0, 0], stack[0, 1] = 0, 0
    keys[0] = boxes_apart2(placed, box_b, 0)
    top = 1
    while top > 0:
        top -= 1
        if keys[top] >= best:
            continue
        i, j = stack[top, 0], stack[top, 1]
        leaf_a, leaf_b = node_a[i, 1] > 0, node_b[j, 1] > 0
        if leaf_a and leaf_b:
            for p in range(node_a[i, 0], node_a[i, 0] + node_a[i, 1]):
                place_triangle(tri_a, p, m, corners)
                for q in range(node_b[j, 0], node_b[j, 0] + node_b[j, 1]):
                    if not counts(mark_a[p], mark_a[p], mark_b[q], mark_b[q], skip_any, skip_both, need_both):
                        continue
                    if spans and _keep_apart(kept_a.triangles, p, kept_b.triangles, q, far):
                        continue
                    d2 = pair_distance2(corners, tri_b[q], best, out)
                    if d2 < best:
                        best, far = d2, np.sqrt(d2) + _KEPT_ROUNDING
                        pair[0], pair[1] = p, q
            if pair[0] >= 0 and best <= enough2:
                return best
            continue
        if leaf_b or (not leaf_a and wider(box_a, i, box_b, j)):
            child[0, 0], child[0, 1] = i + 1, j
            child[1, 0], child[1, 1] = node_a[i, 2], j
        else:
            child[0, 0], child[0, 1] = i, j + 1
            child[1, 0], child[1, 1] = i, node_b[j, 2]
        for c in range(2):
            ci, cj = child[c, 0], child[c, 1]
            key[c] = np.inf
            if not counts(some_a[ci], every_a[ci], some_b[cj], every_b[cj], skip_any, skip_both, need_both):
                continue
            if spans and _keep_apart(kept_a.nodes, ci, kept_b.nodes, cj, far):
                continue
            place_box(box_a, ci, m, placed)
            key[c] = boxes_apart2(placed, box_b, cj)
        first = 1 if key[0] <= key[1] else 0
        for c in (first, 1 - first):
            if key[c] < best:
                stack[top, 0], stack[top, 1] = child[c, 0], child[c, 1]
                keys[top] = key[c]
                top += 1
    return best
