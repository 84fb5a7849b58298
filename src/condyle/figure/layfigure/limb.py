"""A lay figure whole, or as much of it as one limb or a few joints need."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from condyle.figure.layfigure.figure import carve
from condyle.figure.skeleton import JointSpec, SeatedJoint, Skeleton
from condyle.figure.skeleton_changes import reduced, unknown_name
from condyle.figure.stance import Standing, joints_of, standing
from condyle.geometry.mesh import FloatArray
from condyle.geometry.solid import Solid, union
from condyle.joints.stock import Stock
from condyle.workshop.fits import Fits

_LIMBS = {
    "arm": "shoulder",
    "leg": "hip",
    "foreleg": "shoulder",
    "hindleg": "hip",
    "hand": "wrist",
    "foot": "ankle",
}
"""Limbs by their own names: everything from a joint on."""


@dataclass(frozen=True, eq=False)
class LayFigure:
    """What is parted as if it were a sculpt: one closed solid, its skeleton, and where every joint is.

    tips  where each last bone ends; a bone whose further joints were left out ends at the first of them
    """

    skeleton: Skeleton
    joints: tuple[SeatedJoint, ...]
    bones: dict[str, Solid]
    sculpt: Solid
    tips: dict[str, FloatArray] = field(default_factory=dict)


def lay_figure(
    skeleton: Skeleton,
    height_mm: float,
    fits: Fits,
    stock: Stock,
    limb: str | None = None,
    only: Sequence[str] = (),
) -> LayFigure:
    """The lay figure of a skeleton.

    limb  a joint, a bone or a limb (``arm_left``): that joint and everything beyond it
    only  names of joints that hang together: these and no others

    UsageError for names that the skeleton does not have, and for joints that do not hang together.
    """
    whole = replace(skeleton, height_mm=height_mm)
    stand = standing(whole)
    wood = carve(whole, stand, fits, stock)
    if limb is None and not only:
        return LayFigure(whole, stand.joints, wood.bones, union(list(wood.bones.values()), "lay figure"), stand.tips)
    names = set(only) if only else {j.name for j in _beyond(whole, _root_of(whole, limb or ""))}
    part = reduced(whole, names)
    top = part.root.name
    bones: dict[str, Solid] = {}
    for bone in part.bones:
        held = [j for j in joints_of(whole, bone.name)[1] if j.name in names]
        if bone.name == top and len(held) == 1 and len(joints_of(whole, top)[1]) + (top != whole.root.name) > 1:
            bones[bone.name] = wood.ends[(bone.name, held[0].name)]
        else:
            bones[bone.name] = wood.bones[bone.name]
    joints = tuple(j for j in stand.joints if j.name in names)
    return LayFigure(
        part, joints, bones, union(list(bones.values()), "limb of a lay figure"), _tips(whole, part, stand)
    )


def _tips(whole: Skeleton, part: Skeleton, stand: Standing) -> dict[str, FloatArray]:
    """Where the last bones of a part of a skeleton end in the stance of the whole."""
    at = {j.name: np.asarray(j.frame.origin) for j in stand.joints}
    tips = {}
    for bone in part.bones:
        if not joints_of(part, bone.name)[1]:
            further = joints_of(whole, bone.name)[1]
            tips[bone.name] = at[further[0].name] if further else stand.tips[bone.name]
    return tips


def _root_of(skeleton: Skeleton, limb: str) -> JointSpec:
    stem, _, side = limb.rpartition("_")
    names = {j.name: j for j in skeleton.joints} | {j.child: j for j in skeleton.joints}
    by_limb = f"{_LIMBS.get(stem, '')}_{side}"
    for name in (limb, by_limb):
        if name in names:
            return names[name]
    raise unknown_name(limb, [*names, *(f"{n}_{s}" for n in ("arm", "leg") for s in ("left", "right"))])


def _beyond(skeleton: Skeleton, root: JointSpec) -> list[JointSpec]:
    chosen, open_ = [root], [root.child]
    while open_:
        for joint in joints_of(skeleton, open_.pop())[1]:
            chosen.append(joint)
            open_.append(joint.child)
    return [j for j in skeleton.joints if j in chosen]
