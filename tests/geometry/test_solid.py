"""The door to the boolean library: nothing broken, empty or inverted comes through silently; trimesh judges the rest."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from condyle.errors import SolidError
from condyle.geometry.mesh import Mesh, concatenate
from condyle.geometry.primitives import box, cylinder, sphere
from condyle.geometry.solid import (
    Solid,
    extrude,
    gather,
    hull,
    intersect,
    overlap,
    remainder,
    revolve,
    solid_from_mesh,
    subtract,
    triangulated,
    union,
)


def of(body: trimesh.Trimesh) -> Mesh:
    return Mesh(np.asarray(body.vertices), np.asarray(body.faces))


def judged(solid: Solid) -> trimesh.Trimesh:
    """The solid's mesh as trimesh sees it: closed, wound alike, of the volume that the solid claims."""
    body = trimesh.Trimesh(solid.mesh.vertices, solid.mesh.faces, process=False)
    assert body.is_watertight and body.is_winding_consistent
    assert body.volume == pytest.approx(solid.volume_mm3, rel=1e-9)
    assert body.volume > 0.0
    return body


CUBE = of(trimesh.creation.box((2.0, 2.0, 2.0)))
INSIDE_OUT = Mesh(CUBE.vertices, CUBE.faces[:, ::-1])
FLAT = Mesh(CUBE.vertices * [1.0, 1.0, 0.0], CUBE.faces)


@pytest.mark.parametrize(
    "mesh",
    [
        pytest.param(Mesh(CUBE.vertices, CUBE.faces[1:]), id="open"),
        pytest.param(INSIDE_OUT, id="inside out"),
        pytest.param(FLAT, id="flat"),
        pytest.param(Mesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int32)), id="empty"),
        pytest.param(Mesh(CUBE.vertices, np.concatenate([CUBE.faces, CUBE.faces[:1]])), id="a face twice"),
        pytest.param(
            Mesh(np.where(np.arange(24).reshape(8, 3) == 4, np.nan, CUBE.vertices), CUBE.faces), id="not a number"
        ),
        pytest.param(Mesh(CUBE.vertices, np.where(CUBE.faces == 7, 9, CUBE.faces)), id="a vertex that is not there"),
    ],
)
def test_broken_meshes_are_refused(mesh: Mesh) -> None:
    with pytest.raises(SolidError) as caught:
        solid_from_mesh(mesh, "the thing")
    assert "the thing" in str(caught.value)


SMALL, LARGE, AWAY = box((-1, -1, -1), (1, 1, 1)), box((-2, -2, -2), (2, 2, 2)), box((5, 5, 5), (6, 6, 6))


@pytest.mark.parametrize(
    "operation",
    [
        pytest.param(lambda: subtract(SMALL, [LARGE]), id="nothing left"),
        pytest.param(lambda: subtract(SMALL, [SMALL]), id="taken from itself"),
        pytest.param(lambda: intersect(SMALL, AWAY), id="nothing shared"),
        pytest.param(lambda: intersect(SMALL, box((1, -1, -1), (2, 1, 1))), id="only a face shared"),
        pytest.param(lambda: SMALL.trimmed((0, 0, 1), 3.0), id="trimmed away"),
        pytest.param(lambda: SMALL.transformed(np.diag([1.0, 1.0, 0.0, 1.0])), id="flattened"),
        pytest.param(lambda: union([]), id="union of none"),
        pytest.param(lambda: hull(np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0]])), id="flat hull"),
        pytest.param(lambda: extrude([np.array([[0.0, 0], [1, 0], [2, 0]])], 1.0), id="prism without area"),
        pytest.param(lambda: extrude([np.array([[0.0, 0], [0, 1], [1, 0]])], 1.0), id="clockwise prism"),
    ],
)
def test_results_that_are_no_solid_are_refused(operation: Callable[[], Solid]) -> None:
    with pytest.raises(SolidError):
        operation()


def test_operations_that_may_end_in_nothing_say_so() -> None:
    assert remainder(SMALL, [LARGE]) is None
    assert overlap(SMALL, AWAY) is None
    assert overlap(SMALL, box((1, -1, -1), (2, 1, 1))) is None
    left = remainder(LARGE, [SMALL])
    assert left is not None and judged(left).volume == pytest.approx(64.0 - 8.0)


def test_overlapping_shells_in_one_mesh_are_not_one_solid_by_wrapping() -> None:
    """Two boxes as one mesh, 20 × 20 × 10 and 30 mm apart by less: shells that overlap count twice until joined."""
    a, b = box((0, 0, 0), (20, 20, 10)), box((10, 10, 5), (30, 30, 15))
    both = solid_from_mesh(concatenate([a.mesh, b.mesh]))
    shells = [solid_from_mesh(shell) for shell in both.shells()]
    assert len(shells) == 2
    joined = union(shells)
    assert judged(joined).volume == pytest.approx(4000.0 + 4000.0 - 10 * 10 * 5)


def test_a_mirrored_solid_keeps_its_outside_outside() -> None:
    wedge = hull(np.array([[0.0, 0, 0], [4, 0, 0], [0, 3, 0], [0, 0, 2]]))
    mirror = wedge.transformed(np.diag([-1.0, 1.0, 1.0, 1.0]))
    assert judged(mirror).volume == pytest.approx(4.0)
    assert mirror.bounds[0, 0] == pytest.approx(-4.0)


def test_components_give_an_inner_void_back_to_its_body() -> None:
    hollow = subtract(sphere(5.0), [sphere(3.0)])
    inner = sphere(2.0)  # a loose ball inside the void
    beside = box((10, 0, 0), (11, 1, 1))
    found = gather([hollow, inner, beside]).components()
    assert [c.volume_mm3 for c in found] == sorted((c.volume_mm3 for c in found), reverse=True)
    assert len(found) == 3
    assert sum(c.volume_mm3 for c in found) == pytest.approx(
        hollow.volume_mm3 + inner.volume_mm3 + beside.volume_mm3, rel=1e-12
    )
    shell = found[0]
    assert shell.volume_mm3 == pytest.approx(hollow.volume_mm3, rel=1e-12)
    judged(shell)
    assert overlap(shell, sphere(2.9)) is None


def test_a_void_goes_to_the_smallest_body_around_it() -> None:
    """A hollow ball inside the void of a larger hollow ball: each keeps its own void."""
    large = subtract(sphere(10.0), [sphere(8.0)])
    small = subtract(sphere(6.0), [sphere(4.0)])
    found = gather([large, small]).components()
    assert [c.volume_mm3 for c in found] == pytest.approx([large.volume_mm3, small.volume_mm3], rel=1e-12)


def test_a_void_beside_a_concave_neighbour_stays_with_its_own_body() -> None:
    """Bounds alone cannot tell: a small hollow ball stands in the notch of an L whose bounds enclose it."""
    corner = union([box((0, 0, 0), (30, 4, 10)), box((0, 0, 0), (4, 30, 10))])
    hollow = subtract(sphere(4.0), [sphere(3.0)]).translated((20.0, 20.0, 5.0))
    found = gather([corner, hollow]).components()
    assert [c.volume_mm3 for c in found] == pytest.approx([corner.volume_mm3, hollow.volume_mm3], rel=1e-12)


def test_a_void_under_a_thin_body_that_reaches_around_stays_with_its_own_body() -> None:
    """A long bar with a void, and a lighter thin frame whose bounds enclose the whole bar and so the void too."""
    bar = subtract(box((-10, -4, -4), (10, 4, 4)), [box((-1, -1, -1), (1, 1, 1))])
    thin = subtract(box((-12, -6, -4.5), (12, 6, 4.5)), [box((-11.9, -5.9, -5), (11.9, 5.9, 5))])
    assert thin.volume_mm3 < bar.volume_mm3
    found = gather([bar, thin]).components()
    assert [c.volume_mm3 for c in found] == pytest.approx([bar.volume_mm3, thin.volume_mm3], rel=1e-12)


def test_marks_survive_booleans_and_tell_faces() -> None:
    tool, mark = cylinder(1.0, -3.0, 3.0).marked()
    other, second = box((5, 5, 5), (6, 6, 6)).marked()
    drilled = subtract(LARGE, [tool, other])
    faces = drilled.faces_from([mark, second])
    assert set(faces) == {mark}
    corners = drilled.mesh.vertices[drilled.mesh.faces[faces[mark]]].reshape(-1, 3)
    assert np.hypot(corners[:, 0], corners[:, 1]) == pytest.approx(1.0, abs=1e-9)
    # Facets of the bore: 2 r sin(π/n) wide, n of them, 4 mm deep.
    n = len(np.unique(np.round(np.degrees(np.arctan2(corners[:, 1], corners[:, 0])), 6) % 360.0))
    wanted = n * 2.0 * math.sin(math.pi / n) * 4.0
    assert float(drilled.mesh.areas[faces[mark]].sum()) == pytest.approx(wanted, rel=1e-9)


def test_marks_survive_in_components_with_voids() -> None:
    tool, mark = sphere(1.0).marked()
    (left, right) = subtract(LARGE, [tool, box((1.5, -3, -3), (1.6, 3, 3))]).components()
    assert set(left.faces_from([mark])) == {mark} and right.faces_from([mark]) == {}
    assert float(left.mesh.areas[left.faces_from([mark])[mark]].sum()) == pytest.approx(tool.mesh.area_mm2, rel=1e-9)
    judged(left)


def test_torus_has_genus_one_and_its_closed_volume() -> None:
    angle = 2.0 * math.pi * np.arange(96) / 96
    ring = revolve(np.stack([8.0 + 2.0 * np.cos(angle), 2.0 * np.sin(angle)], axis=1), 128)
    assert ring.genus == 1
    # Pappus: area of the section times the way of its centroid; both polygons fall short of their circles a little.
    section = 0.5 * 96 * 4.0 * math.sin(2.0 * math.pi / 96)
    around = 128 * math.sin(2.0 * math.pi / 128)
    assert judged(ring).volume == pytest.approx(section * 8.0 * around, rel=1e-3)


def test_triangulated_fills_a_ring_and_nothing_else() -> None:
    outer = np.array([[0.0, 0], [4, 0], [4, 4], [0, 4]])
    hole = np.array([[1.0, 1], [1, 3], [3, 3], [3, 1]])
    faces = triangulated([outer, hole])
    p = np.concatenate([outer, hole])[faces]
    a, b = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
    areas = 0.5 * (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
    assert (areas > 0).all() and areas.sum() == pytest.approx(12.0)


@settings(max_examples=20, deadline=None)
@given(st.tuples(*[st.floats(-1.5, 1.5)] * 3), st.floats(0.3, 1.5), st.floats(0.3, 1.5))
def test_inclusion_and_exclusion_of_volume(shift: tuple[float, float, float], a: float, b: float) -> None:
    one, two = sphere(a), box((-b, -b, -b), (b, b, b)).translated(shift)
    both = overlap(one, two)
    shared = 0.0 if both is None else judged(both).volume
    assert judged(union([one, two])).volume == pytest.approx(one.volume_mm3 + two.volume_mm3 - shared, rel=1e-9)
    rest = remainder(one, [two])
    assert (0.0 if rest is None else judged(rest).volume) == pytest.approx(one.volume_mm3 - shared, abs=1e-9, rel=1e-9)


def test_the_same_booleans_give_the_same_bytes() -> None:
    def made() -> bytes:
        body = subtract(sphere(3.0), [cylinder(1.0, -4.0, 4.0, "outside"), box((0, 0, 0), (4, 4, 4))])
        return body.mesh.vertices.tobytes() + body.mesh.faces.tobytes()

    assert made() == made()


def test_many_bodies_come_apart_as_few_do_with_their_marks_and_voids() -> None:
    # Twenty slabs of a pierced block, one with a void: closed forms for volumes, marks for whose faces they carry.
    block = box((0, 0, 0), (4, 4, 39))
    cutter, mark = union([box((-1, -1, 2 * k + 1), (5, 5, 2 * k + 1.5)) for k in range(19)]).marked()
    cut = subtract(block, [cutter, box((1, 1, 0.2), (2, 2, 0.8))])
    bodies = cut.components()
    assert len(bodies) == 20
    bottom, *others = sorted(bodies, key=lambda b: float(b.bounds[0, 2]))
    assert all(abs(b.volume_mm3 - 16.0 * 1.5) < 1e-9 for b in others)
    assert abs(bottom.volume_mm3 - (16 * 1.0 - 0.6)) < 1e-9
    assert all(b.faces_from([mark])[mark].size >= 2 for b in bodies)
    assert sum(b.triangle_count for b in bodies) == cut.triangle_count
    again = union([bottom, box((0.5, 0.5, 0.9), (3, 3, 3))])
    assert abs(again.volume_mm3 - (16.0 - 0.6 + 2.5 * 2.5 * 2.0)) < 1e-9
