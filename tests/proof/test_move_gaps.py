"""Openings of a bent hinge: a slit and a wedge of known width between plain blocks, and a drum that closes them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from smallkits import LYING, kit_of, seated

from condyle.figure.kit import Axle, BuiltJoint, Kit
from condyle.geometry.bvh import Bvh
from condyle.geometry.primitives import box, cylinder
from condyle.geometry.solid import Solid, subtract, union
from condyle.proof.bodies import make_bodies
from condyle.proof.move_gaps import Opening, directions, gap_findings, openings

SLIT = 1.2
UPPER, LOWER = box((-5, -5, SLIT / 2), (5, 5, 12)), box((-5, -5, -12), (5, 5, -SLIT / 2))
SKIN = box((-5, -5, -12), (5, 5, 12))


def at(upper: Solid, lower: Solid, deg: float) -> Opening:
    joint = BuiltJoint(
        seated("knee", "hinge", {"flex": (0.0, 140.0)}),
        built=True,
        size_mm=4.0,
        kerf_mm=1.5,
        axles=(Axle("lower", "upper", (0.0, 0.0, 0.0)),),
    )
    kit: Kit = kit_of({"upper": upper, "lower": lower}, [joint])[0]
    # The last angle is the end of the range.
    return openings(joint, make_bodies(kit), Bvh(SKIN.mesh), (0.0, deg))[-1]


def test_a_slit_is_as_wide_as_it_was_cut() -> None:
    found = at(UPPER, LOWER, 0.0)
    # Seen from a little above or below, a slit of 1.2 mm appears by the cosine lower, and is seen along a diagonal at most.
    assert 0.8 * SLIT <= found.widest_mm <= SLIT + 0.15
    assert 0.7 * 10.0 * SLIT <= found.seen_mm2 <= 10.0 * math.sqrt(2.0) * SLIT * 1.1
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
