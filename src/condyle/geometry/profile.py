"""Which triangles can never meet while one surface turns about a line: seen as turned profiles (radius, height).

A turn keeps each point's distance from the axis and its height along it. Two surfaces whose profiles stay a clearance
apart can therefore never come that near, whatever the angle: faces cut concentric with a joint are told apart at once, so
that no step of a motion looks at them again. A sound filter, not a test: what it cannot tell apart stays in.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from condyle.geometry.mesh import BoolArray, FloatArray

CELL_MM = 0.03
_COARSE_MM = 0.5


def never_meet(
    moved: FloatArray,
    still: FloatArray,
    centre: FloatArray,
    axis: FloatArray,
    clearance_mm: float,
    *,
    asked: tuple[BoolArray, BoolArray] | None = None,
    free_pairs: tuple[BoolArray, BoolArray] | None = None,
    reach_mm: float = 12.0,
) -> tuple[BoolArray, BoolArray]:
    """For triangles (n, 3, 3) and (m, 3, 3): which of each stay clear of all of the other's at every angle.

    centre, axis  the line of the turn; triangles further than ``reach_mm`` from the centre, along the axis or from it,
                  are not told apart (False)
    asked         which triangles (n,), (m,) to tell apart at all; the others answer False, but count
    free_pairs    triangles marked in both arrays (n,), (m,) do not count against each other
    """
    rows, cols = math.ceil(2 * reach_mm / CELL_MM), math.ceil(reach_mm / CELL_MM)
    sides = [np.ascontiguousarray(moved), np.ascontiguousarray(still)]
    wanted = asked or (np.ones(len(moved), dtype=bool), np.ones(len(still), dtype=bool))
    free = free_pairs or (np.zeros(len(moved), dtype=bool), np.zeros(len(still), dtype=bool))
    c = np.asarray(centre, dtype=np.float64)
    a = np.asarray(axis, dtype=np.float64) / np.linalg.norm(axis)
    # What a point can be away from the middle of its cell: half a diagonal, on either side.
    need = clearance_mm / CELL_MM + math.sqrt(2.0)
    most = math.ceil(need)
    coarse = (math.ceil(2 * reach_mm / _COARSE_MM), math.ceil(reach_mm / _COARSE_MM))
    out = []
    for k in range(2):
        # Where the asked triangles are, roughly, grown by a coarse cell: nothing else of the other side matters.
        here = np.zeros((2, *coarse), dtype=np.uint8)
        subset = np.ascontiguousarray(sides[k][wanted[k]])
        everywhere = np.ones(coarse, dtype=np.uint8)
        _draw(subset, np.zeros(len(subset), dtype=bool), c, a, reach_mm, _COARSE_MM, everywhere, here)
        grown = np.zeros(coarse, dtype=np.uint8)
        rows_here, cols_here = np.nonzero(here[0])
        for di in (-1, 0, 1):
            for dj in (-1, 0, 1):
                grown[np.clip(rows_here + di, 0, coarse[0] - 1), np.clip(cols_here + dj, 0, coarse[1] - 1)] = 1
        other = np.zeros((2, rows, cols), dtype=np.uint8)
        _draw(sides[1 - k], free[1 - k], c, a, reach_mm, CELL_MM, grown, other)
        far_every, far_counted = _far(other[0] | other[1], most), _far(other[0], most)
        clear = np.zeros(len(sides[k]), dtype=bool)
        clear[wanted[k]] = _clear(subset, free[k][wanted[k]], c, a, reach_mm, far_every, far_counted, need)
        out.append(clear)
    return out[0], out[1]


@njit(cache=True, nogil=True)
def _far(occupied: NDArray[np.uint8], most: int) -> FloatArray:  # pragma: no cover
    """Distance in cells to the nearest occupied cell, exact up to ``most`` cells and inf beyond."""
    rows, cols = occupied.shape
    along = np.empty((rows, cols))
    for i in range(rows):
        last = np.inf
        for j in range(cols):
            last = 0.0 if occupied[i, j] != 0 else last + 1.0
            along[i, j] = last
        last = np.inf
        for j in range(cols - 1, -1, -1):
            last = min(along[i, j], last + 1.0)
            along[i, j] = last
    out = np.empty((rows, cols))
    for i in range(rows):
        for j in range(cols):
            best = np.inf
            for k in range(max(0, i - most), min(rows, i + most + 1)):
                d2 = along[k, j] * along[k, j] + (k - i) * (k - i)
                best = min(best, d2)
            out[i, j] = np.sqrt(best) if best <= most * most else np.inf
    return out


@njit(cache=True)
def _profile(p: FloatArray, c: FloatArray, a: FloatArray) -> tuple[float, float]:  # pragma: no cover
    """Distance from the line and height along it."""
    dx, dy, dz = p[0] - c[0], p[1] - c[1], p[2] - c[2]
    h = dx * a[0] + dy * a[1] + dz * a[2]
    dx -= h * a[0]
    dy -= h * a[1]
    dz -= h * a[2]
    return float(np.sqrt(dx * dx + dy * dy + dz * dz)), float(h)


@njit(cache=True)
def _extent(
    t: FloatArray, c: FloatArray, a: FloatArray
) -> tuple[float, float, float, float, float]:  # pragma: no cover
    """Least and greatest radius and height of a triangle's corners, and how far it may dip below the least radius.

    The radius is convex over a triangle, so its greatest is at a corner. Below the least corner radius r it dips by no
    more than the sagitta of its widest chord w across the axis, r - sqrt(r² - w²/4); by r itself where the axis may go
    through it, which takes a chord of at least r·√3.
    """
    rl, rh, hl, hh = np.inf, -np.inf, np.inf, -np.inf
    wide2 = 0.0
    for k in range(3):
        r, h = _profile(t[k], c, a)
        rl, rh = min(rl, r), max(rh, r)
        hl, hh = min(hl, h), max(hh, h)
        n = (k + 1) % 3
        dx, dy, dz = t[n, 0] - t[k, 0], t[n, 1] - t[k, 1], t[n, 2] - t[k, 2]
        along = dx * a[0] + dy * a[1] + dz * a[2]
        wide2 = max(wide2, dx * dx + dy * dy + dz * dz - along * along)
    sag = rl - np.sqrt(rl * rl - 0.25 * wide2) if wide2 < 3.0 * rl * rl else rl
    return rl, rh, hl, hh, sag


@njit(cache=True)
def _halve(stack: FloatArray, top: int, limit2: float) -> int:  # pragma: no cover
    """Replace the top triangle by its two halves if its longest side is over the limit: the new top, or 0 if it fits."""
    t = stack[top - 1]
    longest, side = 0.0, 0
    for k in range(3):
        n = (k + 1) % 3
        d = (t[n, 0] - t[k, 0]) ** 2 + (t[n, 1] - t[k, 1]) ** 2 + (t[n, 2] - t[k, 2]) ** 2
        if d > longest:
            longest, side = d, k
    if longest <= limit2:
        return 0
    i, j, k = side, (side + 1) % 3, (side + 2) % 3
    for x in range(3):
        middle = 0.5 * (t[i, x] + t[j, x])
        a, b, c = t[i, x], t[j, x], t[k, x]
        stack[top, 0, x], stack[top, 1, x], stack[top, 2, x] = middle, b, c
        stack[top - 1, 0, x], stack[top - 1, 1, x], stack[top - 1, 2, x] = a, middle, c
    return top + 1


@njit(cache=True)
def _within(tri: FloatArray, c: FloatArray, a: FloatArray, reach: float) -> bool:  # pragma: no cover
    """Whether a triangle's profile lies inside the grid: its corners do, and so does all between them."""
    for k in range(3):
        r, h = _profile(tri[k], c, a)
        if r >= reach or abs(h) >= reach:
            return False
    return True


@njit(cache=True)
def _row(rr: FloatArray, hh: FloatArray, low: float, high: float) -> tuple[float, float]:  # pragma: no cover
    """Least and greatest radius of a flat triangle (corners rr, hh) between two heights; inf and -inf for none."""
    least, most = np.inf, -np.inf
    for k in range(3):
        n = (k + 1) % 3
        a, b = hh[k], hh[n]
        if low <= a <= high:
            least, most = min(least, rr[k]), max(most, rr[k])
        for level in (low, high):
            if (a < level) != (b < level):
                r = rr[k] + (rr[n] - rr[k]) * (level - a) / (b - a)
                least, most = min(least, r), max(most, r)
    return least, most


@njit(cache=True, nogil=True)
def _draw(
    triangles: FloatArray, loose: BoolArray, c: FloatArray, a: FloatArray, reach: float, cell: float,
    where: NDArray[np.uint8], out: NDArray[np.uint8],
) -> None:  # pragma: no cover  # fmt: skip
    """Mark every cell that a triangle's profile can touch: layer 0 for those that always count, 1 for the loose ones.

    ``where``: coarse cells outside which nothing need be drawn. A piece so narrow that its profile is flat to a quarter
    of a cell is drawn as the flat triangle of its corners, widened by that sag.
    """
    rows, cols = out.shape[1], out.shape[2]
    stack = np.empty((128, 3, 3))
    rr, hh = np.empty(3), np.empty(3)
    for t in range(triangles.shape[0]):
        layer = 1 if loose[t] else 0
        stack[0] = triangles[t]
        top = 1
        while top > 0:
            rl, rh, hl, hx, sag = _extent(stack[top - 1], c, a)
            if not _any_in(where, rl - sag, rh, hl, hx, reach):
                top -= 1
                continue
            more = 0
            if top < 127 and (sag > 0.25 * cell or max(rh - rl, hx - hl) > 2.0 * _COARSE_MM):
                more = _halve(stack, top, 0.25 * cell * cell)
            if more > 0:
                top = more
                continue
            top -= 1
            for k in range(3):
                rr[k], hh[k] = _profile(stack[top, k], c, a)
            i0, i1 = int(np.floor((hl + reach) / cell)), int(np.floor((hx + reach) / cell))
            for i in range(max(i0, 0), min(i1, rows - 1) + 1):
                least, most = _row(rr, hh, i * cell - reach, (i + 1) * cell - reach)
                j0, j1 = int(np.floor(max(0.0, least - sag) / cell)), int(np.floor(most / cell)) if most > 0 else -1
                for j in range(j0, min(j1, cols - 1) + 1):
                    out[layer, i, j] = 1


@njit(cache=True)
def _any_in(
    where: NDArray[np.uint8], rl: float, rh: float, hl: float, hh: float, reach: float
) -> bool:  # pragma: no cover
    """Whether a box of the profile touches a marked coarse cell."""
    rows, cols = where.shape
    i0, i1 = int(np.floor((hl + reach) / _COARSE_MM)), int(np.floor((hh + reach) / _COARSE_MM))
    j0, j1 = int(np.floor(max(rl, 0.0) / _COARSE_MM)), int(np.floor(rh / _COARSE_MM))
    for i in range(max(i0, 0), min(i1, rows - 1) + 1):
        for j in range(max(j0, 0), min(j1, cols - 1) + 1):
            if where[i, j] != 0:
                return True
    return False


@njit(cache=True, nogil=True)
def _clear(
    triangles: FloatArray, loose: BoolArray, c: FloatArray, a: FloatArray, reach: float, far_every: FloatArray,
    far_counted: FloatArray, need: float,
) -> BoolArray:  # pragma: no cover  # fmt: skip
    rows, cols = far_every.shape
    n = triangles.shape[0]
    out = np.zeros(n, dtype=np.bool_)
    stack = np.empty((128, 3, 3))
    rr, hh = np.empty(3), np.empty(3)
    margin = reach - need * CELL_MM - 0.1
    for t in range(n):
        if not _within(triangles[t], c, a, margin):
            continue
        stack[0] = triangles[t]
        top = 1
        clear = True
        while top > 0 and clear:
            _rl, rh, hl, hx, sag = _extent(stack[top - 1], c, a)
            more = _halve(stack, top, 0.25 * CELL_MM * CELL_MM) if sag > 0.25 * CELL_MM and top < 127 else 0
            if more > 0:
                top = more
                continue
            top -= 1
            for k in range(3):
                rr[k], hh[k] = _profile(stack[top, k], c, a)
            i0, i1 = int(np.floor((hl + reach) / CELL_MM)), int(np.floor((hx + reach) / CELL_MM))
            if i0 < 0 or i1 >= rows or rh >= cols * CELL_MM:
                clear = False
                break
            for i in range(i0, i1 + 1):
                least, most = _row(rr, hh, i * CELL_MM - reach, (i + 1) * CELL_MM - reach)
                j0, j1 = (
                    int(np.floor(max(0.0, least - sag) / CELL_MM)),
                    int(np.floor(most / CELL_MM)) if most > 0 else -1,
                )
                for j in range(j0, j1 + 1):
                    far = far_counted[i, j] if loose[t] else far_every[i, j]
                    if far < need:
                        clear = False
                        break
        out[t] = clear
    return out
