"""The inside of a body that lies deeper than a wall: what a print fills loosely, or what is hollowed out.

A true offset: the distance to the skin is measured, not area times thickness. Cells of a grid are told by their depth;
those near the offset surface have it measured exactly and count by the share of the cell that lies deeper. Thin places
have no inside, corners and necks keep theirs, as a printer's outer lines leave them.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from condyle.errors import UsageError
from condyle.geometry.bvh import Bvh
from condyle.geometry.mass import GRAMS_PER_MM3, MassProperties
from condyle.geometry.mesh import BoolArray, FloatArray, Mesh
from condyle.geometry.voxels import voxelise

COARSEST_MM, FINEST_MM = 0.5, 0.12
_CELLS = 36
"""Cells along the cube root of the volume: the offset's volume is then good to a few parts in a thousand."""


def pitch_for(volume_mm3: float, depth_mm: float) -> float:
    """A cell that is small against the body and against the wall, between 0.12 and 0.5 mm."""
    return float(np.clip(min(volume_mm3 ** (1.0 / 3.0) / _CELLS, depth_mm / 2.0), FINEST_MM, COARSEST_MM))


def core_properties(
    mesh: Mesh,
    depth_mm: float,
    density_g_cm3: float = 1.0,
    *,
    pitch_mm: float | None = None,
    solid: Callable[[FloatArray], BoolArray] | None = None,
    bvh: Bvh | None = None,
) -> MassProperties | None:
    """Mass properties of all that lies deeper than ``depth_mm`` in a closed mesh, as if full; None where nothing does.

    ``solid`` tells of points (n, 3) which are kept full whatever their depth (hardware). Volumes are good to about
    0.3 % of the body at the default pitch: the error falls with the square of the pitch.
    Raises UsageError ``mass.depth`` for a depth that is not above 0.
    """
    if not (math.isfinite(depth_mm) and depth_mm > 0.0):
        raise UsageError("mass.depth", f"a wall is thicker than 0 mm, not {depth_mm!r}")
    pitch = pitch_for(abs(mesh.volume_mm3), depth_mm) if pitch_mm is None else float(pitch_mm)
    voxels = voxelise(mesh, pitch)
    about = voxels.depth_mm
    # The grid's own distance is off by no more than the half diagonal of a cell, and half a cell of the inside.
    slack = (0.5 * math.sqrt(3.0) + 0.5) * pitch
    deep = np.argwhere(about > depth_mm - slack - 0.5 * pitch)
    if not len(deep):
        return None
    shares = np.ones(len(deep))
    at = about[tuple(deep.T)]
    band = at < depth_mm + slack + 0.5 * pitch
    points = voxels.to_mm(deep)
    exact = (bvh or Bvh(mesh)).closest(points[band], depth_mm + 2.0 * slack + pitch)[0]
    shares[band] = np.clip((exact - depth_mm) / pitch + 0.5, 0.0, 1.0)
    if solid is not None:
        shares[np.asarray(solid(points))] = 0.0
    keep = shares > 0.0
    return _of_cells(points[keep], shares[keep], pitch, density_g_cm3) if keep.any() else None


def _of_cells(points: FloatArray, shares: FloatArray, pitch: float, density: float) -> MassProperties:
    """Cubes of edge ``pitch`` at points, each counted by its share."""
    cell = pitch**3
    volume = float(shares.sum()) * cell
    centre = shares @ points / shares.sum()
    arm = points - centre
    # Each cube also turns about its own middle: a²/12 along each axis.
    spread = (arm.T @ (arm * shares[:, None])) * cell + volume * pitch**2 / 12.0 * np.eye(3)
    grams = density * GRAMS_PER_MM3
    return MassProperties(volume, volume * grams, centre, grams * (float(np.trace(spread)) * np.eye(3) - spread))
