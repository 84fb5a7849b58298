"""Plane sections of closed meshes: the outline of a limb where a plane meets it."""

from __future__ import annotations

import numpy as np

from condyle.geometry.frame import Frame
from condyle.geometry.mesh import FloatArray, IntArray, Mesh
from condyle.geometry.polygons import Region, region_from_rings


def section(mesh: Mesh, frame: Frame, height_mm: float = 0.0) -> Region:
    """Where the plane z = ``height_mm`` of a frame meets a welded mesh, as a region in the frame's x and y.

    Outlines that do not close, because the mesh is a local view with a border, are left out: give a view that reaches
    past the limb.
    """
    heights = (mesh.vertices - frame.origin) @ frame.z - height_mm
    above = heights >= 0.0
    crossing = above[mesh.faces].any(axis=1) & ~above[mesh.faces].all(axis=1)
    rings = _chain(mesh.faces[crossing], above, mesh.vertices, heights)
    local = [((r - frame.origin) @ frame.rotation)[:, :2] for r in rings]
    return region_from_rings(local)


def _chain(faces: IntArray, above: np.ndarray, vertices: FloatArray, heights: FloatArray) -> list[FloatArray]:
    """Closed rings (k, 3) through the crossed edges of triangles that all cross the plane."""
    if not len(faces):
        return []
    up = above[faces]
    # One corner of each triangle is alone on its side; turn it to the front, keeping the winding.
    lone_is_up = up.sum(axis=1) == 1
    lone = np.argmax(up == lone_is_up[:, None], axis=1)
    turned = np.take_along_axis(faces, (lone[:, None] + np.arange(3)) % 3, axis=1).astype(np.int64)
    a, b, c = turned.T
    # With the lone corner above, the outline runs from edge (c, a) to edge (a, b); below, the other way round.
    first = np.where(lone_is_up[:, None], np.stack([c, a], 1), np.stack([a, b], 1))
    second = np.where(lone_is_up[:, None], np.stack([a, b], 1), np.stack([c, a], 1))
    n = np.int64(len(vertices))
    start = first.min(axis=1) * n + first.max(axis=1)
    end = second.min(axis=1) * n + second.max(axis=1)
    follows = dict(zip(start.tolist(), end.tolist(), strict=True))
    rings: list[FloatArray] = []
    while follows:
        key, nxt = next(iter(follows.items()))
        ring = [key]
        del follows[key]
        while nxt != key and nxt in follows:
            ring.append(nxt)
            nxt = follows.pop(nxt)
        if nxt == key and len(ring) >= 3:
            keys = np.array(ring, dtype=np.int64)
            i, j = keys // n, keys % n
            t = heights[i] / (heights[i] - heights[j])
            rings.append(vertices[i] + t[:, None] * (vertices[j] - vertices[i]))
    return rings
