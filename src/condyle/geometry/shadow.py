"""The ground that a part covers: its true outline from above, as cells of a grid that hold at least a sliver of it."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from condyle.geometry.mesh import BoolArray, FloatArray, IntArray


def shadow(vertices: FloatArray, faces: IntArray, cell_mm: float) -> tuple[BoolArray, FloatArray]:
    """Cells (nx, ny) of side ``cell_mm`` that any triangle's projection touches, and the grid's corner (2,).

    Never too small: a cell is covered when the triangle meets it at all (separating axes of triangle and square), so the
    true outline lies inside the cells, which reach at most one cell's diagonal beyond it.
    """
    plane = np.ascontiguousarray(vertices[:, :2], dtype=np.float64)
    low = np.floor(plane.min(axis=0) / cell_mm) * cell_mm
    n = np.maximum(1, np.floor((plane.max(axis=0) - low) / cell_mm).astype(int) + 1)
    cells = np.zeros((int(n[0]), int(n[1])), dtype=np.bool_)
    _cover((plane - low) / cell_mm, np.ascontiguousarray(faces), cells)
    return cells, low


def grown(cells: BoolArray, by_cells: float) -> BoolArray:
    """The cells within a distance of covered ones, on a grid larger by ``ceil(by_cells)`` on every side."""
    if by_cells <= 0.0:
        return cells
    reach = math.ceil(by_cells)
    wide = np.pad(cells, reach)
    out = wide.copy()
    for dx in range(-reach, reach + 1):
        # Between the nearest edges of two cells: one cell less than between their numbers.
        for dy in range(-reach, reach + 1):
            if (dx or dy) and math.hypot(max(abs(dx) - 1, 0), max(abs(dy) - 1, 0)) < by_cells:
                out |= _moved(wide, dx, dy)
    return out


def _moved(cells: BoolArray, dx: int, dy: int) -> BoolArray:
    """Moved by whole cells; what leaves the grid is lost (the rim is empty)."""
    out = np.zeros_like(cells)
    nx, ny = cells.shape
    out[max(dx, 0) : nx + min(dx, 0), max(dy, 0) : ny + min(dy, 0)] = cells[
        max(-dx, 0) : nx + min(-dx, 0), max(-dy, 0) : ny + min(-dy, 0)
    ]
    return out


@njit(cache=True)
def _cover(plane: FloatArray, faces: IntArray, cells: BoolArray) -> None:
    nx, ny = cells.shape
    for t in range(len(faces)):
        ax, ay = plane[faces[t, 0], 0], plane[faces[t, 0], 1]
        bx, by = plane[faces[t, 1], 0], plane[faces[t, 1], 1]
        cx, cy = plane[faces[t, 2], 0], plane[faces[t, 2], 1]
        left, right = max(0, int(min(ax, bx, cx))), min(nx - 1, int(max(ax, bx, cx)))
        down, top = max(0, int(min(ay, by, cy))), min(ny - 1, int(max(ay, by, cy)))
        for i in range(left, right + 1):
            for j in range(down, top + 1):
                if not cells[i, j] and _meets(ax, ay, bx, by, cx, cy, i + 0.5, j + 0.5):
                    cells[i, j] = True


@njit(cache=True)
def _meets(ax: float, ay: float, bx: float, by: float, cx: float, cy: float, x: float, y: float) -> bool:
    """Whether a triangle meets the unit square about (x, y): no edge of the triangle keeps them apart."""
    return not (
        _apart(ax, ay, bx, by, cx, cy, x, y)
        or _apart(bx, by, cx, cy, ax, ay, x, y)
        or _apart(cx, cy, ax, ay, bx, by, x, y)
    )


@njit(cache=True)
def _apart(px: float, py: float, qx: float, qy: float, rx: float, ry: float, x: float, y: float) -> bool:
    """Whether the line through p and q has the third corner on one side and the whole square on the other."""
    nx, ny = qy - py, px - qx
    side = nx * (rx - px) + ny * (ry - py)
    if side > 0.0:
        nx, ny, side = -nx, -ny, -side
    # Now the triangle lies where n is not positive; the square's least value on n must be positive to be apart.
    return nx * (x - px) + ny * (y - py) - 0.5 * (abs(nx) + abs(ny)) > 0.0
