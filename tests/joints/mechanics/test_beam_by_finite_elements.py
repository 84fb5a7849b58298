"""The beam formulas against plane-stress finite elements, which know of shear, taper and clamping by themselves."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import spsolve

from condyle.joints.mechanics import snap

MODULUS, POISSON, DEPTH = 2900.0, 0.36, 1.0
ACROSS = 12  # biquadratic elements over the thickness


def tip_deflection_mm(length: float, root: float, tip_ratio: float, force: float) -> float:
    """Mid-height deflection at the tip of a clamped, tapered plate of unit depth: nine-node Lagrange elements.

    Textbook method (Bathe, *Finite Element Procedures*, isoparametric elements; from memory), written for this test.
    """
    along = max(24, int(ACROSS * length / root))
    nx, ny = 2 * along + 1, 2 * ACROSS + 1
    xi = np.linspace(0.0, 1.0, nx)
    y = np.linspace(-0.5, 0.5, ny)[None, :] * (root * (1.0 - (1.0 - tip_ratio) * xi))[:, None]
    nodes = np.stack([np.repeat(length * xi[:, None], ny, axis=1), y], axis=-1).reshape(-1, 2)
    i, j = np.meshgrid(2 * np.arange(along), 2 * np.arange(ACROSS), indexing="ij")
    cells = np.stack([(i + a) * ny + (j + b) for a in range(3) for b in range(3)], axis=-1).reshape(-1, 9)

    elastic = MODULUS / (1 - POISSON**2) * np.array([[1, POISSON, 0], [POISSON, 1, 0], [0, 0, (1 - POISSON) / 2]])
    points, weights = np.polynomial.legendre.leggauss(3)

    def quadratic(s: float) -> tuple[np.ndarray, np.ndarray]:
        return np.array([s * (s - 1) / 2, 1 - s * s, s * (s + 1) / 2]), np.array([s - 0.5, -2 * s, s + 0.5])

    corners = nodes[cells]
    stiffness = np.zeros((len(cells), 18, 18))
    for s, ws in zip(points, weights, strict=True):
        for t, wt in zip(points, weights, strict=True):
            (n1, d1), (n2, d2) = quadratic(s), quadratic(t)
            local = np.stack([np.outer(d1, n2).ravel(), np.outer(n1, d2).ravel()])
            jacobian = np.einsum("an,enk->eak", local, corners)
            gradient = np.linalg.solve(jacobian, np.broadcast_to(local, (len(cells), 2, 9)))
            b = np.zeros((len(cells), 3, 18))
            b[:, 0, 0::2] = b[:, 2, 1::2] = gradient[:, 0]
            b[:, 1, 1::2] = b[:, 2, 0::2] = gradient[:, 1]
            weight = ws * wt * DEPTH * np.linalg.det(jacobian)
            stiffness += np.einsum("eki,kl,elj,e->eij", b, elastic, b, weight, optimize=True)
    freedom = (2 * cells[:, :, None] + np.arange(2)).reshape(-1, 18)
    rows, columns = np.repeat(freedom, 18, axis=1).ravel(), np.tile(freedom, (1, 18)).ravel()
    size = 2 * len(nodes)
    whole = coo_matrix((stiffness.ravel(), (rows, columns)), shape=(size, size)).tocsr()

    load = np.zeros(size)
    share = np.tile([2.0, 4.0], ACROSS + 1)[:ny]  # Simpson: a force spread evenly over the tip's face
    share[[0, -1]] = 1.0
    load[2 * ((nx - 1) * ny + np.arange(ny)) + 1] = force * share / share.sum()
    free = np.arange(2 * ny, size)
    moved = np.zeros(size)
    moved[free] = spsolve(whole[free][:, free], load[free])
    return float(moved[2 * ((nx - 1) * ny + ACROSS) + 1])


@pytest.mark.parametrize("slenderness", [10.0, 5.0, 3.0, 2.0])
def test_straight_beam_with_shear(slenderness: float) -> None:
    length, thickness, force = slenderness, 1.0, 1.0
    strain = 6.0 * force * length / (MODULUS * DEPTH * thickness**2)
    assert snap.deflection_force_n(strain, DEPTH, thickness, length, MODULUS) == pytest.approx(force, rel=1e-12)
    bending = snap.deflection_mm(strain, length, thickness)
    found = tip_deflection_mm(length, thickness, 1.0, force)
    softer = 1.0 + snap.shear_share(length, thickness, POISSON)
    assert found == pytest.approx(bending * softer, rel=0.02)
    assert found > bending  # the slender formula is the stiff side, as the docstring warns


@pytest.mark.parametrize("tip_ratio", [0.5, 0.3])
def test_tapered_beam(tip_ratio: float) -> None:
    length, thickness, force = 12.0, 1.0, 0.2
    root_strain = 6.0 * force * length / (MODULUS * DEPTH * thickness**2)
    strain = root_strain * snap.strain_peak(tip_ratio)
    bending = snap.deflection_mm(strain, length, thickness, tip_ratio)
    assert tip_deflection_mm(length, thickness, tip_ratio, force) == pytest.approx(bending, rel=0.02)
