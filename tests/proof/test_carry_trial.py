"""What is tried to mend a joint, and what is told of it: changes chosen from findings, and trials that stand for real ones."""

from __future__ import annotations

from dataclasses import replace

import pytest

from condyle.demo.diver import diver
from condyle.figure.kit import BuiltJoint, Kit
from condyle.figure.parting import part
from condyle.figure.pose.sheet import pose_sheet, suited
from condyle.figure.seating import seat
from condyle.figure.skeleton_file import load_template
from condyle.figure.wishes import JointWish
from condyle.finding import Finding, Verdict
from condyle.geometry.solid import solid_from_mesh
from condyle.joints.mechanics.grip import Spread
from condyle.project.cache import Cache
from condyle.project.trial_step import try_changes
from condyle.project.watch import Watch
from condyle.proof.carry import Carried, CarryAsked, carry
from condyle.proof.carry_trial import Change, Trial, changes, told
from condyle.proof.hold.capacity import Grip
from condyle.proof.hold.judge import JointHold
from condyle.proof.hold.mend import Remedy
from condyle.proof.move import wanted_from_pose
from condyle.workshop.bench import load_workshop
from tests.proof.limbkits import walker

KIT = walker()
GRIP = Grip("x", Spread(8.0, 0.0, 30.0), Spread(4.0, 0.0, 15.0), Spread(6.0, 0.0, 20.0), measured=False)


def _finding(check: str, joint: str, verdict: Verdict, measured: float, target: float = 2.0) -> Finding:
    return Finding(
        check, joint, verdict, measured, target, "times the load", (0.0, 0.0, 0.0), "" if verdict == "pass" else "short"
    )


def _carried(*findings: Finding, remedies: tuple[Remedy, ...] = ()) -> Carried:
    holds = {j.name: JointHold(j.name, GRIP, 6.0, 6.0, 6.0, "rest", None, remedies, 20.0) for j in KIT.joints}
    return Carried(findings, {}, (), holds, {}, ())


def _trial(joint: BuiltJoint, change: Change, *findings: Finding) -> Trial:
    joints = tuple(joint if j.name == joint.name else j for j in KIT.joints)
    return Trial({joint.name: change}, Kit((), joints, KIT.balance), findings)


def _hip() -> BuiltJoint:
    return next(j for j in KIT.joints if j.name == "hip_left")


BALL_8 = Remedy("size", 8.0, 3.0, enough=True, clearance_mm=-0.05)
BALL_7 = Remedy("size", 7.0, 1.5, enough=False)


def test_a_pair_is_changed_alike_and_only_where_something_is_short() -> None:
    carried = _carried(
        _finding("hold.new", "hip_left", "caution", 1.2), _finding("hold.new", "ankle_left", "unknown", 3.0),
        remedies=(BALL_7, BALL_8),
    )  # fmt: skip
    first = changes(KIT, carried)
    assert first == {"hip_left": Change(8.0, -0.05), "hip_right": Change(8.0, -0.05)}
    assert first["hip_left"].words == "size = 8 and clearance_mm = -0.050"
    assert first["hip_left"].on(JointWish(flare_mm=0.5)) == JointWish(flare_mm=0.5, size_mm=8.0, clearance_mm=-0.05)
    assert changes(KIT, _carried(_finding("hold.new", "hip_left", "pass", 3.0))) == {}


def test_what_found_no_room_is_followed_by_a_smaller_one_and_what_mended_by_nothing() -> None:
    carried = _carried(_finding("hold.new", "hip_left", "caution", 1.2), remedies=(BALL_7, BALL_8))
    refused = _trial(replace(_hip(), built=False), Change(8.0, -0.05))
    assert changes(KIT, carried, [refused])["hip_left"] == Change(7.0)
    mended = _trial(replace(_hip(), size_mm=8.0), Change(8.0, -0.05), _finding("hold.new", "hip_left", "unknown", 3.1))
    assert changes(KIT, carried, [mended]) == {}
    lip = Finding("joint.lip", "hip_left", "caution", 0.02, 0.1, "mm", None, "low")
    spoilt = _trial(replace(_hip(), findings=(lip,)), Change(8.0, -0.05), _finding("hold.new", "hip_left", "pass", 3.1))
    assert "hip_left" in changes(KIT, carried, [spoilt])


def test_advice_tells_what_was_measured_and_what_it_spoils_in_the_place_of_what_was_worked_out() -> None:
    short = replace(_finding("hold.new", "hip_left", "caution", 1.2), advice="short; worked out, size = 8: holds 3.0")
    carried = _carried(short, _finding("stand.tip", "rest", "caution", 5.0))
    lip = Finding("joint.lip", "hip_left", "caution", 0.02, 0.1, "mm", None, "low")
    good = _trial(replace(_hip(), size_mm=8.0), Change(8.0), _finding("hold.new", "hip_left", "unknown", 3.1))
    bad = _trial(replace(_hip(), findings=(lip,)), Change(7.0), _finding("hold.new", "hip_left", "caution", 1.5))
    other = _trial(
        replace(_hip(), seated=replace(_hip().seated, spec=replace(_hip().seated.spec, kind="swivel"))), Change(10.0)
    )
    said, stand = told(KIT, carried, [good, bad, other]).findings
    assert said.advice == (
        "short; tried size = 8: parted (without relief, soles as sculpted) and measured again it is 3.1 for 2, enough as "
        "drawn; tried size = 7: parted (without relief, soles as sculpted) and measured again it is 1.5 for 2, not enough, but it spoils joint.lip; tried size = 10: parting finds no room for such a ball"
    )
    assert stand.advice == "short"


def test_too_strong_a_grip_and_a_neck_that_breaks_first_are_tried_too() -> None:
    strong = _carried(_finding("hold.too_strong", "hip_left", "caution", 0.8, 1 / 3))
    assert changes(KIT, strong)["hip_left"].clearance_mm == pytest.approx(-0.04 * 0.95 / 3 / 0.8, abs=6e-4)
    breaks = _carried(_finding("last.pop_bend", "hip_left", "fail", 3.0, 0.5))
    assert changes(KIT, breaks)["hip_left"] == Change(insert="stud")


@pytest.mark.slow
def test_the_divers_short_joints_are_parted_again_and_measured(tmp_path) -> None:  # type: ignore[no-untyped-def]
    sculpt, skeleton, shop = solid_from_mesh(diver(30_000)), load_template("upright"), load_workshop()
    joints = seat(sculpt, skeleton).joints
    kit = part(sculpt, skeleton, joints, shop)
    reach = {j.name: wanted_from_pose(j.seated) for j in kit.joints}
    seated = [j.seated for j in kit.joints]
    poses = [suited(p, seated) for p in pose_sheet("upright") if p.name in ("guard", "look back")]
    carried = carry(kit, shop, poses, reach)

    def again(solid, wishes):  # type: ignore[no-untyped-def]
        return part(solid, skeleton, joints, shop, wishes)

    asked = CarryAsked()
    done = try_changes(
        kit, carried, sculpt, {}, again, joints, shop, poses, reach, asked, (b"",), Cache(tmp_path), Watch()
    )
    short = [f for f in carried.findings if f.check in ("hold.new", "hold.aged") and f.verdict in ("fail", "caution")]
    assert short
    said = {(f.check, f.subject): f.advice for f in done.findings}
    for f in short:
        advice = said[f.check, f.subject]
        assert "tried " in advice and ("and measured again it is" in advice or "finds no room" in advice)
    # One of them at the least is mended by what was tried.
    assert any("enough as drawn" in said[f.check, f.subject] for f in short)
