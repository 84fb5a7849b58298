"""What of a mesh hangs together: vertices joined along edges, by a forest of disjoint sets."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray


@njit(cache=True, nogil=True)
def shells_of(faces: NDArray[np.uint64], count: int) -> tuple[NDArray[np.int32], int]:  # pragma: no cover
    """The connected surface that each triangle (m, 3) belongs to, numbered by first vertex, and how many there are.

    The triangles use all of ``count`` vertices. Disjoint sets with path halving (Tarjan & van Leeuwen, J. ACM 31 (1984),
    245-281, from memory).
    """
    parent = np.arange(count).astype(np.int32)
    for t in range(len(faces)):
        a = np.int64(faces[t, 0])
        while parent[a] != a:
            parent[a] = parent[parent[a]]
            a = np.int64(parent[a])
        for k in (1, 2):
            b = np.int64(faces[t, k])
            while parent[b] != b:
                parent[b] = parent[parent[b]]
                b = np.int64(parent[b])
            if a != b:
                # The lower number leads, so that the way up stays short for vertices numbered along the surface.
                if b < a:
                    a, b = b, a
                parent[b] = np.int32(a)
    # A leader has the lowest number of its set, so it is met before all others of it.
    number = np.empty(count, dtype=np.int32)
    shells = 0
    for v in range(count):
        if parent[v] == v:
            number[v] = shells
            shells += 1
        else:
            number[v] = number[parent[v]]
    out = np.empty(len(faces), dtype=np.int32)
    for t in range(len(faces)):
        out[t] = number[np.int64(faces[t, 0])]
    return out, shells


@njit(cache=True, nogil=True)
def part_of_mesh(
    points: NDArray[np.float64], faces: NDArray[np.uint64], kept: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.uint64]]:  # pragma: no cover
    """Some triangles of a mesh with the vertices that they use, in order of use."""
    place = np.full(len(points), -1, dtype=np.int32)
    own = np.empty((len(kept), 3), dtype=np.uint64)
    used = np.empty(min(3 * len(kept), len(points)), dtype=np.int32)
    n = 0
    for t in range(len(kept)):
        for k in range(3):
            v = np.int64(faces[kept[t], k])
            if place[v] < 0:
                place[v] = n
                used[n] = v
                n += 1
            own[t, k] = np.uint64(place[v])
    out = np.empty((n, 3))
    for i in range(n):
        for k in range(3):
            out[i, k] = points[used[i], k]
    return out, own
