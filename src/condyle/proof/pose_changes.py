"""Which single change helps a figure most towards the poses that it misses furthest?

For each of the poses furthest from what was asked, the joint that gave way most is changed in one respect at a time: moved
1 mm along its limb either way, or the next smaller hardware. Each change is tried in earnest: the sculpt is parted
anew and the pose solved again, so a trial costs as much as a kit. Relief and pieces of their own are not among the
changes tried here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from condyle.figure.kit import Kit
from condyle.figure.parting import part
from condyle.figure.skeleton import SeatedJoint, Skeleton
from condyle.figure.wishes import JointWish
from condyle.geometry.solid import Solid
from condyle.proof.bodies import make_bodies, make_meetings
from condyle.proof.pose_contact import Figure
from condyle.proof.pose_solve import Solution, nearest
from condyle.proof.poses import SolvedPose
from condyle.workshop.bench import Workshop

_MOVE_MM = 1.0
_SMALLER = 0.8
_MISSED_DEG = 5.0


@dataclass(frozen=True)
class TriedChange:
    """A change of one joint and what it gave: how far the pose misses what was asked, before and after.

    The miss is the root of the sum of squares of all changed angles, degrees. after_deg is None where the joint could not
    be built that way.
    """

    pose: str
    joint: str
    change: str
    before_deg: float
    after_deg: float | None

    @property
    def gained_deg(self) -> float:
        return 0.0 if self.after_deg is None else self.before_deg - self.after_deg


def try_changes(
    solved: Sequence[SolvedPose],
    kit: Kit,
    sculpt: Solid,
    skeleton: Skeleton,
    seated: Sequence[SeatedJoint],
    workshop: Workshop,
    wishes: Mapping[str, JointWish] | None = None,
    *,
    poses: int = 3,
) -> tuple[TriedChange, ...]:
    """Every trial, the most helpful first. At most three kits are made for each of ``poses`` poses."""
    wishes = dict(wishes or {})
    made: dict[tuple[str, str], Figure | None] = {}
    out: list[TriedChange] = []
    missed = [p for p in solved if p.changed_deg > _MISSED_DEG]
    for pose in sorted(missed, key=lambda p: (-p.changed_deg, p.name))[:poses]:
        name = next((c.joint for c in pose.changes if c.reason == "contact"), None)
        built = next((j for j in kit.joints if j.name == name and j.built), None)
        if name is None or built is None:
            continue
        for change, joints, asked in _trials(name, built.size_mm, seated, wishes):
            if (name, change) not in made:
                made[name, change] = _figure(sculpt, skeleton, joints, workshop, asked, name)
            figure = made[name, change]
            after = None if figure is None else _miss(nearest(figure, pose.asked))
            out.append(TriedChange(pose.name, name, change, pose.changed_deg, after))
    return tuple(sorted(out, key=lambda t: (-t.gained_deg, t.pose, t.joint, t.change)))


def _trials(
    name: str, size_mm: float | None, seated: Sequence[SeatedJoint], wishes: Mapping[str, JointWish]
) -> list[tuple[str, list[SeatedJoint], dict[str, JointWish]]]:
    wish = wishes.get(name, JointWish())
    # The size stays what it was, so that one thing alone changes.
    same = {**wishes, name: replace(wish, size_mm=size_mm)}
    out = []
    for words, step in (("moved 1 mm towards the child", _MOVE_MM), ("moved 1 mm towards the parent", -_MOVE_MM)):
        out.append((words, [_moved(j, step) if j.name == name else j for j in seated], same))
    if size_mm is not None:
        smaller = round(_SMALLER * size_mm * 2.0) / 2.0
        if smaller < size_mm:
            out.append((f"size {smaller:g} mm", list(seated), {**wishes, name: replace(wish, size_mm=smaller)}))
    return out


def _moved(joint: SeatedJoint, by_mm: float) -> SeatedJoint:
    frame = joint.frame
    return replace(joint, frame=replace(frame, origin=frame.origin + by_mm * frame.z), source="hand")


def _figure(
    sculpt: Solid, skeleton: Skeleton, seated: Sequence[SeatedJoint], workshop: Workshop,
    wishes: Mapping[str, JointWish], name: str,
) -> Figure | None:  # fmt: skip
    """The kit parted anew, made ready for poses; None where the changed joint was not built."""
    kit = part(sculpt, skeleton, seated, workshop, wishes)
    if not any(j.name == name and j.built for j in kit.joints):
        return None
    bodies = make_bodies(kit)
    return Figure(kit, bodies, make_meetings(kit, bodies), workshop.kerf_mm)


def _miss(solution: Solution) -> float:
    return float(np.linalg.norm([c.by_deg for c in solution.changes])) if solution.changes else 0.0
