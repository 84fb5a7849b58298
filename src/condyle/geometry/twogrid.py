"""Conjugate gradients for elastic systems of 3 × 3 blocks, with a coarse system under them.

What a sweep of Gauss-Seidel over the nodes leaves is smooth, and a coarse system that is solved outright takes it away: a
symmetric two-level preconditioner (Saad, *Iterative Methods for Sparse Linear Systems*, 2nd ed., algorithms 9.1 and 13.2,
from memory). Everything is done in one order on one thread, so the same system gives the same bytes on any machine of a
kind, whatever runs beside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.sparse import bsr_matrix, csr_matrix
from scipy.sparse.linalg import splu

from condyle.geometry.mesh import FloatArray

Counts = NDArray[np.int32]

_Six = tuple[float, float, float, float, float, float]

_MOST_ROUNDS = 300


@dataclass(frozen=True, eq=False)
class Blocks:
    """A symmetric matrix of n × n blocks: row i's blocks ``data[start[i]:start[i + 1]]`` (…, 3, 3) stand at ``columns``."""

    start: Counts
    columns: Counts
    data: FloatArray

    @property
    def sparse(self) -> csr_matrix:
        size = 3 * (len(self.start) - 1)
        return bsr_matrix((self.data, self.columns, self.start), shape=(size, size)).tocsr()


def gathered(
    slopes: FloatArray, volumes: FloatArray, nodes: NDArray[np.int64], count: int, lam: float, mu: float
) -> Blocks:
    """∫ λ ∂ₐφᵢ ∂ᵦφⱼ + μ (∂ᵦφᵢ ∂ₐφⱼ + δₐᵦ ∇φᵢ·∇φⱼ) over cells, summed into blocks.

    slopes (m, k, 3, q) of each cell's k functions at its q inner points, of volumes (m, q); nodes (m, k) the block row of
    each function, from 0 to ``count``, -1 where it is held.
    """
    code = np.where(
        (nodes[:, :, None] < 0) | (nodes[:, None, :] < 0), -1, nodes[:, :, None] * count + nodes[:, None, :]
    )
    used, place = np.unique(code, return_inverse=True)
    held = int(used[0] < 0)
    used, place = used[held:], place.reshape(code.shape) - held
    data = np.zeros((len(used), 3, 3))
    _sum_cells(np.ascontiguousarray(slopes), np.ascontiguousarray(volumes), place, lam, mu, data)
    rows, columns = np.divmod(used, count)
    return Blocks(np.searchsorted(rows, np.arange(count + 1)).astype(np.int32), columns.astype(np.int32), data)


def solved(fine: Blocks, coarse: Blocks, spread: csr_matrix, right: FloatArray, within: float) -> FloatArray | None:
    """x (n, 3, 2) with fine · x = right (n, 3, 2), each residue's length below ``within`` of its right side's.

    ``coarse`` is the same body in fewer functions, ``spread`` (n, m) what each of them is in the finer ones. None where
    there is no answer: a singular system.
    """
    try:
        # Positive definite: pivots are taken where they stand, so that the order that keeps it sparse is kept.
        factor = splu(
            coarse.sparse.tocsc(),
            permc_spec="MMD_AT_PLUS_A",
            diag_pivot_thresh=0.0,
            options={"SymmetricMode": True},
        )
        own = np.linalg.inv(fine.data[_diagonal(fine)])
    except (RuntimeError, np.linalg.LinAlgError):
        return None
    gather = spread.T.tocsr()
    n, _, k = right.shape

    def below(left: FloatArray) -> FloatArray:
        """The coarse system's answer to a residue."""
        low = (gather @ left.reshape(n, 3 * k)).reshape(-1, k)
        return np.asarray((spread @ factor.solve(low).reshape(-1, 3 * k)).reshape(n, 3, k))

    def smoothed(left: FloatArray) -> FloatArray:
        out, rest = np.zeros_like(left), np.empty_like(left)
        _forward(fine.start, fine.columns, fine.data, own, left, out)
        _upper(fine.start, fine.columns, fine.data, out, rest)
        out += below(rest)
        _backward(fine.start, fine.columns, fine.data, own, left, out)
        return out

    x, left, along = np.zeros_like(right), right.copy(), np.empty_like(right)
    goal = within**2 * _dot(right, right)
    z = smoothed(left)
    way, slope = z, _dot(left, z)
    for _ in range(_MOST_ROUNDS):
        _times(fine.start, fine.columns, fine.data, way, along)
        bend = _dot(way, along)
        if not (np.isfinite(bend).all() and (bend > 0.0).all()):
            return None
        step = slope / bend
        x += step * way
        left -= step * along
        if (_dot(left, left) <= goal).all():
            return x
        z = smoothed(left)
        before, slope = slope, _dot(left, z)
        way = z + (slope / before) * way
    return None


def _dot(a: FloatArray, b: FloatArray) -> FloatArray:
    # Not by the linear algebra library, which may share a sum out among as many threads as it likes.
    return np.asarray((a * b).sum(axis=(0, 1)))


def _diagonal(blocks: Blocks) -> NDArray[np.int64]:
    rows = np.repeat(np.arange(len(blocks.start) - 1), np.diff(blocks.start))
    return np.flatnonzero(blocks.columns == rows)


@njit(cache=True, nogil=True)
def _sum_cells(
    slopes: FloatArray, volumes: FloatArray, place: Any, lam: float, mu: float, data: FloatArray
) -> None:  # pragma: no cover
    cells, count, _, points = slopes.shape
    h = np.empty((3, 3))
    for e in range(cells):
        for i in range(count):
            for j in range(count):
                at = place[e, i, j]
                if at < 0:
                    continue
                for a in range(3):
                    for b in range(3):
                        s = 0.0
                        for q in range(points):
                            s += volumes[e, q] * slopes[e, i, a, q] * slopes[e, j, b, q]
                        h[a, b] = s
                t = mu * (h[0, 0] + h[1, 1] + h[2, 2])
                for a in range(3):
                    for b in range(3):
                        data[at, a, b] += lam * h[a, b] + mu * h[b, a]
                    data[at, a, a] += t


# The kernels work on two right sides at once, on plain floats: a block is read once for both.


@njit(cache=True, nogil=True)
def _taken(m: FloatArray, x: FloatArray, r: _Six) -> _Six:  # pragma: no cover
    """r - m · x for one block: (3, 3) times (3, 2)."""
    return (
        r[0] - (m[0, 0] * x[0, 0] + m[0, 1] * x[1, 0] + m[0, 2] * x[2, 0]),
        r[1] - (m[0, 0] * x[0, 1] + m[0, 1] * x[1, 1] + m[0, 2] * x[2, 1]),
        r[2] - (m[1, 0] * x[0, 0] + m[1, 1] * x[1, 0] + m[1, 2] * x[2, 0]),
        r[3] - (m[1, 0] * x[0, 1] + m[1, 1] * x[1, 1] + m[1, 2] * x[2, 1]),
        r[4] - (m[2, 0] * x[0, 0] + m[2, 1] * x[1, 0] + m[2, 2] * x[2, 0]),
        r[5] - (m[2, 0] * x[0, 1] + m[2, 1] * x[1, 1] + m[2, 2] * x[2, 1]),
    )


@njit(cache=True, nogil=True)
def _put(m: FloatArray, r: _Six, out: FloatArray) -> None:  # pragma: no cover
    """out = m · r for one block."""
    for a in range(3):
        out[a, 0] = m[a, 0] * r[0] + m[a, 1] * r[2] + m[a, 2] * r[4]
        out[a, 1] = m[a, 0] * r[1] + m[a, 1] * r[3] + m[a, 2] * r[5]


@njit(cache=True, nogil=True)
def _six(x: FloatArray) -> _Six:  # pragma: no cover
    return x[0, 0], x[0, 1], x[1, 0], x[1, 1], x[2, 0], x[2, 1]


@njit(cache=True, nogil=True)
def _times(
    start: Counts, columns: Counts, data: FloatArray, x: FloatArray, out: FloatArray
) -> None:  # pragma: no cover
    for i in range(len(x)):
        r = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
        for p in range(start[i], start[i + 1]):
            r = _taken(data[p], x[columns[p]], r)
        for a in range(3):
            out[i, a, 0], out[i, a, 1] = -r[2 * a], -r[2 * a + 1]


@njit(cache=True, nogil=True)
def _upper(
    start: Counts, columns: Counts, data: FloatArray, x: FloatArray, out: FloatArray
) -> None:  # pragma: no cover
    """Minus what lies right of the diagonal, times x: what a forward sweep from nothing leaves of its right side."""
    for i in range(len(x)):
        r = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
        for p in range(start[i + 1] - 1, start[i] - 1, -1):
            if columns[p] <= i:
                break
            r = _taken(data[p], x[columns[p]], r)
        for a in range(3):
            out[i, a, 0], out[i, a, 1] = r[2 * a], r[2 * a + 1]


@njit(cache=True, nogil=True)
def _forward(
    start: Counts, columns: Counts, data: FloatArray, own: FloatArray, right: FloatArray, x: FloatArray
) -> None:  # pragma: no cover
    """One sweep of Gauss-Seidel from x = 0, first row first."""
    for i in range(len(x)):
        r = _six(right[i])
        for p in range(start[i], start[i + 1]):
            if columns[p] >= i:
                break
            r = _taken(data[p], x[columns[p]], r)
        _put(own[i], r, x[i])


@njit(cache=True, nogil=True)
def _backward(
    start: Counts, columns: Counts, data: FloatArray, own: FloatArray, right: FloatArray, x: FloatArray
) -> None:  # pragma: no cover
    """One sweep from any x, last row first."""
    for i in range(len(x) - 1, -1, -1):
        r = _six(right[i])
        for p in range(start[i], start[i + 1]):
            if columns[p] != i:
                r = _taken(data[p], x[columns[p]], r)
        _put(own[i], r, x[i])
