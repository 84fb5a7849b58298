"""What a turn keeps of each triangle: how far it lies from a point of the axis, or from the axis, and how high along it.

Each of these changes between two points by no more than they lie apart. So where the spans of two triangles, or of two nodes
of a hierarchy, lie further apart than a limit, no turn brings them within it, and a search for the smallest gap passes
them by (gap.py): concentric faces, of which a joint has most, drop out at once.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit

from condyle.geometry.frame import unit
from condyle.geometry.gap import NOTHING_KEPT, Kept, Surface
from condyle.geometry.mesh import FloatArray, IntArray
from condyle.geometry.rings import flatten, greatest_below, line_along, spans_about, triangle_ring


class BothKept(NamedTuple):
    """What motions of one surface against another keep, of the moved one and of the still one."""

    moved: Kept = NOTHING_KEPT
    still: Kept = NOTHING_KEPT


NEITHER_KEPT = BothKept()


def kept_about_point(surface: Surface, point: FloatArray) -> Kept:
    """Least and greatest distance (mm) from a point: kept by every turn about a line through it."""
    triangles, nodes = spans_about(surface, point)
    return Kept(triangles[:, None, :], nodes[:, None, :])


def kept_about_line(surface: Surface, point: FloatArray, axis: FloatArray) -> Kept:
    """Least and greatest height (mm) along a line, and distance from it: both kept by a turn about it, the height also by
    turns about lines beside it."""
    line = line_along(np.asarray(point, dtype=np.float64), unit(axis))
    triangles = _rings(surface.bvh.triangles, line)
    return Kept(triangles, _below(triangles, surface.bvh.nodes))


def heights_of(kept: Kept) -> Kept:
    """Of what ``kept_about_line`` tells, the heights alone."""
    return Kept(np.ascontiguousarray(kept.triangles[:, :1]), np.ascontiguousarray(kept.nodes[:, :1]))


@njit(cache=True, nogil=True)
def _rings(tri: FloatArray, line: FloatArray) -> FloatArray:  # pragma: no cover
    out = np.empty((tri.shape[0], 2, 2))
    flat, ring = np.empty((3, 3)), np.empty((1, 6))
    for i in range(tri.shape[0]):
        flatten(tri, i, line, flat)
        triangle_ring(flat, ring, 0)
        out[i, 0, 0], out[i, 0, 1] = ring[0, 2], ring[0, 3]
        out[i, 1, 0], out[i, 1, 1] = ring[0, 0], ring[0, 1]
    return out


@njit(cache=True, nogil=True)
def _below(spans: FloatArray, nodes: IntArray) -> FloatArray:  # pragma: no cover
    out = np.empty((nodes.shape[0], spans.shape[1], 2))
    for f in range(spans.shape[1]):
        out[:, f, 0] = -greatest_below(-spans[:, f, 0], nodes)
        out[:, f, 1] = greatest_below(spans[:, f, 1].copy(), nodes)
    return out
