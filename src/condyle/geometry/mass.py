"""Volume, centre of mass and inertia of a closed mesh filled with one material.

Sums of signed tetrahedra between a point inside the bounds and each triangle: the divergence theorem, as in Mirtich, J.
Graphics Tools 1(2) (1996) 31–50 and Eberly, *Polyhedral Mass Properties (Revisited)*. Closedness is the caller's claim.
"""

from __future__ import annotations

import math
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
