"""A deck hand in plain overalls: a quick body of lumps for tests, with human proportions and thin human wrists."""

from __future__ import annotations

import numpy as np

from condyle.demo.clay import lumps
from condyle.demo.rig import DECKHAND, Rig
from condyle.finding import Point
from condyle.geometry.fields import largest_shell, surface_from_field
from condyle.geometry.frame import unit
from condyle.geometry.mesh import FloatArray, Mesh

_BOX = np.array([[-17.0, -74.0, -1.0], [24.0, 74.0, 151.0]])
_TRIANGLES_MM2 = 5.03e4

# Middle pieces as (x, y, z, radius) twice and the width of the join, mm; y other than 0 stands for both sides.
_TRUNK: tuple[tuple[float, ...], ...] = (
    (-0.5, 8.6, 111.0, 10.4, -0.5, -8.6, 111.0, 10.4, 1.0),
    (-0.5, 8.6, 111.0, 10.4, 0.0, 6.2, 96.0, 9.6, 0.5),
    (0.0, 6.2, 96.0, 9.6, 0.0, 7.6, 82.5, 10.4, 1.0),
    (0.0, 7.6, 82.5, 10.4, 0.0, -7.6, 82.5, 10.4, 0.5),
    (0.0, 0.0, 110.0, 10.0, 0.0, 0.0, 96.0, 9.6, 2.0),
    (0.0, 0.0, 96.0, 9.6, 0.0, 0.0, 83.0, 9.8, 2.0),
    (-1.0, 3.0, 121.0, 6.0, -1.0, 16.0, 119.4, 5.6, 3.0),
    (-0.6, 0.0, 119.0, 6.2, 0.6, 0.0, 131.0, 5.2, 3.0),
    (0.4, 0.0, 140.6, 9.4, -0.6, 0.0, 140.0, 9.2, 1.5),
    (1.6, 0.0, 139.0, 8.9, 3.6, 0.0, 134.6, 5.8, 2.0),
    (9.6, 0.0, 139.4, 1.0, 11.0, 0.0, 136.6, 1.5, 1.0),
    (0.0, 9.2, 139.0, 1.4, -0.6, 9.4, 136.4, 1.2, 0.8),
)


def limb_lumps(rig: Rig) -> FloatArray:
    """The left arm and leg of an upright body as rows for ``lumps``: (n, 9)."""
    shoulder, elbow, wrist = (rig.at(n) for n in ("shoulder", "elbow", "wrist"))
    hip, knee, ankle = (rig.at(n) for n in ("hip", "knee", "ankle"))
    f = unit(wrist - elbow)
    palm = unit(np.array([0.0, -1.0, 0.0]) - f * float(-f[1]))
    thumb = np.cross(palm, f)

    def hand(a: float, p: float, t: float) -> FloatArray:
        return np.asarray(wrist + f * a + palm * p + thumb * t)

    def at_ankle(x: float, y: float, z: float) -> FloatArray:
        return np.asarray(ankle + np.array([x, y, z]))

    rows = [
        (*shoulder, 6.2, *elbow, 4.9, 3.0),
        (*elbow, 4.9, *(elbow + f * 6.0), 5.1, 0.5),
        (*(elbow + f * 6.0), 5.1, *wrist, 2.7, 0.5),
        (*hand(0.0, 0.0, 0.3), 2.5, *hand(6.5, 0.2, 1.6), 2.4, 1.5),
        (*hand(0.0, 0.0, -0.3), 2.5, *hand(6.5, 0.2, -1.8), 2.3, 1.5),
        (*hand(2.6, 0.6, 2.2), 1.9, *hand(6.6, 1.6, 5.2), 1.4, 1.2),
        (*hand(6.6, 1.6, 5.2), 1.4, *hand(9.2, 2.2, 6.0), 1.2, 0.6),
    ]
    for side, length in ((2.7, 7.0), (0.95, 7.8), (-0.8, 7.3), (-2.5, 5.9)):
        middle = hand(7.0 + 0.55 * length, 0.9, side)
        rows.append((*hand(7.0, 0.2, side), 1.35, *middle, 1.25, 0.8))
        rows.append((*middle, 1.25, *hand(7.0 + 0.95 * length, 2.6, side), 1.1, 0.4))
    rows += [
        (*hip, 9.6, *knee, 6.5, 3.0),
        (*knee, 6.5, *(knee + (ankle - knee) * 0.32), 6.6, 0.5),
        (*(knee + (ankle - knee) * 0.32), 6.6, *at_ankle(0.0, 0.0, 4.0), 5.0, 0.5),
        (*at_ankle(0.0, 0.0, 11.0), 5.6, *at_ankle(0.0, 0.0, 4.0), 5.6, 0.4),
        (*ankle, 5.2, *at_ankle(10.5, 1.2, -2.2), 4.6, 1.0),
        (*at_ankle(-2.6, 0.0, -2.0), 4.8, *at_ankle(12.5, 1.5, -2.6), 4.8, 1.5),
    ]
    return np.array(rows, dtype=np.float64)


def mirrored(rows: FloatArray) -> FloatArray:
    """The rows and, of those that do not lie on or across the midline, their images on the right side."""
    right = rows[(rows[:, 1] != 0.0) & (rows[:, 1] != -rows[:, 5])].copy()
    right[:, [1, 5]] *= -1.0
    return np.concatenate([rows, right])


def deckhand(triangles: int = 40_000) -> Mesh:
    """The deck hand with about so many triangles: closed, outward, 150 mm tall, facing +x, soles flat at z = 0."""
    shape = lumps(mirrored(np.concatenate([np.array(_TRUNK), limb_lumps(DECKHAND)])))

    def standing(points: FloatArray) -> FloatArray:
        return np.maximum(shape(points), -points[:, 2])

    return largest_shell(surface_from_field(standing, _BOX, float(np.sqrt(_TRIANGLES_MM2 / triangles))))


def deckhand_joints() -> dict[str, Point]:
    """The true joint centres in mm, figure coordinates."""
    return DECKHAND.joints()
