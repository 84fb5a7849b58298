"""Detented hinges measured on their finished solids: rays, booleans and beams of elements."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest

from condyle.geometry.bvh import Bvh
from condyle.geometry.frame import rotation_about
from condyle.geometry.primitives import box
from condyle.geometry.solid import Solid, intersect, overlap
from condyle.joints import detent, hinge
from condyle.joints.design import Cut
from tests.joints.blocks import Bar, Pair, by_elements, finished, judged, stock

PLA = stock()
SWING, LIMB, STEP = (-2.0, 62.0), 9.0, 30.0
X = np.array([1.0, 0.0, 0.0])


@cache
def joint(size: float = 8.0, clearance: float = 0.05) -> tuple[Pair, detent.Detent]:
    shape = hinge.shape(size, "filament", PLA)
    cut = Cut("cylinder", max(hinge.smallest_cut_mm(shape, PLA), 1.1 * LIMB), 0.35)
    made = hinge.design(shape, cut, clearance, SWING, (LIMB, LIMB), 1, PLA, detent_deg=STEP)
    assert made.detent is not None
    return finished(made, LIMB), made.detent


def turned(solid: Solid, degrees: float) -> Solid:
    matrix = np.eye(4)
    matrix[:3, :3] = rotation_about(X, degrees)
    return solid.transformed(matrix)


def shared(a: Solid, b: Solid) -> float:
    met = overlap(a, b)
    return 0.0 if met is None else met.volume_mm3


@pytest.mark.parametrize("clearance", [0.05, -0.04])
def test_both_sides_are_one_closed_body(clearance: float) -> None:
    pair, _ = joint(8.0, clearance)
    judged(pair.cup)
    judged(pair.knuckle)


def test_bump_stands_as_high_as_told_on_a_leaf_as_thick_as_told() -> None:
    """By rays from the slot's middle along the axis: to the bump's top, to the face beside it, and through the leaf."""
    pair, made = joint()
    face = hinge.shape(8.0, "filament", PLA).tongue / 2 + 0.05
    ears = Bvh(pair.knuckle.mesh)
    for way in (1.0, -1.0):
        top, beside = np.array([[0.0, 0.0, -made.arm_mm]]), np.array([[0.0, 2.2, -made.arm_mm + 1.0]])
        assert ears.rays(top, way * X[None])[0] == pytest.approx(face - made.height_mm, abs=2e-3)
        _, distance, _ = ears.all_hits(beside, way * X[None])
        assert distance[0] == pytest.approx(face, abs=1e-6)
        assert distance[1] - distance[0] == pytest.approx(made.leaf_mm, abs=1e-6)
        assert distance[2] - distance[1] == pytest.approx(made.slit_mm, abs=1e-6)


def test_it_is_free_at_its_rests_and_presses_between_them() -> None:
    """The boolean of both sides, one turned: empty at every rest, most half way between two."""
    pair, _ = joint()
    met = {a: shared(turned(pair.cup, a), pair.knuckle) for a in (0.0, 7.5, 15.0, 22.5, 30.0, 45.0)}
    assert met[0.0] == met[30.0] == 0.0
    assert met[15.0] > met[7.5] > 0.02 and met[15.0] > met[22.5] > 0.02
    assert met[45.0] == pytest.approx(met[15.0], rel=0.05)


def test_an_ear_that_gives_as_told_lets_it_pass() -> None:
    """Half way between two rests: half of the knuckle moved outward by what the bump stands over the tongue is free, and
    is not a little before."""
    pair, made = joint()
    ear = intersect(pair.knuckle, box((0.05, -40.0, -40.0), (40.0, 40.0, 40.0)))
    tongue = turned(pair.cup, 0.5 * STEP)
    lift = made.height_mm - 0.05
    assert shared(tongue, ear.translated((lift + 1e-3, 0.0, 0.0))) == 0.0
    assert shared(tongue, ear.translated((0.8 * lift, 0.0, 0.0))) > 0.0
    assert lift <= made.give_mm


def test_leaf_against_a_beam_of_elements() -> None:
    """Stiffness and strain of the leaf at its bump, by Timoshenko elements of its own section."""
    _, made = joint()
    width, thick = made.width_mm, made.leaf_mm
    section = Bar(width * thick, 0.0, width * thick**3 / 12.0, 0.5 * thick)
    shear = PLA.modulus_mpa / (2.0 * (1.0 + PLA.poisson))
    stiff, strain = by_elements([section] * 41, made.length_mm, PLA.modulus_mpa, shear)
    assert detent.stiffness_n_mm(made, PLA) == pytest.approx(stiff, rel=0.03)
    # The strain of the formula leaves shear out, which takes a share of the deflection: it is on the safe side.
    assert made.give_mm * strain <= PLA.strain * 1.001
    assert made.give_mm * strain > 0.9 * PLA.strain


def test_no_detents_where_there_is_no_room() -> None:
    shape = hinge.shape(5.0, "metal", PLA)
    cut = Cut("cylinder", 7.0, 0.35)
    made = hinge.design(shape, cut, -0.04, SWING, (6.0, 6.0), 1, PLA, detent_deg=15.0)
    plain = hinge.design(shape, cut, -0.04, SWING, (6.0, 6.0), 1, PLA)
    assert made.detent is None and made.hold_nmm == plain.hold_nmm


def test_holds_more_than_a_hinge_whose_grip_is_gone() -> None:
    """Its hold does not hang on a squeeze: with none at all the bumps still have to be lifted out."""
    pair, made = joint()
    hold = pair.design.hold_nmm
    assert hold is not None and hold == pytest.approx(detent.torque_nmm(made, PLA))
    # Against no friction: what stores the leaf's energy within a quarter of the way from rest to rest.
    stored = 2.0 * 0.5 * detent.stiffness_n_mm(made, PLA) * made.height_mm**2
    assert hold > stored / math.radians(0.5 * STEP)
