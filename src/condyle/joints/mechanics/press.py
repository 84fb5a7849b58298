"""Press fits: thick cylinders after Lamé, elastic, long, without end effects.

Sources: gani-mech-toolbox.blogspot.com "Shaft-hub assembly, press or shrink fit" and roymech.co.uk "Cylinders" for the
compatibility of shaft and hub; force and torque in the form of DIN 7190. Interference here is PER SIDE (radial) and
positive, half of the diametral figure that most books use. Printed walls yield and creep, so forces are upper bounds
for a fresh joint.
"""

from __future__ import annotations

import math

from condyle.joints.mechanics.ranges import need, need_friction, need_poisson, need_positive


def lame_mpa(
    radius_mm: float, inner_mm: float, outer_mm: float, inside_mpa: float, outside_mpa: float = 0.0
) -> tuple[float, float]:
    """Radial and hoop stress (MPa, tension positive) at a radius of a thick cylinder between pressures; RADII in mm.

    σ = A ∓ B/r², A = (p_i a² − p_o b²)/(b²−a²), B = (p_i−p_o) a² b²/(b²−a²). Lamé; a solid cylinder
    has inner_mm = 0 and inside_mpa = 0.
    """
    need("inner_mm", inner_mm, 0.0)
    need("outer_mm", outer_mm, inner_mm, open_low=True)
    need("radius_mm", radius_mm, inner_mm, outer_mm)
    need("inside_mpa", inside_mpa, 0.0)
    need("outside_mpa", outside_mpa, 0.0)
    if inner_mm == 0.0:
        need("inside_mpa of a solid cylinder", inside_mpa, 0.0, 0.0)
        return -outside_mpa, -outside_mpa
    a2, b2 = inner_mm**2, outer_mm**2
    even = (inside_mpa * a2 - outside_mpa * b2) / (b2 - a2)
    split = (inside_mpa - outside_mpa) * a2 * b2 / (b2 - a2) / radius_mm**2
    return even - split, even + split


def pressure_mpa(
    interference_mm: float,
    diameter_mm: float,
    outer_mm: float,
    modulus_mpa: float,
    poisson: float,
    *,
    bore_mm: float = 0.0,
    shaft_modulus_mpa: float | None = None,
    shaft_poisson: float | None = None,
) -> float:
    """Pressure between a shaft and a hub pressed on it with ``interference_mm`` per side.

    diameter_mm is that of the fit, outer_mm the hub's outside, bore_mm that of a hollow shaft (DIAMETERS). The shaft is
    of the hub's material unless its own modulus and ratio are given.
    p = (δ/R)/(K_h+K_s), K_h = (C_h+ν_h)/E_h, K_s = (C_s−ν_s)/E_s, C = (ζ²+1)/(ζ²−1).
    """
    need("interference_mm", interference_mm, 0.0)
    return interference_mm * _pressure_per_mm(
        diameter_mm,
        outer_mm,
        modulus_mpa,
        poisson,
        bore_mm=bore_mm,
        shaft_modulus_mpa=shaft_modulus_mpa,
        shaft_poisson=shaft_poisson,
    )


def _pressure_per_mm(
    diameter_mm: float,
    outer_mm: float,
    modulus_mpa: float,
    poisson: float,
    *,
    bore_mm: float = 0.0,
    shaft_modulus_mpa: float | None = None,
    shaft_poisson: float | None = None,
) -> float:
    need_positive(diameter_mm=diameter_mm)
    need_poisson(poisson)
    hub = (_spread(outer_mm / diameter_mm, "outer_mm / diameter_mm") + poisson) / _modulus(modulus_mpa)
    shaft_modulus = _modulus(modulus_mpa if shaft_modulus_mpa is None else shaft_modulus_mpa)
    shaft_ratio = poisson if shaft_poisson is None else shaft_poisson
    need_poisson(shaft_ratio)
    need("bore_mm", bore_mm, 0.0)
    hollow = 1.0 if bore_mm == 0.0 else _spread(diameter_mm / bore_mm, "diameter_mm / bore_mm")
    shaft = (hollow - shaft_ratio) / shaft_modulus
    return 1.0 / (0.5 * diameter_mm) / (hub + shaft)


def interference_for_mm(
    pressure_mpa: float,
    diameter_mm: float,
    outer_mm: float,
    modulus_mpa: float,
    poisson: float,
    *,
    bore_mm: float = 0.0,
) -> float:
    """Interference per side that gives a pressure, hub and shaft of one material."""
    need("pressure_mpa", pressure_mpa, 0.0)
    return pressure_mpa / _pressure_per_mm(diameter_mm, outer_mm, modulus_mpa, poisson, bore_mm=bore_mm)


def _modulus(modulus_mpa: float) -> float:
    need_positive(modulus_mpa=modulus_mpa)
    return modulus_mpa


def _spread(ratio: float, name: str) -> float:
    need(name, ratio, 1.0, open_low=True)
    return (ratio * ratio + 1.0) / (ratio * ratio - 1.0)


def push_force_n(pressure_mpa: float, diameter_mm: float, length_mm: float, friction: float) -> float:
    """Axial force to push the fit on or off, F = µ·p·π·d·L. DIN 7190."""
    need("pressure_mpa", pressure_mpa, 0.0)
    need_positive(diameter_mm=diameter_mm, length_mm=length_mm)
    need_friction(friction)
    return friction * pressure_mpa * math.pi * diameter_mm * length_mm


def slip_torque_nmm(pressure_mpa: float, diameter_mm: float, length_mm: float, friction: float) -> float:
    """Torque at which the fit turns, T = µ·p·π·d²·L/2. DIN 7190."""
    return 0.5 * diameter_mm * push_force_n(pressure_mpa, diameter_mm, length_mm, friction)


def hub_hoop_mpa(pressure_mpa: float, diameter_mm: float, outer_mm: float) -> float:
    """Hoop stress at the hub's bore, p·(D²+d²)/(D²−d²), tension. Lamé."""
    need_positive(diameter_mm=diameter_mm)
    return lame_mpa(0.5 * diameter_mm, 0.5 * diameter_mm, 0.5 * outer_mm, pressure_mpa)[1]


def hub_strain(pressure_mpa: float, diameter_mm: float, outer_mm: float, modulus_mpa: float, poisson: float) -> float:
    """Hoop strain at the hub's bore (a fraction), (σ_hoop + ν·p)/E, free ends."""
    need_poisson(poisson)
    hoop = hub_hoop_mpa(pressure_mpa, diameter_mm, outer_mm)
    return (hoop + poisson * pressure_mpa) / _modulus(modulus_mpa)


def wall_mm(pressure_mpa: float, diameter_mm: float, permitted_mpa: float, poisson: float) -> float:
    """Wall of an open hub of bore ``diameter_mm`` whose hoop strain times E stays at ``permitted_mpa``: Birnie.

    t = (d/2)·(√[(σ+(1−ν)p)/(σ−(1+ν)p)] − 1); V. B. Bhandari, *Design of Machine Elements*, chapter 22. Infinite where
    no wall, however thick, is enough.
    """
    need("pressure_mpa", pressure_mpa, 0.0)
    need_positive(diameter_mm=diameter_mm, permitted_mpa=permitted_mpa)
    need_poisson(poisson)
    spare = permitted_mpa - (1.0 + poisson) * pressure_mpa
    if spare <= 0.0:
        return math.inf
    return 0.5 * diameter_mm * (math.sqrt((permitted_mpa + (1.0 - poisson) * pressure_mpa) / spare) - 1.0)
