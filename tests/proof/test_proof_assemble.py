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


def peg(name, stays, moves, insertion):
    """A joint without a lip between two parts: the moving part is pushed home along ``insertion``."""
    spec = JointSpec(name, "peg", stays, moves, (0.0, 0.0, 0.0))
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
