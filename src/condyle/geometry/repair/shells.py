"""Several closed shells in one sculpt: which are inside out, which enclose nothing, which lie inside another."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh


@dataclass(frozen=True, eq=False)
class Shell:
    """One shell as it came: signed volume, middle of its bounds (3,), its widest extent, triangles."""

    number: int
    volume_mm3: float
    middle: FloatArray
    extent_mm: float
    triangles: int


def shell_list(mesh: Mesh, shell: IntArray) -> list[Shell]:
    """What is known of each shell from sums; ``shell`` (m,) numbers them from 0."""
    count = int(shell.max()) + 1
    origin = mesh.bounds.mean(axis=0)
    lifted = np.einsum("ij,ij->i", mesh.vertices[mesh.faces[:, 0]] - origin, mesh.area_vectors) / 3.0
    volume = np.bincount(shell, weights=lifted, minlength=count)
    size = np.bincount(shell, minlength=count)
    if count == 1:
        low, high = mesh.bounds[:1], mesh.bounds[1:]
    else:
        order = np.argsort(shell, kind="stable")
        starts = np.cumsum(size) - size
        corners = mesh.corners
        low = np.minimum.reduceat(corners.min(axis=1)[order], starts)
        high = np.maximum.reduceat(corners.max(axis=1)[order], starts)
    return [
        Shell(i, float(volume[i]), 0.5 * (low[i] + high[i]), float((high[i] - low[i]).max()), int(size[i]))
        for i in range(count)
    ]


def outward(mesh: Mesh, shell: IntArray, shells: list[Shell]) -> Mesh:
    """The shells of negative volume turned, so that each for itself encloses something."""
    turned = np.array([s.volume_mm3 < 0 for s in shells])
    if not turned.any():
        return mesh
    faces = mesh.faces.copy()
    mine = turned[shell]
    faces[mine] = faces[mine][:, ::-1]
    return Mesh(mesh.vertices, faces)


def enclosed(bvh: Bvh, shell: IntArray, count: int) -> BoolArray:
    """For each shell of an outward mesh whether it begins inside another one (count,).

    Asked just before each shell's largest triangle: its own winding number is 0 there, so what is left is the others'.
    """
    mesh = bvh.mesh
    order = np.lexsort((-mesh.areas, shell))
    largest = order[np.searchsorted(shell[order], np.arange(count))]
    away = np.minimum(1e-3 * np.sqrt(mesh.areas[largest]), 1e-3)[:, None]
    probes = mesh.corners[largest].mean(axis=1) + away * mesh.normals[largest]
    return np.asarray(bvh.winding_field.at(probes) > 0.5)


def shells_apart(mesh: Mesh, shell: IntArray) -> Iterator[Mesh]:
    """Each shell as a mesh of its own, in the order of their numbers; cost does not grow with their count."""
    order = np.argsort(shell, kind="stable")
    for mine in np.split(order, np.cumsum(np.bincount(shell))[:-1]):
        used, corner = np.unique(mesh.faces[mine], return_inverse=True)
        yield Mesh(mesh.vertices[used], corner.reshape(-1, 3).astype(np.int32))
