"""The angles of the joints next to the ground that would make a pose stand: soles level, weight over the feet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from condyle.figure.kit import BuiltJoint
from condyle.figure.pose import Pose, forward, joint_turn
from condyle.figure.skeleton import Motion, Range
from condyle.geometry.frame import unit
from condyle.geometry.mesh import FloatArray
from condyle.proof.mass import posed_centre_mm
from condyle.proof.stand.standing import Ground, Standing, put_down, sole

_ROUNDS = 12
_NEAR = 0.05
"""Feet whose lowest point is within this share of the figure's height of the ground are meant to bear."""


@dataclass(frozen=True, eq=False)
class Offer:
    """Angles (degrees from the human zero) that were found, and the pose with them put down again."""

    angles: Mapping[str, Mapping[Motion, float]]
    standing: Standing

    @property
    def words(self) -> str:
        return "; ".join(
            f"{joint} " + ", ".join(f"{motion} {angle:.0f}°" for motion, angle in told.items())
            for joint, told in self.angles.items()
        )


def offer(ground: Ground, pose: Pose, limits: Mapping[str, Mapping[Motion, Range]]) -> Offer | None:
    """Solve for level soles under the centre of mass, within the limits (from the human zero) of each joint.

    The figure may lean as a whole: with two feet it turns about the line between them, with one foot any way. None where
    no foot hangs on a joint that can swing. The result is put down again, so what it says was measured.
    """
    feet = _meant(ground, pose)
    joints = {f: ground.carriers[f][0] for f in feet if f in ground.carriers}
    joints = {f: j for f, j in joints.items() if "flex" in j.seated.axes and len(j.axles) == 1}
    if not joints:
        return None
    told = {j.name: pose.of(j.seated) for j in joints.values()}
    normals = {f: sole(ground, f, np.array([0.0, 0.0, -1.0])) for f in joints}
    down = np.array([0.0, 0.0, -1.0])
    for _ in range(_ROUNDS):
        trial = Pose(pose.name, {**pose.angles, **told})
        placed = forward(ground.kit, trial)
        for foot, joint in joints.items():
            shin = placed[ground.carriers[foot][1]][:3, :3]
            told[joint.name] = _level(joint, told[joint.name], normals[foot], shin.T @ down, limits.get(joint.name, {}))
        placed = forward(ground.kit, Pose(pose.name, {**pose.angles, **told}))
        middles = np.array([_sole_middle(ground, f, normals[f], placed[f]) for f in sorted(joints)])
        centre = posed_centre_mm(ground.masses, placed)
        wanted = unit(middles.mean(axis=0) - centre)
        if len(middles) >= 2:
            across = unit(middles[-1] - middles[0])
            wanted = unit(wanted - across * float(wanted @ across))
        down = unit(0.5 * down + 0.5 * wanted)
    solved = Pose(pose.name, {**pose.angles, **told})
    swings: dict[str, dict[Motion, float]] = {
        name: {m: a for m, a in angles.items() if m != "twist"} for name, angles in told.items()
    }
    return Offer(swings, put_down(ground, solved, down=down))


def _meant(ground: Ground, pose: Pose) -> list[str]:
    """The feet that are meant to bear: those nearly as low as the lowest."""
    placed = forward(ground.kit, pose)
    low = {f: float((ground.corners[f] @ placed[f][2, :3]).min() + placed[f][2, 3]) for f in ground.feet}
    if not low:
        return []
    tall = max(float(c[:, 2].max()) for c in ground.corners.values())
    return sorted(f for f in low if low[f] <= min(low.values()) + _NEAR * tall)


def _sole_middle(ground: Ground, foot: str, normal: FloatArray, placed: FloatArray) -> FloatArray:
    """The middle of what the sole rests on, placed."""
    corners = ground.corners[foot]
    depth = corners @ normal
    on = corners[depth >= depth.max() - 0.05]
    middle = 0.5 * (on.min(axis=0) + on.max(axis=0))
    return np.asarray(placed[:3, :3] @ middle + placed[:3, 3])


def _level(
    joint: BuiltJoint,
    start: Mapping[Motion, float],
    normal: FloatArray,
    wanted: FloatArray,
    limits: Mapping[Motion, Range],
) -> dict[Motion, float]:
    """The swing that turns ``normal`` to ``wanted`` (both in the shin's rest coordinates): Gauss–Newton, in the limits."""
    angles: dict[Motion, float] = dict(start)
    swings: list[Motion] = [m for m in ("flex", "abduct") if m in angles]

    def off(at: Mapping[Motion, float]) -> FloatArray:
        return np.asarray(joint_turn(joint.seated, at) @ normal - wanted)

    for _ in range(4):
        here = off(angles)
        slope = np.stack([off({**angles, m: angles[m] + 0.5}) - here for m in swings], axis=1) / 0.5
        step = np.linalg.lstsq(slope, -here, rcond=None)[0]
        for motion, by in zip(swings, np.clip(step, -20.0, 20.0), strict=True):
            low, high = limits.get(motion, (-180.0, 180.0))
            angles[motion] = float(np.clip(angles[motion] + by, low, high))
    return angles
