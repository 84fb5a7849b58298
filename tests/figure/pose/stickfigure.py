"""A figure of blocks whose joints are set by hand: a trunk with two arms, each with every kind of joint."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from condyle.figure.kit import Axle, Balance, BuiltJoint, Kit, Part
from condyle.figure.skeleton import JointSpec, Kind, Motion, SeatedJoint
from condyle.geometry.frame import frame_from_zx
from condyle.geometry.primitives import box

Vector = Sequence[float]


def joint(
    name: str, kind: Kind, parent: str, child: str, centres: Sequence[Vector], z: Vector, x: Vector,
    rest: dict[Motion, float] | None = None, forward: int = 1,
) -> BuiltJoint:  # fmt: skip
    spec = JointSpec(name, kind, parent, child, (0.0, 0.0, 0.5), forward=forward)
    middle = np.mean(np.asarray(centres, dtype=float), axis=0)
    frame = frame_from_zx(middle, np.asarray(z, dtype=float), np.asarray(x, dtype=float))
    cut = (float(frame.z[0]), float(frame.z[1]), float(frame.z[2]))
    points = [(float(c[0]), float(c[1]), float(c[2])) for c in centres]
    if len(points) == 2:
        axles = (Axle(f"{name}_link", parent, points[0]), Axle(child, f"{name}_link", points[1]))
    else:
        axles = (Axle(child, parent, points[0]),)
    return BuiltJoint(SeatedJoint(spec, frame, cut, rest or {}), built=True, axles=axles)


def arm(side: str, lean_deg: float) -> tuple[list[Part], list[BuiltJoint]]:
    """An arm held away from the body by ``lean_deg``: ball, swivel, double hinge, hinge."""
    s = 1.0 if side == "left" else -1.0
    t = math.radians(lean_deg)
    along = np.array([0.0, s * math.sin(t), -math.cos(t)])
    across = np.array([0.0, -math.cos(t), -s * math.sin(t)])
    top = np.array([0.0, s * 12.0, 60.0])
    at = [top + along * d for d in (0.0, 8.0, 20.0, 26.0, 40.0)]
    parts, joints = [], []
    names = [f"shoulder_{side}", f"upper_{side}", f"elbow_{side}_link", f"fore_{side}", f"hand_{side}"]
    ends = [*at[1:], at[-1] + along * 8.0]
    for name, start, end in zip(names, at, ends, strict=True):
        middle, half = (start + end) / 2, min(0.4 * float(np.linalg.norm(end - start)), 2.4)
        parts.append(Part(name, name, box(middle - half, middle + half)))
    joints.append(
        joint(f"shoulder_{side}", "ball", "trunk", names[0], [at[0]], along, across, {"flex": 0.0, "abduct": lean_deg})
    )
    joints.append(joint(f"biceps_{side}", "swivel", names[0], names[1], [at[1]], along, across, {"twist": 0.0}))
    joints.append(
        joint(f"elbow_{side}", "double_hinge", names[1], names[3], [at[2], at[3]], along, across, {"flex": 5.0})
    )
    joints.append(joint(f"wrist_{side}", "hinge", names[3], names[4], [at[4]], along, across, {"flex": -3.0}))
    return parts, joints


def stick_figure(lean_deg: float = 0.0) -> Kit:
    parts = [Part("trunk", "trunk", box((-5, -8.5, 20), (5, 8.5, 64)))]
    joints: list[BuiltJoint] = []
    for side in ("left", "right"):
        made, between = arm(side, lean_deg)
        parts += made
        joints += between
    parts.append(Part("head", "head", box((-4, -4, 66), (4, 4, 76))))
    joints.append(joint("neck", "ball", "trunk", "head", [(0.0, 0.0, 65.0)], (0, 0, 1), (0, 1, 0)))
    return Kit(tuple(parts), tuple(joints), Balance(0.0, 0.0, 0.0, 0.0, 0.0))


__all__ = ["joint", "stick_figure"]
