"""Welding: corners at the same place become one vertex."""

from __future__ import annotations

import numpy as np
from numba import njit

from condyle.geometry.mesh import IntArray, Mesh


def welded(mesh: Mesh) -> Mesh:
    """Vertices with equal coordinates (to the bit, ±0 the same) merged, in the order of their first use by the faces.

    Unused vertices are dropped. Millions of corners a second: open addressing on the coordinates' bits.
    """
    vertices = mesh.vertices + 0.0
    index, kept = _weld(vertices.view(np.uint64), mesh.faces)
    return Mesh(vertices[kept], index[mesh.faces])


def snapped(mesh: Mesh, loose: IntArray, tolerance_mm: float) -> Mesh:
    """The vertices named in ``loose`` merged where they lie within ``tolerance_mm`` of each other; the rest untouched.

    Chains grow no longer than one link: each vertex goes to the first one (lowest number) that has it in reach.
    """
    from scipy.spatial import cKDTree

    where = np.sort(loose)
    near = cKDTree(mesh.vertices[where]).query_pairs(tolerance_mm, output_type="ndarray")
    target = np.arange(len(mesh.vertices), dtype=np.int32)
    near = near[np.lexsort((near[:, 1], near[:, 0]))]
    for a, b in zip(where[near[:, 0]], where[near[:, 1]], strict=True):
        if target[a] == a and target[b] == b:
            target[b] = a
    return Mesh(mesh.vertices, target[mesh.faces])


@njit(cache=True)
def _weld(bits: np.ndarray, faces: IntArray) -> tuple[IntArray, IntArray]:  # pragma: no cover
    """For each vertex its new number (-1 for unused ones), and which vertex each new number stands for."""
    n = bits.shape[0]
    size = 16
    while size < 2 * n:
        size *= 2
    mask = np.uint64(size - 1)
    table = np.full(size, -1, dtype=np.int32)
    index = np.full(n, -1, dtype=np.int32)
    kept = np.empty(n, dtype=np.int32)
    used = 0
    for f in range(faces.shape[0]):
        for c in range(3):
            v = faces[f, c]
            if index[v] >= 0:
                continue
            x, y, z = bits[v, 0], bits[v, 1], bits[v, 2]
            h = x * np.uint64(0x9E3779B97F4A7C15)
            h ^= h >> np.uint64(29)
            h = (h + y) * np.uint64(0xBF58476D1CE4E5B9)
            h ^= h >> np.uint64(32)
            h = (h + z) * np.uint64(0x94D049BB133111EB)
            h ^= h >> np.uint64(31)
            slot = h & mask
            while True:
                other = table[slot]
                if other < 0:
                    table[slot] = used
                    index[v] = used
                    kept[used] = v
                    used += 1
                    break
                w = kept[other]
                if bits[w, 0] == x and bits[w, 1] == y and bits[w, 2] == z:
                    index[v] = other
                    break
                slot = (slot + np.uint64(1)) & mask
    return index, kept[:used].copy()
