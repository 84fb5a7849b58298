"""The placements that a joint is wanted to reach, close enough together that what they sweep is smooth."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from condyle.figure.skeleton import Motion, SeatedJoint
from condyle.geometry.frame import unit
from condyle.geometry.mesh import FloatArray

STEP_MM = 0.28
"""How far any point near the joint moves from one placement to the next.

Copies of an edge this far apart, grown by 0.25 mm or more, leave ridges of at most r − √(r² − s²/4) = 0.043 mm.
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
            placed = placements(centres, np.asarray(axis), sense * angles)
            out.append(Course(motion, sense, angles, placed))
    return out


def placements(centres: Sequence[FloatArray], axis: FloatArray, degs: FloatArray) -> FloatArray:
    """(k, 4, 4) of the child's side: turns about the one centre, or half of each turn about each of two."""
    out = np.tile(np.eye(4), (len(degs), 1, 1))
    for centre in centres:
        out = out @ _turned_about(centre, unit(axis) * (np.radians(degs) / len(centres))[:, None])
    return out


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
    angles = 2.0 * math.pi * np.arange(count) / count
    c, s = np.cos(angles), np.sin(angles)
    flex = share * c * np.where(c > 0, ends.get(("flex", 1), 0.0), ends.get(("flex", -1), 0.0))
    abduct = share * s * np.where(s > 0, ends.get(("abduct", 1), 0.0), ends.get(("abduct", -1), 0.0))
    return _turned_about(centre, np.radians(flex[:, None] * x + abduct[:, None] * y))


def _turned_about(centre: FloatArray, vectors: FloatArray) -> FloatArray:
    """(k, 4, 4): turns about a centre by rotation vectors (k, 3) in radians (Rodrigues' formula)."""
    angle = np.linalg.norm(vectors, axis=1)
    a = vectors / np.maximum(angle, 1e-12)[:, None]
    cross = np.zeros((len(a), 3, 3))
    cross[:, 0, 1], cross[:, 0, 2], cross[:, 1, 2] = -a[:, 2], a[:, 1], -a[:, 0]
    cross -= np.swapaxes(cross, 1, 2)
    out = np.tile(np.eye(4), (len(a), 1, 1))
    out[:, :3, :3] += np.sin(angle)[:, None, None] * cross + (1.0 - np.cos(angle))[:, None, None] * (cross @ cross)
    out[:, :3, 3] = centre - out[:, :3, :3] @ centre
    return out


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
