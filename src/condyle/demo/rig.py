"""Where the joints of the demo bodies are: the same numbers place their limbs and judge the seating."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from condyle.finding import Point
from condyle.geometry.frame import unit
from condyle.geometry.mesh import FloatArray


@dataclass(frozen=True)
class Rig:
    """Joint centres in mm, figure coordinates: those on the midline, and the left one of each pair."""

    middle: dict[str, Point]
    left: dict[str, Point]

    def joints(self) -> dict[str, Point]:
        """All joint centres by the names of the skeleton templates; the right side mirrors the left."""
        out = dict(self.middle)
        for name, (x, y, z) in self.left.items():
            out[f"{name}_left"] = (x, y, z)
            out[f"{name}_right"] = (x, -y, z)
        return out

    def at(self, name: str) -> FloatArray:
        """A joint of the midline or the left side, (3,)."""
        return np.array(self.middle.get(name) or self.left[name], dtype=np.float64)


def along(start: Point, direction: tuple[float, float, float], distance_mm: float) -> Point:
    """The point at a distance from another in a direction (which need not have length 1)."""
    p = np.asarray(start) + unit(np.asarray(direction, dtype=np.float64)) * distance_mm
    return (float(p[0]), float(p[1]), float(p[2]))


def _diver() -> Rig:
    shoulder: Point = (-0.5, 20.6, 104.9)
    upper_arm = (0.0, 0.70, -0.71)
    forearm = (0.15, 0.62, -0.77)
    elbow = along(shoulder, upper_arm, 27.5)
    return Rig(
        middle={"neck": (0.5, 0.0, 118.2), "waist": (0.0, 0.0, 91.0)},
        left={
            "shoulder": shoulder,
            "biceps": along(shoulder, upper_arm, 13.5),
            "elbow": elbow,
            "wrist": along(elbow, forearm, 22.0),
            "hip": (0.0, 9.5, 75.0),
            "thigh": (0.4, 11.2, 62.0),
            "knee": (1.2, 12.8, 46.5),
            "ankle": (-1.0, 14.8, 15.5),
        },
    )


DIVER = _diver()
