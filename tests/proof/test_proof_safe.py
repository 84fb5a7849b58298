"""The small-parts cylinder (16 CFR 1501.4; depths from memory), against closed forms and a brute-force judge."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import linprog
from scipy.spatial.transform import Rotation

from condyle.geometry.cylinder_fit import fit_in_cylinder
from condyle.geometry.primitives import box, cylinder, sphere
from condyle.proof.safe import SMALL_PARTS, small_parts

WIDTH, DEEP = 31.75, 57.15


def test_a_ball_of_31_mm_is_a_small_part_and_one_of_32_is_not():
    # A ball on a 45° floor, moved to the deep side as far as the wall allows: plane geometry gives its top
    below = (25.4 + DEEP) / 2 - 15.5 * (1 + math.sqrt(2)) + (WIDTH / 2 - 15.5)
    small = fit_in_cylinder(sphere(15.5).mesh.vertices, SMALL_PARTS)
    assert below == pytest.approx(4.23, abs=0.005)
    assert small.slack_mm == pytest.approx(below, abs=0.04)
    assert not fit_in_cylinder(sphere(16.0).mesh.vertices, SMALL_PARTS).fits


def test_a_thin_rod_fits_from_corner_to_rim():
    # The longest line in the cylinder: sqrt(31.75² + 57.15²) = 65.4 mm
    longest = math.hypot(WIDTH, DEEP)
    assert longest == pytest.approx(65.4, abs=0.05)
    assert fit_in_cylinder(rod(longest - 0.9), SMALL_PARTS).fits
    assert not fit_in_cylinder(rod(longest + 0.1), SMALL_PARTS).fits
    assert not fit_in_cylinder(rod(70.0), SMALL_PARTS).fits


def rod(length):
    return cylinder(0.05, -length / 2, length / 2).mesh.vertices


@pytest.mark.parametrize("seed", range(6))
def test_turning_a_body_does_not_change_the_answer(seed):
    rng = np.random.default_rng(seed)
    corners = box((0, 0, 0), tuple(rng.uniform((15, 20, 20), (26, 30, 52)))).mesh.vertices
    turned = corners @ Rotation.random(random_state=np.random.RandomState(seed)).as_matrix().T + 100.0
    one, two = fit_in_cylinder(corners, SMALL_PARTS), fit_in_cylinder(turned, SMALL_PARTS)
    if abs(one.slack_mm) > 0.3:
        assert one.fits == two.fits


@pytest.mark.parametrize("seed", range(12))
def test_a_linear_program_agrees_on_every_single_turn(seed):
    """One turn at a time the question is convex: wall (as a 96-sided tube), floor and rim, solved by scipy's simplex."""
    rng = np.random.default_rng(seed)
    points = rng.normal(0.0, rng.uniform(3, 12), (25, 3)) * [1, 1, rng.uniform(0.4, 2)]
    fitted = fit_in_cylinder(points, SMALL_PARTS)
    turned = (points - points[0]) @ fitted.turn.T
    angles = 2 * np.pi * np.arange(96) / 96
    # Variables a, b, c and the slack s below the rim.
    rows, limits = [], []
    for x, y, z in turned:
        for t in angles:
            rows.append([math.cos(t), math.sin(t), 0.0, 0.0])
            limits.append(WIDTH / 2 - x * math.cos(t) - y * math.sin(t))
        rows += [[0.0, 0.0, 1.0, 1.0], [1.0, 0.0, -1.0, 0.0]]
        limits += [-z, z - x + (25.4 + DEEP) / 2]
    best = linprog([0, 0, 0, -1], rows, limits, bounds=[(None, None)] * 4)
    if fitted.fits:
        assert best.status == 0
        assert -best.fun >= fitted.slack_mm - 1e-6
        assert -best.fun <= fitted.slack_mm + 0.1  # the tube of flats is a little wider than the round wall
    elif best.status == 0:
        assert -best.fun <= 0.1


def test_findings_name_the_body_and_carry_the_words():
    bead, plank = small_parts(
        {"bead": sphere(5.0).mesh.vertices, "plank": box((0, 0, 0), (80.0, 30.0, 5.0)).mesh.vertices}
    )
    assert (bead.subject, bead.verdict, plank.verdict) == ("bead", "caution", "pass")
    assert "not a toy" in bead.advice
    assert plank.measured > 10.0
