"""A second judge of islands, overhangs and supports: boxes of voxels and distance transforms, nothing of Condyle.

Each voxel layer is one printed layer. A cell is grounded when a grounded cell of the layer below lies within the shift of the
overhang angle; a connected piece of a layer that overlaps nothing below is an island; what is further from grounded cells
than the ledge hangs. Hanging cells are supported and grounded from then on. Support fills each supported cell's column down
to the next solid cell.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy import ndimage

_EIGHT = np.ones((3, 3), dtype=bool)


@dataclass
class Verdict:
    islands: list[tuple[int, int]] = field(default_factory=list)  # layer, cells
    support_mm3: float = 0.0
    hanging_mm2: float = 0.0
    on_part_mm2: float = 0.0


def judge(solid: np.ndarray, cell_mm: float, layer_mm: float, overhang_deg: float, ledge_mm: float) -> Verdict:
    """``solid[k, i, j]``: layer k, cell (i, j) of edge ``cell_mm``; the first layer lies on the plate."""
    shift = layer_mm / np.tan(np.radians(overhang_deg)) + 0.01
    out = Verdict()
    grounded = solid[0].copy()
    wanted = np.zeros_like(solid)
    for k in range(1, len(solid)):
        here = solid[k]
        labels, count = ndimage.label(here, _EIGHT)
        islands = np.zeros_like(here)
        for n in range(1, count + 1):
            piece = labels == n
            if not (piece & solid[k - 1]).any():
                islands |= piece
                out.islands.append((k, int(piece.sum())))
        # From a grounded cell's edge, not its middle.
        apart = (
            (ndimage.distance_transform_edt(~grounded) - 0.5) * cell_mm if grounded.any() else np.full(here.shape, 1e9)
        )
        loose = here & (apart > shift) & ~islands
        hanging = np.zeros_like(here)
        labels, count = ndimage.label(loose, _EIGHT)
        for n in range(1, count + 1):
            piece = labels == n
            if ledge_mm <= shift or apart[piece].max() > ledge_mm:
                hanging |= piece
        near = ndimage.distance_transform_edt(~hanging) * cell_mm <= 1.5 * shift if hanging.any() else hanging
        wanted[k] = islands | (near & here & ~solid[k - 1])
        grounded = here & (~loose | hanging)
    for k in range(1, len(solid)):
        for i, j in np.argwhere(wanted[k]):
            below = np.flatnonzero(solid[:k, i, j])
            foot = below[-1] + 1 if len(below) else 0
            out.support_mm3 += (k - foot) * layer_mm * cell_mm**2
            out.on_part_mm2 += cell_mm**2 if len(below) else 0.0
    out.hanging_mm2 = float(wanted.sum()) * cell_mm**2
    return out
