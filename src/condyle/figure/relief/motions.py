"""The placements that a joint is wanted to reach, close enough together that what they sweep is smooth."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from condyle.figure.skeleton import Motion, SeatedJoint
from condyle.geometry.frame import rotation_matrix_about, unit
from condyle.geometry.mesh import FloatArray

STEP_MM = 0.22
"""How far any point near the joint moves from one placement to the next.

Copies of an edge this far apart, grown by 0.25 mm or more, leave ridges of at most r − √(r² − s²/4) = 0.026 mm.
"""


@dataclass(frozen=True, eq=False)
class Course:
    """One way of moving, from the sculpt's pose outwards: angles (k,) in degrees, rising in size, and placements
    (k, 4, 4) of the child's side over the parent's at rest."""

    motion: Motion
    sense: int
    angles: FloatArray
    placements: FloatArray


def courses(
    joint: SeatedJoint,
    centres: Sequence[FloatArray],
    radius_mm: float,
    wanted: Mapping[Motion, tuple[float, float]],
    tilt_deg: float,
    stud: FloatArray,
) -> list[Course]:
    """Each motion that is wanted, either way, as far as the hardware itself allows.

    wanted    degrees from the sculpt's pose
    tilt_deg  how far the stud along ``stud`` may lean in a ball's socket
    """
    out = []
    for motion, axis in joint.axes.items():
        low, high = wanted.get(motion, (0.0, 0.0))
        for sense, bound in ((-1, -low), (1, high)):
            far = min(bound, _hardware_deg(np.asarray(axis), stud, tilt_deg))
            if far < 1.0:
                continue
            count = max(2, math.ceil(far / math.degrees(STEP_MM / radius_mm)))
            angles = far * np.arange(1, count + 1) / count
            placed = np.stack([placement(centres, np.asarray(axis), sense * a) for a in angles])
            out.append(Course(motion, sense, angles, placed))
    return out


def placement(centres: Sequence[FloatArray], axis: FloatArray, deg: float) -> FloatArray:
    """(4, 4) of the child's side: a turn about the one centre, or half the turn about each of two."""
    m = np.eye(4)
    for centre in centres:
        m = m @ rotation_matrix_about(centre, axis, deg / len(centres))
    return m


def ring(
    joint: SeatedJoint, centre: FloatArray, ends: Mapping[tuple[Motion, int], float], radius_mm: float, share: float
) -> FloatArray:
    """Placements (k, 4, 4) all round a ball's swing: an ellipse through the ends of flexion and abduction.

    The swing's rotation vector is flex · x + abduct · y, each end times ``share``.
    """
    x, y = (np.asarray(joint.axes[m]) for m in ("flex", "abduct"))
    most = max(ends.values(), default=0.0) * share
    if most < 1.0:
        return np.zeros((0, 4, 4))
    count = max(8, math.ceil(2.0 * math.pi * math.radians(most) * radius_mm / STEP_MM))
    out = []
    for a in 2.0 * math.pi * np.arange(count) / count:
        c, s = math.cos(a), math.sin(a)
        flex = share * c * ends.get(("flex", 1 if c > 0 else -1), 0.0)
        abduct = share * s * ends.get(("abduct", 1 if s > 0 else -1), 0.0)
        vector = flex * x + abduct * y
        angle = float(np.linalg.norm(vector))
        out.append(rotation_matrix_about(centre, vector, angle) if angle > 1e-9 else np.eye(4))
    return np.stack(out)


def _hardware_deg(axis: FloatArray, stud: FloatArray, tilt_deg: float) -> float:
    """How far a turn about an axis may go until the stud leans by ``tilt_deg``.

    A direction at the angle φ from the axis leans by τ with sin(τ/2) = sin φ · sin(turn/2).
    """
    if tilt_deg >= 180.0:
        return 180.0
    sine = float(np.linalg.norm(np.cross(unit(axis), unit(stud))))
    half = math.sin(math.radians(tilt_deg) / 2.0)
    return 180.0 if half >= sine else 2.0 * math.degrees(math.asin(half / sine))


def inverse(placements: FloatArray) -> FloatArray:
    """Rigid placements (k, 4, 4) the other way."""
    turned = np.swapaxes(placements[:, :3, :3], 1, 2)
    out = placements.copy()
    out[:, :3, :3] = turned
    out[:, :3, 3] = -np.einsum("kij,kj->ki", turned, placements[:, :3, 3])
    return out
