"""Openings of a bent hinge: a slit and a wedge of known width between plain blocks, and a drum that closes them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import ndimage
from smallkits import LYING, kit_of, seated

from condyle.figure.kit import Axle, BuiltJoint, Kit, Pin
from condyle.geometry.bvh import Bvh
from condyle.geometry.frame import rotation_matrix_about
from condyle.geometry.mesh import BoolArray, FloatArray
from condyle.geometry.primitives import box, cylinder
from condyle.geometry.solid import Solid, remainder, subtract, union
from condyle.proof.bodies import make_bodies
from condyle.proof.move_gaps import Opening, directions, gap_findings, openings

SLIT = 1.2
UPPER, LOWER = box((-5, -5, SLIT / 2), (5, 5, 12)), box((-5, -5, -12), (5, 5, -SLIT / 2))
SKIN = box((-5, -5, -12), (5, 5, 12))


R = 4.9
DRUM = cylinder(R, -5.0, 5.0).transformed(LYING)
CUP = subtract(box((-5, -5, -12), (5, 5, 0)), [cylinder(R + 0.3, -6.0, 6.0, "outside").transformed(LYING)])
WAY = (0.8, 2.0)  # of the slots below: where they begin beside the middle, and how wide they are


def at(upper: Solid, lower: Solid, deg: float, pins: tuple[Pin, ...] = ()) -> Opening:
    joint = BuiltJoint(
        seated("knee", "hinge", {"flex": (0.0, 140.0)}),
        built=True,
        size_mm=4.0,
        kerf_mm=1.5,
        axles=(Axle("lower", "upper", (0.0, 0.0, 0.0)),),
        pins=pins,
    )
    kit: Kit = kit_of({"upper": upper, "lower": lower}, [joint])[0]
    # The last angle is the end of the range.
    return openings(joint, make_bodies(kit), Bvh(SKIN.mesh), (0.0, deg))[-1]


def test_a_slit_is_as_wide_as_it_was_cut() -> None:
    found = at(UPPER, LOWER, 0.0)
    # Seen from a little above or below, a slit of 1.2 mm appears by the cosine lower, and is seen along a diagonal at most.
    assert 0.8 * SLIT <= found.widest_mm <= SLIT + 0.15
    assert 0.6 * 10.0 * SLIT <= found.seen_mm2 <= 10.0 * math.sqrt(2.0) * SLIT * 1.1
    assert found.place is not None
    assert abs(found.place[2]) <= SLIT / 2 + 0.01


def test_a_bent_slit_gapes_by_the_chord_between_its_edges() -> None:
    turn = math.radians(30.0)
    edge = np.array([-5.0, -SLIT / 2])  # y, z of the lower block's edge that moves away
    moved = np.array(
        [edge[0] * math.cos(turn) - edge[1] * math.sin(turn), edge[0] * math.sin(turn) + edge[1] * math.cos(turn)]
    )
    chord = float(np.linalg.norm(moved - np.array([-5.0, SLIT / 2])))
    found = at(UPPER, LOWER, 30.0)
    assert 0.8 * chord <= found.widest_mm <= chord + 0.3


def test_a_drum_about_the_axle_closes_what_a_plain_cut_shows() -> None:
    drum = cylinder(4.9, -5.0, 5.0).transformed(LYING)
    hollow = cylinder(5.2, -6.0, 6.0, "outside").transformed(LYING)
    upper, lower = union([UPPER, drum]), subtract(box((-5, -5, -12), (5, 5, 0)), [hollow])
    plain, closed = at(UPPER, LOWER, 30.0), at(upper, lower, 30.0)
    assert closed.seen_mm2 < 0.5 * plain.seen_mm2
    assert closed.widest_mm < 0.5 * plain.widest_mm


def knuckle(floor_mm: float) -> Solid:
    """The upper block on its drum, a slot in it on the side that a bend lays bare, with a floor so far below the drum's face."""
    x0, width = WAY
    slot = remainder(
        box((x0, -6.0, -6.0), (x0 + width, 0.0, 0.0)), [cylinder(R - floor_mm, -6.0, 6.0).transformed(LYING)]
    )
    assert slot is not None
    return subtract(union([UPPER, DRUM]), [slot])


def test_a_step_with_a_floor_is_no_opening_and_a_deeper_slot_is_as_wide_as_it_was_cut() -> None:
    shallow, deep = at(knuckle(0.9), CUP, 40.0), at(knuckle(1.3), CUP, 40.0)
    # The wedge between the blocks' flat faces is seen in both, so the slot is what the second shows beyond the first.
    assert shallow.widest_mm < 1.5
    assert deep.seen_mm2 > shallow.seen_mm2 + 2.0
    assert deep.widest_mm == pytest.approx(WAY[1], abs=0.3)


def test_a_feeler_goes_as_far_as_the_eye() -> None:
    """Outside judge: balls in a grid of points, moved in from outside (openings told by the sphere that enters them, as the
    object probes of IEC 60529 do; from memory)."""
    slotted = knuckle(3.5)
    found = at(slotted, CUP, 40.0)
    turn = rotation_matrix_about(np.zeros(3), np.array([1.0, 0.0, 0.0]), 40.0)
    step = 0.125
    x, y, z = (np.arange(a, b, step) + 0.5 * step for a, b in ((-2.0, 4.6), (-8.0, 0.0), (-7.0, 2.0)))
    points = np.stack(np.meshgrid(x, y, z, indexing="ij"), axis=-1)
    shape = points.shape[:3]
    flat = points.reshape(-1, 3)
    solid: BoolArray = Bvh(slotted.mesh).inside(flat) | Bvh(CUP.transformed(turn).mesh).inside(flat)
    room: FloatArray = ndimage.distance_transform_edt(~solid.reshape(shape), sampling=step)
    far = np.hypot(points[..., 1], points[..., 2])
    inside = (
        (far < R - 1.0) & (np.abs(points[..., 0] - WAY[0] - WAY[1] / 2) < WAY[1] / 2 - step) & (points[..., 2] < -0.5)
    )
    enters = [d for d in np.arange(0.8, 2.8, 0.15) if (_reached(room, 0.5 * float(d), step) & inside).any()]
    assert enters
    assert found.widest_mm == pytest.approx(max(enters), abs=0.35)


def _reached(room: FloatArray, radius: float, step: float) -> BoolArray:
    """What a ball touches that comes in from the open side, y least."""
    middles, _ = ndimage.label(room > radius)
    outside = np.unique(middles[:, 0, :])
    free = np.isin(middles, outside[outside > 0])
    return np.asarray(ndimage.distance_transform_edt(~free, sampling=step) <= radius)


def test_a_pin_fills_its_hole() -> None:
    hole = cylinder(1.1, -6.0, 6.0, "outside").transformed(LYING)
    upper, lower = subtract(union([UPPER, DRUM]), [hole]), CUP
    pin = Pin(2.0, (-4.2, 0.0, 0.0), (4.2, 0.0, 0.0))
    sunk = Pin(2.0, (-3.0, 0.0, 0.0), (3.0, 0.0, 0.0))
    bare, filled, deep = at(upper, lower, 0.0), at(upper, lower, 0.0, (pin,)), at(upper, lower, 0.0, (sunk,))
    assert bare.seen_mm2 == pytest.approx(deep.seen_mm2, rel=0.3)
    assert deep.widest_mm == pytest.approx(2.2, abs=0.3)
    assert filled.widest_mm < 1.0


def test_directions_are_units_and_spread_evenly() -> None:
    found = np.array(directions(64))
    assert np.linalg.norm(found, axis=1) == pytest.approx(np.ones(64))
    nearest = np.sort(found @ found.T, axis=1)[:, -2]
    assert np.degrees(np.arccos(nearest)).min() > 15.0
    assert np.linalg.norm(found.mean(axis=0)) < 0.02


def test_a_finding_asks_for_a_millimetre_at_a_right_angle_and_two_beyond() -> None:
    found = [Opening(45.0, 9.0, 5.0, None), Opening(90.0, 4.0, 1.1, (0.0, 0.0, 0.0)), Opening(130.0, 4.0, 1.9, None)]
    first, second = gap_findings("knee_left", found)
    assert (first.check, first.verdict, first.target) == ("move.gap", "caution", 1.0)
    assert "1.1 mm" in first.advice
    assert (second.verdict, second.target) == ("pass", 2.0)
