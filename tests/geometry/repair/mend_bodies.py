"""Clean bodies of known volume, and what can go wrong with them, made by code."""

from __future__ import annotations

import numpy as np
import trimesh

from condyle.geometry.mesh import Mesh, concatenate
from condyle.geometry.repair.mend import MendWanted

WANTED = MendWanted(widest_hole_mm=8.0, snap_mm=0.005, min_volume_mm3=0.5)
BLOCK = (20.0, 10.0, 30.0)
BLOCK_MM3 = 6000.0


def block(size: tuple[float, float, float] = BLOCK, at: tuple[float, float, float] = (0, 0, 0), cuts: int = 3) -> Mesh:
    """A box about ``at``, each face cut into 2·4^cuts triangles."""
    made = trimesh.creation.box(extents=size)
    for _ in range(cuts):
        made = made.subdivide()
    made.merge_vertices()
    return Mesh(made.vertices + np.array(at), made.faces)


def ball(radius: float = 10.0, at: tuple[float, float, float] = (0, 0, 0), subdivisions: int = 4) -> Mesh:
    made = trimesh.creation.icosphere(subdivisions=subdivisions, radius=radius)
    return Mesh(made.vertices + np.array(at), made.faces)


def reversed_(mesh: Mesh) -> Mesh:
    return Mesh(mesh.vertices, mesh.faces[:, ::-1])


def shuffled_winding(mesh: Mesh, seed: int = 1) -> Mesh:
    faces = mesh.faces.copy()
    turn = np.random.default_rng(seed).random(len(faces)) < 0.3
    faces[turn] = faces[turn][:, ::-1]
    return Mesh(mesh.vertices, faces)


def with_hole(mesh: Mesh, middle: tuple[float, float, float], radius: float) -> Mesh:
    gone = np.linalg.norm(mesh.corners.mean(axis=1) - np.array(middle), axis=1) < radius
    assert gone.any()
    return mesh.subset(~gone)


def together(*meshes: Mesh) -> Mesh:
    """Several meshes in one, vertices at the same place merged: as a file would be read."""
    from condyle.geometry.repair.weld import welded

    return welded(concatenate(list(meshes)))


def knot() -> tuple[Mesh, float]:
    """A square beam that comes round and runs through itself once, at right angles; and its true volume.

    Section 4 × 4 mm on the first leg, 2 × 2 on the last, which pierces the first: both share 2 · 2 · 4 = 16 mm³, which
    the signed volume counts twice.
    """
    path = np.array([[0, 0, 0], [40, 0, 0], [40, 20, 0], [20, 20, 0], [20, -20, 0]], dtype=float)
    across = np.array([[0, 1], [-1, 1], [-1, -1], [1, -1], [1, 0]], dtype=float)
    half = np.array([2.0, 2.0, 1.5, 1.0, 1.0])
    ring = []
    for p, a, h in zip(path, across, half, strict=True):
        side = np.array([a[0], a[1], 0.0]) * h
        up = np.array([0, 0, h])
        ring.append(p + np.array([-side - up, side - up, side + up, -side + up]))
    vertices = np.concatenate(ring)
    faces = []
    for s in range(4):
        for k in range(4):
            a, b = 4 * s + k, 4 * s + (k + 1) % 4
            faces += [[a, b, b + 4], [a, b + 4, a + 4]]
    faces += [[0, 2, 1], [0, 3, 2], [16, 17, 18], [16, 18, 19]]
    mesh = Mesh(vertices, np.array(faces))
    if mesh.volume_mm3 < 0:
        mesh = reversed_(mesh)
    return mesh, mesh.volume_mm3 - 16.0


def klein_bottle(n: int = 24) -> Mesh:
    """A closed surface with one side only (the figure-eight immersion)."""
    u, v = np.meshgrid(np.arange(n), np.arange(n), indexing="ij")
    a, b = 2 * np.pi * u / n, 2 * np.pi * v / n
    r = 12 + 4 * (np.cos(a / 2) * np.sin(b) - np.sin(a / 2) * np.sin(2 * b))
    z = 4 * (np.sin(a / 2) * np.sin(b) + np.cos(a / 2) * np.sin(2 * b))
    vertices = np.stack([r * np.cos(a), r * np.sin(a), z], axis=-1).reshape(-1, 3)

    def at(i: int, j: int) -> int:
        # Once round, the figure eight comes back turned over.
        return (i % n) * n + ((-j if i >= n else j) % n)

    faces = []
    for i in range(n):
        for j in range(n):
            faces += [[at(i, j), at(i + 1, j), at(i + 1, j + 1)], [at(i, j), at(i + 1, j + 1), at(i, j + 1)]]
    return Mesh(vertices, np.array(faces))
