"""The sculpt as cells to walk through: distances within the flesh, extremities, and paths along the middle of limbs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from condyle.geometry.cellwalk import peak_cells, walk_cells
from condyle.geometry.mesh import FloatArray, Mesh
from condyle.geometry.voxels import Voxels, voxelise

Cells = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Flesh:
    """The inside cells of a sculpt, numbered, with their neighbours.

    grid       the largest connected body of cells
    cells      (n, 3) indices of the inside cells, in grid order
    points     (n, 3) their middles, mm
    depth      (n,) distance to the skin, mm
    number     (nx, ny, nz) int32, the cell's number or -1
    low, height  soles' level and height of the whole, mm
    """

    grid: Voxels
    cells: Cells
    points: FloatArray
    depth: FloatArray
    number: NDArray[np.int32]
    low: float
    height: float

    def nearest(self, point: FloatArray) -> int:
        """The number of the inside cell nearest to a point."""
        gap = self.points - np.asarray(point)
        return int(np.argmin(np.einsum("ij,ij->i", gap, gap)))

    def walk(self, sources: Cells, *, deep: bool = False) -> tuple[FloatArray, NDArray[np.int32]]:
        """Length of the shortest way from the sources to every cell, mm, and each cell's predecessor (-1: none).

        With ``deep`` a step costs more the nearer it is to the skin, so ways run along the middle of limbs (the lengths
        are then costs). Unreachable cells have inf.
        """
        price = np.ones(len(self.cells))
        if deep:
            price = 1.0 / (0.3 * self.grid.pitch_mm + self.depth) ** 2
        length, before = walk_cells(
            self.cells, self.number, price, np.asarray(sources, dtype=np.int64), self.grid.pitch_mm
        )
        return length, before

    def way(self, start: int, before: NDArray[np.int32]) -> FloatArray:
        """The points (k, 3) from cell ``start`` back to the source of a walk."""
        out = [start]
        while before[out[-1]] >= 0:
            out.append(int(before[out[-1]]))
        return self.points[out]


_MOST_CELLS = 500_000


def flesh_of(mesh: Mesh, cells_over_height: int) -> Flesh:
    """Voxelise a mesh with z up so that its height takes so many cells; fewer where a bulky body would take too many."""
    height = float(np.ptp(mesh.bounds[:, 2]))
    bulk = (max(mesh.volume_mm3, 0.0) / _MOST_CELLS) ** (1.0 / 3.0)
    grid = voxelise(mesh, max(height / cells_over_height, bulk)).largest()
    cells = np.argwhere(grid.inside)
    number = np.full(grid.inside.shape, -1, dtype=np.int32)
    number[tuple(cells.T)] = np.arange(len(cells), dtype=np.int32)
    depth = grid.depth_mm[tuple(cells.T)]
    low = float(mesh.bounds[0, 2])
    return Flesh(grid, cells, grid.to_mm(cells), depth, number, low, height)


@dataclass(frozen=True)
class Tip:
    """An extremity: the cell farthest out, how far out it is, and how far it stands out from the rest (both mm)."""

    cell: int
    distance: float
    prominence: float


def tips(flesh: Flesh, distance: FloatArray, least_mm: float) -> list[Tip]:
    """The places where ``distance`` peaks and stands out by at least ``least_mm``, most prominent first.

    Prominence as for mountains: how far one must come down before a higher peak can be reached.
    """
    order = np.argsort(-distance, kind="stable")
    order = order[np.isfinite(distance[order])]
    cells, falls = peak_cells(flesh.cells, flesh.number, distance, order.astype(np.int64))
    found = [Tip(int(c), float(distance[c]), float(f)) for c, f in zip(cells, falls, strict=True) if f >= least_mm]
    return sorted(found, key=lambda t: (-t.prominence, t.cell))


def smooth(points: FloatArray, sigma: float) -> FloatArray:
    """A way smoothed by a Gaussian of ``sigma`` stations; the ends stay."""
    if len(points) < 5:
        return points
    out = ndimage.gaussian_filter1d(points, sigma, axis=0, mode="nearest")
    # Near the ends a Gaussian pulls inwards: blend back to the true ends.
    near = np.minimum(np.arange(len(points)), np.arange(len(points))[::-1])
    hold = np.exp(-0.5 * (near / max(sigma, 1e-9)) ** 2)[:, None]
    return np.asarray(hold * points + (1.0 - hold) * out)


def resampled(points: FloatArray, step_mm: float) -> FloatArray:
    """Points at equal steps along a way."""
    gaps = np.linalg.norm(np.diff(points, axis=0), axis=1)
    keep = np.concatenate([[True], gaps > 1e-9])
    points = points[keep]
    s = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    n = max(2, round(float(s[-1]) / step_mm) + 1)
    at = np.linspace(0.0, float(s[-1]), n)
    return np.stack([np.interp(at, s, points[:, i]) for i in range(3)], axis=1)
