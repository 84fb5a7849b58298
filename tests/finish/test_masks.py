"""Masks measured as solids: a cap holds the ball, stays off the flesh, and a plug sticks in the mouth."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from condyle.finish.masks import Mask, MaskList, mask_solid


def as_trimesh(mask: Mask, *, stick: bool = False) -> trimesh.Trimesh:
    mesh = mask_solid(mask, stick=stick).mesh
    return trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)


@pytest.mark.parametrize("size", [3.0, 6.0, 9.0])
def test_a_cap_takes_its_ball_and_closes_the_far_end(size: float) -> None:
    made = as_trimesh(Mask("hand", "wrist", "cap", size, 0.95 * size))
    assert made.is_watertight
    # Cut across: below the floor it is full, and above it the hole is as wide as the ball, to a tenth of a mm a side.
    middle = 0.9 + size / 2.0
    floor = made.section((0, 0, 1), (0, 0, 0.45))
    assert len(floor.entities) == 1
    for z in (middle - 0.3 * size, middle, middle + 0.15 * size):
        loops = made.section((0, 0, 1), (0, 0, z)).discrete
        assert len(loops) == 2
        holes = min(float(np.linalg.norm((ring[1:] + ring[:-1])[:, :2] / 2.0, axis=1).min()) for ring in loops)
        assert size / 2.0 < holes < size / 2.0 + 0.1


@pytest.mark.parametrize("size", [1.5, 4.0, 8.0])
def test_a_plug_goes_in_at_the_tip_and_not_at_the_head(size: float) -> None:
    made = as_trimesh(Mask("arm", "elbow", "plug", size))
    assert made.is_watertight
    low, high = made.bounds
    top = made.section((0, 0, 1), (0, 0, high[2] - 1e-3))
    assert np.ptp(top.vertices[:, 0]) < 0.8 * size
    head = made.section((0, 0, 1), (0, 0, low[2] + 0.5))
    assert np.ptp(head.vertices[:, 0]) > size


def test_holders_stand_on_a_foot_and_are_one_body() -> None:
    made = as_trimesh(Mask("arm", "elbow", "plug", 4.0), stick=True)
    assert made.is_watertight
    assert made.body_count == 1
    assert made.bounds[1][2] > 45.0


def test_each_mask_is_printed_once_and_the_one_to_hold_by_with_a_stick() -> None:
    cap, plug, tape = Mask("a", "j", "cap", 6.0, 5.7), Mask("b", "j", "plug", 6.0), Mask("b", "k", None, 0.0)
    masks = MaskList((cap, plug, tape), {"a": cap, "b": plug})
    assert masks.counts() == {"holder-cap-6x5.7.stl": 1, "holder-plug-6.stl": 1}
    free = MaskList((cap, plug, tape), {"a": None, "b": plug})
    assert free.counts() == {"cap-6x5.7.stl": 1, "holder-plug-6.stl": 1}
    assert set(free.solids()) == set(free.counts())
