"""Skeletons made from others: one side from the other, and the sizes of a giant from those of a hero."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Literal

from condyle.figure.skeleton import Bone, JointSpec, Kind, Skeleton
from condyle.joints import ball, double_hinge, hinge, peg, swivel

SERIES: dict[Kind, tuple[float, ...]] = {
    "ball": ball.SIZES_MM,
    "hinge": hinge.SIZES_MM,
    "double_hinge": double_hinge.SIZES_MM,
    "swivel": swivel.SIZES_MM,
    "peg": peg.SIZES_MM,
}
"""The sizes of each built-in family, mm."""

_MIRROR_Y = (1.0, -1.0, 1.0)


def mirrored(
    bones: Mapping[str, Bone], joints: Mapping[str, JointSpec], side: Literal["left", "right"]
) -> tuple[dict[str, Bone], dict[str, JointSpec]]:
    """All bones and joints, those of the other side made anew from this one's; what was there before gives way.

    Angles need no change: abduction counts away from the midline and twist inward on both sides. A joint of the maker's
    own is used as it lies; one that is made for one side only is mirrored when its file is read.
    """
    other = "right" if side == "left" else "left"
    kept = {n: b for n, b in bones.items() if not n.endswith(f"_{other}")}
    kept_joints = {n: j for n, j in joints.items() if not n.endswith(f"_{other}")}
    made = {}
    for bone in kept.values():
        if bone.name.endswith(f"_{side}"):
            parent = None if bone.parent is None else _over(bone.parent, side, other)
            tip = None if bone.tip is None else _mirror(bone.tip)
            made[_over(bone.name, side, other)] = replace(
                bone, name=_over(bone.name, side, other), parent=parent, tip=tip
            )
    made_joints = {}
    for joint in kept_joints.values():
        if joint.name.endswith(f"_{side}"):
            name = _over(joint.name, side, other)
            made_joints[name] = replace(
                joint,
                name=name,
                parent=_over(joint.parent, side, other),
                child=_over(joint.child, side, other),
                centre=_mirror(joint.centre),
                custom=None if joint.custom is None else joint.custom.mirrored(),
            )
    return kept | made, kept_joints | made_joints


def resized(skeleton: Skeleton, by: float) -> Skeleton:
    """The skeleton with every given size of a built-in family multiplied and taken down to its series.

    A size that would fall below the series takes its smallest member. Joints of the maker's own keep the size they were
    tested at. Centres are fractions of the height and scale by themselves.
    """
    joints = []
    for joint in skeleton.joints:
        series = SERIES.get(joint.kind)
        if joint.size is None or series is None:
            joints.append(joint)
            continue
        fitting = [s for s in series if s <= joint.size * by + 1e-9]
        joints.append(replace(joint, size=max(fitting) if fitting else min(series)))
    return replace(skeleton, joints=tuple(joints))


def _over(name: str, side: str, other: str) -> str:
    return name[: -len(side)] + other if name.endswith(f"_{side}") else name


def _mirror(point: tuple[float, float, float]) -> tuple[float, float, float]:
    x, y, z = (p * s + 0.0 for p, s in zip(point, _MIRROR_Y, strict=True))
    return (x, y, z)
