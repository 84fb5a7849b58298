"""A pose: the angles of the joints it names. Swapping its sides, and going from one to another."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from condyle.errors import UsageError
from condyle.figure.skeleton import MOTIONS, Motion, SeatedJoint

Angles = Mapping[Motion, float]


@dataclass(frozen=True)
class Pose:
    """Degrees by joint and motion, from the human zero (standing, limbs hanging, palms in).

    A joint that is not named, and a motion that a named joint does not give, keeps the angle in which the sculpt stands.
    """

    name: str
    angles: Mapping[str, Angles] = field(default_factory=dict)

    def of(self, joint: SeatedJoint) -> dict[Motion, float]:
        """Every angle of a joint in this pose. UsageError for a motion that the joint does not have."""
        told = self.angles.get(joint.name, {})
        able = MOTIONS[joint.spec.kind]
        for motion in told:
            if motion not in able:
                raise UsageError(
                    "pose.motion",
                    f"a {joint.spec.kind.replace('_', ' ')} cannot {motion}",
                    hint=f"{joint.name} has: {', '.join(able) or 'no motion at all'}",
                )
        return {m: float(told.get(m, joint.rest.get(m, 0.0))) for m in able}


def swapped(pose: Pose, name: str | None = None) -> Pose:
    """The pose in a mirror: left and right change places, and the middle joints lean and turn the other way.

    Angles of limbs count away from the midline on both sides, so they go over as they are.
    """
    angles: dict[str, dict[Motion, float]] = {}
    for joint, told in pose.angles.items():
        other = _other_side(joint)
        sense = -1.0 if other == joint else 1.0
        angles[other] = {m: a if m == "flex" else sense * a + 0.0 for m, a in told.items()}
    return Pose(pose.name if name is None else name, angles)


def _other_side(joint: str) -> str:
    for one, two in (("_left", "_right"), ("_right", "_left")):
        if joint.endswith(one):
            return joint.removesuffix(one) + two
    return joint


def between(start: Pose, end: Pose, share: float, joints: Sequence[SeatedJoint]) -> Pose:
    """The pose at a share (0 to 1) of the way, every angle in its proportion: each motion at an even speed."""
    angles: dict[str, dict[Motion, float]] = {}
    for joint in joints:
        if joint.name in start.angles or joint.name in end.angles:
            a, b = start.of(joint), end.of(joint)
            angles[joint.name] = {m: (1.0 - share) * a[m] + share * b[m] for m in a}
    return Pose(f"{start.name} to {end.name} {100.0 * share:.0f} %", angles)
