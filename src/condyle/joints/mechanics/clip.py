"""A split ring pressed open: the arms of a hand that closes around a handle, as curved beams of changing section.

Each arm runs from the back of the ring (angle 0, opposite the mouth) to its tip at the mouth; the handle pushes the tips
apart, square to the way in. Winkler's curved beam (Timoshenko, *Strength of Materials*, part II, from memory): plane
sections, stress along a hyperbola, e = R - h/ln(ro/ri) for a rectangle. The give by normal force
and shear is left out: finite elements find an arm softer by 0.5 % where it is a quarter as thick as the bore's radius, by 2 % at
half of it and by 5 % where it is as thick, so force and strain at a given opening are told too high by that. The back is taken as
clamped, which a palm of soft plastic is not quite. A slit behind the bore makes each arm longer by a straight beam.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from condyle.geometry.mesh import FloatArray
from condyle.joints.mechanics.ranges import need_positive


@dataclass(frozen=True)
class Arm:
    """One arm: how far its tip gives (mm per N), and its largest strain over the force (1 per N)."""

    mm_per_n: float
    strain_per_n: float


def clip_arm(
    inner_mm: float,
    angles_deg: FloatArray,
    thick_mm: FloatArray,
    slice_mm: float,
    modulus_mpa: float,
    back_mm: FloatArray | None = None,
    back_thick_mm: FloatArray | None = None,
) -> Arm:
    """The arm that ends at the last of ``angles_deg`` (n,), from the first, at the back (0 without a slit).

    ``thick_mm`` (n, m) is the radial thickness at each angle in m slices side by side, each ``slice_mm`` wide; 0 where a
    slice has no flesh. Slices of one angle turn together. A section without any flesh makes the arm infinitely soft.
    With the force F at the bore's edge there, M = F·(R cos ψ - r cos φ) about the centroid (derived: the arm of a force
    square to the way in). ``back_mm`` (k,) are the distances behind the bore of the sections along a slit, from 0 to its
    end, and ``back_thick_mm`` (k, m) their thickness: there M = F·(r + s - r cos φ) bends a straight beam, κ = M/(E·I).
    UsageError for a bore or slice that is no length.
    """
    need_positive(inner_mm=inner_mm, slice_mm=slice_mm, modulus_mpa=modulus_mpa)
    psi = np.radians(np.asarray(angles_deg, dtype=np.float64))
    thick = np.asarray(thick_mm, dtype=np.float64)
    there = thick > 1e-6
    if not there.any(axis=1).all():
        return Arm(np.inf, 0.0)
    h = np.where(there, thick, 1.0)
    neutral = h / np.log1p(h / inner_mm)
    middle = inner_mm + 0.5 * h
    area = np.where(there, slice_mm * h, 0.0)
    bends = area * (middle - neutral)  # A·e of each slice, mm³
    whole = bends.sum(axis=1)
    radius = (bends * middle).sum(axis=1) / whole
    moment = radius * np.cos(psi) - inner_mm * np.cos(psi[-1])  # per N
    give = float(np.trapezoid(moment**2 / (modulus_mpa * whole), psi))
    turn = np.abs(moment) / (modulus_mpa * whole)
    edge = np.where(there, (neutral - inner_mm) / inner_mm, 0.0).max(axis=1)
    pull = np.abs(np.cos(psi)) / (modulus_mpa * area.sum(axis=1))
    strain = float((turn * edge + pull).max())
    if back_mm is None or back_thick_mm is None:
        return Arm(give, strain)
    straight = np.asarray(back_thick_mm, dtype=np.float64)
    if not (straight > 1e-6).any(axis=1).all():
        return Arm(np.inf, 0.0)
    second = slice_mm * (straight**3).sum(axis=1) / 12.0
    lever = inner_mm + np.asarray(back_mm, dtype=np.float64) - inner_mm * np.cos(psi[-1])
    give += float(np.trapezoid(lever**2 / (modulus_mpa * second), back_mm))
    return Arm(give, max(strain, float((lever * 0.5 * straight.max(axis=1) / (modulus_mpa * second)).max())))
