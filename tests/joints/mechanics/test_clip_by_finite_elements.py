"""The split ring's arm against plane-stress finite elements: what leaving out shear and normal force is worth."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import spsolve

from condyle.joints.mechanics.clip import clip_arm

MODULUS, POISSON = 2900.0, 0.36
ACROSS = 8


def tip_gives_mm(inner: float, thick: float, sweep_deg: float) -> float:
    """How far the bore's edge at an arm's tip moves along the force of 1 N there, square to the way in; unit depth.

    Nine-node Lagrange elements (Bathe, *Finite Element Procedures*, isoparametric elements; from memory). The back is clamped.
    What gives under a point is left out: the tip's face is taken as straight, by a line through all but its loaded nodes.
    """
    along = max(30, int(2.0 * ACROSS * inner * np.radians(sweep_deg) / thick))
    nx, ny = 2 * along + 1, 2 * ACROSS + 1
    psi = np.radians(np.linspace(0.0, sweep_deg, nx))[:, None]
    radius = (inner + thick * np.linspace(0.0, 1.0, ny))[None, :]
    nodes = np.stack([-radius * np.cos(psi), radius * np.sin(psi)], axis=-1).reshape(-1, 2)
    i, j = np.meshgrid(2 * np.arange(along), 2 * np.arange(ACROSS), indexing="ij")
    cells = np.stack([(i + a) * ny + (j + b) for a in range(3) for b in range(3)], axis=-1).reshape(-1, 9)
    elastic = MODULUS / (1 - POISSON**2) * np.array([[1, POISSON, 0], [POISSON, 1, 0], [0, 0, (1 - POISSON) / 2]])
    points, weights = np.polynomial.legendre.leggauss(3)

    def quadratic(at: float) -> tuple[np.ndarray, np.ndarray]:
        return np.array([at * (at - 1) / 2, 1 - at * at, at * (at + 1) / 2]), np.array([at - 0.5, -2 * at, at + 0.5])

    corners = nodes[cells]
    stiffness = np.zeros((len(cells), 18, 18))
    for u, wu in zip(points, weights, strict=True):
        for v, wv in zip(points, weights, strict=True):
            (n1, d1), (n2, d2) = quadratic(u), quadratic(v)
            local = np.stack([np.outer(d1, n2).ravel(), np.outer(n1, d2).ravel()])
            jacobian = np.einsum("an,enk->eak", local, corners)
            gradient = np.linalg.solve(jacobian, np.broadcast_to(local, (len(cells), 2, 9)))
            b = np.zeros((len(cells), 3, 18))
            b[:, 0, 0::2] = b[:, 2, 1::2] = gradient[:, 0]
            b[:, 1, 1::2] = b[:, 2, 0::2] = gradient[:, 1]
            weight = wu * wv * np.abs(np.linalg.det(jacobian))
            stiffness += np.einsum("eki,kl,elj,e->eij", b, elastic, b, weight, optimize=True)
    freedom = (2 * cells[:, :, None] + np.arange(2)).reshape(-1, 18)
    rows, columns = np.repeat(freedom, 18, axis=1).ravel(), np.tile(freedom, (1, 18)).ravel()
    size = 2 * len(nodes)
    whole = coo_matrix((stiffness.ravel(), (rows, columns)), shape=(size, size)).tocsr()
    load = np.zeros(size)
    face = (nx - 1) * ny + np.arange(ny)
    load[2 * face[0] + 1] = 1.0
    free = np.arange(2 * ny, size)
    moved = np.zeros(size)
    moved[free] = spsolve(whole[free][:, free], load[free])
    line = np.polyfit(radius[0, 4:], moved[2 * face + 1][4:], 1)
    return float(np.polyval(line, inner))


@pytest.mark.parametrize(
    ("inner", "thick", "sweep", "low"), [(2.0, 0.5, 150.0, 0.99), (2.0, 1.0, 150.0, 0.97), (2.0, 2.0, 150.0, 0.93)]
)
def test_an_arm_gives_a_little_more_than_told(inner: float, thick: float, sweep: float, low: float) -> None:
    """Beam over elements: force and strain at a given opening come out too high by the inverse, as the module says."""
    angles = np.linspace(0.0, sweep, 361)
    told = clip_arm(inner, angles, np.full((361, 1), thick), 1.0, MODULUS).mm_per_n
    assert low < told / tip_gives_mm(inner, thick, sweep) < 1.0
