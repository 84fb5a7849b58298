"""A solid grown by a clearance, within a box: the surface at a true distance, so that a seat keeps the same gap all round."""

from __future__ import annotations

import math

import numpy as np
from scipy.ndimage import map_coordinates

from condyle.geometry.bvh import Bvh
from condyle.geometry.fields import surface_from_field
from condyle.geometry.frame import frame_from_zx, rotation_about, unit
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


def swung(
    solid: Solid,
    by_mm: float,
    box: FloatArray,
    centre: FloatArray,
    axis: FloatArray,
    tilt_deg: float,
    step_mm: float = 0.25,
) -> Solid:
    """The solid grown, and tilted about a centre by up to ``tilt_deg`` towards every side of an axis, within a box (2, 3).

    The distance is taken once, on a grid, and read where each of 16 x 3 tilts comes from. Between two tilts of the rim the
    envelope lies further out by no more than r·tilt·(1 - cos 11.25°), under 0.04 mm at 10 mm and 12°; the edges' growth of
    0.06 mm covers it. Turns about the axis itself are not asked.
    """
    bvh = Bvh(solid.mesh)
    corners = np.array([[x, y, z] for x in box[:, 0] for y in box[:, 1] for z in box[:, 2]])
    reach = float(np.linalg.norm(corners - centre, axis=1).max()) * math.radians(tilt_deg)
    low, high = box[0] - reach - 2.0 * step_mm, box[1] + reach + 2.0 * step_mm
    counts = np.ceil((high - low) / step_mm).astype(int) + 1
    grid = np.stack(np.meshgrid(*(low[k] + step_mm * np.arange(counts[k]) for k in range(3)), indexing="ij"), axis=-1)
    values = bvh.signed_distance(grid.reshape(-1, 3)).reshape(counts)
    u = unit(np.cross(axis, np.array([1.0, 0.0, 0.0]) if abs(axis[0]) < 0.8 else np.array([0.0, 1.0, 0.0])))
    v = np.cross(axis, u)
    turns = [np.eye(3)]
    for side in np.arange(16) * math.pi / 8.0:
        about = math.cos(side) * u + math.sin(side) * v
        turns += [rotation_about(about, tilt_deg * share) for share in (1.0 / 3.0, 2.0 / 3.0, 1.0)]
    middle, half = (box[0] + box[1]) / 2.0, (box[1] - box[0]) / 2.0

    def field(points: FloatArray) -> FloatArray:
        arm = points - centre
        least = np.full(len(points), np.inf)
        for turn in turns:
            at = (arm @ turn + centre - low) / step_mm
            least = np.minimum(least, map_coordinates(values, at.T, order=1, mode="nearest"))
        out = np.abs(points - middle) - half
        outside = np.linalg.norm(np.maximum(out, 0.0), axis=1) + np.minimum(out.max(axis=1), 0.0)
        return np.asarray(np.maximum(least - by_mm - EDGES_MM, outside))

    mesh = surface_from_field(field, np.stack([box[0] - 3.0 * step_mm, box[1] + 3.0 * step_mm]), step_mm, steepest=1.3)
    return solid_from_mesh(mesh, "room to tilt").simplified(_SIMPLER_MM)
