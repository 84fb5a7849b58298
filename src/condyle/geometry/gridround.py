"""Growing and shrinking marked grid points by a ball, exact on the grid.

The squared distance to the nearest marked point is built axis by axis (as in Felzenszwalb and Huttenlocher, Distance
transforms of sampled functions, Theory of Computing 8, 2012), looking only as far as the ball reaches: for the few
steps that walls and clearances take, that is many times faster than a whole distance transform.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from condyle.geometry.mesh import BoolArray

_FAR = 60000


def grown_by(marked: BoolArray, cells: float) -> BoolArray:
    """All grid points no further than ``cells`` steps (at most 240) from a marked one."""
    reach = int(cells)
    out = np.ascontiguousarray(marked)
    squares = np.empty(out.shape, dtype=np.uint16)
    _along_last(out, reach, squares)
    return np.asarray(_across(squares, reach, cells * cells + 1e-9))


def shrunk_by(marked: BoolArray, cells: float) -> BoolArray:
    """The marked grid points further than ``cells`` steps from every unmarked one; the grid's edge counts as marked."""
    return np.asarray(~grown_by(~marked, cells))


@njit(cache=True, nogil=True)
def _along_last(marked: BoolArray, reach: int, squares: NDArray[np.uint16]) -> None:  # pragma: no cover
    """Squared steps to the nearest marked point along the last axis, far where that is beyond reach."""
    nx, ny, nz = marked.shape
    for i in range(nx):
        for j in range(ny):
            since = _FAR
            for k in range(nz):
                since = 0 if marked[i, j, k] else since + 1
                squares[i, j, k] = since * since if since <= reach else _FAR
            since = _FAR
            for k in range(nz - 1, -1, -1):
                since = 0 if marked[i, j, k] else since + 1
                if since <= reach and since * since < squares[i, j, k]:
                    squares[i, j, k] = since * since


@njit(cache=True, nogil=True)
def _across(squares: NDArray[np.uint16], reach: int, within: float) -> BoolArray:  # pragma: no cover
    nx, ny, nz = squares.shape
    flat = np.empty((ny, nz), dtype=np.uint16)
    for i in range(nx):
        for j in range(ny):
            for k in range(nz):
                flat[j, k] = squares[i, j, k]
            for d in range(1, reach + 1):
                for side in range(2):
                    b = j + d if side else j - d
                    if b < 0 or b >= ny:
                        continue
                    for k in range(nz):
                        flat[j, k] = (
                            min(flat[j, k], squares[i, b, k] + d * d) if squares[i, b, k] < _FAR else flat[j, k]
                        )
        squares[i] = flat
    out = np.zeros(squares.shape, dtype=np.bool_)
    for i in range(nx):
        for d in range(reach + 1):
            for side in range(2 if d else 1):
                a = i + d if side else i - d
                if a < 0 or a >= nx:
                    continue
                for j in range(ny):
                    for k in range(nz):
                        if squares[a, j, k] + d * d <= within:
                            out[i, j, k] = True
    return out
