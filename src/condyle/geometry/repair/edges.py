"""Which triangles meet at an edge. A half-edge 3·f + i runs from corner i of face f to the next corner."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from condyle.geometry.mesh import FloatArray, IntArray

_FEW = 32


@dataclass(frozen=True, eq=False)
class Edges:
    """Half-edges grouped by the edge that they lie on.

    halfedges (3m,): half-edges, those of one edge together
    starts (e + 1,): where each edge's group begins
    """

    halfedges: IntArray
    starts: IntArray

    @property
    def counts(self) -> IntArray:
        """Triangles at each edge (e,)."""
        return np.diff(self.starts)


def edges_of(faces: IntArray, vertex_count: int) -> Edges:
    """Group the half-edges of faces (m, 3). No face may use a vertex twice."""
    return Edges(*_group(faces, vertex_count))


def is_closed_and_consistent(faces: IntArray, edges: Edges) -> bool:
    """Whether every edge is shared by exactly two triangles, run through in opposite directions."""
    return bool(_clean(faces, edges.halfedges, edges.starts))


def mates_of(vertices: FloatArray, faces: IntArray, edges: Edges, *, split: bool) -> IntArray:
    """For each half-edge (3m,) the half-edge across; -1 at the rim of a hole.

    An edge of two triangles pairs them, whichever way they are wound. An edge of more has no pairs unless ``split``:
    then the triangles that bound the same wedge of solid are paired, so that bodies that touch along an edge come
    apart. That needs consistent winding, outward.
    """
    mate = _pair_twos(edges.halfedges, edges.starts)
    if split:
        for e in np.flatnonzero(edges.counts > 2):
            _pair_wedges(vertices, faces, edges.halfedges[edges.starts[e] : edges.starts[e + 1]], mate)
    return mate


def _pair_wedges(vertices: FloatArray, faces: IntArray, group: IntArray, mate: IntArray) -> None:
    """Match each face behind which the solid begins (turning about the edge) with the one where it ends."""
    start = faces[group // 3, group % 3]
    end = faces[group // 3, (group + 1) % 3]
    apex = vertices[faces[group // 3, (group + 2) % 3]]
    low, high = min(start[0], end[0]), max(start[0], end[0])
    axis = vertices[high] - vertices[low]
    arm = apex - vertices[low]
    length2 = float(axis @ axis)
    if length2 > 0:
        arm = arm - np.outer(arm @ axis / length2, axis)
    u = arm[int(np.argmax((arm * arm).sum(axis=1)))]
    v = np.cross(axis, u) / max(np.sqrt(length2), 1e-300)
    angle = np.arctan2(arm @ v, arm @ u)
    ends = start == low  # wound along the edge: the solid lies on the side of smaller angles
    by = np.lexsort((group, ends, angle))
    waiting: list[int] = []
    # Twice round, as brackets in a circle may open before the seam and close behind it.
    for k in np.concatenate([by, by]):
        h = int(group[k])
        if mate[h] >= 0:
            continue
        if not ends[k]:
            if h not in waiting:
                waiting.append(h)
        elif waiting:
            other = waiting.pop()
            mate[h], mate[other] = other, h


@njit(cache=True)
def _group(faces: IntArray, n: int) -> tuple[IntArray, IntArray]:  # pragma: no cover
    m = faces.shape[0]
    first = np.zeros(n + 1, dtype=np.int32)
    for f in range(m):
        for i in range(3):
            a, b = faces[f, i], faces[f, (i + 1) % 3]
            first[min(a, b) + 1] += 1
    for v in range(n):
        first[v + 1] += first[v]
    at = first[:n].copy()
    half = np.empty(3 * m, dtype=np.int32)
    far = np.empty(3 * m, dtype=np.int32)
    for f in range(m):
        for i in range(3):
            a, b = faces[f, i], faces[f, (i + 1) % 3]
            low = min(a, b)
            half[at[low]] = 3 * f + i
            far[at[low]] = max(a, b)
            at[low] += 1
    starts = np.empty(3 * m + 1, dtype=np.int32)
    count = 0
    for v in range(n):
        i0, i1 = first[v], first[v + 1]
        if i1 - i0 > _FEW:
            by = np.argsort(far[i0:i1], kind="mergesort")
            half[i0:i1] = half[i0:i1][by]
            far[i0:i1] = far[i0:i1][by]
        else:
            for j in range(i0 + 1, i1):
                key, h = far[j], half[j]
                k = j - 1
                while k >= i0 and far[k] > key:
                    far[k + 1], half[k + 1] = far[k], half[k]
                    k -= 1
                far[k + 1], half[k + 1] = key, h
        for j in range(i0, i1):
            if j == i0 or far[j] != far[j - 1]:
                starts[count] = j
                count += 1
    starts[count] = 3 * m
    return half, starts[: count + 1].copy()


@njit(cache=True)
def _clean(faces: IntArray, half: IntArray, starts: IntArray) -> bool:  # pragma: no cover
    for e in range(starts.shape[0] - 1):
        s = starts[e]
        if starts[e + 1] - s != 2:
            return False
        if faces[half[s] // 3, half[s] % 3] == faces[half[s + 1] // 3, half[s + 1] % 3]:
            return False
    return True


@njit(cache=True)
def _pair_twos(half: IntArray, starts: IntArray) -> IntArray:  # pragma: no cover
    mate = np.full(half.shape[0], -1, dtype=np.int32)
    for e in range(starts.shape[0] - 1):
        s = starts[e]
        if starts[e + 1] - s == 2:
            mate[half[s]] = half[s + 1]
            mate[half[s + 1]] = half[s]
    return mate
