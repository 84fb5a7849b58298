"""Poses: joint angles, and where they carry the parts of a kit."""

from __future__ import annotations

from condyle.figure.pose.forward import angles_of, axle_turns, carried, forward, ground, joint_turn, part_turns
from condyle.figure.pose.pose import Angles, Pose, between, swapped
from condyle.figure.pose.sheet import pose_sheet, suited

__all__ = [
    "Angles", "Pose", "angles_of", "axle_turns", "between", "carried", "forward", "ground", "joint_turn", "part_turns",
    "pose_sheet", "suited", "swapped",
]  # fmt: skip
