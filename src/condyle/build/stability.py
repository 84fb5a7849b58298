"""Does the growing part stay upright on what it stands on?

After each layer the centre of mass of what has been printed so far stands over the convex hull of the first layer and of
the supports' feet on the plate; the angle by which it could lean before it passes over the hull's edge is the margin.
Adhesion is not counted: the angle ranks positions, it does not foretell a failure.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from condyle.build.supports import Supports
from condyle.geometry.mesh import FloatArray


@dataclass(frozen=True)
class Growth:
    """contact_mm2 of the first layer; the least angle in degrees by which the growing part could lean, and at which
    height of the part that is."""

    contact_mm2: float
    tip_deg: float
    at_mm: float


def growth(supports: Supports, column_mm: float, steps: int = 40) -> Growth:
    """The growing part's margin, looked at after each of about ``steps`` equal shares of its layers."""
    layers = supports.layers
    contact = layers.regions[0].area_mm2
    points = list(layers.regions[0].rings())
    half = 0.5 * column_mm
    corners = np.array([[-half, -half], [half, -half], [half, half], [-half, half]])
    points += [np.array(c.top[:2]) + corners for c in supports.columns if c.foot == "plate"]
    if not points:
        return Growth(contact, 0.0, 0.0)
    try:
        planes = ConvexHull(np.concatenate(points)).equations
    except QhullError:
        return Growth(contact, 0.0, 0.0)
    every = max(1, len(layers) // steps)
    mass, first = 0.0, np.zeros(3)
    worst, at = 90.0, 0.0
    for k, region in enumerate(layers.regions):
        if not region.empty:
            x, y = region.centroid
            mass += region.area_mm2
            first += region.area_mm2 * np.array([x, y, (k + 0.5) * layers.layer_mm])
        if (k % every == 0 or k == len(layers) - 1) and mass > 0:
            tip = _tip_deg(first / mass, planes)
            if tip < worst:
                worst, at = tip, (k + 1) * layers.layer_mm
    return Growth(contact, worst, at)


def _tip_deg(centre: FloatArray, planes: FloatArray) -> float:
    margin = float((-(planes[:, :2] @ centre[:2] + planes[:, 2])).min())
    return math.degrees(math.atan2(max(margin, 0.0), max(float(centre[2]), 1e-9)))
