"""Triangle meshes as plain arrays, and what follows from them by sums alone."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int32]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Mesh:
    """A triangle mesh.

    vertices (n, 3) float64, mm; faces (m, 3) int32, counter-clockwise seen from outside. Both arrays are made
    read-only, so a mesh can be shared without fear. No claim of closedness is made: that is a Solid's.
    """

    vertices: FloatArray
    faces: IntArray

    def __post_init__(self) -> None:
        vertices = np.ascontiguousarray(self.vertices, dtype=np.float64).reshape(-1, 3)
        faces = np.ascontiguousarray(self.faces, dtype=np.int32).reshape(-1, 3)
        if vertices.base is not None or vertices is self.vertices:
            vertices = vertices.view()
        if faces.base is not None or faces is self.faces:
            faces = faces.view()
        vertices.flags.writeable = False
        faces.flags.writeable = False
        object.__setattr__(self, "vertices", vertices)
        object.__setattr__(self, "faces", faces)

    @property
    def triangle_count(self) -> int:
        return len(self.faces)

    @cached_property
    def corners(self) -> FloatArray:
        """Triangle corners, (m, 3, 3)."""
        return self.vertices[self.faces]

    @cached_property
    def area_vectors(self) -> FloatArray:
        """Normals scaled by triangle area, (m, 3), mm²."""
        a, b, c = (self.vertices[self.faces[:, i]] for i in range(3))
        return 0.5 * np.cross(b - a, c - a)

    @cached_property
    def areas(self) -> FloatArray:
        """Triangle areas, (m,), mm²."""
        return np.asarray(np.sqrt(np.einsum("ij,ij->i", self.area_vectors, self.area_vectors)))

    @cached_property
    def normals(self) -> FloatArray:
        """Unit normals, (m, 3); zero for triangles without area."""
        length = self.areas[:, None] * 1.0
        return np.divide(self.area_vectors, length, out=np.zeros_like(self.area_vectors), where=length > 0)

    @property
    def area_mm2(self) -> float:
        return float(self.areas.sum())

    @cached_property
    def volume_mm3(self) -> float:
        """Signed volume by the divergence theorem, taken about the middle of the bounds (keeps digits far out)."""
        if not len(self.faces):
            return 0.0
        middle = self.vertices.mean(axis=0)
        a = self.vertices[self.faces[:, 0]] - middle
        return float(np.einsum("ij,ij->", a, self.area_vectors) / 3.0)

    @cached_property
    def bounds(self) -> FloatArray:
        """Lower and upper corner of the vertices in use, (2, 3)."""
        if not len(self.vertices):
            return np.zeros((2, 3))
        return np.stack([self.vertices.min(axis=0), self.vertices.max(axis=0)])

    def transformed(self, matrix: FloatArray) -> Mesh:
        """Apply a (4, 4) affine matrix; a mirroring one also turns the faces, so outside stays outside."""
        matrix = np.asarray(matrix, dtype=np.float64)
        vertices = self.vertices @ matrix[:3, :3].T + matrix[:3, 3]
        faces = self.faces[:, ::-1] if np.linalg.det(matrix[:3, :3]) < 0 else self.faces
        return Mesh(vertices, faces)

    def subset(self, keep: BoolArray) -> Mesh:
        """The triangles marked in ``keep`` (m,), with the vertices that they use."""
        faces = self.faces[keep]
        used = np.zeros(len(self.vertices), dtype=bool)
        used[faces.ravel()] = True
        renumbered = np.cumsum(used, dtype=np.int64) - 1
        return Mesh(self.vertices[used], renumbered[faces].astype(np.int32))

    def near(self, centre: FloatArray, radius_mm: float) -> Mesh:
        """The triangles whose bounding box meets the ball about ``centre``: a cheap local view, not closed."""
        c = np.asarray(centre, dtype=np.float64)
        # By columns: reducing over an axis of three is many times slower.
        far = np.zeros(len(self.faces))
        for axis in range(3):
            p, q, r = (self.vertices[self.faces[:, i], axis] for i in range(3))
            low, high = np.minimum(np.minimum(p, q), r), np.maximum(np.maximum(p, q), r)
            far += np.maximum(np.maximum(low - c[axis], c[axis] - high), 0.0) ** 2
        return self.subset(np.asarray(far <= radius_mm**2))


def concatenate(meshes: list[Mesh]) -> Mesh:
    """All triangles of several meshes in one, vertices not merged."""
    if not meshes:
        return Mesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int32))
    offsets = np.cumsum([0, *(len(m.vertices) for m in meshes[:-1])])
    return Mesh(
        np.concatenate([m.vertices for m in meshes]),
        np.concatenate([m.faces + np.int32(o) for m, o in zip(meshes, offsets, strict=True)]),
    )


def in_order(mesh: Mesh) -> Mesh:
    """The same surface in an order of its own: vertices by x, y, z, each triangle from its first vertex, triangles by theirs.

    Two meshes of the same points and triangles come out alike to the bit, however they were numbered. Equal vertices stay
    apart, in the order they came.
    """
    by = np.lexsort(mesh.vertices.T[::-1])
    rank = np.empty(len(by), dtype=np.int32)
    rank[by] = np.arange(len(by), dtype=np.int32)
    faces = rank[mesh.faces]
    first = faces.argmin(axis=1)
    rows = np.arange(len(faces))
    faces = np.stack([faces[rows, (first + k) % 3] for k in range(3)], axis=1)
    return Mesh(mesh.vertices[by], faces[np.lexsort(faces.T[::-1])])
