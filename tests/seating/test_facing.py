"""Up and front, told from the shape alone."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from condyle.demo.dog import dog
from condyle.figure.facing import find_facing, find_up
from condyle.geometry.frame import rotation_about
from condyle.geometry.mesh import FloatArray, Mesh
from tests.seating.bodies import available, body, macro
from tests.seating.family import straight_arms
from tests.seating.mannequin import mannequin

# A figure of capsules has no face, only toes: its front is less sure.
LEAST_SURE = 0.2


def turned(mesh: Mesh, rotation: FloatArray) -> Mesh:
    m = np.eye(4)
    m[:3, :3] = rotation
    return mesh.transformed(m)


def shapes() -> dict[str, Mesh]:
    out = {"mannequin": mannequin().mesh, "t-pose": mannequin(abduct_deg=88.0).mesh, "dog": dog(20_000)}
    if available():
        out |= {
            "adult": body("adult").mesh,
            "toddler": body("toddler", macro("female", "baby")).mesh,
            "t-pose adult": body("t", macro("male", "young"), straight_arms(48.0)).mesh,
        }
    return out


@pytest.fixture(scope="module")
def meshes() -> dict[str, Mesh]:
    return shapes()


@pytest.mark.parametrize(("axis", "sign"), list(product(range(3), (1, -1))))
def test_up_along_any_axis(meshes: dict[str, Mesh], axis: int, sign: int) -> None:
    wanted = np.zeros(3)
    wanted[axis] = sign
    rows = [np.roll(np.eye(3), 1, axis=0)[i] for i in range(3)]
    for name, mesh in meshes.items():
        # A rotation whose third column, the image of z, is the wanted direction.
        third = wanted
        first = np.array(rows[axis])
        first = first - third * (first @ third)
        rotation = np.stack([first, np.cross(third, first), third], axis=1)
        assert np.linalg.det(rotation) == pytest.approx(1.0)
        found, sure = find_up(turned(mesh, rotation))
        assert found.tolist() == wanted.tolist() and sure > LEAST_SURE, (name, sure)


@pytest.mark.parametrize("degrees", [0.0, 90.0, 180.0, 270.0, 4.0])
def test_front_snaps_to_an_axis(meshes: dict[str, Mesh], degrees: float) -> None:
    wanted = np.round(rotation_about(np.array([0.0, 0.0, 1.0]), degrees) @ [1.0, 0.0, 0.0])
    for name, mesh in meshes.items():
        found, sure = find_facing(turned(mesh, rotation_about(np.array([0.0, 0.0, 1.0]), degrees)))
        assert found.tolist() == wanted.tolist() and sure > LEAST_SURE, (name, sure)


def test_front_between_axes_is_told_within_a_few_degrees(meshes: dict[str, Mesh]) -> None:
    turn = rotation_about(np.array([0.0, 0.0, 1.0]), 35.0)
    for name, mesh in meshes.items():
        found, _ = find_facing(turned(mesh, turn))
        assert float(found @ turn[:, 0]) > np.cos(np.radians(4.0)), name
