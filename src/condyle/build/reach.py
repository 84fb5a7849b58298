"""Can a tool get at a place to break a support off, and could a leaning column reach the plate instead?"""

from __future__ import annotations

import numpy as np

from condyle.build.directions import even, square_to
from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import BoolArray, FloatArray

_WAYS = 200
_LEANS_DEG = (15.0, 30.0, 45.0)


def free_cone(points: FloatArray, bvh: Bvh, half_angle_deg: float, turn: FloatArray | None = None) -> BoolArray:
    """Whether each point (n, 3) sees out of the part through some cone of this half angle. ``turn`` (3, 3) turns the ways.

    Supports come off after the part has left the plate, so ways down count too. 200 ways out, some 14° apart: a cone is
    free when every way in it is. A narrow rib between two ways is not seen.
    """
    ways = even(_WAYS) if turn is None else even(_WAYS) @ turn.T
    near = ways @ ways.T >= np.cos(np.radians(half_angle_deg))
    origins = np.repeat(points, len(ways), axis=0)
    free = ~np.isfinite(bvh.rays(origins, np.tile(ways, (len(points), 1)))).reshape(len(points), len(ways))
    # A cone about a way is free when no way in it is blocked.
    blocked = (~free).astype(np.float64) @ near.T.astype(np.float64)
    return np.asarray((blocked == 0.0).any(axis=1))


def leaning_to_plate(point: FloatArray, bvh: Bvh, up: FloatArray) -> float | None:
    """The least lean (degrees from upright) of a straight column from a point down to the plate past the part, if any."""
    down = -up
    side = square_to(down, 24)
    for lean in _LEANS_DEG:
        t = np.radians(lean)
        ways = np.cos(t) * down + np.sin(t) * side
        if bool((~np.isfinite(bvh.rays(np.repeat(point[None], len(ways), axis=0), ways))).any()):
            return lean
    return None
