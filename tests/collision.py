"""The second judge of contact, a library of its own: do two bodies touch, and how far apart are they.

The library sees surfaces only: of two solids, one inside the other, it reports no contact. ``touching`` therefore also
looks whether a shell of one lies inside the other. Its hierarchy takes seconds for 10⁶ triangles, so bodies are best
made of the region asked about, and it knows no marks: the proofs walk their own hierarchies (gap.py, advance.py) and this
is held against them.
"""

from __future__ import annotations

from functools import cached_property

import fcl
import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import FloatArray, Mesh


class Body:
    """A mesh made ready for collision. Closed for the containment test; an open one is only a surface.

    ValueError for a mesh without triangles.
    """

    def __init__(self, mesh: Mesh) -> None:
        if mesh.triangle_count == 0:
            raise ValueError("a body needs at least one triangle")
        self.mesh = mesh
        model = fcl.BVHModel()
        model.beginModel(len(mesh.vertices), len(mesh.faces))
        model.addSubModel(mesh.vertices, mesh.faces)
        model.endModel()
        self._model = model

    @cached_property
    def bvh(self) -> Bvh:
        return Bvh(self.mesh)

    @cached_property
    def shell_points(self) -> FloatArray:
        """One vertex of each connected shell, (k, 3)."""
        faces = self.mesh.faces
        n = len(self.mesh.vertices)
        rows = np.concatenate([faces[:, 0], faces[:, 1]])
        cols = np.concatenate([faces[:, 1], faces[:, 2]])
        _, label = connected_components(coo_array((np.ones(len(rows), dtype=np.int8), (rows, cols)), shape=(n, n)))
        used = np.unique(faces)
        _, first = np.unique(label[used], return_index=True)
        return np.asarray(self.mesh.vertices[used[first]])

    def _placed(self, matrix: FloatArray | None) -> fcl.CollisionObject:
        m = np.eye(4) if matrix is None else np.asarray(matrix, dtype=np.float64)
        return fcl.CollisionObject(self._model, fcl.Transform(m[:3, :3], m[:3, 3]))


def surfaces_meet(a: Body, b: Body, matrix: FloatArray | None = None) -> bool:
    """Whether the skin of ``a``, moved by the rigid (4, 4) ``matrix``, crosses or touches the skin of ``b``."""
    result = fcl.CollisionResult()
    return int(fcl.collide(a._placed(matrix), b._placed(None), fcl.CollisionRequest(), result)) > 0


def touching(a: Body, b: Body, matrix: FloatArray | None = None) -> bool:
    """Whether solid ``a``, moved by ``matrix``, shares a point with solid ``b``: skins that meet, or one inside the other."""
    if surfaces_meet(a, b, matrix):
        return True
    m = np.eye(4) if matrix is None else np.asarray(matrix, dtype=np.float64)
    there = a.shell_points @ m[:3, :3].T + m[:3, 3]
    back = (b.shell_points - m[:3, 3]) @ m[:3, :3]
    return bool(b.bvh.inside(there).any() or a.bvh.inside(back).any())


def distance(a: Body, b: Body, matrix: FloatArray | None = None) -> tuple[float, FloatArray, FloatArray]:
    """Distance (mm) between the skins of ``a`` moved by ``matrix`` and ``b``, and the nearest point on each (3,).

    Where the skins meet it is 0 and the points are NaN: the library's depth of meshes has no meaning.
    """
    result = fcl.DistanceResult()
    found = fcl.distance(a._placed(matrix), b._placed(None), fcl.DistanceRequest(enable_nearest_points=True), result)
    if found <= 0.0:
        return 0.0, np.full(3, np.nan), np.full(3, np.nan)
    first, second = (np.asarray(p, dtype=np.float64) for p in result.nearest_points)
    return float(found), first, second
