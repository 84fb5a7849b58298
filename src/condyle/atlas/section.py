"""The limb cut square to a joint, for the hand that moves it: outlines, and how deep the centre lies in the flesh."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np

from condyle.atlas.views import SectionView
from condyle.errors import UsageError
from condyle.geometry.formats import read_scene
from condyle.geometry.frame import frame_from_zx
from condyle.geometry.mesh import FloatArray, Mesh
from condyle.geometry.sections import Slicer


def section(scene: Path, centre: tuple[float, float, float], along: tuple[float, float, float]) -> SectionView:
    """Cut the light sculpt at ``centre`` square to ``along`` (need not be a unit vector; figure coordinates).

    UsageError where the sculpt was not lightened yet, or ``along`` has no direction. No outline where the plane misses.
    """
    if not scene.is_file():
        raise UsageError("atlas.no_sculpt", "the sculpt is not ready to be looked at yet")
    z = np.asarray(along, dtype=np.float64)
    length = float(np.linalg.norm(z))
    if not 1e-9 < length < 1e9:
        raise UsageError("atlas.along", "a limb has a direction")
    z = z / length
    x = np.eye(3)[int(np.argmin(np.abs(z)))]
    frame = frame_from_zx(np.asarray(centre, dtype=np.float64), z, x)
    region = Slicer(_mesh(scene, scene.stat().st_mtime_ns), frame).at(0.0)
    piece = next((p for p in region.components() if p.depth((0.0, 0.0)) > 0.0), None)
    rings = piece.rings() if piece is not None else region.rings()
    return SectionView(
        outlines=[[(float(a), float(b)) for a, b in ring] for ring in rings],
        right=_triple(frame.x),
        up=_triple(frame.y),
        depth_mm=region.depth((0.0, 0.0)) if not region.empty else 0.0,
    )


@lru_cache(maxsize=2)
def _mesh(scene: Path, changed: int) -> Mesh:
    """The light sculpt in figure coordinates: its part node carries mm, the root the turn to the file's axes."""
    mesh = read_scene(scene).merged()
    # The file has y up and z forward, in metres; figure coordinates are x forward, y left, z up, in mm.
    return Mesh(mesh.vertices[:, [2, 0, 1]] * 1000.0, mesh.faces)


def _triple(v: FloatArray) -> tuple[float, float, float]:
    return float(v[0]), float(v[1]), float(v[2])
