"""Suction, trapped liquid, peel and hollowing, in forms whose hollows are plain."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from forms import part_of, rules

from condyle.build.layers import layers_of
from condyle.build.resin import DRAIN_MM, WALL_MM, cups, hollowing, peel
from condyle.build.split import split_for_printing
from condyle.build.supports import supports
from condyle.geometry.primitives import box, cylinder, sphere
from condyle.geometry.solid import subtract, union


def block(*tools):
    return subtract(box((-10, -10, 0), (10, 10, 12)), list(tools))


def found(solid):
    return cups(layers_of(solid.mesh, 0.1))


def test_a_cup_open_towards_the_film_sucks_and_one_open_towards_the_plate_does_not():
    # Open at the top, closed below: from its floor on, each layer is a ring round a sealed hollow of 4 mm radius.
    (cup,) = found(block(cylinder(4.0, 3.0, 13.0, "outside")))
    assert cup.area_mm2 == pytest.approx(math.pi * 16.0, rel=0.01)
    assert cup.place[2] == pytest.approx(3.0, abs=0.11) and not cup.closed
    # Sealed by the plate itself, a bell sucks as well; it opens when it leaves the plate.
    (bell,) = found(block(cylinder(4.0, -1.0, 8.0, "outside")))
    assert bell.area_mm2 == pytest.approx(math.pi * 16.0, rel=0.01) and not bell.closed


def test_a_vent_near_the_plate_lets_a_cup_breathe():
    lying = np.array([[0, 0, 1, 0], [1, 0, 0, 0], [0, 1, 0, 3.6], [0, 0, 0, 1]], dtype=float)
    vent = cylinder(1.0, 0.0, 12.0, "outside").transformed(lying)
    got = found(block(cylinder(4.0, 3.0, 13.0, "outside"), vent))
    # Only the floor below the vent is sealed, for the layer or two before the vent begins.
    assert got == [] or got[0].place[2] < 3.3


def test_liquid_stays_where_nothing_ever_opens():
    (void,) = found(block(sphere(3.0, "outside").translated((0, 0, 6))))
    assert void.closed and void.area_mm2 == pytest.approx(math.pi * 9.0, rel=0.02)
    assert found(block(cylinder(1.0, -1.0, 13.0, "outside")))[0].closed is False


def test_the_largest_layer_pulls_hardest():
    pulls = peel(layers_of(union([cylinder(3.0, 0, 10), cylinder(7.0, 4, 6)]).mesh, 0.1))
    assert pulls.area_mm2 == pytest.approx(math.pi * 49.0, rel=0.01)
    assert 4.0 <= pulls.at_mm < 6.0


def test_hollowing_saves_what_lies_deeper_than_the_wall_and_drains_hide():
    solid = box((-12, -12, 0), (12, 12, 24))
    fine = part_of(solid.subdivided(4.0))
    hidden = replace(fine, light_kinds=np.where(np.abs(fine.mesh.normals[:, 2]) > 0.9, 0, 1).astype(np.uint8))
    plan = hollowing(hidden, np.array([0.0, 0.0, 1.0]))
    assert plan is not None
    assert plan.saved_mm3 == pytest.approx((24 - 2 * WALL_MM) ** 3, rel=0.1)
    low, high = plan.drains
    assert low[2] == pytest.approx(0.0) and high[2] == pytest.approx(24.0)
    assert max(abs(low[0]), abs(low[1])) < 12 - WALL_MM - DRAIN_MM / 2 + 0.5
    assert hollowing(part_of(box((0, 0, 0), (8, 8, 8))), np.array([0.0, 0.0, 1.0])) is None


def test_a_dumb_bell_is_worth_splitting_and_a_block_is_not():
    used = rules()
    bell = union([sphere(8.0), cylinder(3.0, 0, 24), sphere(8.0).translated((0, 0, 24))])
    lying = np.array([[0, 0, 1, 0], [1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 0, 1]], dtype=float)
    part = part_of(bell.transformed(lying))
    move = np.eye(4)
    move[2, 3] = 8.0
    before = supports(part, move, used).volume_mm3
    cut = split_for_printing(part, before, np.array([0.0, 0.0, 1.0]), used)
    assert cut is not None
    # Cut along its axis, each half lies on a flat and needs none.
    assert abs(cut.normal[0]) < 0.3 and cut.after_mm3 < 0.1 * before
    assert cut.key_mm == 3.0 and cut.section_mm2 > 200.0
    # A bearing across the cut forbids it.
    shut = part_of(bell.transformed(lying), bearings=(box((-9, -9, -9), (34, 9, 9)),))
    assert split_for_printing(shut, before, np.array([0.0, 0.0, 1.0]), used) is None
    assert split_for_printing(part_of(box((0, 0, 0), (9, 9, 9))), 0.0, np.array([0.0, 0.0, 1.0]), used) is None
