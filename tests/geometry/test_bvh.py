"""The hierarchy against looking at every triangle, against closed forms, and on rays aimed at edges and vertices."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import Mesh, concatenate
from condyle.geometry.winding import WindingField, winding_number


def icosphere(subdivisions: int = 3, radius: float = 10.0) -> Mesh:
    made = trimesh.creation.icosphere(subdivisions=subdivisions, radius=radius)
    return Mesh(made.vertices, made.faces)


def soup(count: int, seed: int) -> Mesh:
    rng = np.random.default_rng(seed)
    corners = rng.normal(size=(count, 1, 3)) * 10 + rng.normal(size=(count, 3, 3))
    return Mesh(corners.reshape(-1, 3), np.arange(3 * count).reshape(-1, 3))


def brute_distance(mesh: Mesh, points: np.ndarray) -> np.ndarray:
    """Minimum over all triangles: plane foot where it falls inside, else the three edges (plain linear algebra)."""
    best = np.full(len(points), np.inf)
    for a, b, c in mesh.corners:
        for p, q in ((a, b), (b, c), (c, a)):
            t = np.clip(((points - p) @ (q - p)) / ((q - p) @ (q - p)), 0, 1)
            best = np.minimum(best, np.linalg.norm(points - p - t[:, None] * (q - p), axis=1))
        uv, *_ = np.linalg.lstsq(np.stack([b - a, c - a], axis=1), (points - a).T, rcond=None)
        within = (uv[0] >= 0) & (uv[1] >= 0) & (uv.sum(axis=0) <= 1)
        foot = a + uv.T @ np.stack([b - a, c - a])
        best = np.where(within, np.minimum(best, np.linalg.norm(points - foot, axis=1)), best)
    return best


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_closest_agrees_with_every_triangle(seed: int) -> None:
    mesh = soup(300, seed)
    points = np.random.default_rng(seed + 10).normal(size=(200, 3)) * 15
    distance, point, triangle = Bvh(mesh).closest(points)
    np.testing.assert_allclose(distance, brute_distance(mesh, points), atol=1e-9)
    np.testing.assert_allclose(np.linalg.norm(points - point, axis=1), distance, atol=1e-12)
    alone = [brute_distance(mesh.subset(np.arange(300) == t), points[i : i + 1])[0] for i, t in enumerate(triangle)]
    np.testing.assert_allclose(alone, distance, atol=1e-9)


def test_beyond_reach_says_so() -> None:
    distance, point, triangle = Bvh(icosphere()).closest(np.array([[0, 0, 0], [0, 0, 9.9]]), within_mm=1.0)
    assert distance[0] == np.inf and triangle[0] == -1 and np.isnan(point[0]).all()
    assert distance[1] < 0.11 and triangle[1] >= 0


def test_each_point_may_have_a_reach_of_its_own() -> None:
    # Against every triangle, as above.
    mesh = soup(300, 4)
    points = np.random.default_rng(14).normal(size=(200, 3)) * 15
    true = brute_distance(mesh, points)
    reach = true * np.where(np.arange(200) % 2, 1.01, 0.99)
    distance, _, triangle = Bvh(mesh).closest(points, reach)
    np.testing.assert_allclose(distance[1::2], true[1::2], atol=1e-9)
    assert np.isinf(distance[::2]).all() and (triangle[::2] == -1).all()


def test_signed_distance_of_a_sphere() -> None:
    # |p| - r is the exact distance of a sphere; the facets of five subdivisions lie within 0.01 of r = 10 (sagitta).
    rng = np.random.default_rng(4)
    points = rng.normal(size=(500, 3)) * 8
    found = Bvh(icosphere(5)).signed_distance(points)
    np.testing.assert_allclose(found, np.linalg.norm(points, axis=1) - 10.0, atol=0.012)


def test_no_ray_slips_through_edges_and_vertices() -> None:
    mesh = icosphere(4)
    edges = (
        mesh.vertices[mesh.faces].mean(axis=1),
        mesh.vertices,
        0.5 * (mesh.vertices[mesh.faces[:, 0]] + mesh.vertices[mesh.faces[:, 1]]),
    )
    targets = np.concatenate(edges)
    origins = np.zeros_like(targets)
    distance = Bvh(mesh).rays(origins, targets)
    np.testing.assert_allclose(distance, np.linalg.norm(targets, axis=1), rtol=1e-9)
    assert np.isinf(Bvh(mesh).rays(targets * 1.01, targets)).all()


def test_rays_agree_with_every_triangle() -> None:
    mesh = soup(400, 5)
    rng = np.random.default_rng(6)
    origins, directions = rng.normal(size=(300, 3)) * 12, rng.normal(size=(300, 3))
    directions /= np.linalg.norm(directions, axis=1, keepdims=True)
    expected = [[] for _ in origins]
    for t, (a, b, c) in enumerate(mesh.corners):
        for i, (o, d) in enumerate(zip(origins, directions, strict=True)):
            u, v, s = np.linalg.solve(np.stack([b - a, c - a, -d], axis=1), o - a)
            if u >= 0 and v >= 0 and u + v <= 1 and s >= 0:
                expected[i].append((s, t))
    bvh = Bvh(mesh)
    first = [min(hits, default=(np.inf, -1)) for hits in expected]
    distance, triangle = bvh.first_hits(origins, directions)
    np.testing.assert_allclose(distance, [f[0] for f in first], rtol=1e-8)
    np.testing.assert_array_equal(triangle, [f[1] for f in first])
    ray, far, tri = bvh.all_hits(origins, directions)
    flat = [(i, s, t) for i, hits in enumerate(expected) for s, t in sorted(hits)]
    np.testing.assert_array_equal(ray, [f[0] for f in flat])
    np.testing.assert_allclose(far, [f[1] for f in flat], rtol=1e-8)
    np.testing.assert_array_equal(tri, [f[2] for f in flat])


def test_many_equal_triangles_do_not_deepen_the_tree() -> None:
    one = icosphere(0)
    bvh = Bvh(concatenate([one] * 500))
    assert bvh.closest(np.zeros((1, 3)))[0][0] == pytest.approx(
        # Inradius of the regular icosahedron of circumradius 10: R·√((5+2√5)/15) (textbook formula, from memory).
        10 * np.sqrt((5 + 2 * np.sqrt(5)) / 15)
    )


def test_winding_number_of_nested_spheres_counts_covers() -> None:
    # Jacobson et al. 2013, section 3: the winding number of a closed surface is the count of its covers.
    mesh = concatenate([icosphere(3, 10.0), icosphere(3, 5.0)])
    points = np.array([[0, 0, 0], [0, 0, 7.0], [0, 0, 11.0], [4.9, 0, 0], [9.5, 0.1, 0.2]])
    np.testing.assert_allclose(winding_number(mesh, points), [2, 1, 0, 2, 1], atol=1e-9)
    np.testing.assert_allclose(WindingField(Bvh(mesh)).at(points), [2, 1, 0, 2, 1], atol=0.05)


def test_fast_winding_stays_near_the_exact_one_on_an_open_surface() -> None:
    mesh = icosphere(4)
    half = mesh.subset(mesh.corners.mean(axis=1)[:, 2] > 0)
    points = np.random.default_rng(7).uniform(-15, 15, size=(400, 3))
    np.testing.assert_allclose(WindingField(Bvh(half)).at(points), winding_number(half, points), atol=0.04)


def test_a_flat_triangle_is_no_trouble() -> None:
    flat = Mesh(np.array([[0.0, 0, 0], [1, 0, 0], [3, 0, 0], [0, 0, 9], [1, 0, 9], [0, 1, 9]]), [[0, 1, 2], [3, 4, 5]])
    distance, point, triangle = Bvh(flat).closest(np.array([[2.5, 1.0, 0.0]]))
    assert distance[0] == pytest.approx(1.0) and triangle[0] == 0
    np.testing.assert_allclose(point[0], [2.5, 0, 0])


def test_nothing_and_nonsense_are_refused() -> None:
    with pytest.raises(ValueError):
        Bvh(Mesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int32)))
    with pytest.raises(ValueError):
        Bvh(Mesh(np.array([[0, 0, np.nan], [1, 0, 0], [0, 1, 0]]), np.array([[0, 1, 2]])))
    with pytest.raises(ValueError):
        Bvh(icosphere(0)).rays(np.zeros((1, 3)), np.zeros((1, 3)))


@pytest.mark.parametrize(("seed", "size"), [(0, 0.2), (1, 1.0), (2, 4.0)])
def test_a_grid_of_rays_sees_what_each_ray_alone_meets(seed: int, size: float) -> None:
    # The outside judge of single rays is brute force over all triangles, above.
    rng = np.random.default_rng(seed)
    corners = rng.normal(size=(300, 1, 3)) * 3.0 + rng.normal(size=(300, 3, 3)) * size
    bvh = Bvh(Mesh(corners.reshape(-1, 3), np.arange(900, dtype=np.int32).reshape(-1, 3)))
    along = rng.normal(size=3)
    along /= np.linalg.norm(along)
    u = np.cross(along, [1.0, 0.0, 0.0])
    u /= np.linalg.norm(u)
    v, pixel = np.cross(along, u), 0.37
    at = (np.arange(25) - 12.0) * pixel
    # From amid the triangles, so that some lie behind: those are not met.
    origins = -0.5 * along + at[:, None, None] * u + at[None, :, None] * v
    distance, triangle = bvh.first_on_grid(origins, u, v, 2.0 * along, pixel)
    alone, which = bvh.first_hits(origins.reshape(-1, 3), along[None])
    assert np.array_equal(distance.ravel(), alone)
    assert np.array_equal(triangle.ravel(), which)
    assert np.isfinite(distance).sum() > 0
