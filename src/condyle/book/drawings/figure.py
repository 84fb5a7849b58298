"""The whole figure: standing for the cover, and drawn apart along the ways of its joints."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from condyle.figure.kit import Kit
from condyle.geometry.mesh import FloatArray, Mesh
from condyle.geometry.raster import Item, png_bytes, render_around
from condyle.geometry.shading import Style

ON_WHITE = Style(paper=(1.0, 1.0, 1.0), grain=0.0, hatch=0.35)
LINE = Style(paper=(1.0, 1.0, 1.0), grain=0.0, hatch=0.0, occlusion=0.35, outline_px=1.8)
WASHES = ((0.90, 0.85, 0.75), (0.83, 0.79, 0.71), (0.94, 0.90, 0.82))
APART_MM = 11.0


def cover(meshes: Mapping[str, Mesh], size: tuple[int, int] = (1100, 1500)) -> bytes:
    """A PNG of the figure from its front left."""
    return png_bytes(render_around(tinted(meshes), 26.0, 6.0, size, ON_WHITE, fineness=2))


def drawn_apart(kit: Kit, meshes: Mapping[str, Mesh], size: tuple[int, int] = (1300, 1600)) -> bytes:
    """A PNG of the parts, each moved out of its parent against the way it is pushed home."""
    shifts = apart(kit, APART_MM)
    moved = {name: Mesh(mesh.vertices + shifts[name], mesh.faces) for name, mesh in meshes.items()}
    return png_bytes(render_around(tinted(moved), 24.0, 6.0, size, ON_WHITE, fineness=2))


def apart(kit: Kit, step_mm: float) -> dict[str, FloatArray]:
    """How far each part is drawn from its place: one step from the part that it is pushed into, along the way out."""
    way: dict[str, tuple[str, FloatArray]] = {}
    for joint in kit.joints:
        for axle, home in zip(joint.axles, joint.insertion, strict=False):
            way[axle.moves] = (axle.stays, -np.asarray(home, dtype=np.float64))
    shifts: dict[str, FloatArray] = {}
    for part in kit.parts:
        chain = [part.name]
        while chain[-1] in way and way[chain[-1]][0] not in chain:
            chain.append(way[chain[-1]][0])
        total = np.zeros(3)
        for name in chain:
            if name in way:
                total = total + step_mm * way[name][1]
        shifts[part.name] = total
    return shifts


def tinted(meshes: Mapping[str, Mesh], names: Sequence[str] | None = None) -> list[Item]:
    """The meshes in washes that tell neighbours apart."""
    chosen = list(meshes) if names is None else names
    rank = {name: n for n, name in enumerate(meshes)}
    return [Item(meshes[name], WASHES[rank[name] % len(WASHES)]) for name in chosen]
