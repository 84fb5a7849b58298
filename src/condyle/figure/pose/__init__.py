"""Poses: joint angles, and where they carry the parts of a kit."""

from condyle.figure.pose.forward import forward, ground, joint_turn, part_turns
from condyle.figure.pose.pose import Pose, between, swapped

__all__ = ["Pose", "between", "forward", "ground", "joint_turn", "part_turns", "swapped"]
