"""Regions of the plane against closed forms of circles, squares and polygons."""

from __future__ import annotations

import math

import numpy as np
import pytest

from condyle.geometry.polygons import disc, rectangle, region_from_rings


def regular(n: int, radius: float, turn_deg: float = 0.0) -> np.ndarray:
    a = math.radians(turn_deg) + 2.0 * math.pi * np.arange(n) / n
    return radius * np.stack([np.cos(a), np.sin(a)], axis=1)


@pytest.mark.parametrize("n", [3, 6, 17])
def test_area_and_centroid_of_a_regular_polygon(n: int) -> None:
    # Area n/2 · r² · sin(2π/n): elementary geometry.
    region = region_from_rings([np.add(regular(n, 4.0), (7.0, -3.0))])
    assert region.area_mm2 == pytest.approx(0.5 * n * 16.0 * math.sin(2.0 * math.pi / n), rel=1e-12)
    assert region.centroid == pytest.approx([7.0, -3.0], abs=1e-12)


def test_rings_in_any_order_and_sense_alternate_between_flesh_and_hole() -> None:
    big, hole, island = regular(40, 6.0), regular(40, 4.0)[::-1], regular(40, 2.0)
    share = 20.0 * math.sin(2.0 * math.pi / 40.0)
    for rings in ([big, hole, island], [island[::-1], hole[::-1], big[::-1]]):
        region = region_from_rings(rings)
        assert region.area_mm2 == pytest.approx(share * (36.0 - 16.0 + 4.0), rel=1e-12)
        assert len(region.components()) == 2
        areas = [
            0.5 * float((r[:, 0] * np.roll(r[:, 1], -1) - np.roll(r[:, 0], -1) * r[:, 1]).sum()) for r in region.rings()
        ]
        assert sum(areas) == pytest.approx(region.area_mm2, rel=1e-12)
        assert sorted(a < 0 for a in areas) == [False, False, True]


def test_depth_is_the_distance_to_the_outline_and_negative_outside() -> None:
    square = rectangle((-2.0, -3.0), (2.0, 3.0))
    assert square.depth((0.0, 0.0)) == pytest.approx(2.0)
    assert square.depth((1.5, 0.0)) == pytest.approx(0.5)
    assert square.depth((5.0, 7.0)) == pytest.approx(-5.0)  # 3-4-5 triangle to the corner
    ring = square - rectangle((-1.0, -1.0), (1.0, 1.0))
    assert ring.depth((0.0, 0.0)) == pytest.approx(-1.0)
    assert ring.reach((0.0, 0.0)) == pytest.approx(math.hypot(2.0, 3.0))


def test_span_goes_to_the_first_outline_only() -> None:
    comb = rectangle((-2.0, -1.0), (2.0, 1.0)) | rectangle((3.0, -1.0), (9.0, 1.0))
    assert comb.span((0.0, 0.0), (1.0, 0.0)) == pytest.approx(2.0)
    assert comb.span((0.0, 0.0), (0.0, -1.0)) == pytest.approx(1.0)
    assert comb.span((2.5, 0.0), (1.0, 0.0)) == 0.0


def test_spans_from_off_the_middle_of_a_square_are_those_of_its_sides() -> None:
    # By construction: 3 and 1 mm along x, 4 and 2 mm along y, and the nearer side along the diagonal.
    ways = np.array([[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0], [math.sqrt(0.5), math.sqrt(0.5)]])
    square = rectangle((0.0, 0.0), (4.0, 6.0))
    assert square.spans((1.0, 2.0), ways) == pytest.approx([3.0, 1.0, 4.0, 2.0, 3.0 * math.sqrt(2.0)])
    assert square.spans((5.0, 2.0), ways).tolist() == [0.0] * 5


@pytest.mark.parametrize("by", [0.5, 2.0])
def test_offset_obeys_steiners_formula(by: float) -> None:
    # Steiner: area + perimeter·d + π d² for a convex body; its corners' chord error only takes away.
    grown = rectangle((-2.0, -3.0), (2.0, 3.0)).offset(by, chord_mm=0.02)
    exact = 24.0 + 20.0 * by + math.pi * by**2
    assert exact - 2.0 * math.pi * by * 0.02 <= grown.area_mm2 <= exact + 1e-9
    shrunk = rectangle((-2.0, -3.0), (2.0, 3.0)).offset(-by)
    assert shrunk.area_mm2 == pytest.approx((4.0 - 2.0 * by) * (6.0 - 2.0 * by), abs=1e-9)


def test_offset_keeps_its_chord_error() -> None:
    grown = rectangle((-1.0, -1.0), (1.0, 1.0)).offset(3.0, chord_mm=0.01)
    (ring,) = grown.rings()
    # Only the round corners: their middles must lie within the chord error of the true arc about the square's corner.
    middles = 0.5 * (ring + np.roll(ring, -1, axis=0))
    corner = middles[(np.abs(middles) > 1.0 + 1e-9).all(axis=1)]
    assert len(corner) > 8
    assert np.linalg.norm(np.abs(corner) - 1.0, axis=1) == pytest.approx(3.0, abs=0.01)


def test_mirror_turns_y_and_nothing_else() -> None:
    region = region_from_rings([np.array([[0.0, 0.0], [4.0, 0.0], [1.0, 2.0]])])
    other = region.mirrored()
    assert other.area_mm2 == pytest.approx(region.area_mm2)
    assert other.centroid == pytest.approx([region.centroid[0], -region.centroid[1]])
    assert (region & other).empty or (region & other).area_mm2 < 1e-12


def test_inscribed_circle_of_a_right_triangle() -> None:
    # Inradius of the 3-4-5 triangle: (3 + 4 - 5)/2 = 1, centred at (1, 1).
    middle, radius = region_from_rings([np.array([[0.0, 0.0], [4.0, 0.0], [0.0, 3.0]])]).inscribed_circle()
    assert radius == pytest.approx(1.0, abs=0.025)
    assert middle == pytest.approx([1.0, 1.0], abs=0.05)


def test_intersection_drops_touching_edges() -> None:
    shared = rectangle((0, 0), (1, 1)) & rectangle((1, 0), (2, 1))
    assert shared.empty and shared.area_mm2 == 0.0 and shared.components() == []


def test_empty_regions_refuse_what_they_cannot_answer() -> None:
    nothing = rectangle((0, 0), (1, 1)) - rectangle((-1, -1), (2, 2))
    with pytest.raises(ValueError):
        _ = nothing.centroid
    with pytest.raises(ValueError):
        nothing.inscribed_circle()


@pytest.mark.parametrize("radius", [1.0, 5.0, 20.0])
def test_a_disc_is_near_its_circle(radius: float) -> None:
    # 96 sides: area falls short of π r² by the factor sin(x)/x, x = 2π/96, 0.07 %.
    region = disc((2.0, 3.0), radius)
    assert region.area_mm2 == pytest.approx(math.pi * radius**2, rel=8e-4)
    assert region.reach((2.0, 3.0)) == pytest.approx(radius, rel=1e-9)
