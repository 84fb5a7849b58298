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
from scipy.sparse import coo_matrix, csr_matrix
from scipy.sparse.linalg import splu
from skfem.models.elasticity import lame_parameters

from condyle.errors import InternalError, UsageError
from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import BoolArray, FloatArray

_CORNERS = np.asarray(skfem.MeshHex.elem.refdom.p.T, dtype=np.int64)
"""(8, 3): where each of a cell's corners lies in its unit cube, in the library's order."""

_LEAST_JACOBIAN = 0.04


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
    """Solve for several forces (k, 3), each spread evenly over the volume of the ``loaded`` cells (m,).

    ``held`` (n,) are nodes that do not move: outer faces between such nodes are clamped. InternalError ``elastic.solve`` where the body
    hangs on nothing.
    """
    element = skfem.ElementVector(skfem.ElementHexS2())
    body = skfem.MeshHex(np.ascontiguousarray(mesh.nodes.T), np.ascontiguousarray(mesh.cells.T))
    basis = skfem.Basis(body, element, intorder=3)
    lam, mu = lame_parameters(modulus_mpa, poisson)
    stiffness = _stiffness(body, basis, lam, mu)
    facets = body.boundary_facets()
    still = facets[held[body.facets[:, facets]].all(axis=0)]
    fixed = basis.get_dofs(still).all()
    free = np.setdiff1d(np.arange(basis.N), fixed)
    inner = stiffness[free][:, free]
    try:
        # Positive definite: pivots are taken where they stand, so that the order that keeps it sparse is kept.
        factor = splu(inner.tocsc(), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
    except RuntimeError:
        raise InternalError("elastic.solve", "the elastic solve has no answer: a piece hangs on nothing") from None
    some = skfem.Basis(body, element, intorder=3, elements=np.flatnonzero(loaded))
    volume = float(some.dx.sum())
    out = []
    for force in np.asarray(forces_n, dtype=np.float64).reshape(-1, 3):
        push = _push(force / volume).assemble(some)
        solution = np.zeros(basis.N)
        solution[free] = factor.solve(push[free])
        moved = solution[np.asarray(basis.nodal_dofs)].T
        gradient = np.moveaxis(np.asarray(basis.interpolate(solution).grad), (0, 1), (2, 3))
        out.append(Bent(moved, _principal(mesh, gradient, np.asarray(basis.X).T, lam, mu)))
    return out


def _stiffness(body: skfem.MeshHex, basis: skfem.Basis, lam: float, mu: float) -> csr_matrix:
    """∫ λ ∂ₐφᵢ ∂ᵦφⱼ + μ (∂ᵦφᵢ ∂ₐφⱼ + δₐᵦ ∇φᵢ·∇φⱼ): the library's own form, all pairs of functions of a cell at once."""
    scalar = skfem.Basis(body, skfem.ElementHexS2(), intorder=3)
    slope = np.array([f[0].grad for f in scalar.basis])  # (20, 3, cells, points)
    weighed = slope * np.asarray(scalar.dx)
    pairs = np.einsum("iamq,jbmq->miajb", weighed, slope, optimize=True)
    along = np.einsum("miaja->mij", pairs)
    cells = lam * pairs + mu * pairs.transpose(0, 1, 4, 3, 2)
    for a in range(3):
        cells[:, :, a, :, a] += mu * along
    # The vector element numbers its functions by node, then by direction.
    dofs = np.asarray(basis.element_dofs, dtype=np.int64).T
    rows = np.repeat(dofs, dofs.shape[1], axis=1)
    columns = np.tile(dofs, (1, dofs.shape[1]))
    return coo_matrix((cells.ravel(), (rows.ravel(), columns.ravel())), shape=(basis.N, basis.N)).tocsr()


def _push(force: FloatArray) -> Any:
    """An even force per volume."""
    return skfem.LinearForm(lambda v, _: force[0] * v[0] + force[1] * v[1] + force[2] * v[2])


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
