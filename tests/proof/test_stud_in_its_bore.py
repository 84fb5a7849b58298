"""What a swivel's stud bears in its bore, by an elastic solve with one-sided contact that shares nothing with the claim.

The stud is cut into cells of its finished solid, held in the flesh of its root. Its bore is a stiff body on an elastic
foundation that can push and not pull (an active set over the surface's nodes), pressed sideways far out on the limb.
Elements, stiffness and solver are scikit-fem's and scipy's.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import skfem
from scipy.sparse.linalg import splu
from skfem.models.elasticity import lame_parameters, linear_elasticity

from condyle.geometry.bvh import Bvh
from condyle.joints import swivel
from condyle.joints.design import Cut
from tests.joints.blocks import stock

PLA = stock()
KERF, ARM_MM, ACROSS = 0.35, 40.0, 12


def largest_nominal(size: float, reach: float, gives: swivel.Gives, load_deg: float) -> float:
    """The largest N/A + M/W of one piece of the stud at any height, per N·mm at the face; a load at 90° lies across a slot."""
    shape = swivel.shape(size, -0.03, PLA, reach, gives)
    assert shape is not None
    solid = swivel.design(shape, Cut("plane", 0.0, KERF), -0.03, PLA).cup.add
    assert solid is not None
    r, pitch, foot = shape.shaft, 2.0 * shape.shaft / ACROSS, -KERF - swivel.root_mm(shape)
    wide = np.arange(-ACROSS, ACROSS + 1) * pitch
    grid = skfem.MeshHex.init_tensor(wide, wide, foot + np.arange(math.ceil((shape.length - foot) / pitch) + 1) * pitch)
    middles = grid.p[:, grid.t].mean(axis=1).T
    mesh = grid.remove_elements(np.flatnonzero(~Bvh(solid.mesh).inside(middles)))
    basis = skfem.Basis(mesh, skfem.ElementVector(skfem.ElementHex1()), intorder=2)
    lam, mu = lame_parameters(PLA.modulus_mpa, PLA.poisson)
    stiff = skfem.asm(linear_elasticity(lam, mu), basis).tocsr()
    nodes, dofs = mesh.p.T, basis.nodal_dofs
    free = np.setdiff1d(np.arange(stiff.shape[0]), dofs[:, nodes[:, 2] < -KERF - 0.25 * r].ravel())
    touch = _touching(shape, mesh, pitch)
    out = nodes[touch, :2] / np.hypot(*nodes[touch, :2].T)[:, None]
    # Displacements per unit push on each node, and how a bore that shifts and turns meets them.
    place = np.full(stiff.shape[0], -1)
    place[free] = np.arange(len(free))
    pushes = np.zeros((len(free), len(touch)))
    for k in (0, 1):
        pushes[place[dofs[k, touch]], np.arange(len(touch))] = out[:, k]
    solved = splu(stiff[free][:, free].tocsc(), permc_spec="MMD_AT_PLUS_A").solve(pushes)
    give = pushes.T @ solved
    height = nodes[touch, 2]
    rigid = np.column_stack([out, -out[:, 1] * height, out[:, 0] * height])
    way = np.array([math.cos(math.radians(load_deg)), math.sin(math.radians(load_deg))]) / ARM_MM
    load = np.array([*way, -way[1] * ARM_MM, way[0] * ARM_MM])
    spring = PLA.modulus_mpa / (0.5 * r) * pitch**2
    active = np.ones(len(touch), dtype=bool)
    for _ in range(60):
        on = np.flatnonzero(active)
        n = len(on)
        left = np.zeros((n + 4, n + 4))
        left[:n, :n] = np.eye(n) / spring + give[np.ix_(on, on)]
        left[:n, n:], left[n:, :n] = rigid[on], rigid[on].T
        left[n:, n:] = -1e-12 * np.eye(4)
        answer = np.linalg.solve(left, np.concatenate([np.zeros(n), -load]))
        force = np.zeros(len(touch))
        force[on] = answer[:n]
        now = -(give @ force) - rigid @ answer[n:] > 0.0
        if (now == active).all():
            break
        active = now
    else:
        raise AssertionError("contact did not settle")
    # Rest: the pushes balance the load.
    assert rigid.T @ force == pytest.approx(-load, abs=1e-6)
    moved = np.zeros(stiff.shape[0])
    moved[free] = -(solved @ force)
    slope = basis.interpolate(moved).grad
    stretch = lam * (slope[0, 0] + slope[1, 1] + slope[2, 2]) + 2.0 * mu * slope[2, 2]
    return _nominal(
        middles=mesh.p[:, mesh.t].mean(axis=1).T, axial=stretch.mean(axis=-1), pitch=pitch, split=shape.jaws is None
    )


def _touching(shape: swivel.SwivelShape, mesh: skfem.MeshHex, pitch: float) -> np.ndarray:
    """Nodes of the stud's surface that its bore can push: between the mouth and the ridge, or along the still walls."""
    nodes = mesh.p.T
    skin = np.unique(mesh.facets[:, mesh.boundary_facets()])
    x, y, z = np.abs(nodes[skin, 0]), np.abs(nodes[skin, 1]), nodes[skin, 2]
    off = np.hypot(x, y)
    if shape.jaws is None:
        return skin[(off > shape.shaft - 0.9 * pitch) & (z >= 0.5) & (z <= shape.ridge_z + 0.3)]
    still = np.degrees(np.arctan2(y, x)) < 45.0 - math.degrees(0.5 * shape.jaws.slit / shape.shaft)
    along = (z >= shape.jaws.high + 0.1) & (z <= shape.length - 0.6)
    return skin[along & still & (off > shape.shaft - 0.9 * pitch) & (off < shape.shaft + 0.3 * pitch)]


def _nominal(middles: np.ndarray, axial: np.ndarray, pitch: float, *, split: bool) -> float:
    most = 0.0
    for z in np.unique(np.round(middles[:, 2], 9)):
        level = (np.abs(middles[:, 2] - z) < 0.1 * pitch) & (z > 0.0)
        for piece in (middles[:, 1] > 0.0, middles[:, 1] < 0.0) if split else (middles[:, 1] < np.inf,):
            here = level & piece
            if here.sum() < 4:
                continue
            arm = middles[here, :2] - middles[here, :2].mean(axis=0)
            second = (arm**2).sum(axis=0) * pitch**2 + here.sum() * pitch**4 / 12.0
            bend = (axial[here, None] * arm).sum(axis=0) * pitch**2
            most = max(most, float((axial[here].mean() + arm @ (bend / second)).max()))
    return most


@pytest.mark.parametrize("load_deg", [0.0, 90.0])
def test_a_whole_stud_bears_as_a_round_bar(load_deg: float) -> None:
    """Stress of a round bar under the moment at the face, 32 M/(π d³) (Shigley, Mechanical Engineering Design, eq. 3-24 of the
    9th edition, from memory). Twelve cells across read a staircase's section, some tenth smaller."""
    bar = 32.0 / (math.pi * 4.0**3)
    assert largest_nominal(4.0, 1.1, "firm", load_deg) == pytest.approx(bar, rel=0.15)


def test_one_half_of_a_split_stud_bears_all_that_is_pushed_across_its_slot() -> None:
    shape = swivel.shape(4.0, -0.03, PLA, 1.1, "split")
    assert shape is not None
    alone = PLA.across_mpa / swivel.bears_nmm(shape, PLA)
    found = largest_nominal(4.0, 1.1, "split", 90.0)
    assert 0.75 * alone <= found <= 1.1 * alone
    # Far from what a beam of both halves together would say.
    assert found > 4.0 * 32.0 / (math.pi * 4.0**3)
