"""What a reader hands on: named meshes in the file's own coordinates, and what the file says about itself."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from condyle.finding import Point
from condyle.geometry.mesh import Mesh, concatenate

Colours = NDArray[np.uint8]
"""sRGB of triangles (m, 3), 0 to 255."""


@dataclass(frozen=True, eq=False)
class NamedMesh:
    """One mesh of a file. ``name`` may be empty; vertices are as stored, so equal corners need not share an index.
    ``colours`` is one a triangle, None where the file tells none."""

    name: str
    mesh: Mesh
    colours: Colours | None = None


@dataclass(frozen=True, eq=False)
class Scene:
    """The meshes of a file with all its placements applied.

    meshes      in the order of the file
    format      ``stl obj ply gltf 3mf``
    unit        length unit of the coordinates as 3MF names it, None where the format states none
    up          signed axis (``"y"``) where the format fixes one, else None
    joints      rest-pose centres of a skinned glTF's joints by node name, file coordinates
    notes       what was passed over or read in a way worth knowing, in words
    side_files  names of further files that were read, relative to the file's folder
    """

    meshes: tuple[NamedMesh, ...]
    format: str
    unit: str | None = None
    up: str | None = None
    joints: dict[str, Point] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    side_files: tuple[str, ...] = ()

    @property
    def triangle_count(self) -> int:
        return sum(m.mesh.triangle_count for m in self.meshes)

    def merged(self) -> Mesh:
        """All meshes in one, vertices not merged."""
        return concatenate([m.mesh for m in self.meshes])
