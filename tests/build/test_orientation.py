"""The build orientation: what is chosen for forms whose best position is plain, and that nothing on offer was lost."""

from __future__ import annotations

import numpy as np
import pytest
from forms import part_of, rules

from condyle.build.directions import around, even, flats, square_to
from condyle.build.faces import Neck
from condyle.build.orientation import NEXT_BEST, orient
from condyle.build.plan import plan_part
from condyle.build.tradeoff import costs, criteria, front
from condyle.build.weigh import COLUMN, scales_of, upright, weigh
from condyle.errors import UsageError
from condyle.geometry.primitives import box, cylinder, sphere
from condyle.geometry.solid import subtract, union
from condyle.workshop.bench import load_workshop

PLA = load_workshop().material
RULES = rules()


def turned(solid, direction):
    """The solid with its z axis along a direction."""
    move = np.eye(4)
    move[:3, :3] = upright(np.asarray(direction) / np.linalg.norm(direction)).T
    return solid.transformed(move)


def test_even_directions_leave_no_gap():
    ways = even(320)
    assert np.allclose(np.linalg.norm(ways, axis=1), 1.0)
    # A cap of half angle a has the share (1 - cos a) / 2 of a sphere; 320 even ones cover it with caps of some 8°.
    probes = np.random.default_rng(0).normal(size=(4000, 3))
    probes /= np.linalg.norm(probes, axis=1, keepdims=True)
    assert np.degrees(np.arccos((probes @ ways.T).max(axis=1))).max() < 9.5
    assert np.allclose(square_to(np.array([0.6, 0.0, 0.8])) @ [0.6, 0.0, 0.8], 0.0, atol=1e-12)
    assert np.allclose(around(np.array([0.0, 0.0, 1.0]), 5.0) @ [0, 0, 1], np.cos(np.radians(5.0)))


def test_the_largest_flat_comes_first_whatever_way_the_part_is_turned():
    way = np.array([0.48, -0.6, 0.64])
    solid = turned(box((-10, -6, 0), (10, 6, 3)), way)
    first, second = flats(solid.mesh.vertices)[:2]
    assert abs(float(first @ way)) == pytest.approx(1.0, abs=1e-9)
    assert float(first @ second) == pytest.approx(-1.0, abs=1e-9)


@pytest.mark.parametrize("way", [(0, 0, 1), (1, 2, 2), (-0.3, 0.9, -0.4)])
def test_a_mushroom_is_printed_cap_down(way):
    solid = turned(union([cylinder(2.0, 0.0, 13.0), cylinder(8.0, 12.0, 15.0)]), way)
    found = orient(part_of(solid), RULES, PLA)
    up = np.asarray(way) / np.linalg.norm(way)
    assert float(found.direction @ up) == pytest.approx(-1.0, abs=1e-4)
    assert found.chosen.measures["support_mm3"] == 0.0
    low = solid.mesh.transformed(found.transform).bounds
    assert low[0, 2] == pytest.approx(0.0, abs=1e-9) and np.allclose(low.mean(axis=0)[:2], 0.0, atol=1e-9)


def test_a_pin_is_kept_and_said():
    solid = union([cylinder(2.0, 0.0, 13.0), cylinder(8.0, 12.0, 15.0)])
    found = orient(part_of(solid), RULES, PLA, pin=np.array([0.0, 0.0, 2.0]))
    assert found.pinned and np.allclose(found.direction, [0, 0, 1])
    assert "pins" in found.reasons[0]
    assert len(found.alternatives) == 2
    with pytest.raises(UsageError) as caught:
        orient(part_of(solid), RULES, PLA, pin=np.zeros(3))
    assert caught.value.code == "orientation.pin"


def test_a_thin_neck_is_laid_into_the_layers_and_an_upright_one_costs_more():
    # A slim bar with a neck along it: nothing but the neck speaks against standing it up.
    bar = box((-2.2, -2.2, 0), (2.2, 2.2, 9))
    plain = orient(part_of(bar), RULES, PLA)
    neck = Neck("joint", (0.0, 0.0, 4.0), (0.0, 0.0, 1.0), 3.0, stress_mpa=30.0)
    held = orient(part_of(bar, necks=(neck,)), RULES, PLA)
    assert abs(held.direction[2]) < 0.1
    assert held.chosen.measures["neck_share"] < 0.02
    # 30 MPa across layers that bear 0.52 of 40 MPa.
    standing = weigh(scales_of(part_of(bar, necks=(neck,)), 0.52, 40.0), np.array([[0.0, 0.0, 1.0]]), RULES)
    assert standing[0, COLUMN["neck_share"]] == pytest.approx(30.0 / (0.52 * 40.0), rel=1e-6)
    assert plain.chosen.measures["neck_share"] == 0.0


def test_supports_keep_out_of_a_bore():
    # A bore of 8 mm lying in a block: its roof hangs. Upright, nothing touches it, and a little more height is no price.
    lying = np.array([[1, 0, 0, 0], [0, 0, 1, 0], [0, -1, 0, 0], [0, 0, 0, 1]], dtype=float)
    bore = cylinder(4.0, -10, 10, "outside").transformed(lying)
    solid = subtract(box((-9, -6, -7), (9, 6, 7)), [bore])
    part = part_of(solid, bearings=(cylinder(4.2, -7, 7).transformed(lying),))
    as_drawn = weigh(scales_of(part, 0.5, 40.0), np.array([[0.0, 0.0, 1.0]]), RULES)[0]
    assert as_drawn[COLUMN["bearing_mm2"]] > 20.0
    found = plan_part(part, RULES, PLA)
    assert abs(found.orientation.direction[1]) > 0.99
    assert found.supports.bearing_mm2 + found.supports.feet_bearing_mm2 == 0.0


def test_the_front_holds_everything_that_nothing_beats():
    rng = np.random.default_rng(3)
    cost = np.round(rng.random((300, 4)), 1)
    kept = front(cost)
    for k in range(len(cost)):
        beaten = bool(np.any(np.all(cost <= cost[k] - 0.0, axis=1) & np.any(cost < cost[k] - 0.05, axis=1)))
        if beaten:
            assert not kept[k]
    # Every row is matched or beaten by a kept one.
    best = cost[kept]
    assert all(np.any(np.all(best <= row + 1e-9, axis=1)) for row in cost)


def test_the_choice_and_its_alternatives_lie_on_the_front_and_apart():
    solid = union([box((-8, -5, 0), (8, 5, 4)), cylinder(2.0, 0.0, 18.0), sphere(4.0).translated((0, 0, 20))])
    found = orient(part_of(solid), RULES, PLA)
    ways = np.array([found.chosen.direction, *(a.direction for a in found.alternatives)])
    assert len(ways) == 3
    apart = np.degrees(np.arccos(np.clip(ways @ ways.T, -1, 1)))[np.triu_indices(3, 1)]
    assert apart.min() > 20.0
    assert NEXT_BEST not in {a.better_at for a in found.alternatives}
    for way in ways:
        k = int(np.argmax(found.directions @ way))
        assert found.on_front[k]
    wanted = criteria(RULES, solid.volume_mm3, 1.0, 0.0, False)
    assert costs(found.measures, wanted).shape == (len(found.directions), len(wanted))
    assert all(a.better_at and a.words.startswith("its ") for a in found.alternatives)


def test_the_same_part_gives_the_same_answer():
    solid = union([box((-8, -5, 0), (8, 5, 4)), cylinder(2.0, 0.0, 18.0)])
    a, b = (orient(part_of(solid), RULES, PLA, workers=w) for w in (1, 2))
    assert a.chosen.direction == b.chosen.direction
    assert np.array_equal(a.measures, b.measures)


def test_a_part_too_large_for_the_plate_is_told():
    solid = box((0, 0, 0), (120, 12, 12))
    small = rules(plate_mm=(100.0, 100.0, 200.0))
    found = orient(part_of(solid), small, PLA)
    assert abs(found.direction[0]) > 0.9 or found.chosen.measures["over_plate_mm"] == 0.0
    none = orient(part_of(box((0, 0, 0), (400, 12, 12))), small, PLA)
    assert none.chosen.measures["over_plate_mm"] > 50.0
