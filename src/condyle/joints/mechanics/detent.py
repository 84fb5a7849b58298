"""Detents: a round bump on a sprung leaf drops into hollows, and has to be lifted out of each before the joint turns on."""

from __future__ import annotations

import math

from condyle.joints.mechanics.cantilever import separation_force_n
from condyle.joints.mechanics.ranges import need, need_friction, need_positive

_STEPS = 64


def cap_radius_mm(rim_mm: float, height_mm: float) -> float:
    """Radius of the sphere whose cap is ``height_mm`` high over a rim of radius ``rim_mm``: ρ = (c² + h²)/(2h).

    Plane geometry of a chord and its sagitta, height at most the rim's radius.
    """
    need_positive(rim_mm=rim_mm)
    need("height_mm", height_mm, 0.0, rim_mm, open_low=True)
    return (rim_mm**2 + height_mm**2) / (2.0 * height_mm)


def climb_torque_nmm(
    stiffness_n_mm: float, squeeze_mm: float, rim_mm: float, height_mm: float, friction: float, arm_mm: float
) -> float:
    """Greatest torque of one bump on its way out of a hollow, its centre ``arm_mm`` from the axis.

    The hollow's edge slides along the cap. At ``u`` from the cap's middle the leaf, already pressed by ``squeeze_mm``,
    has given y(u) = √(ρ²−u²) − (ρ−h) more, and the edge is as steep as tan α = u/√(ρ²−u²); the force along the way is
    that of a snap's return ramp, P·(µ+tan α)/(1−µ tan α) (Guide A p. 14), with P = k·(squeeze + y). Taken in the plane of
    the way, for a way that is short beside the arm; the edge is taken as sharp, which a printed one is not, so a worn or
    blurred detent holds less.
    """
    need("stiffness_n_mm", stiffness_n_mm, 0.0)
    need("squeeze_mm", squeeze_mm, 0.0)
    need_friction(friction)
    need_positive(arm_mm=arm_mm)
    ball = cap_radius_mm(rim_mm, height_mm)
    most = 0.0
    for k in range(_STEPS + 1):
        u = rim_mm * k / _STEPS
        root = math.sqrt(ball**2 - u**2)
        given = max(0.0, root - (ball - height_mm))
        steep = math.degrees(math.atan2(u, root))
        most = max(most, separation_force_n(stiffness_n_mm * (squeeze_mm + given), steep, friction))
    return most * arm_mm
