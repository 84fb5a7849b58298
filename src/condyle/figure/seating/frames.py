"""Joint frames, cut axes and standing angles from the centres that were found.

A limb's frame is the human zero's frame (arms and legs hanging, neck and trunk upright; for an animal, neck ahead and
tail behind) turned the shortest way until its z runs along the limb. So frames change smoothly with the pose, mirror
when the body does, and flexion keeps the sense that the skeleton states. Where an elbow or a knee is bent, the bend
itself shows the axis of flexion and is followed in proportion to it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from condyle.figure.seating.sections import section, sideways
from condyle.figure.skeleton import MOTIONS, JointSpec, Motion
from condyle.geometry.frame import Frame, frame_from_zx
from condyle.geometry.mesh import FloatArray
from condyle.geometry.voxels import Voxels

_UP = np.array([0.0, 0.0, 1.0])
_AHEAD = np.array([1.0, 0.0, 0.0])
_LEFT = np.array([0.0, 1.0, 0.0])
_ZERO = {"limb": -_UP, "trunk": _UP, "ahead": _AHEAD, "behind": -_AHEAD}
# Positive flexion about this axis in the zero pose: a hanging limb's end goes forward; a trunk's, forward; a neck that
# is held ahead and a tail go down.
_FLEXION = {"limb": -_LEFT, "trunk": _LEFT, "ahead": _LEFT, "behind": -_LEFT}
_BEND_TRUSTED = 2.0  # weight of the bend's own axis, times the sine of the bend
_CONE_DEG, _CONE_STEP_DEG, _CONE_COST = 40.0, 8.0, 0.15


@dataclass(frozen=True, eq=False)
class Lie:
    """How a joint lies.

    before, after  unit directions of the limb up to the joint and from it on; the same where the limb begins
    zero           the limb's zero pose, a key of the table above
    front          where the limb faces, when the sculpt shows it (feet)
    root           the limb begins here: its angles count from the zero pose, not from what comes before
    rest           standing angles that only the caller can tell
    """

    before: FloatArray
    after: FloatArray
    zero: str
    front: FloatArray | None = None
    root: bool = False
    rest: Mapping[Motion, float] | None = None


def shortest_turn(start: FloatArray, end: FloatArray) -> FloatArray:
    """(3, 3) rotation that takes one unit vector to another the shortest way; about y where they are opposite."""
    axis = np.cross(start, end)
    cosine = float(start @ end)
    if cosine < -1.0 + 1e-9:
        return np.diag([-1.0, 1.0, -1.0]) if abs(start[1]) < 0.5 else np.diag([1.0, -1.0, -1.0])
    k = np.array([[0.0, -axis[2], axis[1]], [axis[2], 0.0, -axis[0]], [-axis[1], axis[0], 0.0]])
    return np.asarray(np.eye(3) + k + k @ k / (1.0 + cosine))


def joint_frame(spec: JointSpec, centre: FloatArray, lie: Lie) -> Frame:
    """The design's joint frame: z along the limb to the child (halving a bend), x the axis of flexion."""
    z = _unit_or(lie.before + lie.after, lie.after)
    axis = shortest_turn(_ZERO[lie.zero], z) @ _FLEXION[lie.zero]
    if lie.front is not None:
        own = np.cross(z, lie.front)
        if float(np.linalg.norm(own)) > 0.5:
            axis = own / np.linalg.norm(own)
    axis = axis * spec.forward
    if spec.kind in ("hinge", "double_hinge"):
        bend = np.cross(lie.before, lie.after)
        # A joint may be bent the other way a little; its axis is then the same line.
        axis = axis + _BEND_TRUSTED * bend * (1.0 if float(bend @ axis) >= 0 else -1.0)
    return frame_from_zx(centre, z, axis)


def rest_angles(spec: JointSpec, frame: Frame, lie: Lie) -> dict[Motion, float]:
    """The angles in which the sculpt stands, degrees, for the motions that the joint has.

    Where a limb begins: abduction in the frontal plane and flexion out of it, from the zero pose. Elsewhere: how the
    limb bends at the joint, about the axes of flexion and abduction. Twists are not measured and count as 0.
    """
    angles: dict[Motion, float] = dict.fromkeys(MOTIONS[spec.kind], 0.0)
    mirror = -1.0 if spec.side == "right" else 1.0
    if lie.rest is not None:
        found = dict(lie.rest)
    elif lie.root:
        d = lie.after
        found = {
            "flex": spec.forward * float(np.degrees(np.arctan2(d[0], np.hypot(d[1], d[2])))),
            "abduct": float(np.degrees(np.arctan2(mirror * d[1], -d[2]))),
        }
    else:
        outward = -mirror * spec.forward * frame.y
        found = {
            "flex": _angle_about(frame.x, lie.before, lie.after),
            "abduct": _angle_about(outward, lie.before, lie.after),
        }
    return {motion: round(found.get(motion, 0.0), 6) + 0.0 for motion in angles}


def _angle_about(axis: FloatArray, start: FloatArray, end: FloatArray) -> float:
    a = start - axis * float(start @ axis)
    b = end - axis * float(end @ axis)
    return float(np.degrees(np.arctan2(float(np.cross(a, b) @ axis), float(a @ b))))


def cut_axis(grid: Voxels, centre: FloatArray, hint: FloatArray, reach_mm: float) -> FloatArray:
    """The unit normal near ``hint`` whose plane through the centre cuts the smallest section, pointing like the hint.

    A cone of directions is tried; leaning away from the hint costs a little. The answer is the mean of the directions
    weighted by how near their sections come to the smallest, so it does not jump with the grid.
    """
    u, v = sideways(hint)
    directions = [hint]
    for tilt in np.arange(_CONE_STEP_DEG, _CONE_DEG + 0.1, _CONE_STEP_DEG):
        t = np.radians(tilt)
        count = max(6, round(2 * np.pi * np.sin(t) / np.radians(_CONE_STEP_DEG)))
        for a in np.arange(count) * 2.0 * np.pi / count:
            directions.append(np.cos(t) * hint + np.sin(t) * (np.cos(a) * u + np.sin(a) * v))
    tried = np.array(directions)
    areas = np.array([section(grid, centre, d, reach_mm)[0] for d in tried])
    lean = np.degrees(np.arccos(np.clip(tried @ hint, -1.0, 1.0))) / _CONE_DEG
    cost = np.where(areas > 0, areas, np.inf) * (1.0 + _CONE_COST * lean**2)
    if not np.isfinite(cost).any():
        return hint
    weight = np.exp(-(cost / cost.min() - 1.0) / 0.03)
    mean = weight @ tried
    return np.asarray(mean / np.linalg.norm(mean))


def mirrored(vector: FloatArray) -> FloatArray:
    """A direction seen in the figure's mirror plane."""
    return np.asarray(vector * np.array([1.0, -1.0, 1.0]))


def together(own: FloatArray, other: FloatArray, weight: float) -> FloatArray:
    """A direction drawn half way to its partner's mirror image, by a weight 0 to 1."""
    return _unit_or((1.0 - 0.5 * weight) * own + 0.5 * weight * mirrored(other), own)


def _unit_or(vector: FloatArray, otherwise: FloatArray) -> FloatArray:
    length = float(np.linalg.norm(vector))
    return np.asarray(vector / length) if length > 1e-6 else otherwise


def direction(start: FloatArray, end: FloatArray, otherwise: FloatArray) -> FloatArray:
    """From one point to another, length 1; ``otherwise`` when they are the same."""
    return _unit_or(np.asarray(end) - np.asarray(start), otherwise)


def spread(points: Mapping[str, FloatArray], middle_y: float, height: float) -> dict[str, float]:
    """For each left/right pair by its stem: how far the two lie from mirroring each other, as a share of the height."""
    out: dict[str, float] = {}
    for name, left in points.items():
        stem, found, _ = name.partition("_left")
        right = points.get(f"{stem}_right")
        if found and right is not None:
            image = mirrored(right - np.array([0.0, middle_y, 0.0])) + np.array([0.0, middle_y, 0.0])
            out[stem] = float(np.linalg.norm(left - image)) / height
    return out
