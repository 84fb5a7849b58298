"""Annular snaps: a ring that is stretched (or a hollow shaft that is squeezed) over an undercut.

Source: Guide A (*Snap-Fit Joints for Plastics*, Bayer MaterialScience) pp. 20–22. Undercuts here are DIAMETRAL, as in
the guide. One part is rigid, the other elastic. The guide's 0.62 is its own; thin-shell theory (a ring load at the free
end of a long tube) gives 1.4 to 1.8 times its force, so forces carry at least that doubt.
"""

from __future__ import annotations

import math

from condyle.joints.mechanics.ranges import need, need_poisson, need_positive

REMOTE_FACTOR = 3.0
"""Guide A p. 22: theory gives 4 far from the end, tests rarely more than 3."""


def annular_strain(undercut_mm: float, diameter_mm: float) -> float:
    """Strain ε = y/d (a fraction), y the diametral undercut, taken as even over the wall. Guide A p. 22."""
    need("undercut_mm", undercut_mm, 0.0)
    need_positive(diameter_mm=diameter_mm)
    return undercut_mm / diameter_mm


def annular_undercut_mm(strain: float, diameter_mm: float, *, both_flexible: bool = False) -> float:
    """Permissible diametral undercut y = ε·d; twice that where both parts give equally. Guide A p. 20."""
    need("strain", strain, 0.0, 1.0)
    need_positive(diameter_mm=diameter_mm)
    return strain * diameter_mm * (2.0 if both_flexible else 1.0)


def tube_factor(diameter_mm: float, outer_mm: float, poisson: float) -> float:
    """X_N for a rigid shaft and an elastic tube near its end; dimensionless.

    X_N = 0.62·√[(a−1)/(a+1)] / [(a²+1)/(a²−1) + ν], a = outer/diameter. Guide A p. 21, from memory (mirror of X_W).
    """
    need_poisson(poisson)
    need_positive(diameter_mm=diameter_mm)
    need("outer_mm", outer_mm, diameter_mm, open_low=True)
    a = outer_mm / diameter_mm
    return 0.62 * math.sqrt((a - 1.0) / (a + 1.0)) / ((a * a + 1.0) / (a * a - 1.0) + poisson)


def shaft_factor(diameter_mm: float, inner_mm: float, poisson: float) -> float:
    """X_W for a rigid tube and an elastic hollow shaft near its end; dimensionless.

    X_W = 0.62·√[(a−1)/(a+1)] / [(a²+1)/(a²−1) − ν], a = diameter/inner. Guide A p. 22.
    """
    need_poisson(poisson)
    need_positive(inner_mm=inner_mm)
    need("diameter_mm", diameter_mm, inner_mm, open_low=True)
    a = diameter_mm / inner_mm
    return 0.62 * math.sqrt((a - 1.0) / (a + 1.0)) / ((a * a + 1.0) / (a * a - 1.0) - poisson)


def annular_force_n(undercut_mm: float, diameter_mm: float, modulus_mpa: float, factor: float) -> float:
    """Transverse force P = y·d·E_s·X of an annular snap at the end of its tube; E_s is the secant modulus at ε.

    Guide A p. 21, from memory.
    """
    need("undercut_mm", undercut_mm, 0.0)
    need_positive(diameter_mm=diameter_mm, modulus_mpa=modulus_mpa, factor=factor)
    return undercut_mm * diameter_mm * modulus_mpa * factor


def remote_distance_mm(diameter_mm: float, wall_mm: float) -> float:
    """Distance from the tube's end, 1.8·√(d·t), from which on the tube resists along both ways. Guide A p. 22."""
    need_positive(diameter_mm=diameter_mm, wall_mm=wall_mm)
    return 1.8 * math.sqrt(diameter_mm * wall_mm)


def remote_factor(distance_mm: float, diameter_mm: float, wall_mm: float) -> float:
    """How many times the near-end force an undercut at ``distance_mm`` from the end needs: 1 at the end, 3 when remote.

    Guide A p. 22 says "between 1 and 3" for what lies between; a straight line is our reading of that.
    """
    need("distance_mm", distance_mm, 0.0)
    share = min(1.0, distance_mm / remote_distance_mm(diameter_mm, wall_mm))
    return 1.0 + (REMOTE_FACTOR - 1.0) * share
