"""Roughness against the saw-tooth's closed form, and the plan's sums."""

from __future__ import annotations

import numpy as np
import pytest

from condyle.finish.surface import GRITS_UM, SEQUENCE, SUPPORTED_FACTOR, TRACK_RA_MM, roughness_mm, sanding
from condyle.geometry.mesh import Mesh
from condyle.geometry.primitives import box, sphere

UP = np.array([0.0, 0.0, 1.0])


def slope(angle_deg: float) -> Mesh:
    """One face at an angle from the horizontal."""
    a = np.radians(angle_deg)
    return Mesh(
        np.array([[0.0, 0.0, 0.0], [np.cos(a), 0.0, np.sin(a)], [0.0, 1.0, 0.0]]), np.array([[0, 1, 2]], dtype=np.int32)
    )


@pytest.mark.parametrize(
    ("layer", "angle", "ra_um"),
    # Ra = t cos α / 4 of a saw-tooth with sharp steps, worked out for the table's angles
    [(0.1, 15, 24.15), (0.1, 30, 21.65), (0.1, 45, 17.68), (0.1, 60, 12.50), (0.1, 75, 6.47),
     (0.2, 15, 48.30), (0.2, 30, 43.30), (0.2, 45, 35.36), (0.2, 60, 25.00), (0.2, 75, 12.94)],
)  # fmt: skip
def test_stair_steps_follow_the_closed_form(layer, angle, ra_um):
    found = roughness_mm(slope(angle), UP, layer, "filament", np.array([False]))
    track = 0.3 * TRACK_RA_MM["filament"]
    assert found[0] == pytest.approx(np.hypot(ra_um / 1000, track), rel=2e-3)


def test_a_brute_force_saw_tooth_agrees():
    # The mean distance of a sampled saw-tooth from its mean line, measured square to the face
    layer, angle = 0.2, np.radians(40.0)
    run = layer / np.tan(angle)
    x = np.linspace(0, 50 * run, 2_000_001)
    stair = layer * np.floor(x / run)
    away = (stair - np.tan(angle) * x) * np.cos(angle)
    ra = np.mean(np.abs(away - away.mean()))
    found = roughness_mm(slope(40.0), UP, layer, "filament", np.array([False]))[0]
    assert np.sqrt(found**2 - (0.3 * TRACK_RA_MM["filament"]) ** 2) == pytest.approx(ra, rel=1e-3)


def test_flat_faces_feel_the_tracks_and_supports_make_it_rougher():
    flat = slope(0.0)
    assert roughness_mm(flat, UP, 0.2, "filament", np.array([False]))[0] == TRACK_RA_MM["filament"]
    assert roughness_mm(flat, UP, 0.2, "filament", np.array([True]))[0] == SUPPORTED_FACTOR * TRACK_RA_MM["filament"]


def test_turning_part_and_direction_together_changes_nothing():
    ball = sphere(8.0).mesh
    none = np.zeros(ball.triangle_count, dtype=bool)
    turn = np.array([[0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
    turned = Mesh(ball.vertices @ turn.T, ball.faces)
    one = roughness_mm(ball, UP, 0.2, "filament", none)
    assert roughness_mm(turned, turn @ UP, 0.2, "filament", none) == pytest.approx(one)


def test_only_what_is_seen_is_sanded():
    cube = box((0.0, 0.0, 0.0), (20.0, 20.0, 20.0)).mesh
    show = cube.normals[:, 0] > 0.9
    plan = sanding(cube, np.array([1.0, 0.0, 1.0]), 0.2, "filament", show, np.zeros(len(show), dtype=bool))
    assert plan.show_mm2 == pytest.approx(400.0)
    assert plan.fill_mm2 == pytest.approx(400.0)
    assert [g for g, _ in plan.grits] == list(SEQUENCE["filament"])
    nothing = sanding(cube, UP, 0.2, "filament", np.zeros(len(show), dtype=bool), np.zeros(len(show), dtype=bool))
    assert (nothing.show_mm2, nothing.hours) == (0.0, 0.0)


def test_grits_get_finer():
    # FEPA average grains (sizes.com): every grade in use is finer than the one before
    for sequence in SEQUENCE.values():
        grains = [GRITS_UM[g] for g in sequence]
        assert grains == sorted(grains, reverse=True)
