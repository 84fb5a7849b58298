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


def _deckhand() -> Rig:
    """An adult by the segment lengths of Drillis and Contini (in Winter, Biomechanics and Motor Control of Human
    Movement, fig. 4.1: knee 0.285, hip 0.530, upper arm 0.186, forearm 0.146 of the height), arms 45 degrees out."""
    shoulder: Point = (-1.0, 18.2, 119.6)
    upper_arm = (0.0, 0.70, -0.714)
    elbow = along(shoulder, upper_arm, 27.9)
    return Rig(
        middle={"neck": (0.0, 0.0, 127.0), "waist": (0.0, 0.0, 95.0)},
        left={
            "shoulder": shoulder,
            "biceps": along(shoulder, upper_arm, 13.2),
            "elbow": elbow,
            "wrist": along(elbow, (0.13, 0.65, -0.75), 21.9),
            "hip": (0.0, 9.8, 79.5),
            "thigh": (0.2, 10.9, 64.5),
            "knee": (0.6, 12.4, 42.75),
            "ankle": (-1.2, 13.6, 6.4),
        },
    )


DECKHAND = _deckhand()

DOG = Rig(
    middle={
        "waist": (-11.0, 0.0, 65.0),
        "neck": (33.0, 0.0, 76.0),
        "head": (46.0, 0.0, 93.5),
        "tail": (-49.5, 0.0, 67.0),
    },
    left={
        "shoulder": (25.0, 9.8, 60.0),
        "elbow": (14.5, 11.0, 44.0),
        "wrist": (17.0, 11.2, 15.0),
        "hip": (-40.0, 9.0, 61.0),
        "knee": (-29.0, 11.4, 41.5),
        "hock": (-45.5, 11.0, 21.5),
    },
)
"""A harbour dog, 80 mm at the withers."""
