"""Does a tool lie in the hand that holds it? Measured on both as finished.

held.gap  the tool's least distance from the hand, signed: within 0.05 mm of the bore's clearance, or more
held.way  pulled out through the mouth it meets nothing but the lips: it may overlap them by no more than they spring
"""

from __future__ import annotations

import numpy as np

from condyle.figure.kit import Part
from condyle.figure.pieces.grip import CutGrip
from condyle.finding import Finding
from condyle.geometry.bvh import Bvh
from condyle.geometry.formats import as_written
from condyle.geometry.solid import Solid

TOLERANCE_MM = 0.05
_STEP_MM = 0.2
_NEAR_MM = 0.4


def held(part: Part, cut: CutGrip, name: str, tool: Solid) -> list[Finding]:
    """Both measures, of a tool in figure coordinates."""
    hand = Bvh(as_written(part.mesh))
    points = as_written(tool.subdivided(_NEAR_MM).mesh).vertices
    subject = f"{cut.grip.part}/{name}"
    least, place = _least(hand, points)
    fits = least >= cut.clearance_mm - TOLERANCE_MM
    out = [
        Finding(
            "held.gap", subject, "pass" if fits else "fail", least, cut.clearance_mm, "mm", place,
            "" if fits else "the tool runs into the hand beside its handle: turn axis or opening, or move point along it",
        )
    ]  # fmt: skip
    if cut.mouth_mm > 0.0:
        far = float(np.ptp(hand.mesh.vertices @ cut.frame.x)) + float(np.ptp(points @ cut.frame.x))
        worst, where = 0.0, None
        for step in np.arange(0.0, far, _STEP_MM):
            deep, at = _least(hand, points + step * cut.frame.x)
            if -deep > worst:
                worst, where = -deep, at
        allowed = cut.lip_mm + TOLERANCE_MM
        free = worst <= allowed
        advice = (
            "" if free else "the tool does not pass the mouth: something beside its handle meets the hand on the way"
        )
        out.append(Finding("held.way", subject, "pass" if free else "fail", worst, allowed, "mm", where, advice))
    return out


def _least(hand: Bvh, points: np.ndarray) -> tuple[float, tuple[float, float, float]]:
    low, high = hand.mesh.bounds
    near = points[np.all((points >= low - 1.0) & (points <= high + 1.0), axis=1)]
    if not len(near):
        return 1.0, (0.0, 0.0, 0.0)
    distance = hand.signed_distance(near)
    k = int(np.argmin(distance))
    x, y, z = (float(v) for v in near[k])
    return float(distance[k]), (x, y, z)
