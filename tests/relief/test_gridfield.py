"""Fields on a grid against closed forms and a second judge."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import ndimage

from condyle.figure.relief.motions import _hardware_deg, placements
from condyle.geometry.bvh import Bvh
from condyle.geometry.frame import rotation_about
from condyle.geometry.gridfield import far_filled, grid_around, signed_field
from condyle.geometry.gridround import grown_by, shrunk_by
from condyle.geometry.gridsweep import first_hit, swept_field
from condyle.geometry.primitives import box, sphere
from condyle.geometry.solid import subtract, union


def test_the_field_is_the_signed_distance_within_its_band() -> None:
    # Second judge: nearest points and winding numbers of the hierarchy, which share no code with the grid's columns.
    hollowed = subtract(
        box((-7, -6, -5), (7, 6, 5)), [sphere(4.0).translated((2, 1, 3)), sphere(1.5).translated((-4, -3, -2))]
    )
    body = union([hollowed, box((-7, -6, 5), (-3, 6, 9))])
    grid = grid_around(np.zeros(3), 11.0, 0.25)
    field = signed_field(body.mesh, grid, 1.0)
    index = np.random.default_rng(3).integers(0, grid.shape[0], (4000, 3))
    exact = np.clip(Bvh(body.mesh).signed_distance(grid.points(index)), -1.0, 1.0)
    off = np.abs(field[tuple(index.T)] - exact)
    assert off[np.abs(exact) < 0.45].max() < 1e-5
    assert off.max() < 0.02


def test_what_is_told_far_off_is_never_more_than_the_way_to_the_surface() -> None:
    # A ball: the distance to it is known in closed form.
    grid = grid_around(np.zeros(3), 9.0, 0.25)
    field = far_filled(signed_field(sphere(3.0).mesh, grid, 0.8), grid, 0.8)
    index = np.argwhere(field >= 0.8)
    exact = np.linalg.norm(grid.points(index), axis=1) - 3.0
    told = field[tuple(index.T)]
    # A grid point is as near as a step to where its neighbours have the surface.
    assert (told <= exact + 0.05).all()
    assert np.quantile(told / exact, 0.5) > 0.6


@pytest.mark.parametrize("cells", [1.0, 1.8, 4.3, 8.0])
def test_growing_by_a_ball_is_the_distance_transform_cut_off(cells: float) -> None:
    # Second judge: scipy's exact Euclidean distance transform.
    marked = np.random.default_rng(5).random((31, 27, 40)) < 0.01
    assert (grown_by(marked, cells) == (ndimage.distance_transform_edt(~marked) <= cells + 1e-9)).all()
    solid = ndimage.binary_dilation(marked, iterations=6)
    assert (shrunk_by(solid, cells) == (ndimage.distance_transform_edt(solid) > cells + 1e-9)).all()


def test_a_flange_that_tilts_meets_points_above_it_at_their_own_elevation() -> None:
    # A half space below z = 0, turned about x: a point at distance r and elevation e above it is met at e − asin(g / r),
    # g the clearance (closed form).
    grid = grid_around(np.zeros(3), 12.0, 0.25)
    field = signed_field(box((-30, -30, -30), (30, 30, 0)).mesh, grid, 1.0)
    degrees = np.arange(0.5, 40.0, 0.5)
    back = np.stack([np.linalg.inv(m)[:3] for m in placements([np.zeros(3)], np.array([1.0, 0, 0]), degrees)])
    points = np.array([[0.0, 8.0, 2.0], [3.0, 9.0, 4.0]])
    index = np.rint((points - grid.low) / grid.step_mm).astype(np.intp)
    met = first_hit(index, grid, field, back, 0.3)
    for k, (_, y, z) in zip(met, grid.points(index), strict=True):
        r = math.hypot(y, z)
        exact = math.degrees(math.atan2(z, y) - math.asin(0.3 / r))
        assert exact - 0.1 <= degrees[k] <= exact + 0.6
    # The same half space turned by up to 2.5 degrees sweeps a wedge: a point's way to its plane at the last turn.
    wanted = np.ones(grid.shape, dtype=bool)
    swept = swept_field(wanted, grid, field, back[:5], 0.3, 0.5)
    inner = np.argwhere(wanted)[::7]
    at = grid.points(inner)
    ahead = at[:, 1] > 0.5
    inner, at = inner[ahead & (np.linalg.norm(at, axis=1) < 10.0)], at[ahead & (np.linalg.norm(at, axis=1) < 10.0)]
    turn = math.radians(2.5)
    exact = at[:, 2] * math.cos(turn) - at[:, 1] * math.sin(turn) - 0.3
    told = swept[tuple(inner.T)]
    near = np.abs(exact) < 0.25
    assert near.sum() > 200
    assert np.abs(told - exact)[near].max() < 0.02
    assert (np.sign(told) == np.sign(exact))[~near].all()


def test_a_stud_at_an_angle_to_the_axis_leans_less_than_the_turn() -> None:
    # sin(lean / 2) = sin φ · sin(turn / 2): checked on the turned vector itself.
    stud = np.array([0.0, math.sin(0.7), math.cos(0.7)])
    axis = np.array([0.0, 0.0, 1.0])
    turn = _hardware_deg(axis, stud, 30.0)
    lean = math.degrees(math.acos(float(stud @ (rotation_about(axis, turn) @ stud))))
    assert abs(lean - 30.0) < 1e-6
    assert _hardware_deg(stud, stud, 30.0) == 180.0
