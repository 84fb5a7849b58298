"""A solid grown by a clearance, within a box: the surface at a true distance, so that a seat keeps the same gap all round."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import map_coordinates

from condyle.geometry.bvh import Bvh
from condyle.geometry.fields import surface_from_field
from condyle.geometry.frame import frame_from_zx
from condyle.geometry.mesh import FloatArray
from condyle.geometry.solid import Solid, solid_from_mesh

STEP_MM = 0.2
SWEEP_MM = 0.5
EDGES_MM = 0.06
_SIMPLER_MM = 0.004


def grown(solid: Solid, by_mm: float, box: FloatArray, step_mm: float = STEP_MM) -> Solid:
    """The solid grown by ``by_mm``, cut off at a box (2, 3).

    Marching cubes on a grid bevel edges by up to a third of a step: the level is set 0.06 mm further out, so the gap is
    kept at edges to 0.025 mm, and is wider by that on faces.
    """
    bvh = Bvh(solid.mesh)
    low, high = np.asarray(box, dtype=np.float64)
    middle, half = (low + high) / 2.0, (high - low) / 2.0

    def field(points: FloatArray) -> FloatArray:
        out = np.abs(points - middle) - half
        outside = np.linalg.norm(np.maximum(out, 0.0), axis=1) + np.minimum(out.max(axis=1), 0.0)
        return np.asarray(np.maximum(bvh.signed_distance(points) - by_mm - EDGES_MM, outside))

    around = np.stack([low - 3.0 * step_mm, high + 3.0 * step_mm])
    mesh = surface_from_field(field, around, step_mm, steepest=1.2)
    return solid_from_mesh(mesh, "grown piece").simplified(_SIMPLER_MM)


def swept(
    solid: Solid, by_mm: float, box: FloatArray, way: FloatArray, sense: float, step_mm: float = SWEEP_MM
) -> Solid:
    """The solid grown and drawn out along a way (``sense`` 1 or -1) to the end of a box (2, 3) about it.

    The distance is taken on a grid whose rows run along the way, its least so far along each row is the drawn-out form's,
    and between grid points it is interpolated: exact but for forms finer than a step.
    """
    bvh = Bvh(solid.mesh)
    frame = frame_from_zx(
        box.mean(axis=0), way, np.array([1.0, 0.0, 0.0]) if abs(way[0]) < 0.8 else np.array([0.0, 1.0, 0.0])
    )
    corners = np.array([[x, y, z] for x in box[:, 0] for y in box[:, 1] for z in box[:, 2]])
    local = frame.to_local(corners)
    low, high = local.min(axis=0), local.max(axis=0)
    counts = np.ceil((high - low) / step_mm).astype(int) + 1
    rows = [low[k] + step_mm * np.arange(counts[k]) for k in range(3)]
    grid = np.stack(np.meshgrid(*rows, indexing="ij"), axis=-1).reshape(-1, 3)
    values = bvh.signed_distance(frame.to_outer(grid)).reshape(counts)
    if sense > 0:
        values = np.minimum.accumulate(values, axis=2)
    else:
        values = np.minimum.accumulate(values[:, :, ::-1], axis=2)[:, :, ::-1]
    middle, half = (low + high) / 2.0, (high - low) / 2.0 - step_mm

    def field(points: FloatArray) -> FloatArray:
        drawn = map_coordinates(values, ((points - low) / step_mm).T, order=1, mode="nearest")
        out = np.abs(points - middle) - half
        outside = np.linalg.norm(np.maximum(out, 0.0), axis=1) + np.minimum(out.max(axis=1), 0.0)
        return np.asarray(np.maximum(drawn - by_mm - EDGES_MM, outside))

    mesh = surface_from_field(field, np.stack([low - 2.0 * step_mm, high + 2.0 * step_mm]), step_mm, steepest=1.2)
    return solid_from_mesh(mesh, "way in").simplified(0.01).transformed(frame.matrix)
