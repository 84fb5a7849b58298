"""The shadow of a solid, held against the union of its triangles' shadows that another library makes."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely.geometry import Polygon

from condyle.demo.diver import diver
from condyle.geometry.primitives import box, cylinder
from condyle.geometry.solid import Solid, solid_from_mesh, subtract


def area(rings: list[np.ndarray]) -> float:
    """Signed by their turning: holes count off."""
    return sum(0.5 * float(np.sum(r[:, 0] * np.roll(r[:, 1], -1) - np.roll(r[:, 0], -1) * r[:, 1])) for r in rings)


def covered(solid: Solid) -> float:
    corners = solid.mesh.corners[:, :, :2]
    return float(shapely.union_all([Polygon(t) for t in corners[solid.mesh.normals[:, 2] > 1e-6]]).area)


def test_a_plate_with_a_hole() -> None:
    plate = subtract(box((0, 0, 0), (20, 20, 3)), [cylinder(4.0, -1.0, 5.0).translated((10, 10, 0))])
    rings = plate.shadow(0.001)
    assert len(rings) == 2
    assert area(rings) == pytest.approx(400.0 - np.pi * 16.0, rel=2e-3)


def test_a_whole_figure() -> None:
    solid = solid_from_mesh(diver(20_000))
    assert area(solid.shadow(0.05)) == pytest.approx(covered(solid), rel=0.01)
