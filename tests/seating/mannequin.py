"""A plain jointed figure of capsules with known centres, so that seating is not judged on one data set alone."""

from __future__ import annotations

import numpy as np

from condyle.geometry.mesh import FloatArray
from condyle.geometry.primitives import sphere
from condyle.geometry.solid import Solid, hull, union
from tests.seating.bodies import Body


def capsule(start: FloatArray, end: FloatArray, start_mm: float, end_mm: float) -> Solid:
    balls = [sphere(r).mesh.vertices + p for p, r in ((start, start_mm), (end, end_mm))]
    return hull(np.concatenate(balls))


def mannequin(*, head_mm: float = 12.0, arm_mm: float = 40.0, legs: float = 1.0, abduct_deg: float = 45.0,
              stout: float = 1.0, arms: tuple[str, ...] = ("left", "right")) -> Body:  # fmt: skip
    """About 150 mm tall; arms straight, at ``abduct_deg`` from hanging."""
    hip_z = 78.0 * legs
    shoulder_z = hip_z + 44.0
    joints = {"neck": np.array([0.0, 0.0, shoulder_z + 4.0])}
    up = np.array([0.0, 0.0, 1.0])
    parts = [
        capsule(up * (hip_z + 4.0), up * (shoulder_z - 6.0), 15.0 * stout, 16.0 * stout),
        capsule(up * (shoulder_z - 6.0), up * (shoulder_z + 8.0), 6.0, 6.0),
        sphere(head_mm).translated((2.0, 0.0, shoulder_z + 8.0 + head_mm)),
    ]
    for side, sign in (("left", 1.0), ("right", -1.0)):
        if side in arms:
            shoulder = np.array([0.0, 21.0 * sign, shoulder_z])
            t = np.radians(abduct_deg)
            way = np.array([0.0, sign * np.sin(t), -np.cos(t)])
            elbow = shoulder + 0.72 * arm_mm * way
            wrist = elbow + 0.6 * arm_mm * way
            joints |= {f"shoulder_{side}": shoulder, f"elbow_{side}": elbow, f"wrist_{side}": wrist}
            parts += [
                capsule(shoulder, elbow, 6.0 * stout, 4.5 * stout),
                capsule(elbow, wrist, 4.5 * stout, 3.2 * stout),
                capsule(wrist, wrist + 0.2 * arm_mm * way, 3.2 * stout, 4.0 * stout),
                capsule(wrist + 0.2 * arm_mm * way, wrist + 0.42 * arm_mm * way, 4.0 * stout, 2.0),
                capsule(np.array([0.0, 10.0 * sign, shoulder_z - 2.0]), shoulder, 7.0, 6.0 * stout),
            ]
        hip = np.array([0.0, 9.5 * sign, hip_z])
        knee = hip + np.array([1.0, 1.5 * sign, -0.47 * hip_z])
        ankle = np.array([-1.0, 12.0 * sign, 6.0])
        joints |= {f"hip_{side}": hip, f"knee_{side}": knee, f"ankle_{side}": ankle}
        parts += [
            capsule(hip, knee, 9.0 * stout, 6.0 * stout),
            capsule(knee, ankle, 6.0 * stout, 4.0 * stout),
            capsule(ankle - 2.0 * up, ankle + np.array([16.0, 1.5 * sign, -3.0]), 3.9, 3.0),
        ]
    return Body("mannequin", union(parts).mesh, joints)
