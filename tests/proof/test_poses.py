"""Poses: contacts, solutions and ways, with the collision library as the second judge."""

from __future__ import annotations

import itertools
import sys
from pathlib import Path

import numpy as np
import pytest
from smallkits import hinge_kit

sys.path.insert(0, str(Path(__file__).parents[1] / "figure" / "pose"))
from stickfigure import stick_figure

from condyle.figure.kit import Kit
from condyle.figure.pose import Pose, between, forward, swapped
from condyle.proof.bodies import make_bodies, make_meetings
from condyle.proof.pose_contact import Figure
from condyle.proof.pose_solve import nearest
from condyle.proof.pose_way import find_way
from condyle.proof.poses import change_words, solve_poses
from tests.collision import Body, distance, touching

KERF = 0.3


def figure_of(kit: Kit) -> Figure:
    bodies = make_bodies(kit)
    return Figure(kit, bodies, make_meetings(kit, bodies), KERF)


def judged(kit: Kit, placed: dict[str, np.ndarray]) -> set[frozenset[str]]:
    """The pairs that share a point, by the collision library, every pair asked."""
    solids = {p.name: Body(p.mesh) for p in kit.parts}
    out = set()
    for a, b in itertools.combinations(solids, 2):
        if touching(solids[a], solids[b], np.linalg.inv(placed[b]) @ placed[a]):
            out.add(frozenset((a, b)))
    return out


CROSSED = Pose("crossed", {
    "shoulder_left": {"flex": 70.0, "abduct": -35.0}, "shoulder_right": {"flex": 70.0, "abduct": -35.0},
    "elbow_left": {"flex": 20.0}, "elbow_right": {"flex": 20.0},
})  # fmt: skip
FOLDED = Pose("folded", {"elbow_left": {"flex": 40.0}, "shoulder_left": {"flex": 0.0, "abduct": -45.0}})
APART = Pose("apart", {"shoulder_left": {"flex": 60.0, "abduct": 30.0}, "elbow_right": {"flex": 50.0}})


@pytest.mark.parametrize("pose", [CROSSED, FOLDED, APART], ids=lambda p: p.name)
def test_contacts_are_those_that_the_collision_library_sees(pose: Pose) -> None:
    kit = stick_figure(15.0)
    figure = figure_of(kit)
    placed = forward(kit, pose)
    ours = {frozenset((c.first, c.second)) for c in figure.meeting(placed)}
    theirs = judged(kit, placed)
    asked = {frozenset((p.first, p.second)) for p in figure.pairs}
    assert theirs & asked <= ours  # nothing that touches is missed
    for pair in ours - theirs:  # and what is reported beside that is nearer than half a kerf
        a, b = sorted(pair)
        gap = distance(Body(kit.part(a).mesh), Body(kit.part(b).mesh), np.linalg.inv(placed[b]) @ placed[a])[0]
        assert gap < KERF / 2


@pytest.mark.parametrize("pose", [CROSSED, FOLDED], ids=lambda p: p.name)
def test_a_solved_pose_touches_nowhere_and_is_near_the_asked_one(pose: Pose) -> None:
    kit = stick_figure(15.0)
    figure = figure_of(kit)
    assert judged(kit, forward(kit, pose))
    found = nearest(figure, pose)
    assert not found.left and found.changes
    assert not judged(kit, forward(kit, found.pose))
    for (
        change
    ) in found.changes:  # no single angle can go back: a degree towards what was asked touches or comes too near
        step = np.copysign(min(1.0, abs(change.by_deg)), -change.by_deg)
        angles = {**found.pose.angles[change.joint], change.motion: change.reached_deg + step}
        back = Pose("back", {**found.pose.angles, change.joint: angles})
        assert figure.meeting(forward(kit, back), stretch=1.06), change_words(change)


def test_what_is_free_stays_as_asked() -> None:
    kit = stick_figure(15.0)
    found = nearest(figure_of(kit), APART)
    assert found.changes == ()
    for joint, told in APART.angles.items():
        for motion, angle in told.items():
            assert found.pose.angles[joint][motion] == angle


def test_mirrored_poses_have_mirrored_solutions() -> None:
    figure = figure_of(stick_figure(15.0))
    one = nearest(figure, FOLDED)
    two = nearest(figure, swapped(FOLDED))
    for joint, told in swapped(one.pose).angles.items():
        for motion, angle in told.items():
            assert two.pose.angles[joint][motion] == pytest.approx(angle, abs=0.4)


def test_a_hinge_goes_as_far_as_its_block_lets_it() -> None:
    """hinge_kit: the arm's front face y = 1 meets the block's lower edge at (y, z) = (6, -15). For a line at distance h from
    the axis through a point at distance d: turn = angle of the point - asin-part, plain trigonometry."""
    kit, _, _ = hinge_kit(stop_z=-5.0)
    figure = figure_of(kit)
    found = nearest(figure, Pose("up", {"hinge": {"flex": 60.0}}))
    (change,) = found.changes
    # a positive turn brings -z to +y: the face's points (1, -s) go to angle phi; the edge lies at (6, -15)
    d = np.hypot(6.0, 15.0)
    closed = np.degrees(np.arctan2(6.0, 15.0) - np.arcsin(1.0 / d))
    keep = figure.of_joint("hinge")[0].keep_mm
    earlier = np.degrees(np.arctan2(6.0, 15.0) - np.arcsin((1.0 + 1.06 * keep) / d))
    assert earlier - 0.4 <= change.reached_deg <= closed
    assert "upper" in change_words(change)


def test_a_limit_is_kept_and_told() -> None:
    kit, _, _ = hinge_kit(stop_z=-100.0)
    found = nearest(figure_of(kit), Pose("far", {"hinge": {"flex": -30.0}}))
    (change,) = found.changes
    assert (change.reason, change.reached_deg) == ("limit", 0.0)


def test_a_free_way_is_free_wherever_it_is_looked_at() -> None:
    kit = stick_figure(15.0)
    figure = figure_of(kit)
    goal = nearest(figure, CROSSED).pose
    way = find_way(figure, Pose("rest"), goal)
    assert way.free
    joints = [j.seated for j in kit.joints]
    for a, b in itertools.pairwise(way.keys):
        for share in (0.0, 0.21, 0.5, 0.83, 1.0):
            # between keys joints turn about one axis; these angles differ little from that on a step of 30°
            assert not judged(kit, forward(kit, between(a, b, share, joints)))


def test_a_way_through_the_body_is_not_free() -> None:
    """A bent arm turned inward about the hanging upper arm: the forearm would sweep through the trunk."""
    kit = stick_figure(0.0)
    figure = figure_of(kit)
    start, end = (
        Pose(n, {"elbow_left": {"flex": 90.0}, "biceps_left": {"twist": t}})
        for n, t in (("ahead", 0.0), ("behind", 170.0))
    )
    assert not judged(kit, forward(kit, start)) and not judged(kit, forward(kit, end))
    middle = between(start, end, 0.5, [j.seated for j in kit.joints])
    assert judged(kit, forward(kit, middle))
    way = find_way(figure, start, end)
    assert way.stopped is not None
    assert "trunk" in (way.stopped.first, way.stopped.second)


def test_solved_poses_stand_on_the_ground_and_say_what_was_changed() -> None:
    kit = stick_figure(15.0)
    bodies = make_bodies(kit)
    solved = solve_poses(kit, bodies, make_meetings(kit, bodies), KERF, [APART, CROSSED])
    for pose in solved:
        low = min(
            (p.mesh.vertices @ pose.transforms[p.name][2, :3]).min() + pose.transforms[p.name][2, 3] for p in kit.parts
        )
        assert low == pytest.approx(0.0, abs=1e-9)
    free, changed = solved
    assert [f.verdict for f in free.findings] == ["pass", "pass"] and free.changed_deg == 0.0
    reach = changed.findings[0]
    assert reach.check == "pose.reach" and reach.measured == pytest.approx(
        max(abs(c.by_deg) for c in changed.changes), abs=0.01
    )
    assert reach.verdict in ("pass", "caution", "fail")


def test_a_way_may_lead_from_another_pose() -> None:
    kit = stick_figure(15.0)
    bodies = make_bodies(kit)
    first, second = solve_poses(
        kit, bodies, make_meetings(kit, bodies), KERF, [APART, FOLDED], after={"folded": "apart"}
    )
    joint = next(j.seated for j in kit.joints if j.name == "shoulder_left")
    assert second.way.keys[0].of(joint) == first.reached.of(joint)
    assert second.way.keys[-1].of(joint) == second.reached.of(joint)
