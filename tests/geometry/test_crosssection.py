"""Moments of plane sections against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from condyle.geometry.crosssection import moments, section_moments
from condyle.geometry.frame import frame_from_zx
from condyle.geometry.polygons import disc, rectangle, region_from_rings
from condyle.geometry.primitives import cylinder
from condyle.geometry.sections import section


def test_rectangle_against_its_closed_form() -> None:
    """I = b·h³/12 (any handbook), wherever it lies and however it is turned.

    Bent obliquely, a corner has M·√(1/W₁² + 1/W₂²) at worst, W = b·h²/6 (derived)."""
    turn = np.array([[math.cos(0.4), -math.sin(0.4)], [math.sin(0.4), math.cos(0.4)]])
    ring = np.array([[-3, -1], [3, -1], [3, 1], [-3, 1]]) @ turn.T + (200.0, -70.0)
    area, centroid, second = moments([ring])
    assert (area, *centroid) == pytest.approx((12.0, 200.0, -70.0))
    assert np.sort(np.linalg.eigvalsh(second)) == pytest.approx([6 * 2**3 / 12, 2 * 6**3 / 12], rel=1e-9)
    bar = section_moments(rectangle((-3, -1), (3, 1)))
    assert bar is not None
    assert bar.bending_mm3 == pytest.approx(1.0 / math.hypot(6 / (6 * 2**2), 6 / (2 * 6**2)))
    assert bar.thinnest_mm == pytest.approx(2.0, rel=0.02)


def test_triangle_product_moments() -> None:
    """Corner triangle with legs 1: ∫x² = 1/36 + ..., about the centroid I_xx = 1/36, I_xy = -1/72 (derived)."""
    area, centroid, second = moments([np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])])
    assert area == pytest.approx(0.5)
    assert centroid == pytest.approx([1 / 3, 1 / 3])
    assert second == pytest.approx(np.array([[1 / 36, -1 / 72], [-1 / 72, 1 / 36]]))


def test_circle_and_tube_against_their_closed_forms() -> None:
    """πd³/32 in bending, πd³/16 in twist; a tube with an empty inside has d⁴ − d_i⁴ over d (Shigley, from memory)."""
    bar = section_moments(disc((0, 0), 2.0))
    assert bar is not None
    assert bar.bending_mm3 == pytest.approx(math.pi * 4.0**3 / 32, rel=5e-3)
    assert bar.twist_mm3 == pytest.approx(math.pi * 4.0**3 / 16, rel=2e-2)
    tube = section_moments(disc((0, 0), 2.0), disc((0, 0), 1.2), 0.0)
    assert tube is not None
    assert tube.bending_mm3 == pytest.approx(math.pi * (4.0**4 - 2.4**4) / 4.0 / 32, rel=5e-3)


def test_twist_of_a_thin_strip_and_a_square() -> None:
    """b·t²/3 for a thin strip (exact in the limit), 0.208·a³ for a square (de Saint-Venant; from memory), to 15 %."""
    strip, square = section_moments(rectangle((0, 0), (20, 1))), section_moments(rectangle((0, 0), (3, 3)))
    assert strip is not None and square is not None
    assert strip.twist_mm3 == pytest.approx(20 * 1 / 3, rel=0.2)
    assert square.twist_mm3 == pytest.approx(0.208 * 27, rel=0.15)


def test_pieces_that_do_not_hang_together_bend_each_by_itself() -> None:
    two = region_from_rings(
        [np.array([[0, 0], [4, 0], [4, 1], [0, 1.0]]), np.array([[0, 2], [4, 2], [4, 3], [0, 3.0]])]
    )
    bar = section_moments(two)
    assert bar is not None
    assert bar.bending_mm3 == pytest.approx(2.0 / math.hypot(6 / (4 * 1**2), 6 / (1 * 4**2)))


def test_section_of_a_solid_is_that_of_its_bar() -> None:
    bar = section_moments(
        section(
            cylinder(2.0, 0.0, 10.0).mesh, frame_from_zx(np.zeros(3), np.array([0, 0, 1.0]), np.array([1.0, 0, 0])), 5.0
        )
    )
    assert bar is not None
    assert bar.area_mm2 == pytest.approx(4 * math.pi, rel=1e-2)


def test_bending_about_one_axis_is_the_handbooks() -> None:
    """b·h²/6 about x and h·b²/6 about y, for a rectangle b = 6 along x and h = 2 along y."""
    bar = section_moments(rectangle((-3, -1), (3, 1)))
    assert bar is not None
    assert bar.about_mm3(np.array([1.0, 0.0])) == pytest.approx(6 * 2**2 / 6)
    assert bar.about_mm3(np.array([0.0, -5.0])) == pytest.approx(2 * 6**2 / 6)
    assert bar.about_mm3(np.zeros(2)) == bar.bending_mm3
