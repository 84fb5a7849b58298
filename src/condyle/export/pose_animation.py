"""Poses as animations of figure.glb: the way from the sculpt's own pose, joint by joint."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.spatial.transform import Rotation

from condyle.export.glb import Animation
from condyle.export.kit_files import joint_nodes
from condyle.figure.kit import Kit
from condyle.figure.pose import Pose, axle_turns, forward, ground
from condyle.geometry.mesh import FloatArray

SPEED_DEG_S = 60.0
"""How fast the widest turn of a step is played."""
_HOLD_S = 1.0


def pose_animation(kit: Kit, name: str, keys: Sequence[Pose]) -> Animation:
    """The row of poses, and a second's rest at the end. Between two keys every joint turns about one axis."""
    rotations: dict[str, FloatArray] = {}
    widest = np.zeros(len(keys) - 1)
    for joint in kit.joints:
        if not joint.built or not joint.axles or not joint.seated.axes:
            continue
        turns = [axle_turns(joint, key.of(joint.seated)) for key in keys]
        for node in joint_nodes(joint):
            row = Rotation.from_matrix(np.array([t[node.moves][:3, :3] for t in turns]))
            widest = np.maximum(widest, np.degrees((row[1:] * row[:-1].inv()).magnitude())) if len(keys) > 1 else widest
            rotations[node.name] = _held(_same_sense(row.as_quat()))
    rise = np.array([float(ground(kit, forward(kit, key))[2, 3]) for key in keys])
    steps = np.maximum(widest / SPEED_DEG_S, 0.05)
    times = np.concatenate([[0.0], np.cumsum(steps)])
    return Animation(name, np.append(times, times[-1] + _HOLD_S), rotations, np.append(rise, rise[-1]))


def _held(values: FloatArray) -> FloatArray:
    """With the last row once more."""
    return np.concatenate([values, values[-1:]])


def _same_sense(quaternions: FloatArray) -> FloatArray:
    """Each on the side of the one before, as q and -q are the same turn."""
    out = np.array(quaternions)
    for k in range(1, len(out)):
        if float(out[k] @ out[k - 1]) < 0.0:
            out[k] = -out[k]
    return out
