"""Engraved codes, measured on the finished solid: where they are, how deep, how wide, and that nothing else changed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import trimesh

from condyle.figure.kit import Axle, Balance, BuiltJoint, Kit, Part
from condyle.figure.skeleton import JointSpec, SeatedJoint
from condyle.finish.labels import DEPTH_MM, WALL_MM, hand_of, labelled, numbers, whole
from condyle.geometry.frame import Frame
from condyle.geometry.primitives import box, cylinder, sphere
from condyle.geometry.solid import Solid, intersect, subtract, union
from condyle.proof.bodies import make_bodies
from condyle.proof.wall import walls
from condyle.workshop.bench import load_workshop


def kit_of(name: str, solid: Solid) -> Kit:
    return Kit((Part(name, name, solid),), (), Balance(0.0, 0.0, 0.0, 0.0, 0.0))


def test_a_block_cut_from_a_bar_is_engraved_on_its_cut_face() -> None:
    bar, block = box((0, 0, 0), (14, 14, 60)), box((0, 0, 0), (14, 14, 20))
    printer = load_workshop().printer
    made = labelled(kit_of("upper_arm_left", block), bar, printer)
    (label,) = made.labels
    assert label.code == "1L" and not label.covered
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
    assert label.volume_mm3 / DEPTH_MM > 2 * hand.stroke_mm * hand.capital_mm * 0.5
    below = cut.section((0, 0, 1), (0, 0, 20 - DEPTH_MM / 2))
    assert len(below.discrete) >= 3  # the block's outline and two letters


def test_a_thin_stick_has_no_room_and_says_so() -> None:
    stick = cylinder(1.5, 0.0, 20.0)
    made = labelled(kit_of("finger", stick), cylinder(1.5, -5.0, 40.0), load_workshop().printer)
    assert made.labels[0].place is None
    assert made.solids["finger"] is stick
    assert made.findings[0].verdict == "caution"
    assert "number 1:" in made.findings[0].advice


def test_numbers_tell_parts_and_sides_apart() -> None:
    names = ["head", "hand_left", "hand_right", "elbow_left_link", "elbow_right_link", "foot_left"]
    made = numbers(names)
    assert made == {
        "head": "1", "hand_left": "2L", "hand_right": "2R", "elbow_left_link": "3L", "elbow_right_link": "3R", "foot_left": "4L",
    }  # fmt: skip
    # One more joint at the end renames nothing.
    assert numbers([*names, "toe_left"]) == {**made, "toe_left": "5L"}
    assert whole("foot_left") == "F00T L"
    assert whole("elbow_right_link") == "ELB0W LINK R"
    assert whole("jib") == "JIB"  # common practice, no source: a name is engraved as it is spelled


def covered(gap_mm: float) -> tuple[Kit, Solid]:
    """A block with a round end of 12 mm radius in a lid that follows it at a distance, both cut from one bar."""
    bar = box((-9, -9, 0), (9, 9, 60))
    ball, hollow = sphere(12.0).translated((0, 0, 16)), sphere(12.0 + gap_mm).translated((0, 0, 16))
    block = union([box((-9, -9, 0), (9, 9, 16)), intersect(ball, bar)])
    lid = subtract(subtract(bar, [box((-10, -10, -1), (10, 10, 16))]), [hollow])
    joint = BuiltJoint(
        SeatedJoint(
            JointSpec("neck", "ball", "peg", "lid", (0.0, 0.0, 0.5)), Frame(np.array([0.0, 0.0, 16.0]), np.eye(3)),
            (0.0, 0.0, 1.0),
        ),
        True,
        axles=(Axle("lid", "peg", (0.0, 0.0, 16.0)),),
    )  # fmt: skip
    return Kit((Part("peg", "peg", block), Part("lid", "lid", lid)), (joint,), Balance(0.0, 0.0, 0.0, 0.0, 0.0)), bar


def test_on_a_round_face_the_groove_follows_it_at_one_depth_and_leaves_a_wall() -> None:
    """Held to the sphere's own equation: every new corner lies on the sphere, or the depth below it along the label's way."""
    kit, bar = covered(0.3)
    made = labelled(kit, bar, load_workshop().printer)
    label = made.labels[0]
    assert label.place is not None and label.covered
    assert label.code == "PEG"
    solid = made.solids["peg"]
    old = {tuple(v) for v in np.round(kit.part("peg").mesh.vertices, 6).tolist()}
    new = np.array([v for v in np.round(solid.mesh.vertices, 6).tolist() if tuple(v) not in old])
    way = np.array(label.place) - (0.0, 0.0, 16.0)
    way /= np.linalg.norm(way)
    radius = np.linalg.norm(new - (0.0, 0.0, 16.0), axis=1)
    lifted = np.linalg.norm(new + DEPTH_MM * way - (0.0, 0.0, 16.0), axis=1)
    off = np.minimum(np.abs(radius - 12.0), np.abs(lifted - 12.0))
    assert len(new) > 50 and off.max() < 0.02  # the facets of both spheres
    assert (np.abs(lifted - 12.0) < 0.02).sum() > 20
    assert label.volume_mm3 == pytest.approx(kit.part("peg").solid.volume_mm3 - solid.volume_mm3, rel=1e-9)
    assert trimesh.Trimesh(solid.mesh.vertices, solid.mesh.faces, process=False).is_watertight
    floor = new[np.abs(lifted - 12.0) < 0.02]
    # A wall's depth below the floor it is still inside the ball or the block under it, by their own equations.
    x, y, z = (floor - WALL_MM * way).T
    in_bar = (np.abs(x) < 9.0) & (np.abs(y) < 9.0) & (z > 0.0)
    assert (in_bar & ((np.hypot(np.hypot(x, y), z - 16.0) < 12.0) | (z < 16.0))).all()


def test_a_face_that_nothing_covers_takes_the_number_alone() -> None:
    kit, bar = covered(8.0)
    label = labelled(kit, bar, load_workshop().printer).labels[0]
    assert label.code == "1" and not label.covered


def test_letters_leave_walls_as_they_were() -> None:
    """A block 10 mm thick has no wall thinner than 10 mm but those that letters of a third of a millimetre would feign."""
    bar, block = box((0, 0, 0), (14, 10, 60)), box((0, 0, 0), (14, 10, 20))
    made = labelled(kit_of("upper_arm_left", block), bar, load_workshop().printer)
    kit = kit_of("upper_arm_left", made.solids["upper_arm_left"])
    marked = replace(kit, parts=(replace(kit.parts[0], mark=made.labels[0].mark),))
    (bare,) = walls(kit, make_bodies(kit), 0.45)[0].values()
    (told,) = walls(marked, make_bodies(marked), 0.45)[0].values()
    assert bare is not None and bare.thickness_mm < 1.0
    assert told is not None and told.thickness_mm == pytest.approx(10.0, abs=0.05)
    # What is thin for another reason is still found, letters or none: a slot 1 mm below them.
    slot = subtract(made.solids["upper_arm_left"], [box((-1, -1, 18.0), (15, 15, 18.6))])
    thin = replace(marked, parts=(replace(marked.parts[0], solid=slot),))
    (found,) = walls(thin, make_bodies(thin), 0.45)[0].values()
    assert found is not None and found.thickness_mm == pytest.approx(20.0 - DEPTH_MM - 18.6, abs=0.03)
