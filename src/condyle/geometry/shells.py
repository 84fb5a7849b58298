"""Whether a mesh hangs together: vertices joined along edges, by a forest of disjoint sets."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray


@njit(cache=True, nogil=True)
def single_shell(faces: NDArray[np.uint64], count: int) -> bool:  # pragma: no cover
    """Whether the triangles (m, 3), which use all of ``count`` vertices, are one connected surface.

    Disjoint sets with path halving (Tarjan & van Leeuwen, J. ACM 31 (1984), 245-281, from memory).
    """
    parent = np.arange(count).astype(np.int32)
    sets = count
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
                sets -= 1
    return sets == 1
