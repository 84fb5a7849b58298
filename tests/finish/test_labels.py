"""Engraved codes, measured on the finished solid: where they are, how deep, how wide, and that nothing else changed."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from condyle.figure.kit import Balance, Kit, Part
from condyle.finish.labels import DEPTH_MM, codes, hand_of, labelled
from condyle.geometry.primitives import box, cylinder
from condyle.geometry.solid import Solid
from condyle.workshop.bench import load_workshop


def kit_of(name: str, solid: Solid) -> Kit:
    return Kit((Part(name, name, solid),), (), Balance(0.0, 0.0, 0.0, 0.0, 0.0))


def test_a_block_cut_from_a_bar_is_engraved_on_its_cut_face() -> None:
    bar, block = box((0, 0, 0), (14, 14, 60)), box((0, 0, 0), (14, 14, 20))
    printer = load_workshop().printer
    made = labelled(kit_of("upper_arm_left", block), bar, printer)
    (label,) = made.labels
    assert label.code == "UPAL"
    solid = made.solids["upper_arm_left"]
    cut = trimesh.Trimesh(solid.mesh.vertices, solid.mesh.faces, process=False)
    assert cut.is_watertight
    assert label.volume_mm3 == pytest.approx(14 * 14 * 20 - cut.volume, rel=1e-9)
    # The only face of the block that is not of the bar's skin is z = 20: all that changed lies within the depth below it.
    new = cut.vertices[(cut.vertices[:, 2] > 1e-6) & (cut.vertices[:, 2] < 20 - 1e-6)]
    assert len(new)
    assert new[:, 2].min() == pytest.approx(20 - DEPTH_MM, abs=1e-3)
    # Its strokes are as wide as said: area over length of the letters' middle lines lies between one and two widths.
    hand = hand_of(printer)
    assert np.ptp(new[:, 0]) < 14
    assert label.volume_mm3 / DEPTH_MM > 4 * hand.stroke_mm * hand.capital_mm * 0.5
    below = cut.section((0, 0, 1), (0, 0, 20 - DEPTH_MM / 2))
    assert len(below.discrete) >= 5  # the block's outline and four letters


def test_a_thin_stick_has_no_room_and_says_so() -> None:
    stick = cylinder(1.5, 0.0, 20.0)
    made = labelled(kit_of("finger", stick), cylinder(1.5, -5.0, 40.0), load_workshop().printer)
    assert made.labels[0].place is None
    assert made.solids["finger"] is stick
    assert made.findings[0].verdict == "caution"
    assert "FI" in made.findings[0].advice


def test_codes_tell_parts_and_sides_apart() -> None:
    names = [
        "head",
        "hand_left",
        "hand_right",
        "hip_left",
        "thigh_left",
        "elbow_left_link",
        "elbow_right_link",
        "foot_left",
    ]
    made = codes(names)
    assert len(set(made.values())) == len(names)
    assert made["hand_left"] == "HAL"
    assert made["hand_right"] == "HAR"
    assert made["foot_left"] == "F0L"
    assert all(2 <= len(c) <= 5 for c in made.values())
