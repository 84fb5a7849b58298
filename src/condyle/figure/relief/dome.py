"""A round seat where a flat flange would stop a ball: flesh changes sides so that the faces between are concentric again.

A ball's cut is round only as far as there is room for its hardware's walls; beyond it runs out in a flat flange. Here
the hollow side gives up its flesh inside a larger sphere about the ball, and the round side takes it over: the two then
meet in a sphere that slides in itself, and no gap opens. A column of flesh stays around the neck, and the hardware of other joints stays where it is;
the flesh that is handed over keeps clear of both in every placement.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from condyle.figure.parting.hardware import Hardware
from condyle.figure.relief.carve import End, Room, Side, _towards
from condyle.figure.relief.motions import Course, ring
from condyle.geometry.gridfield import Values
from condyle.geometry.gridround import grown_by, shrunk_by
from condyle.geometry.gridsweep import swept_field
from condyle.geometry.mesh import BoolArray
from condyle.joints import ball

_OUT_MM = 0.5
_ROOT_MM = 0.4
_BELOW_MM = 0.7  # the tool ends this far beyond the flange, so that no ghost of it is taken for flesh
_SOFT_MM = 0.7
_COLUMN = 1.5
_PROUD = 2  # points of the grid
_FLAT_MM = 1.0  # further out than this a field says nothing of the skin's shape


@dataclass(frozen=True, eq=False)
class Dome:
    """What the hollow side gives up, and where the round side may take it over: fields on the room's grid."""

    hollow: Side
    taken: Values
    given: Values
    radius_mm: float


def dome(
    room: Room,
    hardware: Hardware,
    ways: Sequence[Course],
    radius_mm: float,
    wall_mm: float,
    others: Values,
    sculpt: Values,
) -> Dome | None:
    """The round seat of one ball joint; None where it is of another family.

    others, sculpt  fields of all other parts, and of the sculpt
    """
    half = hardware.placed[0].half
    if not isinstance(half.shape, ball.BallShape) or half.cut.shape != "sphere":
        return None
    hollow: Side = "parent" if half.cup_side == "parent" else "child"
    full: Side = "child" if hollow == "parent" else "parent"
    x, y, z = room.grid.seen_from(half.frame)
    across = np.hypot(x, y)
    away = np.hypot(across, z)
    kerf = half.cut.kerf_mm
    column: float = max(_COLUMN * half.shape.neck, half.shape.neck + wall_mm)
    below = np.maximum(z - _BELOW_MM, -room.kept)
    # From well inside the kerf, where the hollow side has no flesh: its field is far from zero in all of the kerf.
    taken = _in_all(away - (radius_mm + kerf), half.cut.radius_mm - _OUT_MM - away, column - across, below)
    rim = np.maximum(_thin(room, away, below, radius_mm + kerf + wall_mm), below)
    taken = np.clip(np.minimum(taken, rim), -_OUT_MM, _OUT_MM)
    room.fields[hollow] = np.maximum(room.fields[hollow], -taken)
    still = np.minimum(room.fields[hollow], others)
    given = _in_all(away - (radius_mm + kerf + wall_mm), half.cut.radius_mm * 0.98 - away, z - _ROOT_MM, kerf - others)
    wanted = (given < _OUT_MM) & (room.first[hollow] < 1.0)
    placed = [w.placements for w in ways] + [np.eye(4)[None]]
    swings: dict[End, float] = {(w.motion, w.sense): float(w.angles[-1]) for w in ways if w.motion != "twist"}
    placed += [ring(room.joint, room.centres[0], swings, room.radius_mm, s) for s in (1.0, 0.5)]
    back = _towards(np.concatenate([p for p in placed if len(p)]), full)
    free = -swept_field(wanted, room.grid, still, back, kerf, _OUT_MM)
    free[~wanted] = _OUT_MM
    given = np.clip(np.maximum(given, free), -_OUT_MM, _OUT_MM)
    given = np.maximum(given, _unbacked(room, full, given, sculpt, wall_mm))
    return Dome(hollow, taken, given, radius_mm)


def _in_all(*fields: NDArray[np.floating]) -> Values:
    """What lies in all of several solids, given as fields."""
    return np.asarray(reduce(np.maximum, fields), dtype=np.float32)


def _thin(room: Room, away: Values, below: Values, shell_mm: float) -> Values:
    """Negative where flesh ends, seen from the centre, within the shell: a rim thinner than a wall.

    The sculpt's field is softened first, so that folds of the skin do not become teeth of the rim. Only told where
    ``below`` leaves it anything to say.
    """
    beyond = away - np.float32(shell_mm + 2.0 * _OUT_MM)
    index = np.argwhere((below < _OUT_MM) & (beyond < _OUT_MM))
    flesh = np.minimum(np.minimum(room.first["parent"], room.first["child"]), _FLAT_MM)
    soft = ndimage.gaussian_filter(flesh, _SOFT_MM / room.grid.step_mm)
    centre = (np.asarray(room.centres[0]) - room.grid.low) / room.grid.step_mm
    offset = index - centre
    length = np.maximum(np.linalg.norm(offset, axis=1), 1e-6)
    there = centre + offset * (shell_mm / room.grid.step_mm / length)[:, None]
    on_shell = ndimage.map_coordinates(soft, there.T, order=1, mode="nearest")
    at = tuple(index.T)
    out = np.full(room.grid.shape, _OUT_MM, dtype=np.float32)
    out[at] = np.maximum(-on_shell, beyond[at])
    return out


def fins(room: Room, side: Side, tool: Values, wall_mm: float) -> Values:
    """Flesh beside a tool that would be thinner than a wall after it, as a field: negative inside.

    What a ball of the wall's width cannot reach from inside is thinner than the wall (a morphological opening, on
    the grid, so true to about a step).
    """
    step = room.grid.step_mm
    out = np.full(room.grid.shape, _OUT_MM, dtype=np.float32)
    inside = np.argwhere(tool < 0.0)
    if not len(inside):
        return out
    pad = int(np.ceil(4.0 * wall_mm / step))
    low, high = np.maximum(inside.min(axis=0) - pad, 0), inside.max(axis=0) + pad + 1
    box = tuple(slice(a, b) for a, b in zip(low, high, strict=True))
    rest = (np.maximum(room.fields[side][box], -tool[box]) < 0.0) & room.inside_ball[box]
    opened = _opened(rest, wall_mm / step)
    beside = grown_by(tool[box] < 0.0, 2.5 * wall_mm / step)
    edge = _near_the_balls_edge(room, box, 2.0 * wall_mm)
    thin = rest & ~opened & beside & ~edge & (room.kept[box] > 0.0)
    labels, count = ndimage.label(thin)
    if count:
        size = np.bincount(labels.ravel())
        size[0] = 0
        thin = (size > 8)[labels]
    if thin.any():
        # The tool stands out of the flesh, so that it leaves no film of skin.
        thin = ndimage.binary_dilation(thin) | (ndimage.binary_dilation(thin, iterations=_PROUD) & ~rest)
        soft = ndimage.gaussian_filter(thin.astype(np.float32), 1.0)
        out[box] = np.clip(np.maximum((0.5 - soft) * 3.0 * step, -room.kept[box]), -_OUT_MM, _OUT_MM)
    return out


def _opened(rest: BoolArray, wall_cells: float) -> BoolArray:
    """What balls of a wall's width fill inside a solid on the grid, half a cell more; the solid goes on beyond its box."""
    frame = int(np.ceil(1.5 * wall_cells)) + 1
    core = shrunk_by(np.pad(rest, frame, mode="edge"), 0.5 * wall_cells)
    return np.asarray(grown_by(core, 0.5 * wall_cells + 0.5)[(slice(frame, -frame),) * 3])


def _unbacked(room: Room, full: Side, given: Values, sculpt: Values, wall_mm: float) -> Values:
    """Where flesh handed over would be thinner than a wall, with what it is joined to: a field, positive there, else negative."""
    out = np.full(room.grid.shape, -_OUT_MM, dtype=np.float32)
    handed = np.argwhere(given < 0.0)
    if not len(handed):
        return out
    step = room.grid.step_mm
    pad = int(np.ceil(2.0 * wall_mm / step)) + 2
    low, high = np.maximum(handed.min(axis=0) - pad, 0), handed.max(axis=0) + pad + 1
    box = tuple(slice(a, b) for a, b in zip(low, high, strict=True))
    # Beyond the skin there is nothing to hand over.
    air = sculpt[box] >= 0.0
    rest = (room.fields[full][box] < 0.0) | ((given[box] < 0.0) & ~air)
    stays = _opened(rest, wall_mm / step) | air
    soft = ndimage.gaussian_filter(stays.astype(np.float32), 0.7)
    out[box] = np.clip((0.5 - soft) * 3.0 * step, -_OUT_MM, _OUT_MM)
    return out


def _near_the_balls_edge(room: Room, box: tuple[slice, ...], within_mm: float) -> BoolArray:
    """Points of a box of the grid that are nearly as far from the middle as the room goes: what lies on is not known."""
    axes = [room.grid.low[k] + room.grid.step_mm * np.arange(room.grid.shape[k])[box[k]] for k in range(3)]
    middle = np.mean(room.centres, axis=0)
    far2 = sum(
        (a - m).reshape([-1 if i == k else 1 for i in range(3)]) ** 2
        for k, (a, m) in enumerate(zip(axes, middle, strict=True))
    )
    return np.asarray(far2 > (room.radius_mm - within_mm) ** 2)
