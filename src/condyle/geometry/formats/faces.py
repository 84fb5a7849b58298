"""Polygons of a file to triangles."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from condyle.geometry.mesh import FloatArray

_Ints = NDArray[np.int64]


def triangulated(counts: _Ints, corners: _Ints, vertices: FloatArray) -> tuple[_Ints, _Ints]:
    """Triangles (m, 3) of polygons, and the polygon (m,) that each came from; in the order of the polygons.

    counts (k,) corners per polygon, all at least 3; corners (sum of counts,) valid vertex indices one after the other.
    A four-sided polygon is split along the diagonal that keeps both halves facing one way; larger ones are split as a
    fan from their first corner. Simplified: a fan is right for convex polygons only.
    """
    starts = np.concatenate([[0], np.cumsum(counts)[:-1]]).astype(np.int64)
    owners = np.repeat(np.arange(len(counts)), counts - 2)
    step = np.arange(len(owners)) - np.repeat(np.cumsum(counts - 2) - (counts - 2), counts - 2)
    first = starts[owners]
    triangles = np.stack([corners[first], corners[first + step + 1], corners[first + step + 2]], axis=1)
    quads = np.flatnonzero(counts == 4)
    if len(quads):
        a, b, c, d = (vertices[corners[starts[quads] + i]] for i in range(4))
        with np.errstate(all="ignore"):
            bent = np.einsum("ij,ij->i", np.cross(b - a, c - a), np.cross(c - a, d - a)) < 0
        for quad in quads[bent]:
            i, j, k, m = corners[starts[quad] : starts[quad] + 4]
            at = int(np.searchsorted(owners, quad))
            triangles[at], triangles[at + 1] = (i, j, m), (j, k, m)
    return triangles, owners
