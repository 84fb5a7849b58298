"""Where the seam goes: the side to which every layer begins, so that it runs over cut faces, then over the figure's back.

A filament printer begins each outline at one point; above each other these leave a raised line. Print preparation lets a
side of the part be chosen for it, and faces be barred to it. Tried are 24 sides around the build direction; on each, an
outline begins at its point that lies furthest that way, and where that lies on a bearing, at its point off bearings
that lies furthest that way. An outline all of which bears is crossed wherever it begins. Holes have seams of their own.
The line's height is not in the model: its length is.
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
_BEARING_COST, _FRONT_SHARE, _BARRED_COST = 8.0, 0.4, 1.0
"""A millimetre of seam on a bearing is as bad as eight on a show face, one at the front of the figure 1.4 and one at its back
0.6 times as bad as one at its side: our choice."""


@dataclass(frozen=True)
class Seam:
    """The side that the seam is best laid to: ``way`` (unit, figure coordinates, square to the build direction) and in words;
    how many mm of it run over show and bearing faces there, and on all faces.

    barred_mm  how much of it keeps off bearings only when they are barred to it
    at         where it crosses a bearing all the same (figure coordinates), None where it does not
    """

    way: Point
    words: str
    show_mm: float
    bearing_mm: float
    total_mm: float
    barred_mm: float = 0.0
    at: Point | None = None


def seam(part: PrintPart, layers: Layers, transform: FloatArray) -> Seam | None:
    """The least bad side; None for a part without outlines. Every second layer is looked at, and stands for two."""
    back = np.linalg.inv(transform)
    angle = 2.0 * np.pi * np.arange(WAYS) / WAYS
    ways = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    rings = [
        np.column_stack([ring, np.full(len(ring), (k + 0.5) * layers.layer_mm)])
        for k in range(0, len(layers), _STEP)
        for ring in layers.regions[k].rings()
    ]
    if not rings:
        return None
    all_points = np.concatenate(rings) @ back[:3, :3].T + back[:3, 3]
    bears = part.bears_at(all_points)
    starts = np.concatenate([[0], np.cumsum([len(r) for r in rings])])
    begins = np.zeros((len(rings), WAYS), dtype=np.int64)
    moved = np.zeros((len(rings), WAYS), dtype=bool)
    for n, ring in enumerate(rings):
        own = bears[starts[n] : starts[n + 1]]
        far = ring[:, :2] @ ways.T
        first = np.argmax(far, axis=0)
        if own[first].any() and not own.all():
            far[own] = -np.inf
            moved[n] = own[first]
            first = np.where(moved[n], np.argmax(far, axis=0), first)
        begins[n] = starts[n] + first
    kind = part.kinds_at(all_points[begins.ravel()]).reshape(begins.shape)
    stands_for = _STEP * layers.layer_mm
    show, bearing = ((kind == which).sum(axis=0) * stands_for for which in (SHOW, BEARING))
    out = np.column_stack([ways, np.zeros(WAYS)]) @ back[:3, :3].T
    cost = (
        _BEARING_COST * bearing
        + (1.0 + _FRONT_SHARE * out[:, 0]) * show
        + _BARRED_COST * moved.sum(axis=0) * stands_for
    )
    best = int(np.argmin(cost))
    crossed = np.flatnonzero(kind[:, best] == BEARING)
    return Seam(
        _point(out[best]),
        side_of(out[best]),
        float(show[best]),
        float(bearing[best]),
        len(rings) * stands_for,
        float(moved[:, best].sum() * stands_for),
        _point(all_points[begins[crossed[len(crossed) // 2], best]]) if len(crossed) else None,
    )


def _point(p: FloatArray) -> Point:
    x, y, z = (float(v) for v in p)
    return (x, y, z)
