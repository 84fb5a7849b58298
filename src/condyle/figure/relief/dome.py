"""A round seat where a flat flange would stop a ball: flesh changes sides so that the faces between are concentric again.

A ball's cut is round only as far as there is room for its hardware's walls; beyond it runs out in a flat flange. Here
the hollow side gives up its flesh inside a larger sphere about the ball, and the round side takes it over: the two then
meet in a sphere that slides in itself, and no gap opens. A column of flesh stays around the neck, and the hardware of other joints stays where it is;
the flesh that is handed over keeps clear of both in every placement.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from condyle.figure.parting.hardware import Hardware
from condyle.figure.relief.carve import Room, Side, _towards
from condyle.figure.relief.motions import Course, ring
from condyle.geometry.gridfield import Values, least_value
from condyle.geometry.mesh import FloatArray
from condyle.joints import ball

_OUT_MM = 0.5
_ROOT_MM = 0.4
_BELOW_MM = 0.7  # the tool ends this far beyond the flange, so that no ghost of it is taken for flesh
_SOFT_MM = 0.7
_COLUMN = 1.5


@dataclass(frozen=True, eq=False)
class Dome:
    """What the hollow side gives up, and where the round side may take it over: fields on the room's grid."""

    hollow: Side
    taken: Values
    given: Values
    radius_mm: float


def dome(room: Room, hardware: Hardware, ways: Sequence[Course], radius_mm: float, wall_mm: float) -> Dome | None:
    """The round seat of one ball joint; None where it is of another family."""
    half = hardware.placed[0].half
    if not isinstance(half.shape, ball.BallShape) or half.cut.shape != "sphere":
        return None
    hollow: Side = "parent" if half.cup_side == "parent" else "child"
    full: Side = "child" if hollow == "parent" else "parent"
    local = (room.grid.all_points() - half.frame.origin) @ half.frame.rotation
    away, z = np.linalg.norm(local, axis=-1), local[..., 2]
    across = np.hypot(local[..., 0], local[..., 1])
    kerf = half.cut.kerf_mm
    column = max(_COLUMN * half.shape.neck, half.shape.neck + wall_mm)
    taken = np.maximum.reduce([away - (radius_mm + kerf), column - across, z - _BELOW_MM, -room.kept])
    rim = np.maximum.reduce([_thin(room, away, radius_mm + kerf + wall_mm), z - _BELOW_MM, -room.kept])
    taken = np.clip(np.minimum(taken, rim), -_OUT_MM, _OUT_MM).astype(np.float32)
    room.fields[hollow] = np.maximum(room.fields[hollow], -taken)
    given = np.maximum.reduce([away - (radius_mm + kerf + wall_mm), half.cut.radius_mm * 0.98 - away, z - _ROOT_MM])
    index = np.argwhere((given < _OUT_MM) & (room.first[hollow] < 1.0))
    placed = [w.placements for w in ways] + [np.eye(4)[None]]
    swings = {(w.motion, w.sense): float(w.angles[-1]) for w in ways if w.motion != "twist"}
    placed += [ring(room.joint, room.centres[0], swings, room.radius_mm, s) for s in (1.0, 0.5)]
    back = _towards(np.concatenate([p for p in placed if len(p)]), full)
    free = np.full(room.grid.shape, _OUT_MM)
    near = least_value(index, room.grid, room.fields[hollow], back, kerf - _OUT_MM)
    free[tuple(index.T)] = kerf - near
    given = np.clip(np.maximum(given, free), -_OUT_MM, _OUT_MM).astype(np.float32)
    return Dome(hollow, taken, given, radius_mm)


def _thin(room: Room, away: FloatArray, shell_mm: float) -> FloatArray:
    """Negative where flesh ends, seen from the centre, within the shell: a rim thinner than a wall.

    The sculpt's field is softened first, so that folds of the skin do not become teeth of the rim.
    """
    flesh = np.minimum(room.first["parent"], room.first["child"])
    soft = ndimage.gaussian_filter(flesh, _SOFT_MM / room.grid.step_mm)
    centre = (np.asarray(room.centres[0]) - room.grid.low) / room.grid.step_mm
    offset = np.stack(np.indices(room.grid.shape), axis=0).reshape(3, -1) - centre[:, None]
    length = np.maximum(np.linalg.norm(offset, axis=0), 1e-6)
    there = centre[:, None] + offset * (shell_mm / room.grid.step_mm / length)
    on_shell = ndimage.map_coordinates(soft, there, order=1, mode="nearest").reshape(room.grid.shape)
    return np.maximum(-on_shell, away - (shell_mm + 2.0 * _OUT_MM))


def fins(room: Room, side: Side, tool: Values, wall_mm: float) -> Values:
    """Flesh beside a tool that would be thinner than a wall after it, as a field: negative inside.

    What a ball of the wall's width cannot reach from inside is thinner than the wall (a morphological opening, on
    the grid, so true to about a step).
    """
    step = room.grid.step_mm
    rest = (np.maximum(room.fields[side], -tool) < 0.0) & room.inside_ball
    core = ndimage.distance_transform_edt(rest) * step > 0.5 * wall_mm
    opened = ndimage.distance_transform_edt(~core) * step <= 0.5 * wall_mm + 0.5 * step
    beside = ndimage.distance_transform_edt(tool >= 0.0) * step <= 2.5 * wall_mm
    rim = ndimage.distance_transform_edt(room.inside_ball) * step <= 2.0 * wall_mm
    thin = rest & ~opened & beside & ~rim & (room.kept > 0.0)
    labels, count = ndimage.label(thin)
    if count:
        size = np.bincount(labels.ravel())
        size[0] = 0
        thin = (size > 8)[labels]
    if not thin.any():
        return np.full(room.grid.shape, _OUT_MM, dtype=np.float32)
    soft = ndimage.gaussian_filter(ndimage.binary_dilation(thin).astype(np.float32), 1.0)
    return np.asarray(np.clip((0.5 - soft) * 3.0 * step, -_OUT_MM, _OUT_MM), dtype=np.float32)
