"""Crossings against every pair of triangles, the last-resort rebuilding, deviations of known size, welding."""

from __future__ import annotations

import numpy as np
import pytest
from mend_bodies import ball, block, knot, together

from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import Mesh
from condyle.geometry.repair.crossing import Crossings, crossings_of
from condyle.geometry.repair.deviation import one_sided, two_sided
from condyle.geometry.repair.rebuild import rebuilt
from condyle.geometry.repair.simplify import simplified
from condyle.geometry.repair.uncross import clusters_of, disagreement
from condyle.geometry.repair.weld import welded
from condyle.geometry.solid import solid_from_mesh


def soup(count: int, seed: int) -> Mesh:
    rng = np.random.default_rng(seed)
    corners = rng.normal(size=(count, 1, 3)) * 1.5 + rng.normal(size=(count, 3, 3))
    return Mesh(corners.reshape(-1, 3), np.arange(3 * count).reshape(-1, 3))


def pierces(p: np.ndarray, q: np.ndarray, tri: np.ndarray) -> bool:
    """Whether segment p-q meets a triangle, by solving p + s (q - p) = a + u (b - a) + v (c - a)."""
    a, b, c = tri
    s, u, v = np.linalg.solve(np.stack([p - q, b - a, c - a], axis=1), p - a)
    return bool(0 < s < 1 and u >= 0 and v >= 0 and u + v <= 1)


def test_crossings_agree_with_every_pair() -> None:
    mesh = soup(120, 2)
    expected = set()
    for i in range(120):
        for j in range(i + 1, 120):
            s, t = mesh.corners[i], mesh.corners[j]
            if any(pierces(s[k], s[k - 1], t) or pierces(t[k], t[k - 1], s) for k in range(3)):
                expected.add((i, j))
    found = crossings_of(Bvh(mesh))
    assert len(expected) > 50
    assert {(int(a), int(b)) for a, b in found.pairs} == expected


def test_neighbours_do_not_cross() -> None:
    assert len(crossings_of(Bvh(ball()))) == 0 and len(crossings_of(Bvh(block()))) == 0


def test_many_crossings_in_one_place_cost_no_more_than_their_number() -> None:
    """Two clouds 40 mm apart, by the clouds' own bounds; all pairs of near points would not fit any memory."""
    count = 200_000
    cloud = np.random.default_rng(5).uniform(0.0, 2.0, (count, 3))
    cloud[count // 2 :] += [40.0, 0, 0]
    pairs = np.arange(2 * count).reshape(-1, 2)
    boxes = clusters_of(Crossings(pairs, cloud))
    halves = cloud.reshape(2, -1, 3)
    assert boxes == pytest.approx(np.stack([halves.min(axis=1) - 0.25, halves.max(axis=1) + 0.25], axis=1))


def test_what_hangs_together_is_found_as_by_every_pair() -> None:
    """Against merging boxes one by one until no two touch."""
    rng = np.random.default_rng(11)
    points = rng.uniform(0.0, 9.0, (150, 3))
    boxes = [(p - 0.25, p + 0.25) for p in points]
    while True:
        for i, (low, high) in enumerate(boxes):
            met = [k for k, (a, b) in enumerate(boxes) if k > i and (a < high + 1e-3).all() and (b > low - 1e-3).all()]
            if met:
                one = [boxes[i], *(boxes[k] for k in met)]
                boxes = [b for k, b in enumerate(boxes) if k != i and k not in met]
                boxes.append((np.min([b[0] for b in one], axis=0), np.max([b[1] for b in one], axis=0)))
                break
        else:
            break
    expected = np.array(sorted(boxes, key=lambda b: (b[0][2], b[0][1], b[0][0])))
    assert 10 < len(expected) < 140
    assert clusters_of(Crossings(np.arange(300).reshape(-1, 2), points)) == pytest.approx(expected)


@pytest.mark.parametrize("all_of_it", [False, True])
def test_rebuilding_fills_what_the_winding_number_says(all_of_it: bool) -> None:
    mesh, volume = knot()
    solid = solid_from_mesh(mesh)
    bvh = Bvh(solid.mesh)
    made = rebuilt(solid, bvh, clusters_of(crossings_of(bvh)), all_of_it=all_of_it)
    assert made.solid.volume_mm3 == pytest.approx(volume, rel=5e-3)
    assert len(made.steps_mm) == (1 if all_of_it else 0)
    assert disagreement(bvh, Bvh(made.solid.mesh)) < 5e-3 * volume


def test_deviation_of_parallel_and_dented_surfaces() -> None:
    # Concentric spheres: the samples of the larger lie r₂ - r₁ off, to the facets' sagitta (0.004 at four subdivisions).
    inner, outer = Bvh(ball(10.0)), Bvh(ball(10.5))
    assert two_sided(inner, outer)[0] == pytest.approx(0.5, abs=0.03)
    # A spike that only one of two flat surfaces has is seen from that side alone.
    flat = block()
    spiked = flat.vertices.copy()
    top = int(np.argmin(np.linalg.norm(flat.vertices - [0, 0, 15], axis=1)))
    spiked[top, 2] += 3.0
    a, b = Bvh(flat), Bvh(Mesh(spiked, flat.faces))
    there, place = one_sided(b, a)
    assert there == pytest.approx(3.0, abs=1e-9) and place == pytest.approx((0, 0, 18.0), abs=1e-9)
    assert one_sided(a, b)[0] < 3.0 and two_sided(a, b)[0] == pytest.approx(3.0)


@pytest.mark.parametrize("deviation_mm", [0.1, 0.02, 0.005, 0.0])
def test_simplification_keeps_its_word(deviation_mm: float) -> None:
    bumpy = ball(20.0, subdivisions=5)
    v = bumpy.vertices * (1 + 0.01 * np.sin(bumpy.vertices[:, :1]) * np.cos(bumpy.vertices[:, 1:2]))
    solid = solid_from_mesh(Mesh(v, bumpy.faces))
    made = simplified(solid, Bvh(solid.mesh), deviation_mm)
    measured, _ = two_sided(Bvh(solid.mesh), Bvh(made.solid.mesh))
    assert measured <= deviation_mm + 1e-12 and made.deviation_mm == pytest.approx(measured, abs=1e-11)
    assert made.solid.genus == 0
    assert (made.solid.triangle_count < solid.triangle_count) == (deviation_mm > 0)


def test_welding_agrees_with_unique() -> None:
    mesh = block()
    soup_ = Mesh(mesh.corners.reshape(-1, 3), np.arange(3 * mesh.triangle_count).reshape(-1, 3))
    made = welded(soup_)
    assert len(made.vertices) == len(np.unique(soup_.vertices, axis=0))
    np.testing.assert_array_equal(made.corners, mesh.corners)
    # Plus and minus nothing are the same place; unused vertices go.
    two = welded(
        Mesh(np.array([[0.0, 1, 2], [-0.0, 1, 2], [3, 4, 5], [6, 7, 9], [8, 8, 8]]), np.array([[0, 2, 3], [1, 3, 2]]))
    )
    assert len(two.vertices) == 3


def test_disagreement_is_the_volume_of_the_difference() -> None:
    # Blocks shifted by 2 mm along x: 2 · (2 · 10 · 30) = 1200 mm³ lie in one of them only.
    found = disagreement(Bvh(block()), Bvh(block(at=(2, 0, 0))))
    assert found == pytest.approx(1200.0, rel=0.02)
    assert disagreement(Bvh(together(block())), Bvh(block())) == 0.0
