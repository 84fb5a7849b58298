"""Where the seam goes: the side to which every layer begins, so that it runs over cut faces, then over the figure's back.

A filament printer begins each outline at one point; above each other these leave a raised line. Print preparation lets a
side of the part be chosen for it. Tried are 24 sides around the build direction; on each, an outline begins at its point
that lies furthest that way. Holes have seams of their own. The line's height is not in the model: its length is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from condyle.build.faces import BEARING, SHOW, PrintPart
from condyle.build.layers import Layers
from condyle.build.reasons import side_of
from condyle.finding import Point
from condyle.geometry.mesh import FloatArray

WAYS = 24
_STEP = 2
_BEARING_COST, _FRONT_SHARE = 8.0, 0.4
"""A millimetre of seam on a bearing is as bad as eight on a show face, one at the front of the figure 1.4 and one at its back
0.6 times as bad as one at its side: our choice."""


@dataclass(frozen=True)
class Seam:
    """The side that the seam is best laid to: ``way`` (unit, figure coordinates, square to the build direction) and in words;
    how many mm of it run over show and bearing faces there, and on all faces."""

    way: Point
    words: str
    show_mm: float
    bearing_mm: float
    total_mm: float


def seam(part: PrintPart, layers: Layers, transform: FloatArray) -> Seam | None:
    """The least bad side; None for a part without outlines. Every second layer is looked at, and stands for two."""
    back = np.linalg.inv(transform)
    angle = 2.0 * np.pi * np.arange(WAYS) / WAYS
    ways = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    points: list[FloatArray] = []
    for k in range(0, len(layers), _STEP):
        z = (k + 0.5) * layers.layer_mm
        for ring in layers.regions[k].rings():
            begins = ring[np.argmax(ring @ ways.T, axis=0)]
            points.append(np.column_stack([begins, np.full(WAYS, z)]))
    if not points:
        return None
    at = np.stack(points)  # (outlines, ways, 3)
    kind = part.kinds_at(at.reshape(-1, 3) @ back[:3, :3].T + back[:3, 3]).reshape(at.shape[:2])
    stands_for = _STEP * layers.layer_mm
    show, bearing = ((kind == which).sum(axis=0) * stands_for for which in (SHOW, BEARING))
    out = np.column_stack([ways, np.zeros(WAYS)]) @ back[:3, :3].T
    cost = _BEARING_COST * bearing + (1.0 + _FRONT_SHARE * out[:, 0]) * show
    best = int(np.argmin(cost))
    x, y, z = (float(v) for v in out[best])
    return Seam((x, y, z), side_of(out[best]), float(show[best]), float(bearing[best]), len(points) * stands_for)
