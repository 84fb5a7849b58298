"""Ball-and-socket snaps: how far a lip may reach past the equator, plain (hoop strain) or slit into fingers (bending).

A plain socket stretches as a hoop; one that is slit stops being a hoop, and its fingers bend as cantilevers from the
bottom of the slits. The ball is rigid, lips have no thickness. Hoop form: *Design calculations for snap-fit joints in
plastic parts*, brochure B.3.1 (Hoechst), §3.4, ε = (D_ball − D_opening)/D_opening, from memory; the rest is derived.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from condyle.geometry.mesh import FloatArray
from condyle.joints.mechanics.cantilever import mating_force_n, section_strain
from condyle.joints.mechanics.ranges import need, need_friction, need_positive

GREATEST_LIP_DEG = 60.0
"""A lip further up than this leaves an opening under half the ball: no fit in any plastic."""


class Section(NamedTuple):
    """A finger's cross-section: what bending needs, about the tangential axis through its centroid."""

    area_mm2: float
    centroid_mm: float
    """Radius of the centroid from the socket's axis."""
    second_moment_mm4: float
    outer_fibre_mm: float
    """From the centroid to the outermost point."""
    inner_fibre_mm: float
    """From the centroid to the innermost points: the corners of a sector."""

    @property
    def fibre_mm(self) -> float:
        """The farther of the two."""
        return max(self.outer_fibre_mm, self.inner_fibre_mm)


def opening_mm(ball_mm: float, lip_deg: float) -> float:
    """Diameter of the opening, D·cos θ, of a socket on a ball of diameter D whose lip is θ past the equator."""
    need_positive(ball_mm=ball_mm)
    need("lip_deg", lip_deg, 0.0, 90.0)
    return ball_mm * math.cos(math.radians(lip_deg))


def lip_depth_mm(ball_mm: float, lip_deg: float) -> float:
    """Height of the lip past the equator, (D/2)·sin θ."""
    need_positive(ball_mm=ball_mm)
    need("lip_deg", lip_deg, 0.0, 90.0)
    return 0.5 * ball_mm * math.sin(math.radians(lip_deg))


def plain_socket_strain(lip_deg: float) -> float:
    """Hoop strain ε = (1−cos θ)/cos θ of a plain lip as the ball passes."""
    need("lip_deg", lip_deg, 0.0, 89.9)
    c = math.cos(math.radians(lip_deg))
    return (1.0 - c) / c


def plain_socket_lip_deg(strain: float) -> float:
    """Lip angle θ that a plain socket may have at a permitted hoop strain: (1−cos θ)/cos θ = ε."""
    need("strain", strain, 0.0, 10.0)
    # acos(1/(1+ε)) in the form that keeps its digits for small ε.
    return math.degrees(2.0 * math.asin(math.sqrt(0.5 * strain / (1.0 + strain))))


def tilt_limit_deg(ball_mm: float, neck_mm: float, lip_deg: float) -> float:
    """How far a ball on a round neck (diameters) can tilt until the neck meets the lip: 90° − θ − asin(r_n/R).

    Negative where the neck does not pass the opening at all.
    """
    need_positive(ball_mm=ball_mm, neck_mm=neck_mm)
    need("neck_mm", neck_mm, 0.0, ball_mm, open_low=True)
    need("lip_deg", lip_deg, 0.0, 90.0)
    return 90.0 - lip_deg - math.degrees(math.asin(neck_mm / ball_mm))


def rectangle_finger(width_mm: float, thickness_mm: float, radius_mm: float = 0.0) -> Section:
    """A flat finger, ``thickness_mm`` along the radius, its centroid at ``radius_mm``: I = b h³/12."""
    need_positive(width_mm=width_mm, thickness_mm=thickness_mm)
    need("radius_mm", radius_mm, 0.0)
    half = 0.5 * thickness_mm
    return Section(width_mm * thickness_mm, radius_mm, width_mm * thickness_mm**3 / 12.0, half, half)


def sector_finger(inner_mm: float, outer_mm: float, half_angle_deg: float) -> Section:
    """A finger cut from a tube by slits: an annular sector between two RADII, ± half_angle about its middle. Exact.

    A = a(Ro²−Ri²); x̄ = (2/3)(sin a/a)(Ro³−Ri³)/(Ro²−Ri²); I = (Ro⁴−Ri⁴)/4·(a + sin a cos a) − A x̄² about the tangential
    axis through the centroid (derived by integration). Half angles up to 90°: beyond, the inner corners are not the
    innermost points.
    """
    need("inner_mm", inner_mm, 0.0)
    need("outer_mm", outer_mm, inner_mm, open_low=True)
    need("half_angle_deg", half_angle_deg, 0.0, 90.0, open_low=True)
    of = sector_fingers(np.array([inner_mm]), np.array([outer_mm]), np.array([half_angle_deg]))
    return Section(*(float(v[0]) for v in of))


def sector_fingers(inner_mm: FloatArray, outer_mm: FloatArray, half_angle_deg: FloatArray) -> tuple[FloatArray, ...]:
    """``sector_finger`` for many sections at once, (n,) each: the fields of ``Section`` in their order, arguments not checked."""
    a = np.radians(half_angle_deg)
    squares = outer_mm**2 - inner_mm**2
    area = a * squares
    centroid = 2.0 / 3.0 * np.sin(a) / a * (outer_mm**3 - inner_mm**3) / squares
    about_axis = 0.25 * (outer_mm**4 - inner_mm**4) * (a + np.sin(a) * np.cos(a))
    return area, centroid, about_axis - area * centroid**2, outer_mm - centroid, centroid - inner_mm * np.cos(a)


def segment_finger(radius_mm: float, chord_mm: float) -> Section:
    """A prong cut from a round stud by a slot: the circular segment beyond a chord ``chord_mm`` from the axis. Exact.

    With cos a = d/R: A = R²(a − sin a cos a); x̄ = (2/3)R³ sin³a/A; I = R⁴/4·(a − sin a cos a + 2 sin³a cos a) − A x̄²
    about the axis along the chord through the centroid (derived by integration).
    """
    need_positive(radius_mm=radius_mm)
    need("chord_mm", chord_mm, 0.0, 0.999 * radius_mm)
    a = math.acos(chord_mm / radius_mm)
    sin, cos = math.sin(a), math.cos(a)
    area = radius_mm**2 * (a - sin * cos)
    centroid = 2.0 / 3.0 * radius_mm**3 * sin**3 / area
    about_axis = 0.25 * radius_mm**4 * (a - sin * cos + 2.0 * sin**3 * cos)
    second_moment = about_axis - area * centroid**2
    return Section(area, centroid, second_moment, radius_mm - centroid, centroid - chord_mm)


def lip_deflection_mm(ball_mm: float, lip_deg: float, clearance_mm: float = 0.0) -> float:
    """How far a lip must give, radially, to let the ball pass: R − (R+c)·cos θ, never below 0; c is per side."""
    need_positive(ball_mm=ball_mm)
    need("lip_deg", lip_deg, 0.0, 90.0)
    radius = 0.5 * ball_mm
    need("clearance_mm", clearance_mm, -radius, radius, open_low=True)
    return max(0.0, radius - (radius + clearance_mm) * math.cos(math.radians(lip_deg)))


def finger_strain(
    ball_mm: float, lip_deg: float, root_depth_mm: float, fibre_mm: float, clearance_mm: float = 0.0
) -> float:
    """Root strain of a finger as the ball passes its lip; the slit's bottom lies ``root_depth_mm`` below the equator.

    A straight cantilever of length root depth + (R+c)·sin θ, bent at its tip (``cantilever.section_strain``).
    """
    need_positive(root_depth_mm=root_depth_mm, fibre_mm=fibre_mm)
    give = lip_deflection_mm(ball_mm, lip_deg, clearance_mm)
    length = root_depth_mm + (0.5 * ball_mm + clearance_mm) * math.sin(math.radians(lip_deg))
    return section_strain(give, length, fibre_mm)


def finger_lip_deg(
    strain: float, ball_mm: float, root_depth_mm: float, fibre_mm: float, clearance_mm: float = 0.0
) -> float:
    """Largest lip angle (at most 60°) whose fingers stay within ``strain``; 0 where interference alone exceeds it.

    By bisection: without interference the strain rises with θ all the way (derived: its slope has the sign of
    d·sin θ + R(1−cos θ)²); with interference (c < 0) a lip at 0° starts strained, so the search walks outward.
    """
    need("strain", strain, 0.0, 1.0)

    def within(lip_deg: float) -> bool:
        return finger_strain(ball_mm, lip_deg, root_depth_mm, fibre_mm, clearance_mm) <= strain

    step = 0.25
    safe = 0.0
    if not within(safe):
        return 0.0
    while safe + step <= GREATEST_LIP_DEG and within(safe + step):
        safe += step
    if safe + step > GREATEST_LIP_DEG:
        return GREATEST_LIP_DEG
    low, high = safe, safe + step
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if within(middle) else (low, middle)
    return low


def ball_passing_force_n(
    stiffness_n_mm: float, ball_mm: float, lip_deg: float, friction: float, clearance_mm: float = 0.0
) -> float:
    """Greatest axial force while a ball is pushed in or pulled out past its lip.

    stiffness_n_mm is radial, summed over all fingers. With the lip touching the ball at latitude φ it is bent by
    R cos φ − (R+c) cos θ, and the ball is a ramp of angle φ there, so W(φ) = k·(R cos φ − (R+c) cos θ)·tan(φ + ρ); the
    largest over φ is returned. Derived from the ramp law of Guide A p. 14; a lip without thickness makes both ways alike.
    Infinite where even the first touch locks (steep lip, high friction).
    """
    need_positive(stiffness_n_mm=stiffness_n_mm)
    need_friction(friction)
    rest = 0.5 * ball_mm - lip_deflection_mm(ball_mm, lip_deg, clearance_mm)
    radius = 0.5 * ball_mm
    first_touch = math.degrees(math.acos(min(1.0, rest / radius)))

    def force(latitude_deg: float) -> float:
        give = max(0.0, radius * math.cos(math.radians(latitude_deg)) - rest)
        return mating_force_n(stiffness_n_mm * give, latitude_deg, friction)

    return _largest(force, 0.0, first_touch)


def _largest(function: Callable[[float], float], low: float, high: float) -> float:
    """Largest value of a function with one hump, by golden section after a coarse look."""
    steps = 64
    at = [low + (high - low) * i / steps for i in range(steps + 1)]
    values = [function(x) for x in at]
    best = max(range(steps + 1), key=values.__getitem__)
    if math.isinf(values[best]):
        return math.inf
    a, b = at[max(0, best - 1)], at[min(steps, best + 1)]
    ratio = 0.5 * (math.sqrt(5.0) - 1.0)
    for _ in range(60):
        c, d = b - ratio * (b - a), a + ratio * (b - a)
        if function(c) >= function(d):
            b = d
        else:
            a = c
    return max(values[best], function(0.5 * (a + b)))
