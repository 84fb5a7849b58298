"""A part as the printer sees it: the sections at the middle of each layer."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from condyle.geometry.frame import Frame
from condyle.geometry.mesh import FloatArray, Mesh
from condyle.geometry.polygons import Region
from condyle.geometry.sections import Slicer

SMOOTH_MM = 0.004
"""How far an outline may move when points that say nothing are left out; less for layers below 0.1 mm."""

_MOST_LAYERS = 20_000


@dataclass(frozen=True, eq=False)
class Layers:
    """Sections of a mesh that stands on z = 0 as it will be printed. Layer k fills ``k * layer_mm`` to the next."""

    mesh: Mesh
    layer_mm: float
    regions: tuple[Region, ...]

    def __len__(self) -> int:
        return len(self.regions)

    def index(self, z_mm: float) -> int:
        """The layer that holds a height, the lowest and highest for heights outside."""
        return min(max(int(z_mm / self.layer_mm), 0), len(self.regions) - 1)


def layers_of(mesh: Mesh, layer_mm: float) -> Layers:
    """The layers of a mesh in build position (lowest point at z = 0).

    A section is taken at the middle of its layer: what is thinner than half a layer may fall between two. ValueError for a
    layer height that is not positive or would ask for more than 20,000 layers.
    """
    height = float(mesh.bounds[1, 2])
    if not layer_mm > 0 or height / layer_mm > _MOST_LAYERS:
        raise ValueError(f"{height:g} mm cannot be printed in layers of {layer_mm:g} mm")
    smooth = min(SMOOTH_MM, 0.04 * layer_mm)
    count = max(1, math.ceil(height / layer_mm - 0.5 - 1e-9))
    slicer = Slicer(mesh, Frame(np.zeros(3), np.eye(3)))
    # A hair off the middle, so that no face drawn on a round height lies in the plane.
    heights = np.asarray((np.arange(count) + 0.5) * layer_mm + 1.1e-6, dtype=np.float64)
    return Layers(mesh, layer_mm, tuple(slicer.stack(heights, smooth)))


def placed(mesh: Mesh, transform: FloatArray) -> Mesh:
    """The mesh in build position."""
    return mesh.transformed(transform)
