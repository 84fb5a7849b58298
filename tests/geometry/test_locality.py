"""Local views of a mesh and filled forms, against closed forms and trimesh as an independent judge."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from condyle.geometry.forms import half_ball, half_barrel, pillar
from condyle.geometry.frame import Frame
from condyle.geometry.locality import Locality, holds, meeting
from condyle.geometry.mesh import Mesh


def of(body: trimesh.Trimesh) -> Mesh:
    return Mesh(np.asarray(body.vertices), np.asarray(body.faces))


def test_a_torus_holds_what_its_equation_says() -> None:
    # (√(x² + y²) − R)² + z² < r²; points within the facets' error of the surface are left out.
    body = of(trimesh.creation.torus(major_radius=6.0, minor_radius=2.0, major_sections=200, minor_sections=100))
    points = np.random.default_rng(3).uniform(-8.5, 8.5, (4000, 3))
    off = np.hypot(np.hypot(points[:, 0], points[:, 1]) - 6.0, points[:, 2]) - 2.0
    clear = np.abs(off) > 0.02
    held = holds(body, points)
    assert (held == (off < 0.0))[clear].all() and held.any()


def test_points_straight_under_corners_and_edges_are_told_apart() -> None:
    body = of(trimesh.creation.box((2.0, 2.0, 2.0)))
    under = np.array([[0.0, 0.0, -3.0], [0.5, 0.5, -3.0], [0.0, 0.0, 0.1], [0.5, 0.5, 0.0], [0.5, 0.5, 1.5]])
    assert holds(body, under).tolist() == [False, False, True, True, False]


def test_a_view_has_every_triangle_that_comes_near() -> None:
    ball = trimesh.creation.icosphere(subdivisions=4, radius=5.0)
    centre, radius = np.array([4.0, 1.0, 0.5]), 2.0
    nearest = trimesh.triangles.closest_point(ball.triangles, np.tile(centre, (len(ball.faces), 1)))
    near = {tuple(np.round(t.ravel(), 9)) for t in ball.triangles[np.linalg.norm(nearest - centre, axis=1) <= radius]}
    view = Locality(of(ball)).near(centre, radius)
    assert near <= {tuple(np.round(t.ravel(), 9)) for t in view.corners}
    assert len(near) <= view.triangle_count < len(ball.faces)


def test_what_meets_a_box_is_what_bounds_say() -> None:
    ball = trimesh.creation.icosphere(subdivisions=3, radius=5.0)
    low, high = np.array([3.0, -1.0, -2.0]), np.array([6.0, 1.0, 1.0])
    wanted = ((ball.triangles.min(axis=1) <= high) & (ball.triangles.max(axis=1) >= low)).all(axis=1).sum()
    assert meeting(of(ball), low[None], high[None])[0].triangle_count == wanted > 0


@pytest.mark.parametrize(("apart", "meet"), [(2.9, True), (3.3, False)])
def test_pillars_side_by_side_meet_when_nearer_than_their_radii(apart: float, meet: bool) -> None:
    here = Frame(np.zeros(3), np.eye(3))
    there = Frame(np.array([apart, 0.0, 0.0]), np.eye(3))
    one, two = pillar(here, -3.0, 3.0, 1.0, 0.2), pillar(there, 1.0, 5.0, 2.2, 0.2)
    assert one.meets(two) is two.meets(one) is meet


def test_halves_hold_only_what_lies_below() -> None:
    here = Frame(np.zeros(3), np.eye(3))
    above = pillar(here, 0.2, 4.0, 1.0, 0.3)
    below = pillar(here, -1.5, -1.0, 1.0, 0.3)
    for half in (half_ball(here, 2.0, 0.5), half_barrel(here, 2.0, 3.0, 0.5)):
        assert not half.meets(above) and half.meets(below)
