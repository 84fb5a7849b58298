"""The trunk and head, level by level: the piece of each horizontal section that holds the mirror plane."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from condyle.figure.seating.flesh import Flesh
from condyle.geometry.mesh import FloatArray

_ARMPIT_JUMP = 1.22  # the section widens by so much, within two hundredths of the height, where the arms join


@dataclass(frozen=True, eq=False)
class Trunk:
    """Levels from low to high (n,): z mm, area mm², half width, front and back (x), middle x; NaN where there is none."""

    z: FloatArray
    area: FloatArray
    half: FloatArray
    front: FloatArray
    back: FloatArray
    middle_x: FloatArray

    def at(self, values: FloatArray, z_mm: float) -> float:
        """One of the columns at a level, between levels in proportion."""
        good = np.isfinite(values)
        return float(np.interp(z_mm, self.z[good], values[good]))


def trunk_of(flesh: Flesh, middle_y: float) -> Trunk:
    """Sections at every level of the grid."""
    grid = flesh.grid
    pitch = grid.pitch_mm
    nz = grid.inside.shape[2]
    j = round(float(grid.to_grid(np.array([0.0, middle_y, 0.0]))[1]))
    rows = np.full((6, nz), np.nan)
    rows[0] = grid.origin[2] + pitch * np.arange(nz)
    for k in range(nz):
        layer = grid.inside[:, :, k]
        if not layer[:, max(j - 2, 0) : j + 3].any():
            continue
        labels, _ = ndimage.label(layer)
        counts = np.bincount(labels[:, max(j - 2, 0) : j + 3].ravel())
        counts[0] = 0
        own = labels == int(np.argmax(counts))
        xs = np.flatnonzero(own.any(axis=1))
        ys = np.flatnonzero(own.any(axis=0))
        rows[1, k] = own.sum() * pitch**2
        rows[2, k] = 0.5 * (ys[-1] - ys[0] + 1) * pitch
        rows[3, k] = grid.origin[0] + (xs[-1] + 0.5) * pitch
        rows[4, k] = grid.origin[0] + (xs[0] - 0.5) * pitch
        rows[5, k] = grid.origin[0] + float(np.average(np.arange(own.shape[0]), weights=own.sum(axis=1))) * pitch
    return Trunk(*rows)


def neck_level(trunk: Trunk, low_z: float, height: float) -> int:
    """The index of the narrowest level between ``low_z`` and a little below the crown."""
    top = float(np.max(trunk.z[np.isfinite(trunk.half)]))
    window = np.flatnonzero((trunk.z > low_z) & (trunk.z < top - 0.07 * height) & np.isfinite(trunk.half))
    if not len(window):
        return int(np.searchsorted(trunk.z, low_z))
    return int(window[np.argmin(trunk.half[window])])


def armpit_level(trunk: Trunk, low_z: float, height: float) -> float | None:
    """The level above ``low_z`` from which the arms belong to the trunk's section; None when there is no jump.

    Looked for from the neck downwards: hands and elbows that touch the body lower down make jumps of their own.
    """
    step = max(1, round(0.02 * height / float(trunk.z[1] - trunk.z[0])))
    start = int(np.searchsorted(trunk.z, low_z))
    # The neck is thinner than any waist; from a third of the way up, so that a thin waist is not taken for it.
    neck = neck_level(trunk, low_z + 0.3 * (float(trunk.z[-1]) - low_z), height)
    levels = np.arange(start, max(neck - step, start))
    with np.errstate(invalid="ignore"):
        jumps = levels[trunk.half[levels + step] > _ARMPIT_JUMP * trunk.half[levels]]
    jumps = jumps[trunk.half[jumps + step] > 0.07 * height]
    if not len(jumps):
        return None
    first = len(jumps) - 1
    while first > 0 and jumps[first] - jumps[first - 1] <= 2:
        first -= 1
    return float(trunk.z[jumps[first]])
