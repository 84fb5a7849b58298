"""Cells of placements: what is called clear is clear at every placement that is drawn from it, and what is not is near."""

from __future__ import annotations

import math

import numpy as np
import pytest

from condyle.geometry.bvh import Bvh
from condyle.geometry.cover import Cell, first_near, shells_about
from condyle.geometry.frame import rotation_matrix_about, unit
from condyle.geometry.gap import Surface, smallest_gap
from condyle.geometry.primitives import box, cylinder, sphere
from condyle.geometry.solid import Solid, subtract


def surface(solid: Solid) -> Surface:
    return Surface(Bvh(solid.mesh))


def test_what_is_called_clear_is_clear_at_every_placement_drawn_from_the_cell() -> None:
    rng = np.random.default_rng(5)
    moved, still = surface(box((-1, -1, 2), (1, 1, 9))), surface(box((4, -3, 1), (6, 3, 7)))
    centre, point, axis = np.zeros(3), np.array([0.5, 0.3, 0.0]), np.array([0.0, 0.0, 1.0])
    a, b = shells_about(moved, centre), shells_about(still, centre)
    clear = 0
    for _ in range(60):
        about, deg, turn = unit(rng.normal(size=3)), rng.uniform(0, 40), rng.uniform(-90, 90)
        wide, spin = rng.uniform(0.01, 0.15), rng.uniform(0.0, 0.3)
        first = rotation_matrix_about(centre, about, deg)
        middle = first @ rotation_matrix_about(point, axis, turn)
        line = first[:3, :3] @ point, first[:3, :3] @ axis
        if first_near(a, b, Cell(middle, wide, spin, *line), 0.2) is not None:
            continue
        clear += 1
        for _ in range(25):
            extra = rotation_matrix_about(centre, unit(rng.normal(size=3)), math.degrees(wide))
            spun = rotation_matrix_about(point, axis, turn + math.degrees(rng.choice([-1.0, 1.0]) * spin))
            assert smallest_gap(moved, still, extra @ first @ spun).distance_mm >= 0.2
    assert 5 < clear < 55


def test_what_is_in_the_way_is_named_and_its_cell_is_not_clear() -> None:
    moved, still = surface(box((-1, -1, 2), (1, 1, 9))), surface(box((4, -3, 1), (6, 3, 7)))
    a, b = shells_about(moved, np.zeros(3)), shells_about(still, np.zeros(3))
    found = first_near(a, b, Cell(rotation_matrix_about(np.zeros(3), np.array([0.0, 1.0, 0.0]), 40.0), 0.01), 0.2)
    assert found is not None
    assert still.bvh.mesh.corners[found][:, 0].min() == pytest.approx(4.0)


def test_concentric_faces_never_meet_though_they_lie_a_kerf_apart() -> None:
    # A ball in a hollow one kerf of 0.3 mm wider: any turn about the centre is free, and a cell of half a turn shows it.
    ball = surface(sphere(4.0))
    hollow = surface(subtract(box((-9, -9, -9), (9, 9, 0)), [sphere(4.3, "outside")]))
    a, b = shells_about(ball, np.zeros(3)), shells_about(hollow, np.zeros(3))
    assert first_near(a, b, Cell(np.eye(4), math.pi), 0.15) is None
    assert first_near(a, b, Cell(np.eye(4), math.pi), 0.31) is not None
    # About a point beside the centre they do meet.
    aside = np.array([0.0, 0.0, 1.0])
    assert first_near(shells_about(ball, aside), shells_about(hollow, aside), Cell(np.eye(4), 1.0), 0.15) is not None


def test_spans_are_the_nearest_and_furthest_distance_of_a_surface() -> None:
    solid = cylinder(2.0, 3.0, 5.0)
    low, high = shells_about(surface(solid), np.zeros(3)).span
    assert low == pytest.approx(3.0)
    assert high == pytest.approx(float(np.linalg.norm(solid.mesh.vertices, axis=1).max()))
