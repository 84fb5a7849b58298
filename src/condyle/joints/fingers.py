"""Sockets and studs that give way: lips on fingers, jaws or prongs, bent as beams of changing section.

A rigid cup is no snap in a stiff plastic: at 1.2 % strain an 8 mm ball passes an opening only 0.095 mm smaller. A lip on
a finger bends instead of stretching, and its grip follows from how far it is bent.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from condyle.errors import UsageError
from condyle.geometry.mesh import FloatArray
from condyle.joints.mechanics import snap


@dataclass(frozen=True)
class Spring:
    """How one lip answers a radial push at its tip.

    n_per_mm        radial force over radial deflection, one finger
    strain_per_mm   the largest bending strain anywhere in it, over tip deflection
    count           how many fingers stand around the ball
    """

    n_per_mm: float
    strain_per_mm: float
    count: int


def bent(
    second_moment_mm4: FloatArray, fibre_mm: FloatArray, length_mm: float, count: int, modulus_mpa: float
) -> Spring:
    """A finger clamped at its root (the first section) and pushed at its tip (the last), sections (n,) evenly spaced.

    Euler–Bernoulli: deflection = ∫ F (L-z)² / (E I) dz, strain = max F (L-z) c / (E I) (Timoshenko, Strength of
    Materials, part I, from memory). Shear and the give of the root are left out, so a short finger is in truth softer:
    strain is told on the safe side, and force up to a fifth too high at a length of twice the thickness.
    """
    z = np.linspace(0.0, length_mm, len(fibre_mm))
    arm = length_mm - z
    stiffness = modulus_mpa * second_moment_mm4
    mm_per_n = float(np.trapezoid(arm**2 / stiffness, z))
    return Spring(1.0 / mm_per_n, float((arm * fibre_mm / stiffness).max()) / mm_per_n, count)


def ring_fingers(
    inner_mm: FloatArray, outer_mm: FloatArray, length_mm: float, slit_mm: float, count: int, modulus_mpa: float
) -> Spring:
    """Fingers left by ``count`` radial slits in a ring whose radii run from the root (first) to the tip (last)."""
    half = math.pi / count - np.arcsin(np.minimum(0.9, slit_mm / (inner_mm + outer_mm)))
    if not ((inner_mm >= 0.0) & (outer_mm > inner_mm)).all():
        raise UsageError("mechanics.range", "a ring's outer radius must be above its inner one")
    _, _, second_moment, outward, inward = snap.sector_fingers(inner_mm, outer_mm, np.degrees(half))
    return bent(second_moment, np.maximum(outward, inward), length_mm, count, modulus_mpa)


def prongs(radius_mm: float, slot_mm: float, length_mm: float, modulus_mpa: float) -> Spring:
    """The two halves of a round stud split by a slot."""
    section = snap.segment_finger(radius_mm, 0.5 * slot_mm)
    return bent(np.full(24, section.second_moment_mm4), np.full(24, section.fibre_mm), length_mm, 2, modulus_mpa)
