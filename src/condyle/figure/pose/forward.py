"""Forward kinematics: where a pose carries the parts of a kit.

A joint's turn from the sculpt's own pose, in figure coordinates, is R(rest)⁻¹ · R(asked), where R is swing · twist about
the joint's axes as the sculpt stands: the swing one turn about flex · x + abduct · y (exponential map: Grassia,
Practical Parameterization of Rotations Using the Exponential Map, J. Graphics Tools 3(3) (1998) 29-48, from memory), the
twist about the limb. For one axis alone that is the plain difference of the angles. A double hinge gives half of its
turn to either axle.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from weakref import WeakKeyDictionary

import numpy as np
from scipy.spatial.transform import Rotation

from condyle.errors import UsageError
from condyle.figure.kit import BuiltJoint, Kit
from condyle.figure.pose.pose import Angles, Pose
from condyle.figure.skeleton import Motion, SeatedJoint
from condyle.geometry.frame import rotation_about
from condyle.geometry.mesh import FloatArray

_SWINGS: tuple[Motion, ...] = ("flex", "abduct")


def forward(kit: Kit, pose: Pose) -> dict[str, FloatArray]:
    """The rigid move (4, 4) of every part by name: figure coordinates at rest to figure coordinates in the pose.

    Parts that no joint moves stay where they are. Angles of joints that were not built move nothing: their bones are one
    part. UsageError for a joint that the kit does not list, or a motion that a joint does not have.
    """
    known = {joint.name for joint in kit.joints}
    for name in pose.angles:
        if name not in known:
            raise UsageError(
                "pose.joint", f"the kit has no joint {name}", hint="its joints: " + ", ".join(sorted(known))
            )
    return carried(kit, part_turns(kit, pose))


def part_turns(kit: Kit, pose: Pose) -> dict[str, FloatArray]:
    """For each part that a built joint moves: its turn (4, 4) against the part that it hangs on, at rest coordinates."""
    turns: dict[str, FloatArray] = {}
    for joint in kit.joints:
        if joint.built:
            turns.update(axle_turns(joint, pose.of(joint.seated)))
    return turns


def axle_turns(joint: BuiltJoint, angles: Angles) -> dict[str, FloatArray]:
    """The same for one joint: a turn (4, 4) for each of its axles, by the part that the axle moves."""
    rotation = _axle_turn(joint, angles)
    turns: dict[str, FloatArray] = {}
    for axle in joint.axles:
        centre = np.asarray(axle.centre, dtype=np.float64)
        m = np.eye(4)
        m[:3, :3] = rotation
        m[:3, 3] = centre - rotation @ centre
        turns[axle.moves] = m
    return turns


def carried(kit: Kit, turns: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
    """Where every part lies (4, 4) when the parts that joints move are turned by ``turns`` against what they hang on."""
    carrier = {axle.moves: axle.stays for joint in kit.joints if joint.built for axle in joint.axles}
    placed: dict[str, FloatArray] = {}

    def place(part: str) -> FloatArray:
        if part not in placed:
            placed[part] = place(carrier[part]) @ turns[part] if part in carrier else np.eye(4)
        return placed[part]

    return {part.name: place(part.name) for part in kit.parts}


def joint_turn(seated: SeatedJoint, angles: Angles) -> FloatArray:
    """The rotation (3, 3) from the sculpt's pose to the angles (degrees from the human zero), figure coordinates.

    Motions that are not given stand at 0, in the sculpt's pose as in the asked one.
    """
    return _at_rest(seated) @ _rotation(seated, angles)


def _axle_turn(joint: BuiltJoint, angles: Angles) -> FloatArray:
    """What one of the joint's axles turns by."""
    seated, count = joint.seated, len(joint.axles)
    if count <= 1:
        return joint_turn(seated, angles)
    if len(seated.axes) > 1:  # a link with two balls
        vector = Rotation.from_matrix(joint_turn(seated, angles)).as_rotvec() / count
        return np.asarray(Rotation.from_rotvec(vector).as_matrix())
    turn = angles.get("flex", 0.0) - seated.rest.get("flex", 0.0)
    return rotation_about(np.asarray(seated.axes["flex"]), turn / count)


def _rotation(seated: SeatedJoint, angles: Angles) -> FloatArray:
    """Swing, then twist about the swung limb: as a product on columns, swing · twist."""
    axes = seated.axes
    x = y = z = 0.0
    for motion in _SWINGS:
        if motion in axes:
            by, axis = angles.get(motion, 0.0), axes[motion]
            x, y, z = x + by * axis[0], y + by * axis[1], z + by * axis[2]
    size = math.sqrt(x * x + y * y + z * z)
    rotation = rotation_about((x, y, z), size) if size > 1e-12 else np.eye(3)
    if "twist" in axes:
        rotation = rotation @ rotation_about(axes["twist"], angles.get("twist", 0.0))
    return rotation


_REST: WeakKeyDictionary[SeatedJoint, FloatArray] = WeakKeyDictionary()


def _at_rest(seated: SeatedJoint) -> FloatArray:
    """R(rest)⁻¹, made once for a joint: a seated joint is never changed."""
    kept = _REST.get(seated)
    if kept is None:
        kept = _REST[seated] = _rotation(seated, seated.rest).T
    return kept


def angles_of(seated: SeatedJoint, turn: FloatArray) -> dict[Motion, float]:
    """The angles (degrees from the human zero) at which a joint stands after a turn (3, 3) from the sculpt's pose.

    The inverse of ``joint_turn`` for swings below 180°; what a joint cannot do of the turn is left out.
    """
    axes = {motion: np.asarray(axis, dtype=np.float64) for motion, axis in seated.axes.items()}
    whole = Rotation.from_matrix(_rotation(seated, seated.rest) @ turn)
    out: dict[Motion, float] = {}
    if "twist" in axes:
        x, y, z, w = whole.as_quat()
        about = float(np.dot((x, y, z), axes["twist"]))
        if about * about + w * w > 1e-24:
            twist = Rotation.from_quat([*(about * axes["twist"]), w])
            out["twist"] = float(twist.as_rotvec(degrees=True) @ axes["twist"])
            whole = whole * twist.inv()
        else:
            out["twist"] = 0.0
    swing = whole.as_rotvec(degrees=True)
    return {m: out["twist"] if m == "twist" else float(swing @ axes[m]) for m in axes}


def ground(kit: Kit, placed: Mapping[str, FloatArray]) -> FloatArray:
    """The move (4, 4) along z that brings the lowest point of the placed parts to z = 0. It turns nothing."""
    low = min(
        float((part.mesh.vertices @ placed[part.name][2, :3]).min() + placed[part.name][2, 3]) for part in kit.parts
    )
    m = np.eye(4)
    m[2, 3] = -low
    return m
