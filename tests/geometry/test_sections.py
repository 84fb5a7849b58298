"""Plane sections of meshes against closed forms, and against trimesh as an independent judge."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from condyle.geometry.frame import Frame, frame_from_zx, rotation_about
from condyle.geometry.mesh import Mesh, concatenate
from condyle.geometry.sections import Slicer, section

UPRIGHT = Frame(np.zeros(3), np.eye(3))


def of(body: trimesh.Trimesh) -> Mesh:
    return Mesh(np.asarray(body.vertices), np.asarray(body.faces))


def ball(radius: float, subdivisions: int = 4) -> Mesh:
    return of(trimesh.creation.icosphere(subdivisions=subdivisions, radius=radius))


def torus(major: float, minor: float, n: int = 180, k: int = 120) -> Mesh:
    return of(trimesh.creation.torus(major_radius=major, minor_radius=minor, major_sections=n, minor_sections=k))


@pytest.mark.parametrize("height", [0.0, 1.7, -3.1, 4.6])
def test_sphere(height: float) -> None:
    # π(r² − h²); facets lie within s under the sphere, which takes at most d(π ρ²) = 2π r s from a section.
    body = ball(5.0)
    s = 5.0 - float(np.linalg.norm(body.corners.mean(axis=1), axis=1).min())
    found = section(body, UPRIGHT, height)
    exact = math.pi * (25.0 - height**2)
    assert exact - 2.0 * math.pi * 5.0 * s <= found.area_mm2 <= exact
    assert found.centroid == pytest.approx([0.0, 0.0], abs=0.02)
    assert section(ball(5.0), UPRIGHT, 5.5).empty


@pytest.mark.parametrize("turn", [0.0, 25.0, 60.0])
def test_slanting_cylinder_is_an_ellipse(turn: float) -> None:
    # π r²/cos t for the section of a long cylinder by a plane turned by t; 256 sides take 0.01 %.
    body = of(trimesh.creation.cylinder(radius=3.0, height=60.0, sections=256))
    frame = Frame(np.array([0.0, 0.0, 2.0]), rotation_about(np.array([1.0, 0.0, 0.0]), turn))
    found = section(body, frame)
    assert found.area_mm2 == pytest.approx(9.0 * math.pi / math.cos(math.radians(turn)), rel=3e-4)
    assert found.reach((0.0, 0.0)) == pytest.approx(3.0 / math.cos(math.radians(turn)), rel=1e-3)


def test_torus_level_and_upright() -> None:
    body = torus(8.0, 2.0)
    level = section(body, UPRIGHT, 1.0)
    # Ring between R ± √(r² − h²): 4 π R √(r² − h²).
    assert level.area_mm2 == pytest.approx(4.0 * math.pi * 8.0 * math.sqrt(3.0), rel=3e-3)
    assert len(level.components()) == 1 and len(level.rings()) == 2
    upright = section(body, frame_from_zx(np.zeros(3), np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0])))
    assert len(upright.components()) == 2
    assert upright.area_mm2 == pytest.approx(2.0 * math.pi * 4.0, rel=3e-3)


def test_a_plane_through_vertices_and_flat_faces_still_gives_whole_outlines() -> None:
    cube = of(trimesh.creation.box((4.0, 4.0, 4.0)))
    fine = of(trimesh.creation.box((4.0, 4.0, 4.0)).subdivide().subdivide())
    for body in (cube, fine):
        for height in (0.0, 1.0, -1.0):
            assert section(body, UPRIGHT, height).area_mm2 == pytest.approx(16.0, abs=1e-9)


def judged(mesh: Mesh, frame: Frame, height: float) -> float:
    """Area of the section by trimesh, holes taken out by shapely."""
    body = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    cut = body.section(plane_origin=frame.to_outer(np.array([0.0, 0.0, height])), plane_normal=frame.z)
    if cut is None:
        return 0.0
    shape = shapely.MultiPolygon()
    for line in cut.discrete:
        shape = shape.symmetric_difference(shapely.Polygon(frame.to_local(line)[:, :2]).buffer(0))
    return float(shape.area)


@settings(max_examples=25, deadline=None)
@given(
    st.floats(-180.0, 180.0),
    st.tuples(st.floats(-1, 1), st.floats(-1, 1), st.floats(-1, 1)).filter(lambda v: np.linalg.norm(v) > 0.1),
    st.floats(-9.0, 9.0),
)
def test_trimesh_agrees_on_a_torus_in_any_pose(angle: float, axis: tuple[float, float, float], height: float) -> None:
    body = torus(8.0, 2.0, 60, 40)
    frame = Frame(np.array([0.3, -0.2, 0.1]), rotation_about(np.array(axis), angle))
    assert section(body, frame, height).area_mm2 == pytest.approx(judged(body, frame, height), abs=1e-6, rel=1e-6)


@pytest.mark.parametrize("turn", [0.0, 17.0, 71.0])
@pytest.mark.parametrize("height", [0.0, 0.9, -1.4])
@pytest.mark.parametrize("radius", [2.5, 6.0, 9.0, 12.0])
def test_a_local_view_kept_to_a_disc_equals_the_full_section_kept_to_it(
    turn: float, height: float, radius: float
) -> None:
    """Discs that hold the body, cross it, or lie wholly inside it or its hole."""
    parts = [torus(8.0, 2.0, 90, 60), of(trimesh.creation.icosphere(4, 3.0).apply_translation((12.5, 4.2, 0.3)))]
    body = concatenate(parts)
    frame = Frame(np.array([7.0, 1.0, 0.2]), rotation_about(np.array([1.0, 0.3, 0.0]), turn))
    # A ball about the frame's origin that holds every triangle reaching into the disc at this height.
    local = body.near(frame.origin, math.hypot(radius, height) + 0.5)
    found = Slicer(local, frame).at(height, radius)
    whole = Slicer(body, frame).at(height)
    disc = shapely.Point(0, 0).buffer(radius, quad_segs=200)
    shape = shapely.MultiPolygon()
    for ring in whole.rings():
        shape = shape.symmetric_difference(shapely.Polygon(ring))
    wanted = float(shape.intersection(disc).area)
    # The rim's steps of at most 0.2 rad take 1 − sin(0.2)/0.2 = 0.7 % of the disc's area where it is flesh.
    assert found.area_mm2 == pytest.approx(wanted, abs=0.008 * math.pi * radius**2)
    assert (wanted < 1e-9) == found.empty


def test_a_disc_wholly_in_flesh_is_full_and_wholly_in_a_void_is_empty() -> None:
    outer, inner = ball(10.0), ball(6.0)
    hollow = concatenate([outer, Mesh(inner.vertices, inner.faces[:, ::-1])])
    in_wall = Frame(np.array([8.0, 0.0, 0.0]), np.eye(3))
    view = hollow.near(in_wall.origin, 2.6)
    assert Slicer(view, in_wall).at(0.0, 1.0).area_mm2 == pytest.approx(math.pi, rel=0.01)
    view = hollow.near(np.zeros(3), 6.5)
    assert Slicer(view, UPRIGHT).at(0.0, 5.0).empty


def test_same_input_gives_the_same_outlines() -> None:
    body = torus(8.0, 2.0, 60, 40)
    first, second = (Slicer(body, UPRIGHT).at(0.5).rings() for _ in range(2))
    assert [r.tobytes() for r in first] == [r.tobytes() for r in second]
