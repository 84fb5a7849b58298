"""Sockets and studs that give way: lips on fingers, jaws or prongs, bent as beams of changing section.

A rigid cup is no snap in a stiff plastic: at 1.2 % strain an 8 mm ball passes an opening only 0.095 mm smaller. A lip on
a finger bends instead of stretching, and its grip follows from how far it is bent.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

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


def bent(sections: Sequence[snap.Section], length_mm: float, count: int, modulus_mpa: float) -> Spring:
    """A finger clamped at its root (the first section) and pushed at its tip (the last), sections evenly spaced.

    Euler–Bernoulli: deflection = ∫ F (L-z)² / (E I) dz, strain = max F (L-z) c / (E I) (Timoshenko, Strength of
    Materials, part I, from memory). Shear and the give of the root are left out, so a short finger is in truth softer:
    strain is told on the safe side, and force up to a fifth too high at a length of twice the thickness.
    """
    z = np.linspace(0.0, length_mm, len(sections))
    arm = length_mm - z
    stiffness = modulus_mpa * np.array([s.second_moment_mm4 for s in sections])
    fibre = np.array([s.fibre_mm for s in sections])
    mm_per_n = float(np.trapezoid(arm**2 / stiffness, z))
    return Spring(1.0 / mm_per_n, float((arm * fibre / stiffness).max()) / mm_per_n, count)


def ring_fingers(
    inner_mm: FloatArray, outer_mm: FloatArray, length_mm: float, slit_mm: float, count: int, modulus_mpa: float
) -> Spring:
    """Fingers left by ``count`` radial slits in a ring whose radii run from the root (first) to the tip (last)."""
    sections = []
    for inner, outer in zip(inner_mm, outer_mm, strict=True):
        mean = 0.5 * (inner + outer)
        half_deg = math.degrees(math.pi / count - math.asin(min(0.9, 0.5 * slit_mm / mean)))
        sections.append(snap.sector_finger(float(inner), float(outer), half_deg))
    return bent(sections, length_mm, count, modulus_mpa)


def prongs(radius_mm: float, slot_mm: float, length_mm: float, modulus_mpa: float) -> Spring:
    """The two halves of a round stud split by a slot."""
    section = snap.segment_finger(radius_mm, 0.5 * slot_mm)
    return bent([section] * 24, length_mm, 2, modulus_mpa)
