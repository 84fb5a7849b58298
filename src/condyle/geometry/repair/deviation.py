"""How far two surfaces lie apart, measured on samples of both."""

from __future__ import annotations

import numpy as np
from numba import njit

from condyle.finding import Point
from condyle.geometry.bvh import Bvh, nearest
from condyle.geometry.mesh import BoolArray, FloatArray, IntArray


def two_sided(a: Bvh, b: Bvh) -> tuple[float, Point]:
    """The larger of both one-sided deviations in mm, and the sample where it was found."""
    there, place = one_sided(a, b)
    back, other = one_sided(b, a)
    return (there, place) if there >= back else (back, other)


def one_sided(a: Bvh, b: Bvh) -> tuple[float, Point]:
    """The farthest that a sample of surface ``a`` lies from surface ``b``, in mm, and that sample.

    Samples: every vertex in use, the middle of every edge and of every face. A sample nearer than the farthest so far
    is left early (Taha & Hanbury, IEEE Trans. Pattern Analysis 37(11) (2015), 2153-2163), which changes nothing in
    the result. On flat triangles the true maximum may lie between samples.
    """
    faces = np.ascontiguousarray(a.mesh.faces[a.order])
    seen = np.zeros(len(a.mesh.vertices), dtype=np.bool_)
    deviation, x, y, z = _farthest(a.triangles, faces, seen, b.triangles, b.boxes, b.nodes)
    return float(deviation), (float(x), float(y), float(z))


@njit(cache=True)
def _farthest(
    samples: FloatArray,
    faces: IntArray,
    seen: BoolArray,
    triangles: FloatArray,
    boxes: FloatArray,
    nodes: IntArray,
) -> tuple[float, float, float, float]:  # pragma: no cover
    stack = np.empty(256, dtype=np.int32)
    out = np.empty(3)
    s = np.empty(3)
    place = samples[0, 0].copy()
    farthest2 = 0.0
    hint = -1
    for f in range(samples.shape[0]):
        t = samples[f]
        for i in range(7):
            if i < 3:
                if seen[faces[f, i]]:
                    continue
                seen[faces[f, i]] = True
                s[:] = t[i]
            elif i < 6:
                # The neighbour, which runs through the edge the other way, leaves it to this one.
                if faces[f, i - 3] > faces[f, (i - 2) % 3]:
                    continue
                for k in range(3):
                    s[k] = 0.5 * (t[i - 3, k] + t[(i - 2) % 3, k])
            else:
                for k in range(3):
                    s[k] = (t[0, k] + t[1, k] + t[2, k]) / 3.0
            d2, where = nearest(s[0], s[1], s[2], np.inf, farthest2, hint, triangles, boxes, nodes, stack, out)
            hint = where
            if d2 > farthest2:
                farthest2 = d2
                place[:] = s
    return np.sqrt(farthest2), place[0], place[1], place[2]
