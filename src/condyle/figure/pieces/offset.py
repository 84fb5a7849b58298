"""A solid grown by a clearance, within a box: the surface at a true distance, so that a seat keeps the same gap all round."""

from __future__ import annotations

import numpy as np

from condyle.geometry.bvh import Bvh
from condyle.geometry.fields import surface_from_field
from condyle.geometry.mesh import FloatArray
from condyle.geometry.solid import Solid, solid_from_mesh

STEP_MM = 0.2
_SIMPLER_MM = 0.004


def grown(solid: Solid, by_mm: float, box: FloatArray, step_mm: float = STEP_MM) -> Solid:
    """The solid grown by ``by_mm``, cut off at a box (2, 3).

    Marching cubes on a grid bevel edges by a fraction of a step: the level is set a little further out, so the gap is
    kept at edges too and is wider by up to 0.02 mm on faces.
    """
    bvh = Bvh(solid.mesh)
    low, high = np.asarray(box, dtype=np.float64)
    middle, half = (low + high) / 2.0, (high - low) / 2.0

    def field(points: FloatArray) -> FloatArray:
        out = np.abs(points - middle) - half
        outside = np.linalg.norm(np.maximum(out, 0.0), axis=1) + np.minimum(out.max(axis=1), 0.0)
        return np.asarray(np.maximum(bvh.signed_distance(points) - by_mm - 0.02, outside))

    around = np.stack([low - 3.0 * step_mm, high + 3.0 * step_mm])
    mesh = surface_from_field(field, around, step_mm, steepest=1.2)
    return solid_from_mesh(mesh, "grown piece").simplified(_SIMPLER_MM)
