"""Round forms: chord error at most 0.01 mm, shafts inscribed and holes circumscribed, judged on the finished facets."""

from __future__ import annotations

import math

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import FloatArray
from condyle.geometry.primitives import arc, box, cylinder, frustum, segments_for, sphere, turned
from condyle.geometry.solid import Solid, union

CHORD = 0.01  # the design's contract: chord error ≤ 0.01 mm
SLACK = 2e-8  # plane outlines are kept to eight decimals
RADII = [0.5, 1.0, 2.5, 4.0, 8.0, 20.0]


def closed(solid: Solid) -> None:
    body = trimesh.Trimesh(solid.mesh.vertices, solid.mesh.faces, process=False)
    assert body.is_watertight and body.volume > 0.0


def surface(solid: Solid, n: int = 20_000) -> FloatArray:
    """Corners, edge middles, facet middles and even samples of the surface."""
    corners = solid.mesh.corners
    edges = 0.5 * (corners + np.roll(corners, -1, axis=1))
    samples, _ = trimesh.sample.sample_surface(
        trimesh.Trimesh(solid.mesh.vertices, solid.mesh.faces, process=False), n, seed=1
    )
    return np.concatenate([corners.reshape(-1, 3), edges.reshape(-1, 3), corners.mean(axis=1), samples])


@pytest.mark.parametrize("radius", RADII)
def test_shaft_lies_inside_its_circle_by_at_most_the_chord_error(radius: float) -> None:
    body = cylinder(radius, -1.0, 2.0)
    closed(body)
    points = surface(body)
    side = points[(points[:, 2] > -1.0 + 1e-6) & (points[:, 2] < 2.0 - 1e-6)]
    r = np.hypot(side[:, 0], side[:, 1])
    assert r.max() <= radius + SLACK
    assert r.min() >= radius - CHORD - SLACK
    assert body.bounds[:, 2] == pytest.approx([-1.0, 2.0])


@pytest.mark.parametrize("radius", RADII)
def test_hole_clears_its_circle_by_at_most_the_chord_error(radius: float) -> None:
    body = cylinder(radius, -1.0, 2.0, "outside")
    closed(body)
    points = surface(body)
    side = points[(points[:, 2] > -1.0 + 1e-6) & (points[:, 2] < 2.0 - 1e-6)]
    r = np.hypot(side[:, 0], side[:, 1])
    assert r.min() >= radius - SLACK
    assert r.max() <= radius + CHORD + SLACK


@pytest.mark.parametrize("radius", RADII)
def test_shaft_ball_lies_inside_its_sphere(radius: float) -> None:
    body = sphere(radius)
    closed(body)
    r = np.linalg.norm(surface(body), axis=1)
    assert r.max() <= radius + SLACK
    assert r.min() >= radius - CHORD - SLACK


@pytest.mark.parametrize("radius", RADII)
def test_hollow_ball_clears_its_sphere(radius: float) -> None:
    body = sphere(radius, "outside")
    closed(body)
    points = surface(body)
    r = np.linalg.norm(points, axis=1)
    # The two poles are pulled onto the axis, where the form's end point stays on the true end angle.
    polar = np.hypot(points[:, 0], points[:, 1]) < 0.25 * radius
    assert r[~polar].min() >= radius - SLACK
    assert r.min() >= radius - 1e-6, "clearance is eaten at the poles"
    assert r.max() <= radius + CHORD + SLACK, "the corners stand out too far"


def test_rays_from_the_middle_meet_a_hollow_ball_outside_and_a_shaft_ball_inside() -> None:
    rng = np.random.default_rng(5)
    way = rng.normal(size=(4000, 3))
    way /= np.linalg.norm(way, axis=1)[:, None]
    zero = np.zeros_like(way)
    assert Bvh(sphere(4.0, "outside").mesh).rays(zero, way).min() >= 4.0 - 1e-9
    assert Bvh(sphere(4.0).mesh).rays(zero, way).max() <= 4.0 + 1e-9


def test_a_shaft_in_its_hole_of_the_same_radius_never_overlaps() -> None:
    """Tessellation never eats clearance, however the two are turned against each other."""
    for turn in (0.0, 0.01, 0.02, 0.05):
        matrix = np.eye(4)
        matrix[:2, :2] = [[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]]
        shaft = cylinder(3.0, 0.0, 1.0).transformed(matrix)
        hole = Bvh(cylinder(3.0, -1.0, 2.0, "outside").mesh)
        assert hole.signed_distance(shaft.mesh.vertices).max() <= 1e-9


@settings(max_examples=30, deadline=None)
@given(st.floats(0.02, 60.0), st.sampled_from([0.005, 0.01, 0.05]))
def test_segments_keep_the_chord_error_without_waste(radius: float, chord: float) -> None:
    n = segments_for(radius, chord)
    assert n % 4 == 0 and n >= 8
    if radius > chord:
        assert radius * (1.0 - math.cos(math.pi / n)) <= chord + 1e-12
        # Four sides fewer would break it, or the floor of 16 sides is reached.
        assert n == 16 or radius * (1.0 - math.cos(math.pi / (n - 4))) > chord


@pytest.mark.parametrize("span", [(-30.0, 32.0), (32.0, 90.0), (-90.0, 90.0)])
def test_arcs_bound_their_circle(span: tuple[float, float]) -> None:
    inner, outer = arc(4.0, *span, "inside"), arc(4.0, *span, "outside")
    middles = 0.5 * (outer[1:] + outer[:-1])
    assert np.linalg.norm(inner, axis=1) == pytest.approx(4.0)
    assert np.linalg.norm(0.5 * (inner[1:] + inner[:-1]), axis=1).min() >= 4.0 - CHORD
    assert np.linalg.norm(middles, axis=1).min() >= 4.0 - SLACK
    assert np.linalg.norm(outer, axis=1).max() <= 4.0 + CHORD + SLACK
    for points in (inner, outer):
        ends = np.degrees(np.arctan2(points[[0, -1], 1], points[[0, -1], 0]))
        assert ends == pytest.approx(span)


def test_frustum_volume() -> None:
    # π h (r0² + r0 r1 + r1²)/3; n sides take sin(2π/n)/(2π/n).
    body = frustum(3.0, 1.0, 1.5, 5.0)
    closed(body)
    n = segments_for(3.0)
    share = math.sin(2 * math.pi / n) / (2 * math.pi / n)
    assert body.volume_mm3 == pytest.approx(share * math.pi * 4.0 * (9.0 + 4.5 + 2.25) / 3.0, rel=1e-9)


def test_box_and_turned_form() -> None:
    body = box((-1.0, 2.0, -3.0), (4.0, 6.0, 7.5))
    closed(body)
    assert body.bounds == pytest.approx(np.array([[-1.0, 2.0, -3.0], [4.0, 6.0, 7.5]]))
    assert body.volume_mm3 == pytest.approx(5.0 * 4.0 * 10.5)
    # A ring of square section: Pappus, 2π·R·A, the polygon short by sin(x)/x.
    ring = turned(np.array([[3.0, 0.0], [4.0, 0.0], [4.0, 1.0], [3.0, 1.0]]), "inside")
    closed(ring)
    n = segments_for(4.0)
    share = math.sin(2 * math.pi / n) / (2 * math.pi / n)
    assert ring.volume_mm3 == pytest.approx(2.0 * math.pi * 3.5 * share, rel=1e-9)


def test_the_second_of_two_equal_solids_is_the_first_to_the_byte() -> None:
    """The project's own rule: the same input gives the same bytes, whatever was made before."""

    def made() -> tuple[bytes, bytes]:
        block = box((-3.0, -3.0, -3.0), (3.0, 3.0, 2.0))
        mesh = union([block, sphere(3.517).translated((0.0, 0.0, 2.0))]).mesh
        return mesh.vertices.tobytes(), mesh.faces.tobytes()

    assert made() == made()
