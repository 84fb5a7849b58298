"""Press fits: thick cylinders after Lamé, elastic, long, without end effects.

Sources: gani-mech-toolbox.blogspot.com "Shaft-hub assembly, press or shrink fit" and roymech.co.uk "Cylinders" for the
compatibility of shaft and hub. Interference here is PER SIDE (radial) and positive, half of the diametral figure that
most books use. Printed walls yield and creep, so pressures are upper bounds for a fresh joint.
"""

from __future__ import annotations

import math

from condyle.joints.mechanics.ranges import need, need_poisson, need_positive


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


def interference_for_mm(
    pressure_mpa: float,
    diameter_mm: float,
    outer_mm: float,
    modulus_mpa: float,
    poisson: float,
    *,
    bore_mm: float = 0.0,
) -> float:
    """Interference per side that gives a pressure between a shaft and a hub pressed on it, both of one material.

    diameter_mm is that of the fit, outer_mm the hub's outside, bore_mm that of a hollow shaft (DIAMETERS).
    δ = p R (K_h+K_s), K_h = (C_h+ν)/E, K_s = (C_s−ν)/E, C = (ζ²+1)/(ζ²−1), ζ the outer over the inner diameter; C_s = 1
    for a solid shaft.
    """
    need("pressure_mpa", pressure_mpa, 0.0)
    need_positive(diameter_mm=diameter_mm, modulus_mpa=modulus_mpa)
    need_poisson(poisson)
    need("bore_mm", bore_mm, 0.0)
    hub = _spread(outer_mm / diameter_mm, "outer_mm / diameter_mm") + poisson
    shaft = (1.0 if bore_mm == 0.0 else _spread(diameter_mm / bore_mm, "diameter_mm / bore_mm")) - poisson
    return pressure_mpa * 0.5 * diameter_mm * (hub + shaft) / modulus_mpa


def _spread(ratio: float, name: str) -> float:
    need(name, ratio, 1.0, open_low=True)
    return (ratio * ratio + 1.0) / (ratio * ratio - 1.0)


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
