"""What a cross-section bears: tension, bending, shear and twist, across and along printed layers, at notches.

Beam theory: plane sections, load by moments and forces at the section's centroid; a section as long as it is thick or
shorter is no beam (``proof.last`` then asks a finite-element solve). Closed forms: J. E. Shigley and C. R. Mischke,
*Mechanical Engineering Design*, chapters on stress (from memory); R. L. Norton, *Machine Design*, appendix of stress
concentration factors (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from condyle.joints.mechanics.ranges import need, need_positive

LAYER_SHEAR = 0.6
"""Shear strength between layers as a share of the tensile strength across them; prior, von Mises would give 0.58."""


@dataclass(frozen=True)
class Bar:
    """A cross-section (mm, mm², mm³, mm⁴).

    bending_mm3   smallest section modulus I/c over all directions of bending
    twist_mm3     twisting moment over the largest shear stress it makes
    """

    area_mm2: float
    bending_mm3: float
    twist_mm3: float
    thinnest_mm: float


def round_bar(diameter_mm: float) -> Bar:
    """A solid round bar: A = πd²/4, W = πd³/32, W_t = πd³/16. Shigley (from memory)."""
    need_positive(diameter_mm=diameter_mm)
    d = diameter_mm
    return Bar(0.25 * math.pi * d**2, math.pi * d**3 / 32.0, math.pi * d**3 / 16.0, d)


def rectangular_bar(width_mm: float, thickness_mm: float) -> Bar:
    """A solid rectangle: W = b·t²/6 about its weak axis, W_t = b·t²/(3 + 1.8·t/b), b ≥ t. Shigley (from memory)."""
    need_positive(width_mm=width_mm, thickness_mm=thickness_mm)
    b, t = max(width_mm, thickness_mm), min(width_mm, thickness_mm)
    return Bar(b * t, b * t * t / 6.0, b * t * t / (3.0 + 1.8 * t / b), t)


def tension_n(bar: Bar, strength_mpa: float, notch: float = 1.0) -> float:
    """Axial force that breaks it, σ·A/K."""
    return strength_mpa * bar.area_mm2 / notch


def bending_nmm(bar: Bar, strength_mpa: float, notch: float = 1.0) -> float:
    """Bending moment that breaks it, about its weakest axis, σ·W/K: the first fibre gives way (brittle)."""
    return strength_mpa * bar.bending_mm3 / notch


def twist_nmm(bar: Bar, shear_mpa: float, notch: float = 1.0) -> float:
    """Twisting moment that breaks it, τ·W_t/K."""
    return shear_mpa * bar.twist_mm3 / notch


def shear_n(bar: Bar, shear_mpa: float) -> float:
    """Transverse force that shears it off, τ·A/1.5 for a rectangle's peak, taken for all shapes (a circle has 4/3)."""
    return shear_mpa * bar.area_mm2 / 1.5


def layered_strength_mpa(along_mpa: float, across_share: float, from_normal_deg: float) -> float:
    """Tensile strength of a printed body pulled at an angle from the normal of its layers.

    Largest-stress criterion: σ·cos²θ ≤ Z across the layers, σ·sin θ·cos θ ≤ S between them, σ ≤ X along them; Z is
    ``across_share``·X and S is 0.6·Z (R. M. Jones, *Mechanics of Composite Materials*, from memory). At θ = 0 the layers
    are pulled apart; at 90° the lines carry.
    """
    need_positive(along_mpa=along_mpa)
    need("across_share", across_share, 0.0, 1.2, open_low=True)
    need("from_normal_deg", from_normal_deg, 0.0, 180.0)
    cosine = abs(math.cos(math.radians(from_normal_deg)))
    sine = math.sqrt(max(0.0, 1.0 - cosine * cosine))
    across = across_share * along_mpa
    limits = [along_mpa]
    if cosine > 1e-9:
        limits.append(across / cosine**2)
    if sine * cosine > 1e-9:
        limits.append(LAYER_SHEAR * across / (sine * cosine))
    return min(limits)


def layered_shear_mpa(along_mpa: float, across_share: float, from_normal_deg: float) -> float:
    """Shear strength of a section whose normal makes an angle with that of the layers.

    In the plane of the layers (θ = 0) they slide on each other, 0.6·Z; across them a bar shears like a full one, X/√3
    (von Mises), never more than what the tension it brings across the layers allows, Z. Between, by squares of the cosine.
    """
    across = across_share * along_mpa
    weak, strong = LAYER_SHEAR * across, min(along_mpa / math.sqrt(3.0), across)
    share = math.cos(math.radians(from_normal_deg)) ** 2
    return share * weak + (1.0 - share) * strong


def shoulder_notch(large_mm: float, small_mm: float, fillet_mm: float, load: str = "bending") -> float:
    """Stress concentration K_t of a round bar that steps from ``large_mm`` to ``small_mm`` DIAMETER over a fillet.

    K_t = A·(r/d)^b with Norton's fits for bending, tension and torsion at the nearest tabulated D/d (from memory).
    Held to r/d ≥ 0.01 and never below 1.
    """
    need_positive(large_mm=large_mm, small_mm=small_mm, fillet_mm=fillet_mm)
    table = _SHOULDER.get(load)
    if table is None:
        need(f"load {load!r}", math.nan, 0.0)
        return 1.0
    ratio = max(1.0, large_mm / small_mm)
    if ratio <= 1.005:
        return 1.0
    factor, power = min(table, key=lambda row: abs(math.log(row[0] / ratio)))[1:]
    return float(max(1.0, factor * max(0.01, fillet_mm / small_mm) ** power))


_SHOULDER: dict[str, tuple[tuple[float, float, float], ...]] = {
    "bending": (
        (6.0, 0.87868, -0.33243),
        (3.0, 0.89334, -0.30860),
        (2.0, 0.90879, -0.28598),
        (1.5, 0.93836, -0.25759),
        (1.2, 0.97098, -0.21796),
        (1.1, 0.95120, -0.23757),
        (1.05, 0.98137, -0.19653),
    ),
    "tension": (
        (2.0, 1.01470, -0.30035),
        (1.5, 0.99957, -0.28221),
        (1.2, 0.96272, -0.25527),
        (1.05, 0.98084, -0.20321),
    ),
    "torsion": (
        (2.0, 0.86331, -0.23865),
        (1.33, 0.84897, -0.23161),
        (1.2, 0.83425, -0.21649),
        (1.09, 0.90337, -0.12692),
    ),
}


def felt_notch(notch: float, sensitivity: float) -> float:
    """The part of a stress concentration that a static load feels, 1 + q·(K_t − 1): q = 0 ductile, 1 brittle. Peterson."""
    need("notch", notch, 1.0)
    need("sensitivity", sensitivity, 0.0, 1.0)
    return 1.0 + sensitivity * (notch - 1.0)


def hole_notch(width_mm: float, hole_mm: float) -> float:
    """K_t on the net section of a strip with a round hole in tension: 2 + (1 − d/w)³.

    R. B. Heywood's formula, as in Young and Budynas, *Roark's Formulas for Stress and Strain*, 7th ed., ch. 17 (from memory).
    """
    need("hole_mm", hole_mm, 0.0)
    need("width_mm", width_mm, hole_mm, open_low=True)
    return 2.0 + (1.0 - hole_mm / width_mm) ** 3
