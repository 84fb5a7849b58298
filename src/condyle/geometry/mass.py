"""Volume, centre of mass and inertia of a closed mesh filled with one material.

Sums of signed tetrahedra between a point inside the bounds and each triangle: the divergence theorem, as in Mirtich, J.
Graphics Tools 1(2) (1996) 31–50 and Eberly, *Polyhedral Mass Properties (Revisited)*. Closedness is the caller's claim.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from condyle.errors import UsageError
from condyle.geometry.mesh import FloatArray, Mesh

GRAMS_PER_MM3 = 1e-3
"""1 g/cm³ in g/mm³."""

_CHUNK = 65_536


@dataclass(frozen=True, eq=False)
class MassProperties:
    """volume_mm3, mass_g; centre_mm (3,); inertia_g_mm2 (3, 3) about the centre, products with the minus sign.

    A mesh whose faces are turned inside out has the negative of all of these but the centre.
    """

    volume_mm3: float
    mass_g: float
    centre_mm: FloatArray
    inertia_g_mm2: FloatArray

    def inertia_about(self, point_mm: FloatArray) -> FloatArray:
        """Inertia tensor (3, 3), g·mm², about another point: the parallel-axis theorem."""
        arm = self.centre_mm - np.asarray(point_mm, dtype=np.float64)
        return self.inertia_g_mm2 + self.mass_g * (float(arm @ arm) * np.eye(3) - np.outer(arm, arm))


def mass_properties(mesh: Mesh, density_g_cm3: float = 1.0) -> MassProperties:
    """Mass properties of a closed mesh of even density (g/cm³).

    Raises UsageError ``mass.density`` for a density that is not above 0, ``mass.volume`` for a mesh that encloses nothing.
    """
    if not (math.isfinite(density_g_cm3) and density_g_cm3 > 0.0):
        raise UsageError("mass.density", f"a density is above 0 g/cm³, not {density_g_cm3!r}")
    if not len(mesh.faces):
        raise UsageError("mass.volume", "a mesh without triangles has no mass")
    used = mesh.vertices[mesh.faces[:, 0]]
    # Differences from a near point are exact or nearly so; without this, digits are lost far from the origin.
    middle = 0.5 * (used.min(axis=0) + used.max(axis=0))
    local = mesh.vertices - middle

    volume = 0.0
    first = np.zeros(3)
    second = np.zeros((3, 3))
    for start in range(0, len(mesh.faces), _CHUNK):
        corners = local[mesh.faces[start : start + _CHUNK]]
        six_volumes = np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2]))
        sums = corners.sum(axis=1)
        volume += float(six_volumes.sum()) / 6.0
        first += six_volumes @ sums / 24.0
        flat = corners.reshape(-1, 3)
        second += (
            flat.T @ (flat * np.repeat(six_volumes, 3)[:, None]) + sums.T @ (sums * six_volumes[:, None])
        ) / 120.0

    size = float(np.abs(local[mesh.faces.ravel()]).max())
    if abs(volume) <= 1e-12 * size**3 or not math.isfinite(volume):
        raise UsageError(
            "mass.volume", f"a mesh of volume {volume:.3g} mm³ has no centre of mass", hint="is it closed?"
        )
    offset = first / volume
    density = density_g_cm3 * GRAMS_PER_MM3
    spread = density * (second - volume * np.outer(offset, offset))
    inertia = float(np.trace(spread)) * np.eye(3) - spread
    return MassProperties(volume, density * volume, middle + offset, 0.5 * (inertia + inertia.T))


def combined(parts: Sequence[MassProperties]) -> MassProperties:
    """Several bodies as one. A body taken away goes in with negative volume, mass and inertia (``taken_away``).

    Raises UsageError ``mass.volume`` when the masses sum to nothing.
    """
    mass = float(sum(p.mass_g for p in parts))
    if not abs(mass) > 0.0:
        raise UsageError("mass.volume", "bodies that weigh nothing together have no centre of mass")
    centre = np.sum([p.mass_g * p.centre_mm for p in parts], axis=0) / mass
    inertia = np.sum([p.inertia_about(centre) for p in parts], axis=0)
    return MassProperties(float(sum(p.volume_mm3 for p in parts)), mass, np.asarray(centre), np.asarray(inertia))


def taken_away(body: MassProperties, share: float = 1.0) -> MassProperties:
    """The same body to be subtracted in ``combined``, or a share of it (0.85 where 15 % of the inside is filled)."""
    return MassProperties(-share * body.volume_mm3, -share * body.mass_g, body.centre_mm, -share * body.inertia_g_mm2)


def moved(body: MassProperties, matrix: FloatArray) -> MassProperties:
    """The body under a rigid (4, 4) motion."""
    turn = np.asarray(matrix, dtype=np.float64)[:3, :3]
    centre = turn @ body.centre_mm + np.asarray(matrix)[:3, 3]
    return MassProperties(body.volume_mm3, body.mass_g, centre, turn @ body.inertia_g_mm2 @ turn.T)


def film_properties(mesh: Mesh, thickness_mm: float, density_g_cm3: float) -> MassProperties | None:
    """A film of even thickness on the mesh's triangles (a coat of paint): sums over flat triangles; None for no area.

    First order in the thickness: a film of 0.05 mm on a curve of 2 mm radius is told 2.5 % too light at most.
    ∫ x xᵀ over a triangle is A/12·(Σ xᵢxᵢᵀ + s sᵀ), s = Σ xᵢ (derived).
    """
    area = mesh.area_mm2
    if not (area > 0.0 and thickness_mm > 0.0):
        return None
    middle = mesh.bounds.mean(axis=0)
    corners = mesh.corners - middle
    weights = mesh.areas * (thickness_mm * density_g_cm3 * GRAMS_PER_MM3)
    sums = corners.sum(axis=1)
    mass = float(weights.sum())
    centre = weights @ sums / (3.0 * mass)
    flat = corners.reshape(-1, 3)
    second = (flat.T @ (flat * np.repeat(weights, 3)[:, None]) + sums.T @ (sums * weights[:, None])) / 12.0
    spread = second - mass * np.outer(centre, centre)
    return MassProperties(area * thickness_mm, mass, middle + centre, float(np.trace(spread)) * np.eye(3) - spread)
