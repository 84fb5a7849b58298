"""Ripples of known depth on a slab: found where they are shallower than what sanding takes, and only there."""

from __future__ import annotations

import numpy as np
import pytest

from condyle.finish.detail import lost_detail
from condyle.geometry.mesh import Mesh


def slab(depth_mm: float, dome_mm: float = 0.0) -> Mesh:
    """20 × 20 mm, a groove a millimetre wide along x = 0 with a cosine profile, on a dome of that height."""
    n = 81
    x, y = np.meshgrid(np.linspace(-10, 10, n), np.linspace(-10, 10, n), indexing="ij")
    groove = np.where(np.abs(x) < 0.5, 0.5 * depth_mm * (1 + np.cos(2 * np.pi * x)), 0.0)
    z = dome_mm * (1 - (x * x + y * y) / 200.0) - groove
    k = np.arange(n * n).reshape(n, n)
    a, b, c, d = k[:-1, :-1].ravel(), k[1:, :-1].ravel(), k[1:, 1:].ravel(), k[:-1, 1:].ravel()
    faces = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)]).astype(np.int32)
    return Mesh(np.stack([x, y, z], axis=-1).reshape(-1, 3), faces)


def test_a_shallow_groove_is_lost_and_lies_where_it_is() -> None:
    mesh = slab(0.12, dome_mm=2.0)
    found = lost_detail(mesh, np.ones(mesh.triangle_count, dtype=bool), 0.2)
    assert found
    assert all(abs(d.place[0]) < 1.6 for d in found)
    assert found[0].area_mm2 > 10.0
    assert 0.04 <= found[0].depth_mm <= 0.12


def test_what_is_deeper_than_the_removal_stays() -> None:
    mesh = slab(0.8)
    seen = np.ones(mesh.triangle_count, dtype=bool)
    rough = lost_detail(mesh, seen, 1.0)
    assert rough[0].depth_mm > 0.2
    assert abs(rough[0].place[0]) < 1.0
    deep = lost_detail(mesh, seen, 0.06)
    assert not any(abs(d.place[0]) < 0.3 for d in deep)


@pytest.mark.parametrize("dome_mm", [0.0, 3.0])
def test_a_smooth_form_loses_nothing(dome_mm: float) -> None:
    mesh = slab(0.0, dome_mm)
    assert lost_detail(mesh, np.ones(mesh.triangle_count, dtype=bool), 0.3) == ()
    assert lost_detail(mesh, np.zeros(mesh.triangle_count, dtype=bool), 0.3) == ()
