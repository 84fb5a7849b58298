"""The snap-fit beam: strain, deflection and force of a cantilever, straight or tapered.

Source: *Snap-Fit Joints for Plastics – A Design Guide*, Bayer MaterialScience, section "Cantilever snap joints" (called
Guide A in this package); the constants are derived here from slender-beam theory, M = E I κ, so they hold for any
material that is nearly elastic at the strain in question (use the secant modulus). Small deflections (y ≤ l/5), slender
beams (l ≥ 5 h). Shear deflection is left out: it would add 0.6·(1+ν)·(h/l)² of the deflection, 5 % at l = 4 h and 20 %
at l = 2 h (``shear_share``), so for stubby beams force and strain come out too high, which is the careful side for
strength but not for grip: there the force is an upper bound.
"""

from __future__ import annotations

import math

from condyle.joints.mechanics.ranges import need, need_positive

LEAST_TIP_RATIO = 0.1


def taper_multiplier(tip_ratio: float = 1.0) -> float:
    """k in y = k·ε·l²/h for a thickness that falls straight from h at the root to r·h at the tip, 0.1 ≤ r ≤ 1.

    ε is the *largest* strain along the beam, wherever it is (for r < 0.5 it is not at the root). Derived:
    k = 2·J/peak with J = ∫₀¹ s²/(r+(1−r)s)³ ds and peak from strain_peak. Guide A prints 0.67 for r = 1 and 1.09 for
    r = ½. Dimensionless.
    """
    need("tip_ratio", tip_ratio, LEAST_TIP_RATIO, 1.0)
    return 2.0 * _bending_integral(1.0 - tip_ratio) / strain_peak(tip_ratio)


def strain_peak(tip_ratio: float = 1.0) -> float:
    """Largest strain along a beam tapered in thickness, as a multiple of that at the root; 1 for r ≥ 0.5.

    Derived: strain along the beam goes as s/(r+(1−r)s)², s from 0 at the tip to 1 at the root, largest at s = r/(1−r).
    """
    need("tip_ratio", tip_ratio, LEAST_TIP_RATIO, 1.0)
    return 1.0 if tip_ratio >= 0.5 else 1.0 / (4.0 * tip_ratio * (1.0 - tip_ratio))


def width_taper_multiplier(tip_ratio: float) -> float:
    """k in y = k·ε·l²/h for a *width* that falls straight from b to q·b, thickness constant, 0.01 ≤ q ≤ 1.

    Guide A prints 0.86 for q = ¼. Derived: k = 2·∫₀¹ s²/(q+(1−q)s) ds; the largest strain stays at the root.
    """
    need("tip_ratio", tip_ratio, 0.01, 1.0)
    c = 1.0 - tip_ratio
    if c < 0.05:  # the closed form loses digits here; ∫ s²(1 − c(1−s))⁻¹ ds term by term
        return 2.0 * sum(2.0 * c**n / ((n + 1) * (n + 2) * (n + 3)) for n in range(14))
    return 2.0 * (0.5 / c - tip_ratio / c**2 - tip_ratio**2 * math.log(tip_ratio) / c**3)


def _bending_integral(a: float) -> float:
    """∫₀¹ s²/(1−a(1−s))³ ds = (−ln(1−a) − a − a²/2)/a³, by its series Σ aⁿ/(n+3) where that would lose digits."""
    if a < 0.25:
        return sum(a**n / (n + 3) for n in range(28))
    return float(-math.log1p(-a) - a - 0.5 * a * a) / a**3


def deflection_mm(
    strain: float, length_mm: float, thickness_mm: float, tip_ratio: float = 1.0, wall_factor: float = 1.0
) -> float:
    """Tip deflection y = k·Q·ε·l²/h that brings the beam to ``strain`` (a fraction).

    thickness_mm is that of the root, along the deflection; tip_ratio that of tip to root thickness; wall_factor Q ≥ 1
    adds the give of the wall that the beam stands on (*Snap-Fit Design Manual*, BASF, improved formula, from memory).
    """
    need("strain", strain, 0.0, 1.0)
    need("wall_factor", wall_factor, 1.0, 20.0)
    need_positive(length_mm=length_mm, thickness_mm=thickness_mm)
    return taper_multiplier(tip_ratio) * wall_factor * strain * length_mm**2 / thickness_mm


def strain(
    deflection_mm: float, length_mm: float, thickness_mm: float, tip_ratio: float = 1.0, wall_factor: float = 1.0
) -> float:
    """Largest strain (a fraction) of the beam at a tip deflection: the inverse of ``deflection_mm``."""
    need("deflection_mm", deflection_mm, 0.0)
    need("wall_factor", wall_factor, 1.0, 20.0)
    need_positive(length_mm=length_mm, thickness_mm=thickness_mm)
    return deflection_mm * thickness_mm / (taper_multiplier(tip_ratio) * wall_factor * length_mm**2)


def deflection_force_n(
    strain: float,
    width_mm: float,
    thickness_mm: float,
    length_mm: float,
    modulus_mpa: float,
    tip_ratio: float = 1.0,
) -> float:
    """Force at the tip, across the beam, P = (b h²/6)·E·ε/l, that brings a rectangular beam to ``strain``.

    ε is the largest strain, so for tip ratios below 0.5 the root's share is used. Guide A, cantilever; derived M = σ·Z.
    """
    need("strain", strain, 0.0, 1.0)
    need_positive(width_mm=width_mm, thickness_mm=thickness_mm, length_mm=length_mm, modulus_mpa=modulus_mpa)
    root_strain = strain / strain_peak(tip_ratio)
    return width_mm * thickness_mm**2 / 6.0 * modulus_mpa * root_strain / length_mm


def section_strain(deflection_mm: float, length_mm: float, fibre_mm: float) -> float:
    """Root strain ε = 3·c·y/l² of a straight cantilever of any section, c the distance of the farthest fibre.

    Derived from y = P l³/(3 E I) and ε = P l c/(E I); for a rectangle c = h/2 and this is ``strain``.
    """
    need("deflection_mm", deflection_mm, 0.0)
    need_positive(length_mm=length_mm, fibre_mm=fibre_mm)
    return 3.0 * fibre_mm * deflection_mm / length_mm**2


def section_stiffness_n_mm(second_moment_mm4: float, length_mm: float, modulus_mpa: float) -> float:
    """Tip stiffness 3·E·I/l³ (N per mm) of a straight cantilever of any section."""
    need_positive(second_moment_mm4=second_moment_mm4, length_mm=length_mm, modulus_mpa=modulus_mpa)
    return 3.0 * modulus_mpa * second_moment_mm4 / length_mm**3


def shear_share(length_mm: float, thickness_mm: float, poisson: float) -> float:
    """Deflection by shear over deflection by bending, (3/5)·(1+ν)·(h/l)², of a straight rectangular cantilever.

    A beam of the slender formulas is softer by 1/(1 + this). Timoshenko's beam with the shear coefficient 5/6: derived
    from P·l/(κ·G·A) over P·l³/(3·E·I). For l ≥ h; below that it is no beam.
    """
    need("poisson", poisson, 0.0, 0.5)
    need_positive(thickness_mm=thickness_mm)
    need("length_mm", length_mm, thickness_mm)
    return 0.6 * (1.0 + poisson) * (thickness_mm / length_mm) ** 2


def _wedge_factor(angle_deg: float, friction: float) -> float:
    bite = 1.0 - friction * math.tan(math.radians(angle_deg))
    return math.inf if bite <= 0.0 else (friction + math.tan(math.radians(angle_deg))) / bite


def mating_force_n(transverse_n: float, angle_deg: float, friction: float) -> float:
    """Force along the push, W = P·tan(α+ρ) = P·(µ+tan α)/(1−µ tan α), that rides up a ramp of angle α.

    α is between the ramp and the direction of push, 0 to 90°. Infinite where friction locks the ramp, α ≥ atan(1/µ).
    Guide A p. 14.
    """
    need("transverse_n", transverse_n, 0.0)
    need("angle_deg", angle_deg, 0.0, 90.0)
    need("friction", friction, 0.0, 5.0)
    if angle_deg >= separable_limit_deg(friction):
        return math.inf if transverse_n > 0 else 0.0
    return transverse_n * _wedge_factor(angle_deg, friction)


def separation_force_n(transverse_n: float, return_angle_deg: float, friction: float) -> float:
    """Force along the pull over the return ramp α′: the same law; infinite for a snap that cannot be separated.

    Guide A p. 14.
    """
    return mating_force_n(transverse_n, return_angle_deg, friction)


def separable_limit_deg(friction: float) -> float:
    """The return angle atan(1/µ), degrees, from which on a snap can no longer be pulled apart; 90 without friction.

    firstratemold.com, "How to design snap latches": 73° at µ = 0.3, 59° at µ = 0.6.
    """
    need("friction", friction, 0.0, 5.0)
    return 90.0 - math.degrees(math.atan(friction))


def is_separable(return_angle_deg: float, friction: float) -> bool:
    """Whether a pull can open the snap: 1 − µ·tan α′ > 0."""
    need("return_angle_deg", return_angle_deg, 0.0, 90.0)
    return return_angle_deg < separable_limit_deg(friction)
