"""Skeletons made from others: one side from the other, the sizes of a giant from those of a hero, a limb by itself."""

from __future__ import annotations

import difflib
from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import Literal

from condyle.errors import UsageError
from condyle.figure.arrangement import some_of
from condyle.figure.skeleton import Arrangement, Bone, JointSpec, Kind, Skeleton
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
                follows={m: _over(other_name, side, other) for m, other_name in joint.follows.items()},
            )
    return kept | made, kept_joints | made_joints


def mirrored_arrangements(groups: Mapping[str, Arrangement], side: Literal["left", "right"]) -> dict[str, Arrangement]:
    """All arrangements, those of the other side made anew from this one's."""
    other = "right" if side == "left" else "left"
    kept = {n: a for n, a in groups.items() if not n.endswith(f"_{other}")}
    made = {}
    for group in kept.values():
        if group.name.endswith(f"_{side}"):
            name = _over(group.name, side, other)
            made[name] = replace(group, name=name, joints=tuple(_over(j, side, other) for j in group.joints))
    return kept | made


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


def reduced(skeleton: Skeleton, only: Collection[str]) -> Skeleton:
    """The skeleton with these joints and the bones that they join, and no others.

    UsageError for a joint that it does not have, and for joints that do not hang together.
    """
    names = [j.name for j in skeleton.joints]
    for name in sorted(only):
        if name not in names:
            raise unknown_name(name, names)
    chosen = tuple(j for j in skeleton.joints if j.name in only)
    tops = [j for j in chosen if not any(o.child == j.parent for o in chosen)]
    if len({j.parent for j in tops}) > 1:
        raise UsageError(
            "skeleton.apart",
            f"the joints {' and '.join(j.name for j in tops)} do not hang together",
            hint="name neighbours, or make them one after the other",
        )
    children = {j.child for j in chosen}
    wanted = children | {j.parent for j in chosen}
    bones = tuple(b if b.name in children else replace(b, parent=None) for b in skeleton.bones if b.name in wanted)
    kept = [some_of(a, [j.name for j in chosen]) for a in skeleton.arrangements]
    # A leader that is left out leads nobody.
    alone = tuple(replace(j, follows={m: o for m, o in j.follows.items() if o in only}) for j in chosen)
    return replace(skeleton, bones=bones, joints=alone, arrangements=tuple(a for a in kept if a is not None))


def unknown_name(name: str, known: Collection[str]) -> UsageError:
    """The error for a name that a skeleton does not have, with the likeliest one that it has."""
    near = difflib.get_close_matches(name, sorted(known), n=1, cutoff=0.5)
    hint = f"did you mean {near[0]}?" if near else "known: " + ", ".join(sorted(known))
    return UsageError("skeleton.name", f"the skeleton has no {name}", hint=hint)


def _over(name: str, side: str, other: str) -> str:
    return name[: -len(side)] + other if name.endswith(f"_{side}") else name


def _mirror(point: tuple[float, float, float]) -> tuple[float, float, float]:
    x, y, z = (p * s + 0.0 for p, s in zip(point, _MIRROR_Y, strict=True))
    return (x, y, z)
