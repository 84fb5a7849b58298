"""Seating the four-footed skeleton in the demo dog, whose rig says where its joints are."""

from __future__ import annotations

import numpy as np
import pytest

from condyle.demo.dog import dog, dog_joints
from condyle.figure.seating import Seating, seat
from condyle.figure.skeleton_file import load_template
from condyle.geometry.frame import rotation_about
from condyle.geometry.solid import solid_from_mesh


@pytest.fixture(scope="module")
def seated() -> tuple[Seating, float]:
    solid = solid_from_mesh(dog(30_000))
    return seat(solid, load_template("fourfoot")), float(np.ptp(solid.bounds[:, 2]))


def test_joints_lie_near_the_rig(seated: tuple[Seating, float]) -> None:
    seating, height = seated
    true = dog_joints()
    shares = {j.name: float(np.linalg.norm(j.frame.origin - np.array(true[j.name]))) / height for j in seating.joints}
    assert set(shares) == set(true) and not seating.findings
    assert np.median(list(shares.values())) <= 0.03 and max(shares.values()) <= 0.06, shares


@pytest.mark.parametrize(
    ("name", "goes"),
    [
        ("elbow_left", 1),
        ("wrist_left", -1),
        ("knee_right", -1),
        ("hock_right", 1),
        ("shoulder_right", 1),
        ("hip_left", 1),
    ],
)
def test_paws_go_forward_or_back_as_the_template_says(seated: tuple[Seating, float], name: str, goes: int) -> None:
    joint = next(j for j in seated[0].joints if j.name == name)
    moved = rotation_about(np.array(joint.axes["flex"]), 5.0) @ joint.frame.z - joint.frame.z
    assert goes * moved[0] > 0.02


@pytest.mark.parametrize("name", ["neck", "head", "tail"])
def test_free_ends_go_down(seated: tuple[Seating, float], name: str) -> None:
    joint = next(j for j in seated[0].joints if j.name == name)
    moved = rotation_about(np.array(joint.axes["flex"]), 5.0) @ joint.frame.z - joint.frame.z
    assert moved[2] < -0.01


def test_a_standing_animal_is_at_zero(seated: tuple[Seating, float]) -> None:
    assert all(angle == 0.0 for j in seated[0].joints for angle in j.rest.values())
