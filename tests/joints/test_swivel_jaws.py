"""Swivels between jaws, measured on their finished solids by level rays and sections, their jaws bent by finite elements."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest

from condyle.geometry.frame import rotation_about
from condyle.geometry.solid import overlap, remainder
from condyle.joints import swivel
from condyle.joints.design import Cut
from tests.joints.blocks import Pair, bar, by_elements, finished, judged, level, pieces, stock

PLA = stock()
KERF, CHORD = 0.35, 0.012
JAW, WALL = np.arange(70.0, 110.0, 3.7), np.arange(-20.0, 20.0, 3.7)
Case = tuple[float, float, float, swivel.Gives]
CASES: list[Case] = [
    (4.0, -0.03, 1.5, "light"),
    (4.0, -0.03, 1.1, "firm"),
    (6.0, 0.0, 1.1, "firm"),
    (5.0, 0.05, 1.5, "light"),
]


@cache
def joint(case: Case) -> tuple[swivel.SwivelShape, Pair]:
    size, clearance, reach, gives = case
    shape = swivel.shape(size, clearance, PLA, reach, gives)
    assert shape is not None and shape.jaws is not None
    limb = shape.jaws.ring + PLA.wall_mm + 0.5
    return shape, finished(swivel.design(shape, Cut("plane", 0.0, KERF), clearance, PLA), limb)


def stud(pair: Pair, z: float) -> float:
    return max(float(np.hypot(p[:, 0], p[:, 1]).max()) for p in pieces(pair.cup, z))


@pytest.mark.parametrize("case", CASES)
def test_both_sides_are_one_closed_body_and_the_stud_is_whole(case: Case) -> None:
    shape, pair = joint(case)
    judged(pair.cup)
    judged(pair.knuckle)
    for z in np.linspace(0.1, shape.length - 0.1, 12):
        (ring,) = pieces(pair.cup, float(z))
        assert float(np.hypot(ring[:, 0], ring[:, 1]).min()) > shape.shaft - 0.3


@pytest.mark.parametrize("case", CASES)
def test_lips_have_the_fit_and_the_still_walls_stand_off(case: Case) -> None:
    shape, pair = joint(case)
    clearance = case[1]
    for z in (0.6, 0.9, 1.25):
        assert stud(pair, z) == pytest.approx(shape.shaft, abs=1e-6)
        lips = level(pair.knuckle, z, JAW) - shape.shaft
        assert lips.min() >= clearance - 1e-6 and lips.max() <= clearance + CHORD
        assert (level(pair.knuckle, z, WALL) > stud(pair, 0.5 * (shape.jaws.low + shape.jaws.high))).all()  # type: ignore[union-attr]
    for z in np.linspace(shape.jaws.high + 1.0, shape.length - 0.7, 5):  # type: ignore[union-attr]
        walls = level(pair.knuckle, float(z), WALL) - stud(pair, float(z))
        assert walls.min() >= clearance + 0.05 and walls.max() <= clearance + 0.08 + CHORD


@pytest.mark.parametrize("case", CASES)
def test_ridge_stands_behind_the_lips_by_the_claim_and_touches_nothing_at_rest(case: Case) -> None:
    shape, pair = joint(case)
    heights = np.arange(0.4, shape.length - 0.7, 0.02)
    radii = np.array([stud(pair, float(z)) for z in heights])
    ridge = float(radii.max())
    lips = float(level(pair.knuckle, 0.9, JAW).min())
    assert ridge - lips == pytest.approx(pair.design.undercut_mm, abs=CHORD)
    for z, r in zip(heights, radii, strict=True):
        if r > shape.shaft + 1e-3:
            assert float(level(pair.knuckle, float(z), np.concatenate([JAW, WALL])).min()) > r


@pytest.mark.parametrize("case", CASES)
def test_jaws_bend_as_beams_cut_from_the_knuckle(case: Case) -> None:
    """Two jaws free of all else from the mouth to their root, by Hermite elements of their sliced sections.

    The claim may be a fifth off: its sector has concentric sides, and the slits' sides are parallel.
    """
    shape, pair = joint(case)
    assert shape.jaws is not None
    root, tip = shape.jaws.root, 0.9
    at = np.linspace(root - 0.02, tip, 41)

    def jaw(z: float) -> np.ndarray:
        loose = [p for p in pieces(pair.knuckle, z) if np.hypot(*p.T).max() < shape.jaws.ring - 0.05]  # type: ignore[union-attr]
        assert len(loose) == 2
        return max(loose, key=lambda p: p[:, 1].mean())

    bars = [bar(jaw(float(z)), (0.0, 1.0)) for z in at]
    stiff, strain = by_elements(bars, root - tip, PLA.modulus_mpa)
    assert 0.8 * stiff <= pair.design.stiffness_n_mm / 2 <= 1.2 * stiff
    assert 0.85 * strain <= shape.spring.strain_per_mm <= 1.2 * strain
    # As high as the ridge and as deep as the grip bend them, they stay within what the material takes once.
    assert strain * (shape.undercut + max(0.0, -case[1])) <= 1.2 * PLA.strain
    push = pair.design.stiffness_n_mm * pair.design.undercut_mm
    rho = math.atan(PLA.friction)
    # W = P tan(α + ρ) (Guide A, p. 14): 30° in, 45° out.
    assert pair.design.insertion_n == pytest.approx(push * math.tan(math.radians(30.0) + rho), rel=1e-9)
    assert pair.design.retention_n == pytest.approx(push * math.tan(math.radians(45.0) + rho), rel=1e-9)
    assert pair.design.retention_n is not None and pair.design.retention_n >= 8.0


@pytest.mark.parametrize("case", CASES)
def test_nothing_but_the_lips_stops_a_whole_turn(case: Case) -> None:
    _, pair = joint(case)
    clearance = case[1]
    for angle in (0.0, 17.0, 90.0, 211.0):
        turned = np.eye(4)
        turned[:3, :3] = rotation_about(np.array([0.0, 0.0, 1.0]), angle)
        shared = overlap(pair.cup.transformed(turned), pair.knuckle)
        if clearance >= 0.0:
            assert shared is None
            continue
        assert shared is not None and remainder(shared, [pair.design.bearing]) is None
        height = shared.mesh.vertices[:, 2]
        assert height.min() >= 0.5 - 0.04 and height.max() <= 1.3 + 0.04
        # A thin shell, area times depth; facets of up to a hundredth on either side take up to two thirds of 0.03 mm.
        shell = -clearance * pair.design.bearing_mm2
        assert 0.4 * shell <= shared.volume_mm3 <= 1.02 * shell


@pytest.mark.parametrize("case", CASES)
def test_the_room_behind_a_jaw_lets_it_give_way(case: Case) -> None:
    shape, pair = joint(case)
    jaws = shape.jaws
    assert jaws is not None
    for z in (0.3, 0.5 * jaws.root, jaws.root - 0.2):
        outside = [p for p in pieces(pair.knuckle, z) if np.hypot(*p.T).max() < jaws.ring - 0.05]
        back = max(float(np.hypot(*p.T).max()) for p in outside)
        assert jaws.ring - back >= max(PLA.gap_mm, shape.undercut + max(0.0, -case[1])) - CHORD


def test_firm_jaws_hold_more_and_ask_for_more_flesh() -> None:
    made = {g: swivel.shape(4.0, -0.03, PLA, 1.1, g) for g in swivel.GIVES}
    firm, light, split = made["firm"], made["light"], made["split"]
    assert firm is not None and light is not None and split is not None
    cut = Cut("plane", 0.0, KERF)
    radii = [max(n.half_x for n in swivel.needs(s, cut, PLA)) for s in (split, light, firm)]
    assert radii[0] < radii[1] <= radii[2]
    assert firm.spring.n_per_mm >= light.spring.n_per_mm
    assert swivel.bears_nmm(firm, PLA) > 4.0 * swivel.bears_nmm(split, PLA)
