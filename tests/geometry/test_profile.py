"""Turned profiles: what is told apart never meets, by brute force over many angles."""

from __future__ import annotations

import numpy as np
import pytest

from condyle.geometry.bvh import Bvh
from condyle.geometry.frame import rotation_matrix_about, unit
from condyle.geometry.gap import Surface, smallest_gap
from condyle.geometry.primitives import box, cylinder, sphere
from condyle.geometry.profile import never_meet
from condyle.geometry.solid import subtract, union

BALL = union([sphere(5.0), cylinder(1.5, -12.0, 0.0)])
CUP = subtract(box((-8, -8, -2), (8, 8, 8)), [sphere(5.3, "outside")])


@pytest.mark.parametrize("axis", [(0.0, 0.0, 1.0), (1.0, 0.0, 0.0), (0.6, 0.1, 0.8)])
def test_what_is_told_apart_stays_clear_at_every_angle(axis: tuple[float, float, float]) -> None:
    direction = unit(np.array(axis))
    apart, other = never_meet(BALL.mesh.corners, CUP.mesh.corners, np.zeros(3), direction, 0.15)
    assert 0.1 < apart.mean() < 1.0
    moved = Surface(Bvh(BALL.mesh.subset(apart)))
    still = Surface(Bvh(CUP.mesh))
    for angle in np.arange(0.0, 360.0, 7.5):
        turn = rotation_matrix_about(np.zeros(3), direction, float(angle))
        assert smallest_gap(moved, still, turn).distance_mm >= 0.15
    back = Surface(Bvh(CUP.mesh.subset(other)))
    whole = Surface(Bvh(BALL.mesh))
    for angle in np.arange(0.0, 360.0, 7.5):
        turn = rotation_matrix_about(np.zeros(3), direction, float(angle))
        assert smallest_gap(whole, back, turn).distance_mm >= 0.15


def test_concentric_faces_are_told_apart_and_a_neck_that_sweeps_is_not() -> None:
    middles = BALL.mesh.corners.mean(axis=1)
    on_ball = (np.linalg.norm(middles, axis=1) > 4.9) & (middles[:, 2] > 0)
    neck = middles[:, 2] < -6.0
    apart, _ = never_meet(BALL.mesh.corners, CUP.mesh.corners, np.zeros(3), np.array([1.0, 0.0, 0.0]), 0.15)
    assert apart[on_ball].all()
    assert not apart[neck].any()


def test_nothing_is_told_apart_within_the_clearance() -> None:
    apart, _ = never_meet(BALL.mesh.corners, CUP.mesh.corners, np.zeros(3), np.array([1.0, 0.0, 0.0]), 0.4)
    middles = BALL.mesh.corners.mean(axis=1)
    assert not apart[(np.linalg.norm(middles, axis=1) > 4.9) & (middles[:, 2] > 1.0)].any()


def test_only_what_is_asked_is_answered_and_free_pairs_do_not_count() -> None:
    ball, cup = BALL.mesh.corners, CUP.mesh.corners
    asked = np.zeros(len(ball), dtype=bool)
    asked[:5] = True
    z = np.array([0.0, 0.0, 1.0])
    apart, other = never_meet(ball, cup, np.zeros(3), z, 0.15, asked=(asked, np.zeros(len(cup), dtype=bool)))
    assert not apart[5:].any()
    assert not other.any()
    free = (np.ones(len(ball), dtype=bool), np.ones(len(cup), dtype=bool))
    apart, _ = never_meet(ball, cup, np.zeros(3), z, 2.0, free_pairs=free, reach_mm=20.0)
    assert apart.all()
