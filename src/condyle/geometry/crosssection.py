"""Area, second moments and twist of plane sections: what a beam's stress formulas need."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from condyle.geometry.mesh import FloatArray
from condyle.geometry.polygons import Region


@dataclass(frozen=True, eq=False)
class SectionMoments:
    """Of one plane section, mm.

    second_mm4    (2, 2) ∫ r rᵀ dA about the centroid
    bending_mm3   bending moment over the largest stress it makes, in the worst direction of bending (oblique ones too)
    twist_mm3     twisting moment over the largest shear stress (Roark's approximation for solid sections)
    thinnest_mm   diameter of the largest circle that fits in
    outline       (k, 2) outer corners, each piece's about its own centroid
    """

    area_mm2: float
    centroid: FloatArray
    second_mm4: FloatArray
    bending_mm3: float
    twist_mm3: float
    thinnest_mm: float
    outline: FloatArray

    def about_mm3(self, axis: FloatArray) -> float:
        """Bending moment about an axis (2,) in the section's plane over the largest stress it makes."""
        length = float(np.hypot(axis[0], axis[1]))
        if length < 1e-9:
            return self.bending_mm3
        across = np.array([-axis[1], axis[0]]) / length
        return 1.0 / float(np.abs(self.outline @ np.linalg.solve(self.second_mm4, across)).max())

    @property
    def round_mm(self) -> float:
        """Diameter of the round bar of the same area."""
        return math.sqrt(4.0 * self.area_mm2 / math.pi)


def moments(rings: Sequence[FloatArray]) -> tuple[float, FloatArray, FloatArray]:
    """Area, centroid (2,) and ∫ r rᵀ dA about the centroid (2, 2) of outlines, holes clockwise: Green's theorem, exact."""
    area, first, second = 0.0, np.zeros(2), np.zeros((2, 2))
    origin = rings[0][0]
    for ring in rings:
        p = ring - origin
        q = np.roll(p, -1, axis=0)
        cross = p[:, 0] * q[:, 1] - q[:, 0] * p[:, 1]
        area += 0.5 * float(cross.sum())
        first += cross @ (p + q) / 6.0
        pq = np.einsum("i,ij,ik->jk", cross, p, q)
        second += (
            2.0 * np.einsum("i,ij,ik->jk", cross, p, p) + 2.0 * np.einsum("i,ij,ik->jk", cross, q, q) + pq + pq.T
        ) / 24.0
    centroid = first / area
    return area, centroid + origin, second - area * np.outer(centroid, centroid)


def section_moments(
    region: Region, core: Region | None = None, inside: float = 1.0, *, twist: bool = True
) -> SectionMoments | None:
    """Moments of a section; None for an empty one.

    Pieces that do not hang together bend each by itself: their second moments are summed about their own centroids. Of
    ``core``, the loosely filled inside, only the share ``inside`` is counted. Without ``twist`` (it costs most) the twist and
    the largest circle are told as 0.

    Twist: T/τ = J/C with de Saint-Venant's J = A⁴/(4π²·I_p) and
    C = D/(1 + π²D⁴/16A²)·(1 + 0.15·(π²D⁴/16A² − D/2r)), D the largest inscribed circle, r the outline's radius there
    (flat for all but a circle): Young and Budynas, *Roark's Formulas for Stress and Strain*, table 10.7 (from memory).
    Exact for a circle, within 10 % for compact solid sections.
    """
    pieces = [p for p in region.components() if p.area_mm2 > 0.0]
    if not pieces:
        return None
    total, weighted = 0.0, np.zeros(2)
    second = np.zeros((2, 2))
    outlines: list[FloatArray] = []
    for piece in pieces:
        rings = piece.rings()
        area, centroid, own = moments(rings)
        total += area
        weighted += area * centroid
        second += own
        outlines.append(rings[0] - centroid)
    area = total
    if core is not None and inside < 1.0:
        for piece in core.components():
            hollow, _, own = moments(piece.rings())
            area -= (1.0 - inside) * hollow
            second = second - (1.0 - inside) * own
    # Bending b makes σ = r·S⁻¹·b, so the worst direction at a fibre r gives |S⁻¹ r|.
    outline = np.concatenate(outlines)
    bending = 1.0 / float(np.linalg.norm(np.linalg.solve(second, outline.T), axis=0).max())
    if not twist:
        return SectionMoments(area, weighted / total, second, bending, 0.0, 0.0, outline)
    thickest = pieces[0]
    diameter = 2.0 * thickest.inscribed_circle()[1]
    solid_area, _, solid_second = moments(thickest.rings())
    polar = float(np.trace(solid_second))
    ratio = math.pi**2 * diameter**4 / (16.0 * solid_area**2)
    # For a circle D/2r is 1; what is within 3 % of one is taken as one.
    curved = 1.0 if ratio > 0.94 else 0.0
    peak = diameter / (1.0 + ratio) * (1.0 + 0.15 * (ratio - curved))
    modulus = solid_area**4 / (4.0 * math.pi**2 * polar) / peak
    return SectionMoments(area, weighted / total, second, bending, modulus, diameter, outline)
