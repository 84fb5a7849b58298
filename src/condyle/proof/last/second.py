"""A second opinion on the weakest necks: an elastic solve of the real neck, asked where beam theory is stretched.

A piece of the finished part around the neck is cut into cells, held where it runs into the flesh, and pushed sideways at
its other end, both ways across. The largest principal stress on the neck over the beam's own M/W is what the shape adds that
a beam does not know: short necks, oblique walls, flesh that gives. A sharp inner corner has no finite elastic stress, and
cells of a sixth of the neck are too coarse for the round that a printer leaves in it, so the stress is read as a structural
one and the corner's own notch factor stays on top (the hot-spot method of fatigue design, from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from condyle.geometry.bvh import Bvh
from condyle.geometry.elastic import bent, hex_mesh, snapped
from condyle.geometry.frame import frame_from_zx, unit
from condyle.geometry.mesh import Mesh
from condyle.proof.last.scan import Cross

_ACROSS = 6
_BEFORE, _BEYOND, _BESIDE = 0.9, 0.9, 0.8
"""How far the piece reaches before and beyond the section and to its sides, in neck diameters."""


@dataclass(frozen=True)
class Opinion:
    """What the solve says of one neck.

    stress_ratio  largest stress over the beam's M/W; breaks_nmm the bending moment that it breaks at by this, with the same
                  notch as the beam
    cells         how many cells were solved
    """

    joint: str
    part: str
    stress_ratio: float
    breaks_nmm: float
    cells: int


def second_opinion(cross: Cross, mesh: Mesh, bvh: Bvh, modulus_mpa: float, poisson: float) -> Opinion | None:
    """Solve one neck of a part with this mesh; None where the grid finds no piece that reaches through."""
    size = cross.round_mm
    pitch = size / _ACROSS
    z = unit(cross.normal)
    frame = frame_from_zx(np.asarray(cross.place), z, np.eye(3)[int(np.argmin(np.abs(z)))])
    side, before, beyond = (max(2, math.ceil(f * _ACROSS)) for f in (_BESIDE, _BEFORE, _BEYOND))
    counts = (2 * side, 2 * side, before + beyond)
    corner = np.array([-side, -side, -before]) * pitch
    grid = np.stack(np.meshgrid(*(np.arange(n) for n in counts), indexing="ij"), axis=-1).reshape(-1, 3)
    middles = frame.to_outer(corner + (grid + 0.5) * pitch)
    inside = bvh.inside(middles).reshape(counts)
    labels, _ = ndimage.label(inside)
    # The neck's own piece: the one with most cells at the section itself.
    here = labels[:, :, before][labels[:, :, before] > 0]
    if not len(here):
        return None
    own = labels == int(np.bincount(here).argmax())
    if not own[:, :, 0].any() or not own[:, :, -1].any():
        return None
    cells = hex_mesh(own, corner, pitch)
    edge = np.abs(cells.nodes) > np.array([side, side, np.inf]) * pitch - 1e-9
    ends = (cells.nodes[:, 2] < corner[2] + 1e-9) | (cells.nodes[:, 2] > beyond * pitch - 1e-9)
    local = Bvh(mesh.near(frame.origin, 2.5 * size).transformed(frame.inverse))
    shaped = snapped(cells, local, 0.7 * pitch, ~(edge.any(axis=1) | ends))
    held = (cells.nodes[:, 2] > beyond * pitch - 1e-9) | (edge.any(axis=1) & (cells.nodes[:, 2] > 0.4 * size))
    loaded = cells.middles[:, 2] < corner[2] + pitch
    arm = -float(shaped.middles[loaded, 2].mean())
    solved = bent(shaped, modulus_mpa, poisson, held, loaded, np.eye(3)[:2])
    near = np.abs(shaped.nodes[:, 2]) < 0.6 * size
    # The moment at a node's own height, so that stresses along the neck can be compared with one section.
    scale = arm + shaped.nodes[near, 2]
    peak = max(float(np.quantile(b.principal_mpa[near] / scale, 0.995)) for b in solved)
    ratio = peak * cross.bar.bending_mm3
    return Opinion(cross.joint, cross.part, ratio, cross.bending_nmm / ratio, len(cells.cells))
