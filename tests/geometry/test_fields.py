"""Surfaces from fields against closed forms: volume, area, topology and closure on solids that geometry books give."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from condyle.errors import UsageError
from condyle.geometry.fields import largest_shell, surface_from_field
from condyle.geometry.mesh import FloatArray, Mesh

BOX = np.array([[-12.3, -12.1, -12.7], [12.4, 12.2, 12.9]])


def ball(points: FloatArray) -> FloatArray:
    return np.asarray(np.linalg.norm(points, axis=1) - 10.0)


def ring(points: FloatArray) -> FloatArray:
    return np.asarray(np.hypot(np.hypot(points[:, 0], points[:, 1]) - 8.0, points[:, 2]) - 3.0)


def judged(mesh: Mesh) -> trimesh.Trimesh:
    return trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)


def test_ball() -> None:
    """V = 4/3 π r³ and A = 4 π r² (any geometry book); vertices lie on the sphere to second order of the step."""
    mesh = surface_from_field(ball, BOX, 0.4)
    assert mesh.volume_mm3 == pytest.approx(4.0 / 3.0 * np.pi * 1000.0, rel=2e-3)
    assert mesh.area_mm2 == pytest.approx(4.0 * np.pi * 100.0, rel=2e-3)
    # Linear interpolation of a distance across a cell edge errs by at most step² / (8 r).
    assert np.abs(ball(mesh.vertices)).max() < 0.4**2 / (8.0 * 10.0) * 1.5 + 0.4 * 2e-3
    assert judged(mesh).is_watertight
    assert judged(mesh).euler_number == 2


def test_ring() -> None:
    """V = 2 π² R r² (Pappus), and one handle: V − E + F = 0."""
    mesh = surface_from_field(ring, BOX, 0.3)
    assert mesh.volume_mm3 == pytest.approx(2.0 * np.pi**2 * 8.0 * 9.0, rel=5e-3)
    assert judged(mesh).is_watertight
    assert judged(mesh).euler_number == 0


def test_level_moves_the_surface() -> None:
    mesh = surface_from_field(ball, BOX, 0.5, level=-4.0)
    assert mesh.volume_mm3 == pytest.approx(4.0 / 3.0 * np.pi * 216.0, rel=1e-2)


@pytest.mark.parametrize("block", [8, 32, 128])
def test_blocks_do_not_show(block: int) -> None:
    """Whatever the block, the same closed surface: as many triangles, the same volume."""
    mesh = surface_from_field(ring, BOX, 0.5, block=block)
    whole = surface_from_field(ring, BOX, 0.5, block=64)
    assert judged(mesh).is_watertight
    assert mesh.triangle_count == whole.triangle_count
    assert mesh.volume_mm3 == pytest.approx(whole.volume_mm3, rel=1e-6)


def test_closed_although_the_field_is_steeper_than_said() -> None:
    """A field scaled by five breaks the promised slope: bricks are dropped that the surface runs through."""

    def steep(points: FloatArray) -> FloatArray:
        return 5.0 * ring(points) + 2.0 * np.sin(3.0 * points[:, 0]) * np.sin(3.0 * points[:, 1])

    mesh = surface_from_field(steep, BOX, 0.2, steepest=1.5)
    assert judged(mesh).is_watertight
    assert judged(mesh).is_winding_consistent


def test_random_fields_are_closed() -> None:
    """Sums of waves cross cells in every ambiguous way; the surface has to close all the same (clipped by a ball)."""
    rng = np.random.default_rng(3)
    for _ in range(6):
        waves = rng.normal(size=(6, 3)) * 2.5
        phase = rng.uniform(0, 2 * np.pi, 6)

        def tangled(points: FloatArray, waves: FloatArray = waves, phase: FloatArray = phase) -> FloatArray:
            wave = np.sin(points @ waves.T + phase).sum(axis=1) * 0.35
            return np.asarray(np.maximum(wave, np.linalg.norm(points, axis=1) - 6.0))

        mesh = surface_from_field(tangled, BOX, 0.5, steepest=6.0)
        edges = np.sort(np.concatenate([mesh.faces[:, [0, 1]], mesh.faces[:, [1, 2]], mesh.faces[:, [2, 0]]]), axis=1)
        _, uses = np.unique(edges, axis=0, return_counts=True)
        assert np.all(uses % 2 == 0)


def test_only_the_largest_shell() -> None:
    def two(points: FloatArray) -> FloatArray:
        return np.minimum(ball(points * 2.0) / 2.0, np.linalg.norm(points - [9.0, 0.0, 0.0], axis=1) - 1.0)

    mesh = surface_from_field(two, BOX, 0.4)
    assert judged(mesh).body_count == 2
    kept = largest_shell(mesh)
    assert judged(kept).body_count == 1
    assert kept.volume_mm3 == pytest.approx(4.0 / 3.0 * np.pi * 125.0, rel=1e-2)


def test_same_bytes() -> None:
    first, second = surface_from_field(ring, BOX, 0.5), surface_from_field(ring, BOX, 0.5)
    assert first.vertices.tobytes() == second.vertices.tobytes()
    assert first.faces.tobytes() == second.faces.tobytes()


def test_refusals() -> None:
    with pytest.raises(UsageError, match="leaves the box"):
        surface_from_field(ball, np.array([[-9.0] * 3, [12.0] * 3]), 0.5)
    with pytest.raises(UsageError, match="no surface"):
        surface_from_field(lambda p: ball(p) + 20.0, BOX, 0.5)
    with pytest.raises(UsageError, match="step above 0"):
        surface_from_field(ball, BOX, 0.0)
    with pytest.raises(UsageError, match="multiple of 4"):
        surface_from_field(ball, BOX, 0.5, block=10)
