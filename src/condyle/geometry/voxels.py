"""The inside of a closed mesh on a regular grid, and distances within it.

Each column of the grid is crossed once from below: surfaces met are counted with their sense, so overlapping shells
stay inside (a winding number, not a parity) and the cost grows with the triangles plus the cells.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy import ndimage

from condyle.geometry.mesh import BoolArray, FloatArray, Mesh

_PAD = 2
# Columns stand a little off the grid's round numbers, so that they do not run along edges drawn on such numbers.
_OFF = (0.0137, 0.0271)


@dataclass(frozen=True, eq=False)
class Voxels:
    """Cells of edge ``pitch_mm``; ``inside[i, j, k]`` tells whether the cell's middle lies in the solid.

    The middle of cell (i, j, k) is at ``origin + pitch_mm * (i, j, k)``.
    """

    inside: BoolArray
    origin: FloatArray
    pitch_mm: float

    def to_grid(self, points: FloatArray) -> FloatArray:
        """Points (…, 3) in mm as fractional cell indices."""
        return (np.asarray(points, dtype=np.float64) - self.origin) / self.pitch_mm

    def to_mm(self, cells: FloatArray | NDArray[np.int64]) -> FloatArray:
        """Cell indices (…, 3), fractional ones too, as points in mm."""
        return self.origin + np.asarray(cells, dtype=np.float64) * self.pitch_mm

    @cached_property
    def depth_mm(self) -> FloatArray:
        """Distance of each inside cell's middle to the nearest outside cell's face, about; 0 outside. (nx, ny, nz)."""
        raw = np.asarray(ndimage.distance_transform_edt(self.inside), dtype=np.float64)
        return np.maximum(raw - 0.5, 0.0) * self.pitch_mm

    def largest(self) -> Voxels:
        """Only the largest connected body (cells joined by faces)."""
        labels, count = ndimage.label(self.inside)
        if count <= 1:
            return self
        sizes = np.bincount(labels.ravel())
        sizes[0] = 0
        return Voxels(labels == int(np.argmax(sizes)), self.origin, self.pitch_mm)


def voxelise(mesh: Mesh, pitch_mm: float) -> Voxels:
    """The inside of a closed, outward mesh; two empty cells all around.

    Accurate to half a cell; details thinner than a cell may be lost. ValueError for a pitch that is not positive or for
    a mesh without faces.
    """
    if not pitch_mm > 0:
        raise ValueError("the pitch must be positive")
    if not mesh.triangle_count:
        raise ValueError("a mesh without faces has no inside")
    low, high = mesh.corners.reshape(-1, 3).min(axis=0), mesh.corners.reshape(-1, 3).max(axis=0)
    shape = np.ceil((high - low) / pitch_mm).astype(np.int64) + 2 * _PAD
    offset = np.array([_OFF[0], _OFF[1], 0.0])
    origin = 0.5 * (low + high) - 0.5 * pitch_mm * (shape - 1) + offset * pitch_mm
    steps = np.zeros((int(shape[0]), int(shape[1]), int(shape[2]) + 1), dtype=np.int16)
    _cross_columns((mesh.vertices - origin) / pitch_mm, mesh.faces, steps)
    winding = np.cumsum(steps, axis=2, dtype=np.int16)[:, :, :-1]
    return Voxels(np.ascontiguousarray(winding > 0), origin, float(pitch_mm))


@njit(cache=True)
def _left_of(ax: float, ay: float, bx: float, by: float, px: float, py: float) -> bool:
    return (bx - ax) * (py - ay) - (by - ay) * (px - ax) > 0.0


@njit(cache=True)
def _cross_columns(v: NDArray[np.float64], faces: NDArray[np.int32], steps: NDArray[np.int16]) -> None:
    """Add +1 where a column enters the solid from below and -1 where it leaves. ``v`` in cell units."""
    nx, ny, nz = steps.shape[0], steps.shape[1], steps.shape[2] - 1
    for f in range(len(faces)):
        ia, ib, ic = faces[f, 0], faces[f, 1], faces[f, 2]
        ax, ay, az = v[ia, 0], v[ia, 1], v[ia, 2]
        bx, by, bz = v[ib, 0], v[ib, 1], v[ib, 2]
        cx, cy, cz = v[ic, 0], v[ic, 1], v[ic, 2]
        area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        if area == 0.0:
            continue
        i0 = max(int(np.ceil(min(ax, bx, cx))), 0)
        i1 = min(int(np.floor(max(ax, bx, cx))), nx - 1)
        j0 = max(int(np.ceil(min(ay, by, cy))), 0)
        j1 = min(int(np.floor(max(ay, by, cy))), ny - 1)
        turn = area > 0.0
        for i in range(i0, i1 + 1):
            for j in range(j0, j1 + 1):
                # Each edge is judged from its lower to its higher vertex number, so both its triangles agree.
                ab = _left_of(ax, ay, bx, by, i, j) if ia < ib else not _left_of(bx, by, ax, ay, i, j)
                bc = _left_of(bx, by, cx, cy, i, j) if ib < ic else not _left_of(cx, cy, bx, by, i, j)
                ca = _left_of(cx, cy, ax, ay, i, j) if ic < ia else not _left_of(ax, ay, cx, cy, i, j)
                if ab == turn and bc == turn and ca == turn:
                    wb = ((i - ax) * (cy - ay) - (j - ay) * (cx - ax)) / area
                    wc = ((bx - ax) * (j - ay) - (by - ay) * (i - ax)) / area
                    z = az + wb * (bz - az) + wc * (cz - az)
                    k = min(max(int(np.ceil(z)), 0), nz)
                    steps[i, j, k] += -1 if turn else 1
