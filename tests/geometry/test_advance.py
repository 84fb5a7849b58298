"""Conservative advancement against closed forms: spheres on a circle, a flat stop, a straight push."""

from __future__ import annotations

import math

import numpy as np
import pytest

from condyle.geometry.advance import Shift, Turn, TwoTurns, advance
from condyle.geometry.bvh import Bvh
from condyle.geometry.gap import Surface, smallest_gap
from condyle.geometry.primitives import box, cylinder, sphere
from condyle.geometry.solid import subtract
from tests import collision

ORIGIN = np.zeros(3)
Z = np.array([0.0, 0.0, 1.0])


def surface(solid: object) -> Surface:
    return Surface(Bvh(solid.mesh))  # type: ignore[attr-defined]


@pytest.mark.parametrize("clearance", [0.0, 0.1, 1.0])
@pytest.mark.parametrize("sense", [1.0, -1.0])
def test_a_sphere_led_round_a_circle_stops_at_another(clearance: float, sense: float) -> None:
    # Centres 10 mm from the axis, 90° apart: they come within 2·10·sin((90° − t)/2) (chord of a circle, Euclid).
    moved, still = surface(sphere(2.0).translated((10, 0, 0))), surface(sphere(3.0).translated((0, 10, 0)))
    apart = 2 * math.degrees(math.asin((5 + clearance) / 20))
    exact = 90 - apart if sense > 0 else -(270 - apart)
    stop = advance(moved, still, Turn(ORIGIN, Z), 360 * sense, clearance_mm=clearance, smallest_step=0.02)
    assert stop.blocked
    # Facets lie inside the spheres by up to 0.01 mm each: 0.02 mm on a 10 mm arm is 0.12°.
    assert abs(exact) - 0.03 <= abs(stop.reached) <= abs(exact) + 0.15


def test_every_angle_inside_the_range_is_free_by_the_library() -> None:
    a = box((2, -1, -1), (9, 1, 1))
    b = subtract(cylinder(12.0, -2.0, 2.0), [cylinder(10.0, -3.0, 3.0)])
    b = subtract(b, [box((-20, -20, -3), (20, 6, 3))])
    moved, still, turn = surface(a), surface(b), Turn(ORIGIN, Z)
    stop = advance(moved, still, turn, 180.0, clearance_mm=0.8, smallest_step=0.01)
    body, other = collision.Body(a.mesh), collision.Body(b.mesh)
    for angle in np.linspace(0.0, stop.reached, 60):
        assert collision.distance(body, other, turn.matrix(float(angle)))[0] >= 0.8 - 1e-9


def test_a_lever_on_a_flat_stop() -> None:
    # A bar of half width 1 mm turning about z meets the plane y = −3 with a corner: 3 = 8·sin(t) + 1·cos(t).
    bar, stop_block = box((0, -1, -1), (8, 1, 1)), box((0, -9, -2), (20, -3, 2))
    exact = math.degrees(math.asin(3 / math.hypot(8, 1)) - math.atan2(1, 8))
    found = advance(surface(bar), surface(stop_block), Turn(ORIGIN, Z), -90.0, clearance_mm=0.0, smallest_step=0.01)
    assert found.reached == pytest.approx(-exact, abs=0.02)
    assert found.place[1] == pytest.approx(-3.0, abs=0.01)


def test_a_straight_push() -> None:
    moved, still = surface(box((0, 0, 0), (1, 1, 1))), surface(box((0.2, 0.2, 5), (2, 2, 6)))
    found = advance(moved, still, Shift(Z), 10.0, clearance_mm=0.25, smallest_step=0.001)
    assert found.reached == pytest.approx(3.75, abs=0.002)
    assert not advance(moved, still, Shift(-Z), 10.0, clearance_mm=0.25, smallest_step=0.001).blocked


def test_sliding_faces_do_not_stall_it() -> None:
    # A ball that turns in a hollow 0.3 mm wider stays 0.3 mm off for the whole turn.
    cup = subtract(box((-8, -8, -8), (8, 8, 1)), [sphere(5.3, "outside")])
    found = advance(
        surface(sphere(5.0)), surface(cup), Turn(ORIGIN, np.array([0.6, 0.0, 0.8])), 180.0, clearance_mm=0.15,
        smallest_step=0.02,
    )  # fmt: skip
    assert not found.blocked
    assert found.reached == 180.0


def test_two_half_turns_place_a_bar_like_a_link_does() -> None:
    # Forward kinematics by hand: near axis at the origin, far axis at (4, 0), tip at (9, 0), both turned by 45°.
    motion = TwoTurns(ORIGIN, np.array([4.0, 0.0, 0.0]), Z)
    tip = motion.matrix(90.0) @ np.array([9.0, 0.0, 0.0, 1.0])
    h = math.sqrt(0.5)
    assert tip[:3] == pytest.approx([4 * h + 5 * 0.0, 4 * h + 5 * 1.0, 0.0], abs=1e-12)
    # And it stops at a floor: brute force over a fine grid of angles brackets the answer.
    bar, floor = surface(box((5, -0.5, -1), (9, 0.5, 1))), surface(box((-20, 6, -3), (20, 8, 3)))
    found = advance(bar, floor, motion, 170.0, clearance_mm=0.2, smallest_step=0.01)
    grid = np.arange(0.0, 170.0, 0.05)
    gaps = [smallest_gap(bar, floor, motion.matrix(float(a))).distance_mm for a in grid]
    first = grid[int(np.argmax(np.array(gaps) < 0.2))]
    assert first - 0.2 <= found.reached <= first


def test_a_last_step_that_rounds_short_is_no_stop() -> None:
    """With nothing in the way, a motion goes to its limit, however its steps are divided."""
    ball = Surface(Bvh(sphere(1.0).mesh))
    far = Surface(Bvh(sphere(1.0).translated((50.0, 0.0, 0.0)).mesh))
    for limit in np.linspace(0.001, 40.0, 4000):
        stop = advance(
            ball, far, Turn(np.zeros(3), np.array([0.0, 0.0, 1.0])), float(limit), clearance_mm=0.3, smallest_step=0.05
        )
        assert not stop.blocked and stop.reached == limit
