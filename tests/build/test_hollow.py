"""A hollow that is really cut, held to closed forms: a ball's and a block's inner offset, its wall, its drains, one surface."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from condyle.build.hollow import Hollowed, hollowed
from condyle.build.layers import layers_of
from condyle.build.resin import DRAIN_MM, cups
from condyle.errors import UsageError
from condyle.geometry.bvh import Bvh
from condyle.geometry.primitives import box, cylinder, sphere
from condyle.geometry.solid import Solid, intersect, solid_from_mesh

AWAY = Bvh(box((500, 500, 500), (501, 501, 501)).mesh)


def made(solid: Solid, wall: float, bearings: tuple[Solid, ...] = ()) -> Hollowed:
    out = hollowed(solid, wall, bearings, AWAY)
    assert isinstance(out, Hollowed), out
    return out


def as_trimesh(solid: Solid) -> trimesh.Trimesh:
    return trimesh.Trimesh(solid.mesh.vertices, solid.mesh.faces, process=False)


@pytest.mark.parametrize("wall", [1.5, 2.5])
def test_a_block_loses_the_smaller_block_within_and_two_round_drains(wall):
    out = made(box((0, 0, 0), (20, 16, 24)), wall)
    mesh = as_trimesh(out.solid)
    assert mesh.is_watertight and mesh.body_count == 1
    # Offset by the wall and the tenth that is kept over it; each drain passes the wall alone.
    inner = np.prod(np.array([20.0, 16.0, 24.0]) - 2 * (wall + 0.1))
    drains = 2 * np.pi * (DRAIN_MM / 2) ** 2 * wall
    assert out.removed_mm3 == pytest.approx(inner + drains, rel=0.02)
    assert mesh.volume == pytest.approx(20 * 16 * 24 - out.removed_mm3, rel=1e-6)
    assert wall <= out.wall_mm <= wall + 0.15
    a, b = map(np.array, out.drains)
    assert np.linalg.norm(a - b) > 20.0  # of opposite corners of the block, 35 mm apart
    # A hole through a wall and out by another makes a ring of the surface: Euler's number 0.
    assert mesh.euler_number == 0


def test_a_ball_keeps_its_wall_all_around_by_the_spheres_own_equation():
    # Cut flat, since a drain wants a little level ground.
    ball = intersect(sphere(14.0), box((-20, -20, -12), (20, 20, 12)))
    out = made(ball, 2.0)
    inside = out.solid.mesh.vertices
    radius = np.linalg.norm(inside, axis=1)
    away = [np.linalg.norm(np.cross(inside - d, [0, 0, 1.0]), axis=1) for d in np.array(out.drains)]
    hollow = (radius < 11.99) & (np.abs(inside[:, 2]) < 9.99) & (np.minimum(*away) > DRAIN_MM)
    assert hollow.sum() > 100
    assert radius[hollow].max() <= 12.0 and np.abs(inside[hollow, 2]).max() <= 10.0
    assert radius[hollow].max() == pytest.approx(11.9, abs=0.05)


def test_resin_runs_out_of_it_and_nothing_stays_shut():
    shut = box((0, 0, 0), (20, 16, 24))
    out = made(shut, 2.0)
    for flip in (False, True):
        mesh = out.solid.mesh
        turned = mesh.transformed(np.diag([1.0, -1.0, -1.0, 1.0])) if flip else mesh
        low = turned.bounds[0]
        move = np.eye(4)
        move[:3, 3] = -low
        assert not any(c.closed for c in cups(layers_of(turned.transformed(move), 0.1)))


def test_hardware_stays_full():
    bearing = cylinder(3.0, 0.0, 24.0).translated((10.0, 8.0, 0.0))
    out = made(box((0, 0, 0), (20, 16, 24)), 1.5, (bearing,))
    solid = Bvh(out.solid.mesh)
    angle = np.linspace(0, 2 * np.pi, 24)
    for r in (0.0, 3.0, 4.3):
        probe = np.column_stack([10 + r * np.cos(angle), 8 + r * np.sin(angle), np.full(24, 12.0)])
        assert solid.inside(probe).all(), r


def test_what_cannot_be_hollowed_says_why():
    assert "deeper" in str(hollowed(box((0, 0, 0), (6, 6, 6)), 2.0, (), AWAY))
    shown = box((0, 0, 0), (20, 16, 24))
    assert "hidden" in str(hollowed(shown, 2.0, (), Bvh(shown.mesh)))
    with pytest.raises(UsageError):
        hollowed(shown, 0.0, (), AWAY)
    assert isinstance(hollowed(solid_from_mesh(shown.mesh), 2.0, (), AWAY), Hollowed)
