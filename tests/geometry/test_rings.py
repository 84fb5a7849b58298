"""Rings and spans hold every point of what they are told of, and are no wider than they need be."""

from __future__ import annotations

import math

import numpy as np
import pytest

from condyle.geometry.bvh import Bvh
from condyle.geometry.frame import unit
from condyle.geometry.gap import Surface
from condyle.geometry.primitives import cylinder, sphere
from condyle.geometry.rings import NO_SPANS, know, rings_about, rings_meet, spans_about, tree_of
from condyle.geometry.solid import Solid


def surface(solid: Solid) -> Surface:
    return Surface(Bvh(solid.mesh))


def test_spans_are_the_nearest_and_furthest_distance_of_a_surface() -> None:
    solid = cylinder(2.0, 3.0, 5.0)
    low, high = spans_about(surface(solid), np.zeros(3)).nodes[0]
    assert low == pytest.approx(3.0)
    assert high == pytest.approx(float(np.linalg.norm(solid.mesh.vertices, axis=1).max()))


def test_a_nodes_ring_holds_every_point_below_it() -> None:
    # By drawing points of the triangles; radius, height and angle by their definitions in cylinder coordinates (Euclid).
    rng = np.random.default_rng(2)
    found = surface(sphere(3.0).translated((4.0, 1.0, -2.0)))
    centre, axis = np.array([0.5, -0.2, 0.3]), unit(np.array([0.3, -0.5, 0.8]))
    rings = rings_about(found, centre, axis)
    bvh = found.bvh
    tree = tree_of(found, NO_SPANS, rings)
    for node in range(len(bvh.nodes)):
        know(tree, node, np.empty((3, 3)))
        first, last = node, node
        while bvh.nodes[first, 1] == 0:
            first += 1
        while bvh.nodes[last, 1] == 0:
            last = bvh.nodes[last, 2]
        corners = bvh.triangles[bvh.nodes[first, 0] : bvh.nodes[last, 0] + bvh.nodes[last, 1]]
        weights = rng.dirichlet((1.0, 1.0, 1.0), size=len(corners))
        d = np.concatenate([corners.reshape(-1, 3), np.einsum("ij,ijk->ik", weights, corners)]) - centre
        x, y, h = d @ rings.line[2], d @ rings.line[3], d @ axis
        low, high, below, above, middle, half = tree.around[node]
        assert low - 1e-9 <= np.hypot(x, y).min() and np.hypot(x, y).max() <= high + 1e-9
        assert below - 1e-9 <= h.min() and h.max() <= above + 1e-9
        off = (np.arctan2(y, x) - middle + math.pi) % (2 * math.pi) - math.pi
        assert np.abs(off).max() <= half + 1e-9


@pytest.mark.parametrize("sense", [1.0, -1.0])
def test_rings_meet_between_the_angles_at_which_two_points_come_near(sense: float) -> None:
    # Two points on a circle of radius 5, 60° apart, come within 1 mm at 60° − 2·asin(0.1) (chord of a circle, Euclid).
    a, b = np.array([5.0, 5.0, 0.0, 0.0, 0.0, 0.0]), np.array([5.0, 5.0, 0.0, 0.0, sense * math.pi / 3, 0.0])
    enter, leave = rings_meet(a[None], 0, b[None], 0, 0.0, sense, 1.0, math.pi)
    exact = 2.0 * math.asin(0.1)
    assert enter <= math.pi / 3 - exact <= enter + 0.01
    assert leave - 0.01 <= math.pi / 3 + exact <= leave
    assert rings_meet(a[None], 0, (b + np.array([1.1, 1.1, 0, 0, 0, 0]))[None], 0, 0.0, sense, 1.0, math.pi) == (
        math.inf,
        math.inf,
    )
    assert rings_meet(a[None], 0, (b + np.array([0, 0, 1.1, 1.1, 0, 0]))[None], 0, 0.0, sense, 1.0, math.pi) == (
        math.inf,
        math.inf,
    )
    # Already there at the start, and back after a whole turn less the angle.
    assert rings_meet(a[None], 0, a[None], 0, 0.0, sense, 1.0, 6.28) == (0.0, math.inf)
    assert rings_meet(a[None], 0, a[None], 0, 0.0, sense, 1.0, math.pi) == (0.0, pytest.approx(exact, abs=0.01))
