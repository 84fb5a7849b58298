"""Columns through closed meshes against volumes and heights that are known."""

from __future__ import annotations

import math

import numpy as np
import pytest

from condyle.geometry.columns import columns
from condyle.geometry.mesh import Mesh, concatenate
from condyle.geometry.primitives import box, cylinder, sphere
from condyle.geometry.solid import gather, subtract, union


@pytest.mark.parametrize(
    ("solid", "volume"),
    [
        (sphere(5.0), 4.0 / 3.0 * math.pi * 125.0),
        (subtract(box((-6, -6, 0), (6, 6, 9)), [cylinder(3.0, -1, 10)]), 9.0 * (144.0 - 9.0 * math.pi)),
    ],
)
def test_columns_hold_the_volume(solid, volume):
    assert columns(solid.mesh, 0.1).volume_mm3 == pytest.approx(volume, rel=0.004)


def test_every_column_enters_and_leaves_in_turn():
    solid = union([sphere(4.0), box((-9, -1, -1), (9, 1, 1)), cylinder(1.0, -7.0, 7.0)])
    grid = columns(solid.mesh, 0.13)
    assert grid.entry.sum() * 2 == len(grid.entry)
    for c in range(len(grid.start) - 1):
        run = slice(int(grid.start[c]), int(grid.start[c + 1]))
        assert np.all(np.diff(grid.z[run]) >= 0.0)
        assert np.all(grid.entry[run][0::2]) and not np.any(grid.entry[run][1::2])


def test_what_lies_over_and_under_a_place():
    stack = gather([box((-3, -3, 0), (3, 3, 1)), box((-3, -3, 4), (3, 3, 6))])
    grid = columns(stack.mesh, 0.5)
    cell = grid.cell(np.array([[0.0, 0.0], [20.0, 0.0]]))
    over, over_t, under, under_t = grid.between(cell, np.array([2.0, 2.0]))
    assert (over[0], under[0]) == (4.0, 1.0)
    assert stack.mesh.normals[over_t[0], 2] == -1.0 and stack.mesh.normals[under_t[0], 2] == 1.0
    assert over[1] == np.inf and under[1] == -np.inf and over_t[1] == under_t[1] == -1
    assert np.abs(grid.middles(cell[:1])).max() <= 0.5
    inside = grid.within(np.array([-1.0, -1.0]), np.array([1.0, 1.0]))
    assert np.all(np.abs(grid.middles(inside)) <= 1.0) and len(inside) == 16


def test_bodies_that_touch_leave_nothing_between_them():
    # Two boxes face to face, not joined: the columns leave one and enter the other at one height.
    pile = concatenate([box((-2, -2, 0), (2, 2, 2)).mesh, box((-1, -1, 2), (1, 1, 3)).mesh])
    grid = columns(pile, 0.25)
    z, _, entry = grid.at(*(s // 2 for s in grid.shape))
    assert z.tolist() == [0.0, 2.0, 2.0, 3.0] and entry.tolist() == [True, False, True, False]


def test_a_bad_call_is_refused():
    with pytest.raises(ValueError, match="pitch"):
        columns(sphere(1.0).mesh, 0.0)
    with pytest.raises(ValueError, match="without faces"):
        columns(Mesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int32)), 0.1)
