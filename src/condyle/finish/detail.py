"""Detail that sanding and coats will erase: places where the surface's relief is shallower than what is taken and laid on.

At each point a smooth patch (a quadric) is laid through the surface within a millimetre and a bit; what stands over or lies
under it is the relief there. Simplified: relief of broad, soft forms counts as form, not detail; the sharpest edges, which
are rounded but not erased, are left out because their relief is deeper.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from condyle.finding import Point
from condyle.geometry.mesh import BoolArray, FloatArray, Mesh

PATCH_MM = 1.3
LEAST_MM = 0.04
"""Relief below this is the facets' own, or nothing that an eye sees: common practice, no source."""

_GRID_MM = 0.45
_LEAST_POINTS = 4


@dataclass(frozen=True)
class LostDetail:
    """A place with detail of this depth, over about this area, where more is removed or laid on."""

    place: Point
    depth_mm: float
    area_mm2: float


def relief_mm(points: FloatArray, normals: FloatArray) -> FloatArray:
    """Relief (n,) of a surface given by points and unit normals (n, 3): the span of what a quadric leaves over, from the
    second-lowest to the second-highest point of the patch; 0 where too few points lie near."""
    tree = cKDTree(points)
    count = min(28, len(points))
    if count < 10:
        return np.zeros(len(points))
    distance, near = tree.query(points, k=count, distance_upper_bound=PATCH_MM)
    found = np.isfinite(distance)
    near = np.where(found, near, 0)
    across = np.eye(3)[np.argmin(np.abs(normals), axis=1)]
    u = np.cross(across, normals)
    u /= np.linalg.norm(u, axis=1, keepdims=True)
    v = np.cross(normals, u)
    arm = points[near] - points[:, None]
    x, y, z = (np.einsum("nkj,nj->nk", arm, axis) for axis in (u, v, normals))
    weight = found.astype(np.float64)
    basis = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=2) * weight[..., None]
    left = np.einsum("nki,nkj->nij", basis, basis) + 1e-9 * np.eye(6)
    right = np.einsum("nki,nk->ni", basis, z * weight)
    fitted = np.linalg.solve(left, right[..., None])[..., 0]
    over = np.where(found, z - np.einsum("nki,ni->nk", basis, fitted), np.nan)
    ordered = np.sort(np.where(found, over, np.inf), axis=1)
    told = found.sum(axis=1)
    enough = told >= 10
    high = ordered[np.arange(len(points)), np.maximum(told - 2, 0)]
    return np.where(enough, high - ordered[:, 1], 0.0)


def lost_detail(mesh: Mesh, seen: BoolArray, removed_mm: float) -> tuple[LostDetail, ...]:
    """Places on a part's seen faces whose relief is less than ``removed_mm``, the largest first."""
    if removed_mm <= LEAST_MM or not seen.any():
        return ()
    faces = np.flatnonzero(seen)
    middles = np.asarray(mesh.corners[faces].mean(axis=1))
    # One point a cell: the patch is to be even however the triangles lie.
    _, first = np.unique(np.floor(middles / _GRID_MM).astype(np.int64), axis=0, return_index=True)
    first.sort()
    points, normals = middles[first], mesh.normals[faces[first]]
    relief = relief_mm(points, normals)
    lost = np.flatnonzero((relief >= LEAST_MM) & (relief < removed_mm))
    if not len(lost):
        return ()
    pairs = cKDTree(points[lost]).query_pairs(2.0 * _GRID_MM, output_type="ndarray")
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(lost), len(lost)))
    number, label = connected_components(graph, directed=False)
    out = []
    for k in range(number):
        mine = lost[label == k]
        if len(mine) < _LEAST_POINTS:
            continue
        middle = points[mine].mean(axis=0)
        p = points[mine[np.argmin(np.linalg.norm(points[mine] - middle, axis=1))]]
        area = len(mine) * _GRID_MM * _GRID_MM
        out.append(LostDetail((float(p[0]), float(p[1]), float(p[2])), float(np.median(relief[mine])), area))
    return tuple(sorted(out, key=lambda d: (-d.area_mm2, d.place)))
