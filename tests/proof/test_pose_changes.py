"""Changes tried in earnest on a plain limb: the kit that is made anew is asked again, and its answer is the trial's."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "figure"))
from limbs import capsule, joint, solid

from condyle.figure.parting import part
from condyle.figure.pose import Pose
from condyle.figure.skeleton import Bone, Skeleton
from condyle.proof.bodies import make_bodies, make_meetings
from condyle.proof.pose_changes import _moved, ranking, try_changes
from condyle.proof.poses import solve_poses
from condyle.workshop.bench import load_workshop


@pytest.mark.slow
def test_each_change_is_measured_on_a_kit_of_its_own() -> None:
    shop = load_workshop()
    sculpt = solid(capsule(7.0, 70.0))
    ball = joint("neck", "ball", "lower", "upper", (0.0, 0.0, 35.0), z=(0, 0, 1))
    ball = replace(ball, spec=replace(ball.spec, wanted={"flex": (-90.0, 90.0)}))
    skeleton = Skeleton("test", (Bone("lower", None), Bone("upper", "lower")), (ball.spec,))
    asked = Pose("bow", {"neck": {"flex": 85.0}})

    def solved(kit, pose=asked):  # type: ignore[no-untyped-def]
        bodies = make_bodies(kit)
        return solve_poses(kit, bodies, make_meetings(kit, bodies), shop.kerf_mm, [pose])

    def cut(joints, wishes):  # type: ignore[no-untyped-def]
        return part(sculpt, skeleton, joints, shop, wishes)

    kit = part(sculpt, skeleton, [ball], shop)
    first = solved(kit)
    tried = try_changes(first, kit, [ball], cut, shop.kerf_mm)
    assert first[0].changed_deg > 5.0
    assert {t.change for t in tried} >= {"moved 1 mm towards the child", "moved 1 mm towards the parent"}
    assert [t.gained_deg for t in tried] == sorted((t.gained_deg for t in tried), reverse=True)
    rows = ranking(tried)
    assert [r[2] for r in rows] == sorted((r[2] for r in rows), reverse=True)
    assert {(t.joint, t.change) for t in tried} == {(r[0], r[1]) for r in rows}
    # A piece so near the ball would take hardware with it: it is named, and not tried.
    assert next(t for t in tried if "a piece" in t.change).after_deg is None
    again = solved(part(sculpt, skeleton, [_moved(ball, 1.0)], shop))[0].changed_deg
    told = next(t for t in tried if t.change == "moved 1 mm towards the child")
    assert told.after_deg == pytest.approx(again, abs=1.5)  # the trial also keeps the hardware's size
