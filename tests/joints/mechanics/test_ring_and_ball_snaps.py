"""Annular and ball snaps: printed constants, the ball's own geometry, and sections added up from small pieces."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from condyle.errors import UsageError
from condyle.joints.mechanics import snap


def test_annular_example() -> None:
    # Guide A (*Snap-Fit Joints for Plastics*, Bayer MaterialScience) pp. 20–22, worked through here from its formulas:
    # d = 6, t = 1.2, y = 0.12, ν = 0.36, E_s = 2000 → X_N = 0.07351, P = 105.9 N; µ = 0.4: 134.5 N in, 247.0 N out.
    assert snap.annular_strain(0.12, 6.0) == pytest.approx(0.02)
    factor = snap.tube_factor(6.0, 8.4, 0.36)
    assert factor == pytest.approx(0.07351, abs=5e-6)
    force = snap.annular_force_n(0.12, 6.0, 2000.0, factor)
    assert force == pytest.approx(105.9, abs=0.05)
    assert snap.mating_force_n(force, 30.0, 0.4) == pytest.approx(134.5, abs=0.05)
    assert snap.separation_force_n(force, 45.0, 0.4) == pytest.approx(247.0, abs=0.05)
    assert snap.remote_distance_mm(6.0, 1.2) == pytest.approx(4.83, abs=0.005)


def test_annular_undercut_doubles_when_both_parts_give() -> None:
    # Guide A p. 20: equal flexibility halves the strain, so the undercut may double.
    assert snap.annular_undercut_mm(0.02, 6.0, both_flexible=True) == pytest.approx(2 * 0.12)


def test_remote_joint() -> None:
    # Guide A p. 22: three times the force from 1.8·√(d·t) on, between one and three before.
    assert [snap.remote_factor(x, 6.0, 1.2) for x in (0.0, 5.0, 50.0)] == [1.0, 3.0, 3.0]
    assert 1.0 < snap.remote_factor(2.0, 6.0, 1.2) < 3.0


def shell_over_guide(diameter: float, wall: float, poisson: float) -> float:
    """Ring load at the free end of a long thin tube, P = (π/2)·y·E·t·√(Rt)/(R·[3(1−ν²)]^¼), over the guide's, y = E = 1."""
    radius = (diameter + wall) / 2  # of the wall's middle
    shell = math.pi / 2 * wall * math.sqrt(radius * wall) / (radius * (3 * (1 - poisson**2)) ** 0.25)
    return shell / (diameter * snap.tube_factor(diameter, diameter + 2 * wall, poisson))


def test_distance_of_the_guide_from_shell_theory() -> None:
    # Thin-shell theory of a beam on an elastic foundation (derived): 1.44 times the guide at d = 200, t = 2.5, and 1.79
    # times at d = 8, t = 1.2. Keeps the docstring's warning true.
    assert shell_over_guide(200.0, 2.5, 0.35) == pytest.approx(1.44, abs=0.005)
    assert shell_over_guide(8.0, 1.2, 0.35) == pytest.approx(1.79, abs=0.005)


def test_shaft_is_stiffer_than_a_tube_of_the_same_ratio() -> None:
    # The two printed factors (Guide A pp. 21, 22) differ only in the sign of ν.
    ratio, poisson = 1.5, 0.36
    spread = (ratio**2 + 1) / (ratio**2 - 1)
    tube = snap.tube_factor(4.0, 6.0, poisson)
    assert snap.shaft_factor(6.0, 4.0, poisson) / tube == pytest.approx((spread + poisson) / (spread - poisson))


# Derived from the ball's geometry: ε in %, lip angle in degrees, lip depth in ball radii.
LIPS = [(1, 8.07, 0.140), (2, 11.36, 0.197), (3, 13.86, 0.240), (4, 15.94, 0.275)]


@pytest.mark.parametrize(("percent", "angle", "depth"), LIPS)
def test_plain_socket_lip(percent: float, angle: float, depth: float) -> None:
    found = snap.plain_socket_lip_deg(percent / 100)
    assert found == pytest.approx(angle, abs=0.005)
    assert snap.lip_depth_mm(2.0, found) == pytest.approx(depth, abs=5e-4)
    # Hoop form of *Design calculations for snap-fit joints* (Hoechst B.3.1), from memory: ε = (D − D_opening)/D_opening.
    opening = snap.opening_mm(8.0, found)
    assert (8.0 - opening) / opening == pytest.approx(percent / 100, rel=1e-12)


def test_a_rigid_cup_hardly_holds_a_stiff_plastic() -> None:
    # Derived: an 8 mm ball at 1.2 % strain allows an undercut of 8 − 8/1.012 = 0.095 mm in diameter.
    lip = snap.plain_socket_lip_deg(0.012)
    assert 8.0 - snap.opening_mm(8.0, lip) == pytest.approx(0.095, abs=5e-4)


def test_tilt_of_a_neck_against_the_lip() -> None:
    # Derived: R = 4, θ = 15.94°, neck radius 1.6 → 50.48°, opening 7.692, depth 1.099.
    assert snap.tilt_limit_deg(8.0, 3.2, 15.94) == pytest.approx(50.48, abs=0.005)
    assert snap.opening_mm(8.0, 15.94) == pytest.approx(7.692, abs=5e-4)
    assert snap.lip_depth_mm(8.0, 15.94) == pytest.approx(1.099, abs=5e-4)


@given(st.floats(1e-9, 0.5))
def test_plain_lip_and_strain_undo_each_other(strain: float) -> None:
    assert snap.plain_socket_strain(snap.plain_socket_lip_deg(strain)) == pytest.approx(strain, rel=1e-6, abs=1e-15)


@pytest.mark.parametrize(("inner", "outer", "half_deg"), [(3.0, 4.2, 25.0), (0.0, 5.0, 90.0), (4.0, 4.4, 40.0)])
def test_sector_section_against_small_pieces(inner: float, outer: float, half_deg: float) -> None:
    # The midpoint rule over polar cells, each taken as a point at its middle.
    n = 1500
    radius = inner + (np.arange(n) + 0.5) * (outer - inner) / n
    angle = (-1 + (2 * np.arange(n) + 1) / n) * math.radians(half_deg)
    cell = radius[:, None] * (outer - inner) / n * 2 * math.radians(half_deg) / n * np.ones(n)
    x = radius[:, None] * np.cos(angle)
    area, centroid = cell.sum(), (cell * x).sum() / cell.sum()
    section = snap.sector_finger(inner, outer, half_deg)
    assert section.area_mm2 == pytest.approx(area, rel=1e-9)
    assert section.centroid_mm == pytest.approx(centroid, rel=1e-6)
    assert section.second_moment_mm4 == pytest.approx((cell * (x - centroid) ** 2).sum(), rel=1e-4)
    assert section.outer_fibre_mm == pytest.approx(x.max() - centroid, abs=0.01)
    assert section.inner_fibre_mm == pytest.approx(centroid - x.min(), abs=0.01)


@pytest.mark.parametrize(("radius", "chord"), [(2.0, 0.3), (3.0, 0.0), (1.5, 1.2)])
def test_segment_section_against_slices(radius: float, chord: float) -> None:
    # Thin slices parallel to the chord, each 2√(R²−x²) wide, at their middles.
    n = 200_000
    x = chord + (np.arange(n) + 0.5) * (radius - chord) / n
    slices = 2 * np.sqrt(radius**2 - x**2) * (radius - chord) / n
    area, centroid = slices.sum(), (slices * x).sum() / slices.sum()
    section = snap.segment_finger(radius, chord)
    assert section.area_mm2 == pytest.approx(area, rel=1e-6)
    assert section.centroid_mm == pytest.approx(centroid, rel=1e-6)
    assert section.second_moment_mm4 == pytest.approx((slices * (x - centroid) ** 2).sum(), rel=1e-5)
    assert section.outer_fibre_mm + section.inner_fibre_mm == pytest.approx(radius - chord, rel=1e-12)


def test_half_disc() -> None:
    # Handbook values of the half disc (Roark, *Formulas for Stress and Strain*, table of sections; from memory):
    # centroid 4R/3π from the centre, I = 0.1098 R⁴.
    half = snap.sector_finger(0.0, 1.0, 90.0)
    assert half.centroid_mm == pytest.approx(4 / (3 * math.pi), rel=1e-12)
    assert half.second_moment_mm4 == pytest.approx(0.1098, abs=5e-5)
    assert snap.segment_finger(1.0, 0.0) == pytest.approx(half, rel=1e-9)


def test_narrow_sector_is_nearly_a_rectangle() -> None:
    sector = snap.sector_finger(10.0, 11.0, 2.0)
    flat = snap.rectangle_finger(10.5 * math.radians(4.0), 1.0)
    assert sector.area_mm2 == pytest.approx(flat.area_mm2, rel=1e-9)
    assert sector.second_moment_mm4 == pytest.approx(flat.second_moment_mm4, rel=0.01)


@pytest.mark.parametrize("clearance", [0.0, 0.05, -0.02])
def test_finger_lip_uses_the_strain_up(clearance: float) -> None:
    lip = snap.finger_lip_deg(0.012, 6.0, 4.0, 0.6, clearance)
    assert 0 < lip < 60
    assert snap.finger_strain(6.0, lip, 4.0, 0.6, clearance) == pytest.approx(0.012, rel=1e-9)
    assert snap.finger_strain(6.0, lip + 0.1, 4.0, 0.6, clearance) > 0.012


def test_fingers_allow_more_lip_than_a_hoop() -> None:
    assert snap.finger_lip_deg(0.012, 8.0, 5.0, 0.6) > 1.5 * snap.plain_socket_lip_deg(0.012)


def test_finger_lip_at_the_ends() -> None:
    assert snap.finger_lip_deg(0.012, 6.0, 3.0, 0.6, clearance_mm=-0.3) == 0.0  # interference alone is too much
    assert snap.finger_lip_deg(0.5, 6.0, 40.0, 0.6) == 60.0  # a very long finger: the geometry ends it


@pytest.mark.parametrize(("lip", "friction", "clearance"), [(12.0, 0.0, 0.0), (15.0, 0.35, 0.03), (20.0, 0.5, -0.05)])
def test_force_to_pass_a_ball_against_a_fine_walk(lip: float, friction: float, clearance: float) -> None:
    # The ball is lowered in small steps past a spring-loaded lip; the push follows from the two forces at the contact,
    # the normal N and friction µN, resolved along and across the axis (no ramp formula).
    radius, stiffness = 3.0, 25.0
    rest = (radius + clearance) * math.cos(math.radians(lip))
    greatest = 0.0
    for drop in np.linspace(0.0, math.sqrt(radius**2 - rest**2), 20001):
        contact = math.sqrt(radius**2 - drop**2)  # the lip rides on the ball at this height below or above its equator
        sin, cos = drop / radius, contact / radius
        normal = stiffness * (contact - rest) / (cos - friction * sin)
        greatest = max(greatest, normal * (sin + friction * cos))
    found = snap.ball_passing_force_n(stiffness, 2 * radius, lip, friction, clearance)
    assert found == pytest.approx(greatest, rel=1e-6)


def test_a_loose_lip_needs_no_force() -> None:
    assert snap.ball_passing_force_n(25.0, 6.0, 5.0, 0.3, clearance_mm=0.1) == 0.0


@pytest.mark.parametrize(
    "call",
    [
        lambda: snap.tube_factor(6.0, 6.0, 0.36),
        lambda: snap.shaft_factor(6.0, 7.0, 0.36),
        lambda: snap.tube_factor(6.0, 8.0, 0.6),
        lambda: snap.plain_socket_lip_deg(-0.01),
        lambda: snap.tilt_limit_deg(4.0, 5.0, 10.0),
        lambda: snap.sector_finger(4.0, 3.0, 20.0),
        lambda: snap.sector_finger(3.0, 4.0, 120.0),
        lambda: snap.segment_finger(2.0, 2.0),
        lambda: snap.lip_deflection_mm(6.0, 10.0, clearance_mm=-3.0),
        lambda: snap.finger_strain(6.0, 10.0, 0.0, 0.6),
        lambda: snap.ball_passing_force_n(0.0, 6.0, 10.0, 0.3),
    ],
)
def test_nonsense_is_refused(call: object) -> None:
    with pytest.raises(UsageError, match="must be"):
        call()  # type: ignore[operator]
