"""Gaps between surfaces: the two-hierarchy walk against brute force, the collision library and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import minimize

from condyle.geometry.bvh import Bvh
from condyle.geometry.frame import rotation_matrix_about
from condyle.geometry.gap import Rule, Surface, smallest_gap
from condyle.geometry.mesh import FloatArray, Mesh
from condyle.geometry.primitives import cylinder, sphere
from condyle.geometry.solid import subtract
from condyle.geometry.trianglepair import triangle_distance
from tests import collision


def soup(rng: np.random.Generator, shift: FloatArray, flat: bool) -> Mesh:
    """Ten loose triangles; ``flat`` makes needles of them, all corners on a line."""
    vertices = rng.normal(size=(30, 3)) + shift
    faces = rng.permutation(30).reshape(10, 3).astype(np.int32)
    if flat:
        vertices[faces[:, 2]] = 0.5 * (vertices[faces[:, 0]] + vertices[faces[:, 1]])
    return Mesh(vertices, faces)


@pytest.mark.parametrize("seed", range(20))
def test_triangle_distance_is_the_minimum_of_the_convex_programme(seed: int) -> None:
    # Outside judge: the distance of two convex hulls is a convex quadratic programme (scipy's SLSQP solves it).
    rng = np.random.default_rng(seed)
    a, b = rng.normal(size=(2, 3, 3))
    b += rng.normal(size=3) * 1.5

    def squared(v: FloatArray) -> float:
        p = a.T @ np.array([1 - v[0] - v[1], v[0], v[1]])
        q = b.T @ np.array([1 - v[2] - v[3], v[2], v[3]])
        return float(np.sum((p - q) ** 2))

    solved = minimize(
        squared,
        [0.3] * 4,
        method="SLSQP",
        bounds=[(0, 1)] * 4,
        constraints=[
            {"type": "ineq", "fun": lambda v: 1 - v[0] - v[1]},
            {"type": "ineq", "fun": lambda v: 1 - v[2] - v[3]},
        ],
        options={"ftol": 1e-15, "maxiter": 500},
    )
    found, p, q = triangle_distance(a, b)
    assert found**2 == pytest.approx(max(solved.fun, 0.0), abs=1e-7)
    assert np.linalg.norm(p - q) == pytest.approx(found, abs=1e-12)


@pytest.mark.parametrize("seed", range(24))
def test_walk_brute_force_and_the_library_agree(seed: int) -> None:
    rng = np.random.default_rng(seed)
    a = soup(rng, np.zeros(3), flat=seed % 4 == 0)
    b = soup(rng, rng.normal(size=3) * 3.0, flat=seed % 8 == 0)
    turn = rotation_matrix_about(rng.normal(size=3), rng.normal(size=3), float(rng.uniform(-180, 180)))
    moved = a.transformed(turn)
    brute = min(triangle_distance(s, t)[0] for s in moved.corners for t in b.corners)
    ours = smallest_gap(Surface(Bvh(a)), Surface(Bvh(b)), turn)
    assert ours.distance_mm == pytest.approx(brute, abs=1e-12)
    assert np.linalg.norm(ours.on_moved - ours.on_still) == pytest.approx(brute, abs=1e-9)
    theirs, p, q = collision.distance(collision.Body(a), collision.Body(b), turn)
    assert theirs == pytest.approx(brute, abs=1e-9)
    if brute > 0:
        assert np.linalg.norm(p - q) == pytest.approx(brute, abs=1e-9)


def test_two_spheres_at_a_known_distance() -> None:
    # A facet of a sphere lies inside by up to two chord errors, along and across: 0.02 mm each.
    a, b = sphere(4.0).mesh, sphere(3.0).translated((8.5, 1.0, 0.5)).mesh
    exact = math.sqrt(8.5**2 + 1.0 + 0.25) - 7.0
    found = smallest_gap(Surface(Bvh(a)), Surface(Bvh(b)))
    assert exact <= found.distance_mm <= exact + 0.04
    assert collision.distance(collision.Body(a), collision.Body(b))[0] == pytest.approx(found.distance_mm, abs=1e-9)


def test_concentric_cylinders() -> None:
    # Radial clearance 5.2 - 5: tessellation never eats it, and adds at most two chord errors.
    shaft = cylinder(5.0, -10.0, 10.0)
    bush = subtract(cylinder(8.0, -6.0, 6.0), [cylinder(5.2, -7.0, 7.0, "outside")])
    gap = smallest_gap(Surface(Bvh(shaft.mesh)), Surface(Bvh(bush.mesh))).distance_mm
    assert 0.2 - 1e-9 <= gap <= 0.22


def test_nested_solids_touch_although_their_skins_do_not() -> None:
    outer, inner = collision.Body(sphere(5.0).mesh), collision.Body(sphere(2.0).mesh)
    assert not collision.surfaces_meet(outer, inner)
    assert collision.touching(outer, inner)
    assert collision.touching(inner, outer)
    away = np.eye(4)
    away[0, 3] = 7.5
    assert not collision.touching(inner, outer, away)
    away[0, 3] = 6.5
    assert collision.touching(inner, outer, away)


def test_a_body_in_a_hollow_is_not_inside_the_solid() -> None:
    shell = collision.Body(subtract(sphere(5.0), [sphere(4.0)]).mesh)
    assert not collision.touching(collision.Body(sphere(2.0).mesh), shell)


def test_marked_pairs_left_out_show_in_the_distance() -> None:
    # Loose facing plates, so that no neighbour shares their edges: 1 mm and 3 mm apart.
    def plate(z: float) -> list[list[float]]:
        return [[0.0, 0.0, z], [1.0, 0.0, z], [0.0, 1.0, z]]

    a = Mesh(np.array(plate(0.0)), np.array([[0, 1, 2]], dtype=np.int32))
    b = Mesh(np.array(plate(1.0) + plate(3.0)), np.array([[0, 1, 2], [3, 4, 5]], dtype=np.int32))
    sa, sb = Surface(Bvh(a), np.array([1], np.uint8)), Surface(Bvh(b), np.array([1, 2], np.uint8))
    assert smallest_gap(sa, sb).distance_mm == pytest.approx(1.0)
    assert smallest_gap(sa, sb, rule=Rule(skip_both=1)).distance_mm == pytest.approx(3.0)
    assert smallest_gap(sa, sb, rule=Rule(need_both=1)).distance_mm == pytest.approx(1.0)
    assert smallest_gap(sa, sb, rule=Rule(skip_any=1)).distance_mm == np.inf
