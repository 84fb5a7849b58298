"""The one door to the finite-element library: linear elasticity on hexahedra.

Quadratic hexahedra of twenty nodes with 2 × 2 × 2 inner points, small strains, one isotropic material: four cells across a
beam are enough for 1 %. Cells are cut from a grid and their free corners moved onto the
surface, so that round necks are round.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import skfem
from numpy.typing import NDArray
from scipy.sparse import csr_matrix
from skfem.models.elasticity import lame_parameters

from condyle.errors import InternalError, UsageError
from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import BoolArray, FloatArray
from condyle.geometry.twogrid import Blocks, gathered, solved

_CORNERS = np.asarray(skfem.MeshHex.elem.refdom.p.T, dtype=np.int64)
"""(8, 3): where each of a cell's corners lies in its unit cube, in the library's order."""

_LEAST_JACOBIAN = 0.04
_WITHIN = 1e-6  # of the load: what the solve leaves over


@dataclass(frozen=True, eq=False)
class HexMesh:
    """nodes (n, 3) mm; cells (m, 8) node numbers in the library's order."""

    nodes: FloatArray
    cells: NDArray[np.int64]

    @property
    def middles(self) -> FloatArray:
        return np.asarray(self.nodes[self.cells].mean(axis=1))


@dataclass(frozen=True, eq=False)
class Bent:
    """Displacements (n, 3) mm and the largest principal stress (n,) MPa at each node, averaged over its cells."""

    displacement_mm: FloatArray
    principal_mpa: FloatArray


def hex_mesh(inside: BoolArray, origin: FloatArray, pitch_mm: float) -> HexMesh:
    """One cell for each True of a grid; cell (0, 0, 0) has its lower corner at ``origin``. UsageError for none."""
    if not inside.any():
        raise UsageError("elastic.empty", "no cell of the grid is inside")
    ijk = np.argwhere(inside)
    shape = np.array(inside.shape) + 1
    corners = ijk[:, None, :] + _CORNERS[None]
    code = (corners[..., 0] * shape[1] + corners[..., 1]) * shape[2] + corners[..., 2]
    used, cells = np.unique(code, return_inverse=True)
    at = np.stack(np.unravel_index(used, tuple(shape)), axis=1)
    return HexMesh(np.asarray(origin) + pitch_mm * at, cells.reshape(-1, 8))


def snapped(mesh: HexMesh, surface: Bvh, within_mm: float, movable: BoolArray) -> HexMesh:
    """Free corners moved onto a surface that is no further than ``within_mm``, as far as no cell is crushed."""
    shared = np.bincount(mesh.cells.ravel(), minlength=len(mesh.nodes))
    free = np.flatnonzero((shared < 8) & movable)
    distance, on, _ = surface.closest(mesh.nodes[free], within_mm)
    near = np.isfinite(distance)
    target = mesh.nodes.copy()
    target[free[near]] = on[near]
    share = np.ones(len(mesh.nodes))
    size = float(np.abs(_jacobians(mesh.nodes[mesh.cells])).max())
    for _ in range(8):
        nodes = mesh.nodes + share[:, None] * (target - mesh.nodes)
        crushed = _jacobians(nodes[mesh.cells]).min(axis=1) < _LEAST_JACOBIAN * size
        if not crushed.any():
            return HexMesh(nodes, mesh.cells)
        share[np.unique(mesh.cells[crushed])] *= 0.8
    share[np.unique(mesh.cells[crushed])] = 0.0
    return HexMesh(mesh.nodes + share[:, None] * (target - mesh.nodes), mesh.cells)


def _jacobians(corners: FloatArray) -> FloatArray:
    """Volume spanned at each corner of each cell, (m, 8), from (m, 8, 3)."""
    where = {tuple(c): i for i, c in enumerate(_CORNERS.tolist())}
    out = np.empty(corners.shape[:2])
    for c, i in where.items():
        edges = []
        for axis in range(3):
            other = list(c)
            other[axis] = 1 - other[axis]
            step = corners[:, where[tuple(other)]] - corners[:, i]
            edges.append(step if c[axis] == 0 else -step)
        out[:, i] = np.einsum("ij,ij->i", edges[0], np.cross(edges[1], edges[2]))
    return out


def bent(
    mesh: HexMesh,
    modulus_mpa: float,
    poisson: float,
    held: BoolArray,
    loaded: BoolArray,
    forces_n: FloatArray,
) -> list[Bent]:
    """Solve for two forces (2, 3), each spread evenly over the volume of the ``loaded`` cells (m,).

    ``held`` (n,) are nodes that do not move: outer faces between such nodes are clamped. InternalError ``elastic.solve`` where the body
    hangs on nothing.
    """
    body = skfem.MeshHex(np.ascontiguousarray(mesh.nodes.T), np.ascontiguousarray(mesh.cells.T))
    facets = body.boundary_facets()
    still = facets[held[body.facets[:, facets]].all(axis=0)]
    lam, mu = lame_parameters(modulus_mpa, poisson)
    fine, coarse = _Functions(body, skfem.ElementHexS2(), still), _Functions(body, skfem.ElementHex1(), still)
    push = fine.even(loaded)[:, None, None] * np.asarray(forces_n, dtype=np.float64).T[None]
    found = solved(fine.stiffness(lam, mu), coarse.stiffness(lam, mu), _spread(body, fine, coarse), push, _WITHIN)
    if found is None:
        raise InternalError("elastic.solve", "the elastic solve has no answer: a piece hangs on nothing")
    whole = np.zeros((len(fine.row), 3, 2))
    whole[fine.row >= 0] = found
    out = []
    for k in range(2):
        gradient = np.einsum("mja,mjbq->mqab", whole[fine.nodes][..., k], fine.slopes, optimize=True)
        moved = whole[np.asarray(fine.basis.nodal_dofs)[0], :, k]
        out.append(Bent(moved, _principal(mesh, gradient, np.asarray(fine.basis.X).T, lam, mu)))
    return out


class _Functions:
    """The functions of one element on a body, and the block rows of those that are not held (-1 where they are).

    nodes (m, k) functions of each cell; slopes (m, k, 3, q) at its inner points; row (n,) of each function.
    """

    def __init__(self, body: skfem.MeshHex, element: Any, still: NDArray[np.int64]) -> None:
        self.basis = skfem.Basis(body, element, intorder=3)
        self.nodes: NDArray[np.int64] = np.asarray(self.basis.element_dofs, dtype=np.int64).T
        slopes = np.array([f[0].grad for f in self.basis.basis])  # (k, 3, m, q)
        self.slopes: FloatArray = np.ascontiguousarray(slopes.transpose(2, 0, 1, 3))
        self.row = np.zeros(self.basis.N, dtype=np.int64)
        self.row[self.basis.get_dofs(still).all()] = -1
        free = self.row >= 0
        self.count = int(free.sum())
        self.row[free] = np.arange(self.count)

    def stiffness(self, lam: float, mu: float) -> Blocks:
        return gathered(self.slopes, np.asarray(self.basis.dx), self.row[self.nodes], self.count, lam, mu)

    def even(self, loaded: BoolArray) -> FloatArray:
        """What each free function bears of a force of 1 that is spread evenly over the volume of cells."""
        volumes = np.asarray(self.basis.dx)[loaded]
        values = np.array([np.broadcast_to(np.asarray(f[0]), self.basis.dx.shape)[loaded] for f in self.basis.basis])
        shares = (values * volumes).sum(axis=2) / volumes.sum()
        out = np.zeros(self.basis.N)
        np.add.at(out, self.nodes[loaded].T, shares)
        return out[self.row >= 0]


def _spread(body: skfem.MeshHex, fine: _Functions, coarse: _Functions) -> csr_matrix:
    """What straight cells are in the quadratic ones: the same at corners, the mean of both ends at the middle of an edge."""
    corner, edge = np.asarray(fine.basis.nodal_dofs)[0], np.asarray(fine.basis.edge_dofs)[0]
    below = np.asarray(coarse.basis.nodal_dofs)[0]
    rows = fine.row[np.concatenate([corner, edge, edge])]
    columns = coarse.row[below[np.concatenate([np.arange(len(corner)), *body.edges])]]
    share = np.concatenate([np.ones(len(corner)), np.full(2 * len(edge), 0.5)])
    free = (rows >= 0) & (columns >= 0)
    return csr_matrix((share[free], (rows[free], columns[free])), shape=(fine.count, coarse.count))


def _principal(mesh: HexMesh, gradient: FloatArray, inner: FloatArray, lam: float, mu: float) -> FloatArray:
    """Largest principal stress at the nodes: from the inner points (m, 8, 3, 3), drawn out to the corners, averaged."""
    strain = 0.5 * (gradient + np.swapaxes(gradient, 2, 3))
    stress = 2.0 * mu * strain + lam * np.trace(strain, axis1=2, axis2=3)[..., None, None] * np.eye(3)
    outward = np.linalg.inv(np.array([_shapes(p) for p in inner]))
    at_corners = np.einsum("ci,mijk->mcjk", outward, stress)
    total = np.zeros((len(mesh.nodes), 3, 3))
    np.add.at(total, mesh.cells.ravel(), at_corners.reshape(-1, 3, 3))
    count = np.bincount(mesh.cells.ravel(), minlength=len(mesh.nodes))
    return np.asarray(np.linalg.eigvalsh(total / np.maximum(count, 1)[:, None, None])[:, -1])


def _shapes(point: FloatArray) -> FloatArray:
    """The eight trilinear shape functions at a point of the unit cube."""
    return np.asarray(np.where(_CORNERS == 1, point, 1.0 - point).prod(axis=1))
