"""Sockets that give way: lips on fingers or jaws, bent as beams of changing section.

A rigid cup is no snap in a stiff plastic: at 1.2 % strain an 8 mm ball passes an opening only 0.095 mm smaller. A lip on
a finger bends instead of stretching, and its grip follows from how far it is bent.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from condyle.joints.mechanics import snap

_STATIONS = 48


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


def ring_fingers(
    *, inner_mm: np.ndarray, outer_mm: np.ndarray, length_mm: float, slit_mm: float, count: int, modulus_mpa: float
) -> Spring:
    """Fingers left by ``count`` radial slits in a ring whose radii run from the root (first) to the tip (last).

    Euler–Bernoulli beam with the section of an annular sector at each station, clamped at the root, loaded at the tip:
    deflection = ∫ F (L-z)² / (E I) dz, strain = max F (L-z) c / (E I) (Timoshenko, Strength of Materials, part I, from
    memory). Shear and the give of the root are left out, so a short finger is in truth softer: the strain told is on the
    safe side while length ≥ 2 × thickness, and the force is up to a third too high at that limit.
    """
    z = np.linspace(0.0, length_mm, _STATIONS)
    inner = np.interp(np.linspace(0, 1, _STATIONS), np.linspace(0, 1, len(inner_mm)), inner_mm)
    outer = np.interp(np.linspace(0, 1, _STATIONS), np.linspace(0, 1, len(outer_mm)), outer_mm)
    arm = length_mm - z
    flexibility = np.empty(_STATIONS)
    strain = np.empty(_STATIONS)
    for i in range(_STATIONS):
        mean = 0.5 * (inner[i] + outer[i])
        half_deg = math.degrees(math.pi / count - math.asin(min(0.9, 0.5 * slit_mm / mean)))
        section = snap.sector_finger(float(inner[i]), float(outer[i]), half_deg)
        inertia, fibre = section[2], max(section[3:])
        flexibility[i] = arm[i] ** 2 / (modulus_mpa * inertia)
        strain[i] = arm[i] * fibre / (modulus_mpa * inertia)
    mm_per_n = float(np.trapezoid(flexibility, z))
    return Spring(n_per_mm=1.0 / mm_per_n, strain_per_mm=float(strain.max()) / mm_per_n, count=count)
