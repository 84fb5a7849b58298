"""A skeleton standing by itself, without a sculpt: where its joints are in mm, and how they lie.

Used by the lay figure and by the guide. Limbs stand in the skeleton's own ``stance``; everything else follows from the
centres: a joint's z runs from it to the next one, x is the axis of flexion turned the shortest way from the human zero,
as seating does it in a sculpt.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from condyle.errors import UsageError
from condyle.figure.seating.frames import Lie, joint_frame
from condyle.figure.skeleton import JointSpec, Motion, SeatedJoint, Skeleton, motions_of
from condyle.geometry.frame import rotation_about, unit
from condyle.geometry.mesh import FloatArray

_ZERO = {
    "limb": np.array([0.0, 0.0, -1.0]),
    "trunk": np.array([0.0, 0.0, 1.0]),
    "ahead": np.array([1.0, 0.0, 0.0]),
    "behind": np.array([-1.0, 0.0, 0.0]),
}
_TIP_SHARE = 0.09  # of the height: how far a bone without a tip goes on past its joint
_SLANT_DEG = 45.0
_LEVEL = np.array([1.0, 1.0, 0.0])


@dataclass(frozen=True, eq=False)
class Standing:
    """Every joint of a skeleton in its stance, and where bones end that have no further joint (mm, by bone)."""

    height_mm: float
    joints: tuple[SeatedJoint, ...]
    tips: dict[str, FloatArray]

    def joint(self, name: str) -> SeatedJoint:
        return next(j for j in self.joints if j.name == name)


def standing(skeleton: Skeleton, height_mm: float | None = None) -> Standing:
    """The skeleton in its stance, soles as near to z = 0 as its tips tell.

    UsageError ``skeleton.together`` where two joints of one bone fall into one place.
    """
    height = skeleton.height_mm if height_mm is None else height_mm
    points = {j.name: height * np.array(j.centre) for j in skeleton.joints}
    tips = _tips(skeleton, points, height)
    _check_apart(skeleton, points)
    zero = {j.name: _zero_of(_way(skeleton, j, points, tips)) for j in skeleton.joints}
    for joint in _from_the_root(skeleton):
        if joint.stance:
            turn = _swing(joint, zero[joint.name])
            _carry(skeleton, joint, turn, points, tips)
    low = min((float(t[2]) for t in tips.values()), default=0.0)
    # Only what reaches below every joint is a sole.
    low = low if low < min((float(p[2]) for p in points.values()), default=0.0) else 0.0
    for store in (points, tips):
        for name in store:
            # To a thousandth, as the figure file writes it, so that file and forms agree to the digit.
            store[name] = np.round(store[name] - np.array([0.0, 0.0, low]), 3) + 0.0
    joints = tuple(_seated(skeleton, j, points, tips, zero[j.name]) for j in skeleton.joints)
    return Standing(height, joints, tips)


def joints_of(skeleton: Skeleton, bone: str) -> tuple[JointSpec | None, tuple[JointSpec, ...]]:
    """The joint that carries a bone (None for the root), and those that hang on it."""
    carrying = next((j for j in skeleton.joints if j.child == bone), None)
    return carrying, tuple(j for j in skeleton.joints if j.parent == bone)


def is_limb_root(skeleton: Skeleton, joint: JointSpec) -> bool:
    """Whether a limb leaves the trunk here: beside other joints of a bone, off the midline."""
    return joint.side != "middle" and len(joints_of(skeleton, joint.parent)[1]) > 1


def trunk_axis(skeleton: Skeleton, bone: str, points: Mapping[str, FloatArray]) -> tuple[FloatArray, FloatArray]:
    """The line that a bone with several joints is turned about: two points, the second at its main further joint.

    From the joint that carries it to the first further joint on the midline; for the root, from its second joint on the
    midline or else the middle of its side joints; where one of the two is missing, to the middle of the others.
    """
    carrying, further = joints_of(skeleton, bone)
    middle = [points[j.name] for j in further if j.side == "middle"]
    sides = [points[j.name] for j in further if j.side != "middle"]
    start = points[carrying.name] if carrying is not None else None
    if start is None:
        start = middle[1] if len(middle) > 1 else np.mean(sides, axis=0) if sides else middle[0]
        end = middle[0] if middle else start
        if float(np.linalg.norm(end - start)) < 1e-6:
            end = start + np.array([0.0, 0.0, 1.0])
    else:
        end = middle[0] if middle else np.mean(sides, axis=0)
    return np.asarray(start), np.asarray(end)


def _tips(skeleton: Skeleton, points: Mapping[str, FloatArray], height: float) -> dict[str, FloatArray]:
    tips = {}
    for bone in skeleton.bones:
        carrying, further = joints_of(skeleton, bone.name)
        if bone.tip is not None:
            tips[bone.name] = height * np.array(bone.tip)
        elif not further and carrying is not None:
            above, _ = joints_of(skeleton, carrying.parent)
            here = points[carrying.name]
            way = here - points[above.name] if above is not None else np.array([0.0, 0.0, 1.0])
            length = float(np.linalg.norm(way))
            tips[bone.name] = here + (way / length if length > 1e-9 else _ZERO["limb"]) * _TIP_SHARE * height
    return tips


def _check_apart(skeleton: Skeleton, points: Mapping[str, FloatArray]) -> None:
    for bone in skeleton.bones:
        carrying, further = joints_of(skeleton, bone.name)
        here = [j for j in (carrying, *further) if j is not None]
        for i, one in enumerate(here):
            for other in here[i + 1 :]:
                if float(np.linalg.norm(points[one.name] - points[other.name])) < 0.5:
                    raise UsageError(
                        "skeleton.together",
                        f"the joints {one.name} and {other.name} lie in one place",
                        hint="give them centres of their own in the skeleton file",
                    )


def _way(
    skeleton: Skeleton, joint: JointSpec, points: Mapping[str, FloatArray], tips: Mapping[str, FloatArray]
) -> FloatArray:
    """The direction in which a joint's child goes on."""
    bone = skeleton.bone(joint.child)
    _, further = joints_of(skeleton, joint.child)
    here = points[joint.name]
    if bone.form == "wedge" and not further:
        above, _ = joints_of(skeleton, joint.parent)
        return unit(here - points[above.name]) if above is not None else _ZERO["limb"]
    middle = [j for j in further if j.side == joint.side] or list(further)
    end = points[middle[0].name] if middle else tips[joint.child]
    length = float(np.linalg.norm(end - here))
    return np.asarray((end - here) / length) if length > 1e-9 else _ZERO["limb"]


def _zero_of(way: FloatArray) -> str:
    return max(_ZERO, key=lambda name: (float(_ZERO[name] @ way), name))


def _from_the_root(skeleton: Skeleton) -> list[JointSpec]:
    order: list[JointSpec] = []
    open_ = [skeleton.root.name]
    while open_:
        bone = open_.pop(0)
        for joint in joints_of(skeleton, bone)[1]:
            order.append(joint)
            open_.append(joint.child)
    return order


def _swing(joint: JointSpec, zero: str) -> FloatArray:
    """The turn (3, 3) that the stance asks of a joint, from the human zero."""
    lie = Lie(_ZERO[zero], _ZERO[zero], zero)
    frame = joint_frame(joint, np.zeros(3), lie)
    axes = SeatedJoint(joint, frame, (0.0, 0.0, 1.0)).axes
    swing = np.zeros(3)
    for motion, angle in joint.stance.items():
        if motion in axes:
            swing = swing + angle * np.asarray(axes[motion])
    size = float(np.linalg.norm(swing))
    return rotation_about(swing, size) if size > 1e-12 else np.eye(3)


def _carry(
    skeleton: Skeleton, joint: JointSpec, turn: FloatArray, points: dict[str, FloatArray], tips: dict[str, FloatArray]
) -> None:
    """Turn everything beyond a joint about it."""
    here = points[joint.name]
    open_ = [joint.child]
    while open_:
        bone = open_.pop()
        if bone in tips:
            tips[bone] = here + turn @ (tips[bone] - here)
        for further in joints_of(skeleton, bone)[1]:
            points[further.name] = here + turn @ (points[further.name] - here)
            open_.append(further.child)


def _seated(
    skeleton: Skeleton,
    joint: JointSpec,
    points: Mapping[str, FloatArray],
    tips: Mapping[str, FloatArray],
    zero: str,
) -> SeatedJoint:
    after = _way(skeleton, joint, points, tips)
    above, _ = joints_of(skeleton, joint.parent)
    root = is_limb_root(skeleton, joint) or above is None or joint.side == "middle"
    before = after if root or above is None else unit(points[joint.name] - points[above.name])
    front = None
    if skeleton.bone(joint.child).form == "wedge":
        level = (tips[joint.child] - points[joint.name]) * _LEVEL
        front = unit(level) if float(np.linalg.norm(level)) > 1e-6 else None
    frame = joint_frame(joint, points[joint.name], Lie(before, after, zero, front))
    cut = frame.z
    if is_limb_root(skeleton, joint):
        cut = _slanted(after, 1.0 if joint.side == "left" else -1.0)
    rest: dict[Motion, float] = {m: float(joint.stance.get(m, 0.0)) for m in motions_of(joint)}
    return SeatedJoint(joint, frame, (float(cut[0]), float(cut[1]), float(cut[2])), rest, "hand")


def _slanted(after: FloatArray, side: float) -> FloatArray:
    """The cut of a limb that leaves a trunk, seen from the front: straight out, but within 45° of the limb."""
    seen = np.array([0.0, after[1], after[2]])
    if float(np.linalg.norm(seen)) < 0.3:
        return unit(np.array([0.0, side, 0.0]) + after)
    limb = unit(seen)
    out = np.array([0.0, side, 0.0])
    if float(limb @ out) >= np.cos(np.radians(_SLANT_DEG)):
        return out
    turn = rotation_about(np.cross(limb, out), _SLANT_DEG)
    return unit(turn @ limb)
