"""Hinges measured on their finished solids by rays and sections, their ears bent by finite elements."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from condyle.geometry.bvh import Bvh
from condyle.geometry.frame import rotation_about
from condyle.geometry.mesh import FloatArray
from condyle.geometry.primitives import cylinder
from condyle.geometry.solid import Solid, overlap, remainder
from condyle.joints import double_hinge, hinge
from condyle.joints.design import Cut
from tests.joints.blocks import LYING, Bar, Pair, by_elements, finished, judged, stock

PLA = stock()
KERF = 0.35
CHORD = 0.01
SWING = (-2.0, 92.0)
CASES = [
    pytest.param(4.0, "metal", 0.1, 1),
    pytest.param(5.0, "filament", -0.04, -1),
    pytest.param(6.0, "printed", -0.04, 1),
    pytest.param(8.0, "filament", 0.05, 1),
]


@cache
def joint(size: float, pin: hinge.Pin, clearance: float, mouth: int) -> tuple[hinge.HingeShape, Pair, float]:
    shape = hinge.shape(size, pin, PLA)
    limb = max(1.1 * size, shape.tongue / 2 + shape.ear + 2.0)
    cut = Cut("cylinder", max(hinge.smallest_cut_mm(shape, PLA), 1.1 * limb), KERF)
    made = hinge.design(shape, cut, clearance, SWING, (limb, limb), mouth, PLA)
    return shape, finished(made, limb), limb


def rays(solid: Solid, origins: FloatArray, way: tuple[float, float, float]) -> FloatArray:
    return Bvh(solid.mesh).rays(origins, np.tile(way, (len(origins), 1)))


def ring(radius: float, x: float, n: int = 24) -> FloatArray:
    """Points of a circle about the x axis."""
    a = 2.0 * math.pi * (np.arange(n) + 0.5) / n
    return np.stack([np.full(n, x), radius * np.cos(a), radius * np.sin(a)], axis=1)


@pytest.mark.parametrize(("size", "pin", "clearance", "mouth"), CASES)
def test_both_sides_are_one_closed_body(size: float, pin: hinge.Pin, clearance: float, mouth: int) -> None:
    _, pair, _ = joint(size, pin, clearance, mouth)
    judged(pair.cup)
    judged(pair.knuckle)
    for tool in (pair.design.cup.add, pair.design.cup.bore, pair.design.knuckle.take, pair.design.knuckle.bore):
        assert tool is not None
        judged(tool)


@pytest.mark.parametrize(("size", "pin", "clearance", "mouth"), CASES)
def test_gap_beside_the_tongue_is_the_clearance(size: float, pin: hinge.Pin, clearance: float, mouth: int) -> None:
    """Along x on a circle half way between pin and eye: the tongue from outside, the slot from its middle."""
    shape, pair, limb = joint(size, pin, clearance, mouth)
    at = ring(0.5 * (shape.pin / 2 + 0.1 + shape.eye), 0.0)
    for way in (1.0, -1.0):
        outside = at + np.array([2.0 * limb * way, 0.0, 0.0])
        tongue = 2.0 * limb - rays(pair.cup, outside, (-way, 0.0, 0.0))
        slot = rays(pair.knuckle, at, (way, 0.0, 0.0))
        assert slot - tongue == pytest.approx(clearance, abs=1e-6)
        assert 2.0 * tongue == pytest.approx(max(1.6, 0.42 * size), abs=1e-6)


@pytest.mark.parametrize(("size", "pin", "clearance", "mouth"), CASES)
def test_eye_turns_free_in_its_slot(size: float, pin: hinge.Pin, clearance: float, mouth: int) -> None:
    shape, pair, _ = joint(size, pin, clearance, mouth)
    # Upward fan, clear of the neck: eye and slot, radially, in the middle of the tongue.
    angle = np.radians(np.linspace(10.0, 170.0, 33))
    ways = np.stack([np.zeros_like(angle), np.cos(angle), np.sin(angle)], axis=1)
    far = ways * 3.0 * size
    eye = 3.0 * size - Bvh(pair.cup.mesh).rays(far, -ways)
    assert eye.max() <= size / 2 + 1e-6 and eye.min() >= size / 2 - CHORD - 1e-6
    # From just outside the eye, past the pin's hole in the ears (they stand beside the tongue).
    slot = size / 2 + Bvh(pair.knuckle.mesh).rays(ways * size / 2, ways)
    upward = np.degrees(angle) < 80.0
    assert (slot - eye).min() > 0.15
    assert (slot - eye)[upward].max() == pytest.approx(0.2, abs=2.5 * CHORD) or (slot - eye)[~upward].max() > 0.15
    assert shape.slot_reach >= size / 2 + 0.15


@pytest.mark.parametrize(("size", "pin", "clearance", "mouth"), CASES)
def test_pin_is_tight_in_one_ear_and_runs_in_the_other_and_in_the_tongue(
    size: float, pin: hinge.Pin, clearance: float, mouth: int
) -> None:
    shape, pair, limb = joint(size, pin, clearance, mouth)
    angle = 2.0 * math.pi * np.arange(96) / 96
    ways = np.stack([np.zeros_like(angle), np.cos(angle), np.sin(angle)], axis=1)
    inside = shape.tongue / 2 + 0.5
    assert pair.design.pin_mm is not None and pair.design.mouth is not None
    diameter, length = pair.design.pin_mm
    running, tight = (
        Bvh(pair.knuckle.mesh).rays(np.tile([x, 0.0, 0.0], (96, 1)), ways) for x in (mouth * inside, -mouth * inside)
    )
    assert tight == pytest.approx(diameter / 2, abs=CHORD) and tight.min() >= diameter / 2 - 1e-6
    assert running.min() >= diameter / 2 + 0.05
    tongue = Bvh(pair.cup.mesh).rays(np.zeros((96, 3)), ways)
    assert tongue.min() >= diameter / 2 + 0.05
    # The far end is covered by flesh, the mouth is open, and the pin in its bore ends short of the skin.
    far = rays(pair.knuckle, np.zeros((1, 3)), (-mouth, 0.0, 0.0))[0]
    assert far <= limb - 0.8 + CHORD
    assert far >= shape.tongue / 2 + 1.0, "the tight ear hardly holds the pin"
    assert np.isinf(rays(pair.knuckle, np.zeros((1, 3)), (float(mouth), 0.0, 0.0))[0])
    assert np.sign(pair.design.mouth[0]) == mouth and abs(pair.design.mouth[0]) == pytest.approx(limb, abs=0.05)
    assert length <= far + limb
    assert length >= far + shape.tongue / 2 + 0.5, "the pin does not reach into the running ear"


@pytest.mark.parametrize(("size", "pin", "clearance", "mouth"), CASES)
def test_the_pin_in_its_place_meets_the_tight_ear_alone(
    size: float, pin: hinge.Pin, clearance: float, mouth: int
) -> None:
    """A pin of the stated diameter, true size, shares no volume with either side, but a wider one only with the tight ear."""
    _, pair, _ = joint(size, pin, clearance, mouth)
    d, length = pair.design.pin_mm or (0.0, 0.0)
    blind = rays(pair.knuckle, np.zeros((1, 3)), (-mouth, 0.0, 0.0))[0]
    low, high = sorted((-mouth * (blind - 0.02), mouth * (length - blind)))
    pin_body = cylinder(d / 2, low, high).transformed(LYING)
    assert overlap(pin_body, pair.cup) is None
    shared = overlap(pin_body, pair.knuckle)
    assert shared is None or shared.volume_mm3 < 1e-3
    wide = cylinder(d / 2 + 0.06, low, high).transformed(LYING)
    assert overlap(wide, pair.cup) is None
    shared = overlap(wide, pair.knuckle)
    assert shared is not None and (shared.bounds[:, 0] * mouth < 0.0).all()


@pytest.mark.parametrize(("size", "pin", "clearance", "mouth"), CASES)
def test_the_tongue_swings_through_its_range(size: float, pin: hinge.Pin, clearance: float, mouth: int) -> None:
    """The hardware alone, turned about x: nothing but the squeezed faces beside the eye shares volume."""
    _, pair, _ = joint(size, pin, clearance, mouth)
    tongue, slot = pair.design.cup.add, pair.knuckle
    assert tongue is not None
    for angle in np.linspace(SWING[0] + 2.0, SWING[1] - 2.0, 7):
        turned = np.eye(4)
        turned[:3, :3] = rotation_about(np.array([1.0, 0.0, 0.0]), float(angle))
        shared = overlap(tongue.transformed(turned), slot)
        loose = None if shared is None else remainder(shared, [pair.design.bearing])
        assert loose is None, (
            f"at {angle:.0f}° the tongue cuts {loose.volume_mm3:.4f} mm³ at {loose.bounds.mean(axis=0)}"
        )


@pytest.mark.parametrize(("size", "pin", "clearance", "mouth"), [c for c in CASES if c.values[2] < 0])
def test_interference_is_two_slices_of_the_eye(size: float, pin: hinge.Pin, clearance: float, mouth: int) -> None:
    shape, pair, _ = joint(size, pin, clearance, mouth)
    shared = overlap(pair.cup, pair.knuckle)
    assert shared is not None
    # Two plates as deep as the claim. In outline: the eye, less the pin's hole, and what of the neck stands beyond the
    # eye within the round slot, which is cut 0.03 mm short of its room: √(ρ² − y²) − √(R² − y²) over the neck's width.
    hole = shape.pin / 2 + 0.1
    eye = math.pi * (shape.eye**2 - hole**2)
    y = np.linspace(-0.4 * size, 0.4 * size, 2001)
    reach = shape.eye + 0.2 - 0.03
    neck = float(np.trapezoid(np.sqrt(reach**2 - y**2) - np.sqrt(shape.eye**2 - y**2), y))
    exact = 2.0 * -clearance * (eye + neck)
    assert shared.volume_mm3 == pytest.approx(exact, rel=0.02)
    assert pair.design.bearing_mm2 == pytest.approx(2.0 * eye, rel=1e-3)


@pytest.mark.parametrize(("size", "pin", "clearance", "mouth"), [c for c in CASES if c.values[2] < 0])
def test_ears_bend_as_short_beams(size: float, pin: hinge.Pin, clearance: float, mouth: int) -> None:
    """Force and hold of the squeezed tongue by Timoshenko elements: ear 2·eye wide, clamped where the slot ends."""
    shape, pair, limb = joint(size, pin, clearance, mouth)
    ear = limb - shape.tongue / 2
    width, length = 2.0 * shape.eye, 2.0 * shape.slot_reach
    plate = Bar(width * ear, 0.0, width * ear**3 / 12.0, ear / 2)
    shear = PLA.modulus_mpa / (2.0 * (1.0 + PLA.poisson))
    k, strain = by_elements([plate] * 31, length, PLA.modulus_mpa, shear)
    force = k * -clearance
    assert pair.design.stiffness_n_mm == pytest.approx(2.0 * k, rel=0.02)
    # Bending strain with shear's share counted as bending, too: on the safe side by that share.
    assert pair.design.snap_strain is not None
    assert pair.design.snap_strain >= strain * -clearance * 0.99
    # Two faces, each a collar under even pressure: µF(D³ − d³)/(3(D² − d²)) (Bhandari, eq. 11.2).
    big, small = 2 * shape.eye, shape.pin
    collar = PLA.friction * force * (big**3 - small**3) / (3.0 * (big**2 - small**2))
    assert pair.design.hold_nmm == pytest.approx(2.0 * collar, rel=0.02)


def test_two_hinges_of_a_double_hinge_leave_a_wall_between_their_slots() -> None:
    for size in double_hinge.SIZES_MM:
        shape = hinge.shape(size, "filament", PLA)
        between = double_hinge.spacing_mm(shape, PLA) - 2.0 * (size / 2 + 0.2)
        assert between >= 2.0 * PLA.line_mm


@settings(max_examples=10, deadline=None)
@given(st.sampled_from(hinge.SIZES_MM[:-1]), st.sampled_from(["printed", "filament", "metal"]), st.floats(-0.05, 0.1))
def test_larger_sizes_make_larger_solids(size: float, pin: hinge.Pin, clearance: float) -> None:
    larger = hinge.SIZES_MM[hinge.SIZES_MM.index(size) + 1]
    made = []
    for s in (size, larger):
        shape = hinge.shape(s, pin, PLA)
        cut = Cut("cylinder", 1.3 * s, KERF)
        d = hinge.design(shape, cut, clearance, SWING, (2 * s, 2 * s), 1, PLA)
        assert d.cup.add is not None and d.knuckle.take is not None
        judged(d.cup.add)
        judged(d.knuckle.take)
        made.append((d.cup.add.volume_mm3, d.knuckle.take.volume_mm3, shape.pin))
    assert made[0][0] < made[1][0] and made[0][1] < made[1][1] and made[0][2] <= made[1][2]


@settings(max_examples=8, deadline=None)
@given(st.floats(-0.06, 0.06), st.floats(0.005, 0.06))
def test_more_clearance_makes_a_wider_slot(clearance: float, more: float) -> None:
    shape = hinge.shape(6.0, "filament", PLA)
    cut = Cut("cylinder", 8.0, KERF)
    widths = []
    for c in (clearance, clearance + more):
        take = hinge.design(shape, cut, c, SWING, (8.0, 8.0), 1, PLA).knuckle.take
        assert take is not None
        widths.append(rays(take, ring(2.0, 0.0), (1.0, 0.0, 0.0)).min())
    assert widths[1] - widths[0] == pytest.approx(more, abs=1e-6)
