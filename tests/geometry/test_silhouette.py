"""Silhouettes against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from condyle.geometry.mesh import Mesh, concatenate
from condyle.geometry.polygons import silhouette
from condyle.geometry.primitives import box, sphere


def area(rings):
    return sum(0.5 * float(np.sum(r[:, 0] * np.roll(r[:, 1], -1) - np.roll(r[:, 0], -1) * r[:, 1])) for r in rings)


def test_a_ball_casts_a_disc():
    (ring,) = silhouette(sphere(5.0).mesh.vertices, sphere(5.0).mesh.faces, 0.01)
    assert area([ring]) == pytest.approx(math.pi * 25.0, rel=0.01)


def test_two_bodies_cast_two_outlines_and_one_above_the_other_casts_one():
    cube = box((0.0, 0.0, 0.0), (2.0, 3.0, 4.0)).mesh
    beside = concatenate([cube, Mesh(cube.vertices + np.array([10.0, 0.0, 0.0]), cube.faces)])
    above = concatenate([cube, Mesh(cube.vertices + np.array([0.0, 0.0, 9.0]), cube.faces)])
    assert [area([r]) for r in silhouette(beside.vertices, beside.faces, 0.01)] == pytest.approx([6.0, 6.0], rel=1e-4)
    assert area(silhouette(above.vertices, above.faces, 0.01)) == pytest.approx(6.0, rel=1e-4)
