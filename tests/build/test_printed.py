"""The shape as printed: the design itself for an ideal process, and each error where the printer's card puts it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from forms import rules

from condyle.build.chamfer import chamfered
from condyle.build.layers import layers_of
from condyle.build.printed import as_printed
from condyle.geometry.bvh import Bvh
from condyle.geometry.primitives import box, cylinder, sphere
from condyle.geometry.solid import Solid, subtract, union

IDEAL = rules(line_mm=0.0, hole_error_mm=0.0, shaft_error_mm=0.0, first_layer_spread_mm=0.0)
HERE = np.eye(4)


def printed(solid: Solid, used):
    return as_printed(layers_of(solid.mesh, used.layer_mm), HERE, used)


def plate_with_holes() -> Solid:
    bores = [cylinder(3.0, -1, 6, "outside"), cylinder(1.5, -1, 6, "outside").translated((7, 0, 0))]
    return subtract(box((-10, -10, 0), (10, 10, 5)), bores)


def widths(region, middle) -> float:
    """Mean diameter of a region's hole about a point, from its outline alone."""
    holes = [r for r in region.rings() if np.ptp(r[:, 0]) < 10.0]
    ring = min(holes, key=lambda r: float(np.linalg.norm(r.mean(axis=0) - middle)))
    x, y = (ring - middle).T
    area = 0.5 * abs(float(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1))))
    return 2.0 * math.sqrt(area / math.pi)


def test_an_ideal_process_prints_the_design():
    from dataclasses import replace

    solid = union(
        [plate_with_holes(), sphere(3.0).translated((-6.0, 0.0, 6.0)), cylinder(1.0, 0, 9).translated((0, 7, 0))]
    )
    fine = replace(IDEAL, layer_mm=0.05)
    got = printed(solid, fine)
    assert got.volume_mm3 == pytest.approx(solid.volume_mm3, rel=1e-3)
    assert got.lost == ()
    assert got.solid(60, 100).volume_mm3 == pytest.approx(
        solid.trimmed((0, 0, 1), 3.0).trimmed((0, 0, -1), -5.0).volume_mm3, rel=2e-3
    )
    # Signed distances to the printed shape are those to the design, but for half a layer: measured on the design's own
    # triangles, which know nothing of layers.
    points = np.random.default_rng(1).uniform([-11, -11, -0.5], [11, 11, 9.5], (400, 3))
    true = Bvh(solid.mesh).signed_distance(points)
    near = np.abs(true) < 0.4
    assert near.sum() > 40
    assert np.abs(got.signed_distance(points)[near] - true[near]).max() < 0.5 * fine.layer_mm + 0.006


@pytest.mark.parametrize("error", [-0.3, -0.15, 0.0, 0.2])
def test_a_holes_diameter_follows_the_calibration(error):
    used = rules(line_mm=0.0, shaft_error_mm=0.0, first_layer_spread_mm=0.0, hole_error_mm=error)
    layer = printed(plate_with_holes(), used).regions[10]
    drawn = printed(plate_with_holes(), IDEAL).regions[10]
    for middle in (np.zeros(2), np.array([7.0, 0.0])):
        assert widths(layer, middle) - widths(drawn, middle) == pytest.approx(error, abs=0.01)
    # The outside is no hole.
    assert np.allclose(layer.bounds, drawn.bounds, atol=1e-6)


def test_a_bore_with_a_slit_in_its_wall_is_still_a_bore():
    slit = subtract(plate_with_holes(), [box((-0.3, -11, -1), (0.3, 0, 6))])
    used = rules(line_mm=0.0, shaft_error_mm=0.05, first_layer_spread_mm=0.0, hole_error_mm=-0.2)
    layer = printed(slit, used).regions[10]
    gap = layer.gaps(np.zeros((1, 2)))[0]
    assert gap == pytest.approx(3.0 - 0.1, abs=0.02)
    # The slit, 0.6 mm wide, loses a tenth on each side; the outline grows by half of the shaft's error.
    assert layer.gaps(np.array([[0.0, -6.0]]))[0] == pytest.approx(0.2, abs=0.01)
    assert layer.bounds[1, 0] == pytest.approx(10.025, abs=0.005)
    assert layer.gaps(np.array([[0.0, -9.95]]))[0] == pytest.approx(0.2, abs=0.03)  # the mouth stays open


@pytest.mark.parametrize("error", [-0.1, 0.05, 0.3])
def test_a_shafts_diameter_follows_the_calibration(error):
    used = rules(line_mm=0.0, hole_error_mm=-0.2, first_layer_spread_mm=0.0, shaft_error_mm=error)
    layer = printed(cylinder(4.0, 0, 5), used).regions[10]
    drawn = printed(cylinder(4.0, 0, 5), IDEAL).regions[10]
    grown = 2.0 * math.sqrt(layer.area_mm2 / math.pi) - 2.0 * math.sqrt(drawn.area_mm2 / math.pi)
    assert grown == pytest.approx(error, abs=0.005)


def test_what_is_narrower_than_a_line_is_left_out_and_told():
    used = rules(hole_error_mm=0.0, shaft_error_mm=0.0, first_layer_spread_mm=0.0)
    block = box((0, 0, 0), (10, 10, 3.2))
    thin = union([block, box((9, 4, 0), (14, 4.0 + 0.8 * used.line_mm, 3.2))])
    thick = union([block, box((9, 4, 0), (14, 4.0 + 1.2 * used.line_mm, 3.2))])
    gone, stays = printed(thin, used), printed(thick, used)
    # A round line leaves a fillet where the wall meets the block.
    assert gone.regions[5].bounds[1, 0] == pytest.approx(10.0, abs=0.25 * used.line_mm)
    assert gone.lost_mm3 == pytest.approx(4.0 * 0.8 * used.line_mm * 3.2, rel=0.1)
    assert all(10.0 < x.place[0] < 14.0 for x in gone.lost)
    assert stays.regions[5].bounds[1, 0] == pytest.approx(14.0, abs=0.02)
    assert stays.lost == ()


def test_the_first_layers_spread_and_a_chamfer_takes_it_back():
    used = rules(line_mm=0.0, hole_error_mm=0.0, shaft_error_mm=0.0, first_layer_spread_mm=0.2)
    block = box((-5, -5, 0), (5, 5, 4))
    got = printed(block, used)
    assert got.regions[0].bounds[1, 0] == pytest.approx(5.2, abs=1e-3)
    assert got.regions[1].bounds[1, 0] == pytest.approx(5.1, abs=1e-3)
    assert got.regions[2].bounds[1, 0] == pytest.approx(5.0, abs=1e-3)
    cut = chamfered(block, used)
    assert cut.volume_mm3 < block.volume_mm3
    again = printed(cut, used)
    for k in range(3):
        assert np.allclose(again.regions[k].bounds[1], [5.0, 5.0], atol=2e-3)


def test_slopes_are_stairs_of_one_layer():
    used = rules(line_mm=0.0, hole_error_mm=0.0, shaft_error_mm=0.0, first_layer_spread_mm=0.0, layer_mm=0.2)
    got = printed(sphere(5.0).translated((0, 0, 5.0)), used)
    rng = np.random.default_rng(2).normal(size=(500, 3))
    on = 5.0 * rng / np.linalg.norm(rng, axis=1, keepdims=True)
    off = got.signed_distance(on + np.array([0.0, 0.0, 5.0]))
    # The stair leaves the face by at most half a layer, more where it is flat and less where it is steep.
    assert np.abs(off).max() <= 0.1 + 0.02
    assert abs(off.mean()) < 0.01
    steep = np.abs(on[:, 2]) < 1.0
    assert np.abs(off[steep]).max() < 0.03


def test_near_a_place_the_shape_is_that_of_the_whole_part():
    # A fork whose prongs are 5.4 mm apart, less than the disc of 6 mm that tells pockets: the prong across makes this one's
    # face a pocket's, however small the ball that is asked for.
    used = rules()
    fork = union([box((-12, -6, 0), (12, 6, 3)), box((-12, 2.7, 0), (12, 6, 8)), box((-12, -6, 0), (12, -2.7, 8))])
    layers = layers_of(fork.mesh, used.layer_mm)
    middle = np.array([3.0, 3.3, 5.5])
    way = np.random.default_rng(3).normal(size=(200, 3))
    points = middle + 0.7 * way / np.linalg.norm(way, axis=1, keepdims=True)
    whole = as_printed(layers, HERE, used).signed_distance(points, 0.5)
    # The ball holds what is looked at around each point.
    part = as_printed(layers, HERE, used, [(tuple(middle), 0.7 + 0.5)]).signed_distance(points, 0.5)
    assert (np.abs(whole) < 0.4).sum() > 20
    assert np.abs(part - whole).max() < 1e-3
