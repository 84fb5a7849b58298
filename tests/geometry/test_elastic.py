"""The elastic solve against beam theory, and its grid against the surface it stands for."""

from __future__ import annotations

import math

import numpy as np
import pytest
import skfem
from skfem.models.elasticity import lame_parameters, linear_elasticity

from condyle.errors import UsageError
from condyle.geometry.bvh import Bvh
from condyle.geometry.elastic import _Functions, bent, hex_mesh, snapped
from condyle.geometry.primitives import cylinder
from tests.published import Published

E, NU = 2900.0, 0.36


def test_cantilever_within_three_per_cent_of_beam_theory(published: Published) -> None:
    """y = P·l³/(3EI) plus shear, σ = P·l·c/I at the middle: Shigley, Mechanical Engineering Design (from memory)."""
    mesh = hex_mesh(np.ones((4, 4, 24), dtype=bool), np.zeros(3), 0.5)
    h, length = 2.0, 12.0
    held = mesh.nodes[:, 2] < 1e-9
    loaded = mesh.middles[:, 2] > length - 0.5
    got = bent(mesh, E, NU, held, loaded, np.eye(3)[:2])[0]
    arm, second = length - 0.25, h**4 / 12.0
    tip = arm**3 / (3 * E * second) * (1 + 0.6 * (1 + NU) * (h / arm) ** 2) + 0.25 * arm**2 / (2 * E * second)
    end = np.abs(mesh.nodes[:, 2] - length) < 1e-9
    moved = got.displacement_mm[end, 0].mean()
    source = "beam theory with shear, Shigley (from memory)"
    published("tip of a cantilever by the elastic solve", moved, tip, unit="mm", tolerance=0.03 * tip, source=source)
    middle = np.abs(mesh.nodes[:, 2] - 6.0) < 1e-9
    stress, exact = got.principal_mpa[middle].max(), (arm - 6.0) * 1.0 / second
    what = "largest stress at its middle"
    published(what, stress, exact, unit="MPa", tolerance=0.03 * exact, source=source)


def test_round_bar_within_five_per_cent_though_cut_from_a_grid() -> None:
    """σ = 32·M/(π·d³): corners are moved onto the round surface."""
    pitch = 0.3
    axis = np.arange(-5, 5) * pitch + pitch / 2
    x, y = np.meshgrid(axis, axis, indexing="ij")
    inside = np.repeat((x**2 + y**2 < 1.15**2)[:, :, None], 30, axis=2)
    rod = Bvh(cylinder(1.2, -2.0, 11.0).mesh)
    mesh = hex_mesh(inside, np.array([-1.5, -1.5, 0.0]), pitch)
    mesh = snapped(mesh, rod, 0.21, np.ones(len(mesh.nodes), dtype=bool))
    on_skin = np.abs(np.linalg.norm(mesh.nodes[:, :2], axis=1) - 1.2) < 0.01
    assert on_skin.sum() > 900
    got = bent(mesh, E, NU, mesh.nodes[:, 2] < 1e-9, mesh.middles[:, 2] > 8.7, np.eye(3)[:2])[1]
    at = np.abs(mesh.nodes[:, 2] - 4.5) < 1e-6
    assert got.principal_mpa[at].max() == pytest.approx(32 * (8.85 - 4.5) / (math.pi * 2.4**3), rel=0.05)


def test_stiffness_is_that_of_the_librarys_own_form() -> None:
    """scikit-fem's linear elasticity, one pair of functions at a time, on crooked cells."""
    mesh = hex_mesh(np.ones((2, 2, 3), dtype=bool), np.zeros(3), 0.5)
    nodes = mesh.nodes + 0.06 * np.random.default_rng(1).normal(size=mesh.nodes.shape)
    body = skfem.MeshHex(np.ascontiguousarray(nodes.T), np.ascontiguousarray(mesh.cells.T))
    basis = skfem.Basis(body, skfem.ElementVector(skfem.ElementHexS2()), intorder=3)
    lame = lame_parameters(E, NU)
    theirs = linear_elasticity(*lame).assemble(basis)
    ours = _Functions(body, skfem.ElementHexS2(), np.zeros(0, dtype=np.int64)).stiffness(*lame).sparse
    assert abs(ours - theirs).max() < 1e-9 * abs(theirs).max()


def test_solve_is_that_of_a_direct_solver_and_of_the_librarys_own_form() -> None:
    """The same clamped bar by scikit-fem's form and scipy's factors of the whole matrix: displacements to a millionth."""
    mesh = hex_mesh(np.ones((2, 3, 8), dtype=bool), np.zeros(3), 0.5)
    body = skfem.MeshHex(np.ascontiguousarray(mesh.nodes.T), np.ascontiguousarray(mesh.cells.T))
    basis = skfem.Basis(body, skfem.ElementVector(skfem.ElementHexS2()), intorder=3)
    loaded = mesh.middles[:, 2] > 3.5
    top = skfem.Basis(body, skfem.ElementVector(skfem.ElementHexS2()), intorder=3, elements=np.flatnonzero(loaded))
    push = skfem.LinearForm(lambda v, _: v[0]).assemble(top) / float(top.dx.sum())
    still = basis.get_dofs(lambda x: x[2] < 1e-9).all()
    theirs = skfem.solve(*skfem.condense(linear_elasticity(*lame_parameters(E, NU)).assemble(basis), push, D=still))
    ours = bent(mesh, E, NU, mesh.nodes[:, 2] < 1e-9, loaded, np.eye(3)[:2])[0].displacement_mm
    off = np.abs(ours - theirs[np.asarray(basis.nodal_dofs)].T).max()
    assert off < 1e-6 * np.abs(theirs).max()


def test_an_empty_grid_is_refused() -> None:
    with pytest.raises(UsageError, match="inside"):
        hex_mesh(np.zeros((2, 2, 2), dtype=bool), np.zeros(3), 1.0)
