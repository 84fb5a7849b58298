"""A part as it lies on the plate."""

from __future__ import annotations

import numpy as np

from condyle.book.drawings.figure import ON_WHITE, WASHES
from condyle.geometry.mesh import FloatArray, Mesh
from condyle.geometry.primitives import box
from condyle.geometry.raster import Item, png_bytes, render_around

PLATE_WASH = (0.97, 0.965, 0.955)


def lying(
    mesh: Mesh, transform: FloatArray | None, columns: Mesh | None = None, size: tuple[int, int] = (520, 420)
) -> bytes:
    """A PNG of a part under ``transform`` (4, 4) with its supports, on a piece of plate; as in the figure where None."""
    if transform is None:
        return png_bytes(render_around([Item(mesh, WASHES[0])], 30.0, 12.0, size, ON_WHITE, fineness=2))
    m = np.asarray(transform, dtype=np.float64)
    placed = Mesh(mesh.vertices @ m[:3, :3].T + m[:3, 3], mesh.faces)
    low, high = placed.bounds
    margin = 3.0
    floor = box((low[0] - margin, low[1] - margin, low[2] - 0.6), (high[0] + margin, high[1] + margin, low[2] - 0.05))
    items = [Item(placed, WASHES[0]), Item(floor.mesh, PLATE_WASH)]
    if columns is not None and columns.triangle_count:
        items.append(Item(columns, (0.72, 0.70, 0.68)))
    return png_bytes(render_around(items, 30.0, 22.0, size, ON_WHITE, fineness=2))
