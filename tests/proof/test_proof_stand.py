"""Figures of blocks put down: what they rest on, how far they are from tipping, and what would make them stand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from condyle.figure.kit import Kit
from condyle.figure.pose import Pose
from condyle.figure.skeleton import Motion, Range
from condyle.proof.mass import part_masses
from condyle.proof.stand.ankles import offer
from condyle.proof.stand.judge import StandWanted, centre_sd_mm, stand_findings
from condyle.proof.stand.standing import Ground, make_ground, put_down, shaken
from condyle.workshop.bench import load_workshop
from condyle.workshop.recipe import Recipe
from tests.proof.limbkits import walker


def _ground(kit: Kit) -> Ground:
    return make_ground(kit, part_masses(kit, load_workshop(), Recipe(fill=1.0, coat_mm=0.0)))


def _limits(kit: Kit) -> dict[str, dict[Motion, Range]]:
    return {j.name: {"flex": (-40.0, 40.0), "abduct": (-40.0, 40.0)} for j in kit.joints}


def test_walker_stands_on_both_feet_with_the_margins_of_its_soles() -> None:
    kit = walker()
    standing = put_down(_ground(kit), Pose("rest"))
    assert standing.stands and standing.lean_deg == pytest.approx(0.0, abs=1e-6)
    assert standing.touching == ("foot_left", "foot_right")
    # The soles reach from x = -8 to 16 and y = -15 to 15; the weight is behind the middle, so it tips backward first.
    back = 8.0 + standing.centre_mm[0]
    assert standing.margin_mm == pytest.approx(back, abs=1e-6)
    assert standing.tip_deg == pytest.approx(math.degrees(math.atan(back / standing.centre_mm[2])))
    assert abs(standing.foot.weakest_deg) == pytest.approx(180.0)
    assert standing.flat_deg == pytest.approx({"foot_left": 0.0, "foot_right": 0.0}, abs=0.01)
    # Straight ahead the way to the edge is longer: 16 mm less the centre's place.
    ahead = math.degrees(math.atan((16.0 - standing.centre_mm[0]) / standing.centre_mm[2]))
    assert standing.foot.tips_deg[0] == pytest.approx(ahead)


def test_one_leg_lifted_it_rests_on_the_other_foot_only_with_the_weight_over_it() -> None:
    lifted = {"hip_right": {"flex": -60.0}}
    narrow, wide = (put_down(_ground(walker(apart=a)), Pose("lift", lifted)) for a in (6.0, 28.0))
    assert narrow.stands and narrow.touching == ("foot_left",)
    assert not wide.stands


def test_a_figure_bent_far_over_falls_onto_what_it_lands_on() -> None:
    ground = _ground(walker())
    bent = put_down(ground, Pose("bow", {"hip_left": {"flex": 85.0}, "hip_right": {"flex": 85.0}}))
    assert not bent.stands or bent.lean_deg > 1.0
    lowest = min(float((ground.corners[n] @ m[2, :3]).min() + m[2, 3]) for n, m in bent.placed.items())
    assert lowest == pytest.approx(0.0, abs=1e-9)
    for name in bent.touching:
        m = bent.placed[name]
        assert float((ground.corners[name] @ m[2, :3]).min() + m[2, 3]) <= 0.05


def test_a_foot_on_its_edge_is_told_with_its_angle() -> None:
    standing = put_down(_ground(walker()), Pose("edge", {"ankle_left": {"flex": 4.0}, "ankle_right": {"flex": 4.0}}))
    assert max(standing.flat_deg.values()) < 0.5  # both feet turn alike, so the whole figure leans and they lie flat
    assert standing.lean_deg == pytest.approx(4.0, abs=0.1)
    one = put_down(_ground(walker()), Pose("edge", {"ankle_left": {"flex": 6.0}}))
    assert max(one.flat_deg.values()) > 2.0


def test_ankles_that_were_turned_are_solved_back() -> None:
    kit = walker()
    ground = _ground(kit)
    pose = Pose("off", {"ankle_left": {"flex": 14.0, "abduct": 9.0}, "ankle_right": {"flex": -11.0, "abduct": -5.0}})
    spoilt = put_down(ground, pose)
    solved = offer(ground, pose, _limits(kit))
    assert solved is not None
    assert solved.standing.stands and solved.standing.lean_deg < 0.5
    assert max(solved.standing.flat_deg.values()) < 0.5
    assert solved.standing.tip_deg > spoilt.tip_deg
    # The way back is to the sculpt's own angles, but for the lean that brings the weight over the middle of the soles.
    assert solved.angles["ankle_left"]["flex"] == pytest.approx(solved.angles["ankle_right"]["flex"], abs=0.5)
    assert solved.standing.tip_deg > put_down(ground, Pose("rest")).tip_deg


def test_angles_stay_within_their_limits() -> None:
    kit = walker()
    ground = _ground(kit)
    tight: dict[str, dict[Motion, Range]] = {j.name: {"flex": (-5.0, 5.0), "abduct": (-5.0, 5.0)} for j in kit.joints}
    solved = offer(ground, Pose("far", {"hip_left": {"flex": 25.0}, "hip_right": {"flex": 25.0}}), tight)
    assert solved is not None
    assert all(-5.0 <= a <= 5.0 for told in solved.angles.values() for a in told.values())


def test_three_degrees_off_costs_what_rolling_onto_edges_costs() -> None:
    ground = _ground(walker())
    standing = put_down(ground, Pose("rest"))
    worst = shaken(ground, standing, 3.0)
    assert worst is not None
    assert worst.joint.split("_")[0] in ("ankle", "hip")
    assert worst.standing.tip_deg < standing.tip_deg
    by_hand = put_down(ground, Pose("rest", {worst.joint: {worst.motion: worst.off_deg}}))
    assert by_hand.tip_deg == pytest.approx(worst.standing.tip_deg)


def test_findings_say_what_was_measured_and_what_would_help() -> None:
    kit = walker()
    ground = _ground(kit)
    pose = Pose("off", {"ankle_left": {"flex": 14.0}, "ankle_right": {"flex": -11.0}})
    standing = put_down(ground, pose)
    found = stand_findings(
        ground, standing, shaken(ground, standing, 3.0), offer(ground, pose, _limits(kit)), StandWanted()
    )
    by_check = {f.check: f for f in found}
    worst = by_check["stand.rest"] if not standing.stands else by_check["stand.tip"]
    assert worst.verdict == "caution" and "ankle_left" in worst.advice
    assert worst.place is not None
    upright = put_down(ground, Pose("rest"))
    passed = {f.check: f for f in stand_findings(ground, upright, None, None, StandWanted(5.0, 3.0))}
    assert passed["stand.tip"].verdict == "pass" and passed["stand.tip"].advice == ""
    own = Pose("rest")
    fallen = put_down(ground, own, down=np.array([1.0, 0.0, 0.0]))
    assert fallen.stands  # lying on its face is a rest too, when that is how it was put down


def test_doubt_of_the_centre_is_the_sum_of_the_parts_doubts() -> None:
    """sd² = Σ (sd_i·x_i/M)² along the weakest direction (law of propagation, JCGM 100:2008 5.1.2, from memory)."""
    kit = walker()
    ground = _ground(kit)
    standing = put_down(ground, Pose("rest"))
    total = sum(m.printed.mass_g for m in ground.masses.values())
    by_hand = 0.0
    for m in ground.masses.values():
        by_hand += (m.sd_g / total * (m.printed.centre_mm[0] - standing.centre_mm[0])) ** 2
    assert centre_sd_mm(standing, ground.masses) == pytest.approx(math.sqrt(by_hand), rel=1e-6)
