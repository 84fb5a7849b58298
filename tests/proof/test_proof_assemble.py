"""Ways out of joints on drawn solids: what must go first, and what cannot go at all."""

from __future__ import annotations

import numpy as np
import pytest

from condyle.figure.kit import Axle, Balance, BuiltJoint, Kit, Part
from condyle.figure.skeleton import JointSpec, SeatedJoint
from condyle.geometry.frame import frame_from_zx
from condyle.geometry.primitives import box
from condyle.geometry.solid import union
from condyle.proof.assemble import assembly
from condyle.proof.bodies import make_bodies, make_meetings


def peg(name, stays, moves, insertion, kind="peg"):
    """A joint without a lip between two parts: the moving part is pushed home along ``insertion``."""
    spec = JointSpec(name, kind, stays, moves, (0.0, 0.0, 0.0))
    frame = frame_from_zx(np.zeros(3), np.array([0.0, 0.0, 1.0]), np.array([1.0, 0.0, 0.0]))
    seated = SeatedJoint(spec, frame, (0.0, 0.0, 1.0))
    axle = Axle(moves, stays, (0.0, 0.0, 0.0))
    return BuiltJoint(seated, True, axles=(axle,), insertion=(insertion,), travel_mm=3.0, insertion_n=55.0)


def kit(parts, joints):
    made = tuple(Part(name, name, solid) for name, solid in parts.items())
    return Kit(made, tuple(joints), Balance(0.0, 0.0, 0.0, 0.0, 0.0))


def found(parts, joints):
    made = kit(parts, joints)
    bodies = make_bodies(made)
    return assembly(made, bodies, make_meetings(made, bodies))


BLOCK = box((0.0, 0.0, 0.0), (10.0, 10.0, 10.0))
LID = box((0.0, 0.0, 10.2), (10.0, 10.0, 14.0))
CLIP = union(
    [
        box((10.2, 0.0, -4.0), (12.0, 10.0, 14.0)),  # beside the block
        box((-4.0, 0.0, -4.0), (12.0, 10.0, -0.2)),  # and under it
    ]
)


def test_what_hooks_under_goes_on_last():
    # The clip is on the lid and reaches under the block: the lid cannot be lifted while the clip is there.
    told = found(
        {"block": BLOCK, "lid": LID, "clip": CLIP},
        [peg("top", "block", "lid", (0.0, 0.0, -1.0)), peg("side", "lid", "clip", (-1.0, 0.0, 0.0))],
    )
    assert told.order.exists
    assert [s.mating.joint for s in told.order.steps] == ["top", "side"]
    assert [f.verdict for f in told.findings] == ["pass"]


def test_two_parts_that_lock_each_other_are_told_with_the_place():
    # Now the clip would have to be lifted as well: block and clip lock each other.
    told = found(
        {"block": BLOCK, "lid": LID, "clip": CLIP},
        [peg("top", "block", "lid", (0.0, 0.0, -1.0)), peg("side", "lid", "clip", (0.0, 0.0, -1.0))],
    )
    assert not told.order.exists
    (finding,) = told.findings
    assert finding.verdict == "fail"
    assert {"block", "clip"} == set(finding.subject.split()[-1].split("/"))
    assert finding.measured == pytest.approx(0.2, abs=0.03)  # the gap below the block, less the rub
    assert finding.place is not None
    assert finding.place[2] == pytest.approx(-0.1, abs=0.12)


def test_a_push_beyond_the_hand_carries_its_remedy():
    told = found({"block": BLOCK, "lid": LID}, [peg("top", "block", "lid", (0.0, 0.0, -1.0))])
    (step,) = told.order.steps
    assert step.mating.force_n == 55.0
    assert "never a flame" in step.mating.remedy
    assert step.mating.parts_again == "not at all once it is glued"


HOOKED = union(
    [
        box((-9.0, -9.0, -6.0), (9.0, 9.0, -0.2)),
        box((8.0, -2.0, -1.0), (9.0, 2.0, 7.0)),
        box((4.0, -2.0, 6.0), (9.0, 2.0, 7.0)),
    ]
)
LUG = union([box((-1.0, -1.0, 0.0), (1.0, 1.0, 12.0)), box((0.0, -1.0, 3.0), (7.0, 1.0, 4.0))])


def test_a_limb_that_turns_goes_in_as_a_bayonet_does():
    """A lug 2 mm wide and 7 mm long below a hook 4 mm wide that begins 4 mm out: by plane geometry it meets the hook at 30° and
    passes it at 45°, where its corner within the hook's width comes no further out than 3.4 mm."""
    told = found({"base": HOOKED, "limb": LUG}, [peg("hip", "base", "limb", (0.0, 0.0, -1.0), "ball")])
    (step,) = told.order.steps
    assert step.turn_deg == 45.0
    assert [f.verdict for f in told.findings] == ["pass"]


def test_a_turn_that_the_joint_does_not_make_is_not_taken():
    told = found({"base": HOOKED, "limb": LUG}, [peg("hip", "base", "limb", (0.0, 0.0, -1.0))])
    assert not told.order.exists
    # The lug's top is at 4 mm, the hook's underside at 6.
    assert told.findings[0].measured == pytest.approx(2.0, abs=0.05)


def test_walls_on_either_side_keep_a_limb_from_turning():
    walls = [box((2.0, y, -1.0), (7.0, y + 1.0, 5.0)) for y in (-2.2, 1.2)]
    told = found({"base": union([HOOKED, *walls]), "limb": LUG}, [peg("hip", "base", "limb", (0.0, 0.0, -1.0), "ball")])
    assert not told.order.exists
    assert "turned by up to 90°" in told.findings[0].advice


def test_a_free_way_is_straight():
    told = found({"block": BLOCK, "lid": LID}, [peg("top", "block", "lid", (0.0, 0.0, -1.0), "ball")])
    assert told.order.steps[0].turn_deg == 0.0
