"""Voxels against formulas for spheres and boxes."""

from __future__ import annotations

import numpy as np
import pytest

from condyle.geometry.mesh import Mesh, concatenate
from condyle.geometry.primitives import box, sphere
from condyle.geometry.voxels import voxelise


def test_the_volume_of_a_sphere() -> None:
    """4/3 π r³; cells cut by the skin are counted or not by their middles, so the error shrinks with the pitch."""
    found = voxelise(sphere(10.0).mesh, 0.25)
    assert found.inside.sum() * 0.25**3 == pytest.approx(4.0 / 3.0 * np.pi * 1000.0, rel=0.005)


def test_cells_are_judged_by_their_middles() -> None:
    found = voxelise(sphere(10.0).mesh, 0.5)
    cells = np.argwhere(np.ones_like(found.inside))
    radius = np.linalg.norm(found.to_mm(cells), axis=1)
    inside = found.inside[tuple(cells.T)]
    assert inside[radius < 9.97].all() and not inside[radius > 10.0].any()


def test_overlapping_shells_stay_inside() -> None:
    both = concatenate([sphere(5.0).mesh, sphere(5.0).translated((4.0, 0.0, 0.0)).mesh])
    found = voxelise(both, 0.25)
    lens = np.pi * (4.0 * 5.0 + 4.0) * (2.0 * 5.0 - 4.0) ** 2 / 12.0  # two spheres r, d apart: π(4r+d)(2r−d)²/12
    assert found.inside.sum() * 0.25**3 == pytest.approx(8.0 / 3.0 * np.pi * 125.0 - lens, rel=0.01)


def test_a_box_on_the_grids_own_numbers_has_no_holes() -> None:
    found = voxelise(box((0.0, 0.0, 0.0), (8.0, 4.0, 6.0)).mesh, 0.5)
    assert found.inside.sum() == 16 * 8 * 12


def test_depth_is_the_distance_to_the_skin() -> None:
    found = voxelise(box((-10.0, -10.0, -10.0), (10.0, 10.0, 10.0)).mesh, 0.5)
    cells = np.argwhere(found.inside)
    true = 10.0 - np.abs(found.to_mm(cells)).max(axis=1)
    assert np.abs(found.depth_mm[tuple(cells.T)] - true).max() < 0.5


def test_the_largest_body_only() -> None:
    found = voxelise(concatenate([sphere(5.0).mesh, sphere(1.0).translated((9.0, 0.0, 0.0)).mesh]), 0.25)
    assert found.largest().inside.sum() * 0.25**3 == pytest.approx(4.0 / 3.0 * np.pi * 125.0, rel=0.01)


def test_nothing_to_fill() -> None:
    with pytest.raises(ValueError, match="pitch"):
        voxelise(sphere(1.0).mesh, 0.0)
    with pytest.raises(ValueError, match="faces"):
        voxelise(Mesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int32)), 1.0)
