"""kit.3mf: every part as a named object in figure coordinates, moved together to where 3MF wants objects to lie."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from condyle.finding import Point
from condyle.geometry.formats import threemf_bytes
from condyle.geometry.mesh import Mesh


def kit_threemf(parts: Sequence[tuple[str, Mesh]], *, margin_mm: float = 1.0) -> bytes:
    """The parts (mm, figure coordinates) as one 3MF. The vertices stay in figure coordinates; every item carries the same
    move into the octant where no coordinate is negative (3MF core specification 1.4, 4.1), ``margin_mm`` from its planes.
    """
    return threemf_bytes(parts, translation=into_positive_octant([mesh for _, mesh in parts], margin_mm))


def into_positive_octant(meshes: Sequence[Mesh], margin_mm: float = 1.0) -> Point:
    """The move (mm, whole millimetres) that leaves no coordinate of any mesh below ``margin_mm``."""
    low = np.min([mesh.bounds[0] for mesh in meshes], axis=0)
    x, y, z = (float(v) for v in np.ceil(margin_mm - low) + 0.0)
    return x, y, z
