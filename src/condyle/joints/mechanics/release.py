"""How joints let go, and what a fall brings: pull-out, prying at the end of a swing, and the energy of a drop."""

from __future__ import annotations

import math

from condyle.joints.mechanics.ranges import need, need_positive
from condyle.units import GRAVITY_M_S2


def pry_moment_nmm(release_n: float, opening_mm: float) -> float:
    """Bending moment, at the joint's centre, at which a neck on the rim of its socket levers the ball out.

    The neck bears on the rim at one side; about that point the lip holds the ball down with ``release_n`` at an arm of half
    the opening's DIAMETER, so M = W·d/2. A balance of moments (derived); friction on the rim is left out, so a real joint
    lets go later, by µ at most.
    """
    need("release_n", release_n, 0.0)
    need_positive(opening_mm=opening_mm)
    return 0.5 * release_n * opening_mm


def drop_energy_nmm(mass_g: float, height_mm: float) -> float:
    """Energy m·g·h of a fall, N·mm (= mJ)."""
    need("mass_g", mass_g, 0.0)
    need("height_mm", height_mm, 0.0)
    return mass_g * 1e-3 * GRAVITY_M_S2 * height_mm


def equivalent_force_n(energy_nmm: float, stiffness_n_mm: float) -> float:
    """The static force that stores an energy in a spring, √(2·k·U): a fall's equivalent load. Shigley (from memory).

    Stress waves and damping are left out: the force is an upper bound for what is stiff behind the spring.
    """
    need("energy_nmm", energy_nmm, 0.0)
    need_positive(stiffness_n_mm=stiffness_n_mm)
    return math.sqrt(2.0 * stiffness_n_mm * energy_nmm)


def cantilever_energy_nmm(breaking_nmm: float, length_mm: float, modulus_mpa: float, second_moment_mm4: float) -> float:
    """Energy that an end-loaded beam of one section takes up to the breaking moment at its root, M²·L/(6·E·I).

    From U = F²L³/(6EI), M = F·L (Castigliano; derived).
    """
    need("breaking_nmm", breaking_nmm, 0.0)
    need_positive(length_mm=length_mm, modulus_mpa=modulus_mpa, second_moment_mm4=second_moment_mm4)
    return breaking_nmm**2 * length_mm / (6.0 * modulus_mpa * second_moment_mm4)
