"""The hard-hat diver of the harbour salvage company: the demo sculpt, an implicit figure taken to any fineness.

It stands as a hand-made sculpt would: soles flat at z = 0, 150 mm tall, facing +x, arms held 45 degrees from the body
with the palms in, the legs apart. All detail is in the field; a coarser step only shows less of it.
"""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

import numpy as np
from numba import njit

from condyle.demo.clay import noise, ramp, soft_min
from condyle.demo.diver_gear import belt, boots, gloves
from condyle.demo.diver_metal import CANVAS, corselet, helmet
from condyle.demo.diver_suit import suit
from condyle.demo.rig import DIVER
from condyle.errors import UsageError
from condyle.finding import Point
from condyle.geometry.fields import largest_shell, surface_from_field
from condyle.geometry.mesh import FloatArray, IntArray, Mesh

_TALL_MM = 150.0
_BOX = np.array([[-21.0, -75.0, -1.5], [22.0, 75.0, 151.5]])
# Folds and rivets make the field steeper than a distance.
_STEEPEST = 2.0
# Triangles times step²: the figure's area, seen by marching cubes.
_TRIANGLES_MM2 = 7.6e4


def diver(triangles: int = 300_000) -> Mesh:
    """The diver with about so many triangles (within 15 %): closed, outward, one shell, float64 mm.

    UsageError below 20,000 (fingers would grow together) or above 20 million.
    """
    if not 20_000 <= triangles <= 20_000_000:
        raise UsageError("demo.triangles", f"the diver is made of 20,000 to 20,000,000 triangles, not {triangles}")
    step = float(np.sqrt(_TRIANGLES_MM2 / triangles))
    # A crevice narrower than a step can close over and leave a bubble inside.
    return largest_shell(surface_from_field(_field, _BOX, step, steepest=_STEEPEST))


def diver_joints() -> dict[str, Point]:
    """The true joint centres in mm, figure coordinates: the numbers that placed the limbs."""
    return DIVER.joints()


def made_of(points: FloatArray) -> IntArray:
    """What the diver is made of at points on the surface (n, 3): the numbers of diver_metal."""
    return np.asarray(_sculpted(np.ascontiguousarray(points, dtype=np.float64))[1], dtype=np.int32)


def _field(points: FloatArray) -> FloatArray:
    return np.asarray(_sculpted(np.ascontiguousarray(points, dtype=np.float64))[0])


@njit(cache=True)
def _sculpted(points):
    distance = np.empty(len(points))
    substance = np.empty(len(points), dtype=np.int32)
    for i in range(len(points)):
        x, y, z = points[i, 0], points[i, 1], points[i, 2]
        d = suit(x, y, z)
        of = CANVAS
        if z > 92.0:
            other, its = corselet(x, y, z)
            if other < d:
                of = its
            d = soft_min(d, other, 0.4)
            other, its = helmet(x, y, z)
            if other < d:
                of = its
            d = soft_min(d, other, 0.4)
        else:
            other, its = belt(x, y, z)
            if other < d:
                of = its
            d = soft_min(d, other, 0.4)
            other, its = gloves(x, y, z)
            if other < d:
                of = its
            d = soft_min(d, other, 0.4)
            other, its = boots(x, y, z)
            if other < d:
                of = its
            d = soft_min(d, other, 0.4)
        if abs(d) < 2.0:  # marks of the tool, on cloth and metal alike; not on the ground that it stands on
            marks = 0.020 * noise(x * 1.3, y * 1.3, z * 1.3 + 40.0) + 0.012 * noise(x * 3.1, y * 1.1 + 9.0, z * 2.3)
            d -= marks * ramp(z, 0.2, 1.5)
        distance[i] = max(d, max(-z, z - _TALL_MM))
        substance[i] = of
    return distance, substance
