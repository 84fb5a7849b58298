"""Bodies put down come to rest where an independent library says they can, and tip where geometry says they must."""

from __future__ import annotations

import math

import numpy as np
import pytest
import trimesh

from condyle.errors import UsageError
from condyle.geometry.mass import mass_properties
from condyle.geometry.mesh import FloatArray, Mesh
from condyle.geometry.primitives import box, cylinder
from condyle.geometry.resting import flat_hull, footing, hull_corners, settle, upright
from condyle.geometry.solid import hull, union


def _convex() -> Mesh:
    points = np.random.default_rng(5).normal(size=(14, 3)) * (3.0, 4.0, 7.0)
    return hull(points).mesh


def _table() -> Mesh:
    """Not convex: a slab on three legs of different length, and a mast."""
    legs = [box((0, 0, 0), (2, 2, 12)), box((20, 0, 1), (22, 2, 12)), box((10, 14, 0.5), (12, 16, 12))]
    return union([box((0, 0, 10), (22, 16, 12)), *legs, cylinder(1.0, 11.0, 26.0).translated((7, 6, 0))]).mesh


@pytest.mark.parametrize("body", [_convex(), _table()], ids=["convex", "not convex"])
def test_resting_poses_are_those_of_an_independent_library(body: Mesh) -> None:
    """trimesh.poses: every stable pose it finds is at rest here, and every drop here ends in one of them."""
    centre = mass_properties(body).centre_mm
    theirs = trimesh.Trimesh(body.vertices, body.faces, process=True)
    transforms, _ = trimesh.poses.compute_stable_poses(theirs, center_mass=centre, sigma=0.0, threshold=0.0)
    downs = -transforms[:, 2, :3]
    corners = hull_corners(body.vertices)
    for down in downs:
        assert settle(corners, centre, down, 1e-5).rolled_deg < 0.01
    found = set()
    for start in np.random.default_rng(3).normal(size=(120, 3)):
        rest = settle(corners, centre, start)
        off = np.degrees(np.arccos(np.clip(downs @ rest.down, -1.0, 1.0)))
        assert off.min() < 0.05
        found.add(int(off.argmin()))
    assert len(found) >= 0.5 * len(downs)


def test_height_never_rises_while_a_body_rolls() -> None:
    body = _table()
    corners, centre = hull_corners(body.vertices), mass_properties(body).centre_mm
    for start in np.random.default_rng(8).normal(size=(40, 3)):
        begin = float(((corners - centre) @ (start / np.linalg.norm(start))).max())
        assert settle(corners, centre, start).height_mm <= begin + 1e-9


def _block(width: float, height: float) -> tuple[FloatArray, FloatArray]:
    corners = box((-width / 2, -width / 2, 0), (width / 2, width / 2, height)).mesh.vertices
    return corners, np.array([0.0, 0.0, height / 2])


def test_tip_angle_of_a_block_against_its_closed_form() -> None:
    """atan(d/h): Hof, Gazendam and Sinke, J. Biomech. 38 (2005) 1-8; d = 20, h = 80 gives 14.036 degrees (derived)."""
    corners, centre = _block(40.0, 160.0)
    foot = footing(corners, centre)
    assert foot.tip_deg == pytest.approx(14.036, abs=5e-4)
    assert foot.margin_mm == pytest.approx(20.0)
    # Over a corner the arm is longer by the square root of two.
    assert foot.tips_deg[9] == pytest.approx(math.degrees(math.atan(20.0 * math.sqrt(2.0) / 80.0)), abs=1e-9)


def test_beam_on_two_supports_tips_where_the_textbook_says() -> None:
    """9.00 m, 300 N beam on supports 5.00 m apart, a walker of 600 N: it tips when he is 1.25 m beyond the support.

    Young & Freedman-style example, github zhenging/phys208a topics/torque.md.
    """
    supports = np.array([[-2.5, -0.1, 0], [2.5, -0.1, 0], [-2.5, 0.1, 0], [2.5, 0.1, 0], [0, 0, 1.0]])

    def margin(beyond: float) -> float:
        return footing(supports, np.array([600.0 * (2.5 + beyond) / 900.0, 0.0, 0.5])).margin_mm

    assert margin(1.24) > 0.0 > margin(1.26)


def test_body_tilted_beyond_its_tip_angle_falls_and_below_it_returns() -> None:
    corners, centre = _block(40.0, 160.0)

    def rest(tilt_deg: float) -> FloatArray:
        t = math.radians(tilt_deg)
        return settle(corners, centre, np.array([math.sin(t), 0.0, -math.cos(t)])).down

    assert rest(13.9) == pytest.approx([0, 0, -1], abs=1e-9)
    assert rest(14.1) == pytest.approx([1, 0, 0], abs=1e-9)


def test_upright_turns_down_to_minus_z_and_a_centre_outside_is_refused() -> None:
    for down in np.random.default_rng(1).normal(size=(20, 3)):
        turn = upright(down)
        assert turn @ down / np.linalg.norm(down) == pytest.approx([0, 0, -1], abs=1e-12)
        assert turn @ turn.T == pytest.approx(np.eye(3), abs=1e-12)
    assert upright(np.array([0.0, 0.0, 1.0]))[2, 2] == -1.0
    with pytest.raises(UsageError, match="outside"):
        settle(box((0, 0, 0), (1, 1, 1)).mesh.vertices, np.array([5.0, -3.0, 0.4]), np.array([-1.0, 0.0, 0.0]))


def test_flat_hull_against_an_independent_library() -> None:
    shapely = pytest.importorskip("shapely")
    points = np.random.default_rng(2).normal(size=(300, 2))
    ours = shapely.Polygon(flat_hull(points))
    assert ours.equals_exact(shapely.MultiPoint(points).convex_hull.normalize(), 1e-12) or ours.area == pytest.approx(
        shapely.MultiPoint(points).convex_hull.area, rel=1e-12
    )
