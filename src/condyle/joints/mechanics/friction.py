"""Friction torque of joints: Coulomb friction, dry, all contact sliding at once (N, mm, MPa, N·mm).

These are static limits: what a joint holds before it slips. Pressures are means; real prints touch on ridges, so
measure the coefficient on a coupon of the same print direction.
"""

from __future__ import annotations

import math
from typing import Literal

import numpy as np

from condyle.errors import UsageError
from condyle.joints.mechanics.ranges import need, need_friction, need_positive
from condyle.units import GRAVITY_M_S2

Law = Literal["pressure", "wear"]

_X, _W = np.polynomial.legendre.leggauss(12)
_GAUSS = tuple((0.5 + 0.5 * float(x), 0.5 * float(w)) for x, w in zip(_X, _W, strict=True))


def band_torque_nmm(pressure_mpa: float, radius_mm: float, half_angle_deg: float, friction: float) -> float:
    """Torque about its own axis of a spherical band ±θ about the equator under even pressure (the twist of a ball).

    T = 2π·µ·p·R³·(θ + sin θ cos θ). Derived: ∫ µ p (R cos λ) dA, dA = 2π R² cos λ dλ.
    """
    _check_band(pressure_mpa, radius_mm, half_angle_deg, friction)
    t = math.radians(half_angle_deg)
    return 2.0 * math.pi * friction * pressure_mpa * radius_mm**3 * (t + math.sin(t) * math.cos(t))


def band_swing_torque_nmm(pressure_mpa: float, radius_mm: float, half_angle_deg: float, friction: float) -> float:
    """Torque of the same band about an axis in its equator (the swing of a ball in its socket).

    T = µ p R³ ∫∫ √(1 − cos²λ cos²φ) cos λ dλ dφ, derived; by Gauss–Legendre over one eighth, good to 0.1 %. A thin band
    gives 2/π of its twist torque, a whole sphere as much as the twist.
    """
    _check_band(pressure_mpa, radius_mm, half_angle_deg, friction)
    t, quarter = math.radians(half_angle_deg), 0.5 * math.pi
    total = 0.0
    for x, wx in _GAUSS:
        latitude = t * x
        for y, wy in _GAUSS:
            reach = math.cos(latitude) * math.cos(quarter * y)
            total += wx * wy * math.sqrt(max(0.0, 1.0 - reach * reach)) * math.cos(latitude)
    return 8.0 * friction * pressure_mpa * radius_mm**3 * t * quarter * total


def band_pressure_mpa(normal_n: float, radius_mm: float, half_angle_deg: float) -> float:
    """Even pressure of a band ±θ that carries ``normal_n``, the sum of all normal forces: p = N/(4π R² sin θ)."""
    need("normal_n", normal_n, 0.0)
    need_positive(radius_mm=radius_mm)
    need("half_angle_deg", half_angle_deg, 0.0, 90.0, open_low=True)
    return normal_n / (4.0 * math.pi * radius_mm**2 * math.sin(math.radians(half_angle_deg)))


def _check_band(pressure_mpa: float, radius_mm: float, half_angle_deg: float, friction: float) -> None:
    need("pressure_mpa", pressure_mpa, 0.0)
    need_positive(radius_mm=radius_mm)
    need("half_angle_deg", half_angle_deg, 0.0, 90.0)
    need_friction(friction)


def hemisphere_torque_nmm(force_n: float, radius_mm: float, friction: float) -> float:
    """Torque about any axis through the centre of a hemispherical cup under even pressure and an axial load F.

    T = (π/2)·µ·F·R. Derived: p = F/(πR²), T = µ p π² R³/2.
    """
    need("force_n", force_n, 0.0)
    need_positive(radius_mm=radius_mm)
    need_friction(friction)
    return 0.5 * math.pi * friction * force_n * radius_mm


def ring_torque_nmm(force_n: float, radius_mm: float, polar_deg: float, friction: float) -> float:
    """Torque about the axis of a ball that an axial load F presses on a ring at polar angle φ: T = µ·F·R·tan φ.

    Derived: normal force F/cos φ, arm R sin φ. φ from the load's axis, 0 to below 90°: at the equator a ring carries no
    axial load.
    """
    need("force_n", force_n, 0.0)
    need_positive(radius_mm=radius_mm)
    need("polar_deg", polar_deg, 0.0, 89.9)
    need_friction(friction)
    return friction * force_n * radius_mm * math.tan(math.radians(polar_deg))


def collar_torque_nmm(
    force_n: float, outer_mm: float, inner_mm: float, friction: float, law: Law = "pressure"
) -> float:
    """Torque of a flat ring between two DIAMETERS under an axial force: a hinge's cheek, a swivel's shoulder.

    law ``pressure`` (even pressure, new faces): T = µF(D³−d³)/(3(D²−d²)); ``wear`` (run in): T = µF(D+d)/4.
    V. B. Bhandari, *Design of Machine Elements*, chapter 11.
    """
    need("force_n", force_n, 0.0)
    _check_collar(outer_mm, inner_mm, law)
    need_friction(friction)
    if law == "wear":
        return friction * force_n * (outer_mm + inner_mm) / 4.0
    # (D³−d³)/(D²−d²) without the difference of cubes, so that thin rings keep their digits.
    mean = (outer_mm**2 + outer_mm * inner_mm + inner_mm**2) / (outer_mm + inner_mm)
    return friction * force_n * mean / 3.0


def collar_force_n(pressure_mpa: float, outer_mm: float, inner_mm: float, law: Law = "pressure") -> float:
    """Axial force at which the greatest pressure of a collar is ``pressure_mpa`` (under wear it is at the inner edge).

    ``pressure``: F = πp(D²−d²)/4; ``wear``: F = πp·d(D−d)/2. Bhandari, chapter 11.
    """
    need("pressure_mpa", pressure_mpa, 0.0)
    _check_collar(outer_mm, inner_mm, law)
    if law == "wear":
        return 0.5 * math.pi * pressure_mpa * inner_mm * (outer_mm - inner_mm)
    return 0.25 * math.pi * pressure_mpa * (outer_mm**2 - inner_mm**2)


def _check_collar(outer_mm: float, inner_mm: float, law: Law) -> None:
    need("inner_mm", inner_mm, 0.0)
    need("outer_mm", outer_mm, inner_mm, open_low=True)
    if law not in ("pressure", "wear"):
        raise UsageError("mechanics.law", f"a collar follows the law 'pressure' or 'wear', not {law!r}")


def pin_torque_nmm(pressure_mpa: float, diameter_mm: float, length_mm: float, friction: float) -> float:
    """Torque of a pin gripped all round under even pressure: T = µ·p·π·d²·L/2. Form of DIN 7190."""
    need("pressure_mpa", pressure_mpa, 0.0)
    need_positive(diameter_mm=diameter_mm, length_mm=length_mm)
    need_friction(friction)
    return 0.5 * friction * pressure_mpa * math.pi * diameter_mm**2 * length_mm


def loose_pin_torque_nmm(load_n: float, radius_mm: float, friction: float) -> float:
    """Torque of a pin that lies loose in its bore under a radial load W: T = W·r·sin(atan µ), the friction circle."""
    need("load_n", load_n, 0.0)
    need_positive(radius_mm=radius_mm)
    need_friction(friction)
    return load_n * radius_mm * friction / math.hypot(1.0, friction)


def gravity_torque_nmm(mass_g: float, arm_mm: float, from_vertical_deg: float = 90.0) -> float:
    """Torque m·g·r·|sin β| of a limb on its joint: r to its centre of mass, β from the vertical, standard gravity."""
    need("mass_g", mass_g, 0.0)
    need("arm_mm", arm_mm, 0.0)
    need("from_vertical_deg", from_vertical_deg, -360.0, 360.0)
    return mass_g * 1e-3 * GRAVITY_M_S2 * arm_mm * abs(math.sin(math.radians(from_vertical_deg)))
