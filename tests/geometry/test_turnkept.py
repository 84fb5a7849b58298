"""What a turn keeps: spans against brute force over triangles, and searches that pass by what they hold apart."""

from __future__ import annotations

import numpy as np
import pytest

from condyle.geometry.bvh import Bvh
from condyle.geometry.frame import rotation_matrix_about
from condyle.geometry.gap import Surface, smallest_gap
from condyle.geometry.mesh import FloatArray, Mesh
from condyle.geometry.primitives import sphere
from condyle.geometry.trianglepair import pair_distance2, triangle_distance
from condyle.geometry.turnkept import heights_of, kept_about_line, kept_about_point


def scattered(rng: np.random.Generator, count: int) -> Mesh:
    """Loose triangles, a few of them long, about the origin."""
    middles = rng.normal(size=(count, 1, 3)) * 4.0
    corners = middles + rng.normal(size=(count, 3, 3)) * rng.choice([0.3, 0.3, 2.0], size=(count, 1, 1))
    return Mesh(corners.reshape(-1, 3), np.arange(3 * count, dtype=np.int32).reshape(-1, 3))


def on_triangles(mesh: Mesh, rng: np.random.Generator) -> FloatArray:
    """Forty points on each triangle (n, 40, 3), corners and middles of sides among them."""
    weights = np.concatenate([np.eye(3), 0.5 * (1.0 - np.eye(3)), rng.dirichlet((1.0, 1.0, 1.0), 34)])
    return np.einsum("pw,nwk->npk", weights, mesh.corners)


@pytest.mark.parametrize("seed", range(4))
def test_spans_hold_every_point_of_their_triangle_and_no_more(seed: int) -> None:
    # Outside judge: points put on the triangles; the greatest values lie at corners (convex functions), so those are met.
    rng = np.random.default_rng(seed)
    surface = Surface(Bvh(scattered(rng, 60)))
    point, axis = rng.normal(size=3), rng.normal(size=3)
    axis /= np.linalg.norm(axis)
    arm = on_triangles(surface.bvh.mesh, rng)[surface.bvh.order] - point
    height = arm @ axis
    for kept, k, values in (
        (kept_about_point(surface, point), 0, np.linalg.norm(arm, axis=2)),
        (kept_about_line(surface, point, axis), 0, height),
        (kept_about_line(surface, point, axis), 1, np.linalg.norm(arm - height[..., None] * axis, axis=2)),
    ):
        low, high = kept.triangles[:, k].T
        assert np.all(values >= low[:, None] - 1e-9)
        assert values.max(axis=1) == pytest.approx(high, abs=1e-9)
        assert kept.nodes[0, k] == pytest.approx((low.min(), high.max()))


@pytest.mark.parametrize("seed", range(6))
def test_a_gap_is_the_same_with_what_the_turn_keeps(seed: int) -> None:
    # Outside judge: the least distance over all pairs of triangles, each measured without a limit.
    rng = np.random.default_rng(seed)
    a, b = (Surface(Bvh(scattered(rng, 40))) for _ in range(2))
    point, axis = rng.normal(size=3), rng.normal(size=3)
    for deg in (0.0, 35.0, -140.0):
        m = rotation_matrix_about(point, axis, deg)
        moved = a.bvh.mesh.corners @ m[:3, :3].T + m[:3, 3]
        least = min(triangle_distance(s, t)[0] for s in moved for t in b.bvh.mesh.corners)
        about = [kept_about_line(s, point, axis) for s in (a, b)]
        ball = [kept_about_point(s, point) for s in (a, b)]
        for one, other in (about, ball, [heights_of(k) for k in about]):
            assert smallest_gap(a, b, m, kept=(one, other)).distance_mm == pytest.approx(least, abs=1e-9)
            below = smallest_gap(a, b, m, limit_mm=0.9 * least + 1e-12, kept=(one, other))
            assert below.distance_mm == np.inf or least == 0.0


def test_concentric_balls_are_told_apart_without_a_look() -> None:
    # Spheres of 5 and 5.5 mm, chord error 0.01 mm: never nearer than 0.49 mm however they are turned.
    ball, socket = (Surface(Bvh(sphere(r).mesh)) for r in (5.0, 5.5))
    kept = tuple(kept_about_point(s, np.zeros(3)) for s in (ball, socket))
    turned = rotation_matrix_about(np.zeros(3), np.array([0.3, 0.4, 0.5]), 77.0)
    assert kept[1].nodes[0, 0, 0] - kept[0].nodes[0, 0, 1] > 0.48
    assert smallest_gap(ball, socket, turned, limit_mm=0.45, kept=(kept[0], kept[1])).distance_mm == np.inf
    assert 0.48 < smallest_gap(ball, socket, turned, kept=(kept[0], kept[1])).distance_mm < 0.52


@pytest.mark.parametrize("seed", range(8))
def test_a_limit_changes_no_distance_below_it(seed: int) -> None:
    # Outside judge: the same pair without a limit; slivers are among them.
    rng = np.random.default_rng(seed)
    told, out = 0, np.empty(6)
    for _ in range(400):
        a, b = rng.normal(size=(2, 3, 3))
        b += rng.normal(size=3) * 2.0
        b[2] = b[0] + rng.choice([1e-13, 1e-7, 1.0]) * (b[2] - b[0])
        true = triangle_distance(a, b)[0]
        limit = rng.uniform(0.2, 2.0)
        found = pair_distance2(a, b, limit**2, out)
        assert found == pytest.approx(min(true, limit) ** 2, rel=1e-9, abs=1e-12)
        told += true > limit
    assert 50 < told < 350
