"""The diver's portrait: the plate that opens the README, drawn from the field itself."""

from __future__ import annotations

from functools import cache

import numpy as np

from condyle.demo.diver import diver, made_of
from condyle.geometry.camera import Camera
from condyle.geometry.mesh import FloatArray
from condyle.geometry.raster import Item, Picture, lettered, png_bytes, render
from condyle.geometry.shading import PLATE

# Washes by what a place is made of (numbers of diver_metal): canvas, copper, brass, glass, leather, lead, rubber.
_WASHES: FloatArray = np.array(
    [
        (0.93, 0.87, 0.72),
        (0.87, 0.58, 0.40),
        (0.93, 0.75, 0.40),
        (0.45, 0.55, 0.56),
        (0.57, 0.40, 0.28),
        (0.60, 0.60, 0.62),
        (0.49, 0.38, 0.32),
    ]
)


def portrait(triangles: int = 1_500_000, size: tuple[int, int] = (1200, 900), fineness: int = 3) -> bytes:
    """A PNG of the diver from the front and, smaller, close up and from behind, on paper, within a ruled border.

    The same arguments give the same bytes. About 20 s at the default fineness.
    """
    width, height = size
    mesh = diver(triangles)
    item = Item(mesh, vertex_colours=_WASHES[made_of(mesh.vertices)])
    main = (round(width * 0.60), height)
    front = render([item], _camera(26.0, 6.0, 181.0, (0.6, -1.2, 72.0)), main, PLATE, fineness)
    side = (width - main[0], height // 2)
    head = render([item], _camera(52.0, 10.0, 70.0, (0.0, 0.0, 124.0)), side, PLATE, fineness)
    blank = render([], _camera(0.0, 0.0, 70.0, (0.0, 0.0, 0.0)), side, PLATE, fineness)
    rear = render([item], _camera(212.0, 6.0, 196.0, (0.0, 0.0, 70.0)), (side[0], height - side[1]), PLATE, fineness)
    plate = np.concatenate([front, np.concatenate([_roundel(head, blank), rear], axis=0)], axis=1)
    words = [
        (main[0] * 0.5, height * 0.955, "Fig. 1", height * 0.022),
        (main[0] + side[0] * 0.5, side[1] * 0.975, "Fig. 2", height * 0.019),
        (main[0] + side[0] * 0.5, height * 0.955, "Fig. 3", height * 0.019),
    ]
    return png_bytes(_ruled(lettered(plate, words)))


def _roundel(picture: Picture, paper: Picture) -> Picture:
    """The middle of a picture in a ring of ink, blank paper around it."""
    height, width = picture.shape[:2]
    row, column = np.mgrid[0:height, 0:width] + 0.5
    radius = 0.42 * min(height, width)
    away = np.hypot(row - height * 0.51, column - width * 0.5) - radius
    line = max(1.2, radius / 110.0)
    outside = np.clip(away + 0.5, 0.0, 1.0)[..., None]
    ring = np.clip(line / 2.0 + 0.5 - np.abs(away), 0.0, 1.0)[..., None]
    mixed = picture * (1.0 - outside) + paper * outside
    mixed = mixed * (1.0 - ring) + np.array(PLATE.ink) * 255.0 * ring
    return np.asarray(np.round(mixed), dtype=np.uint8)


@cache
def _camera(azimuth_deg: float, elevation_deg: float, span_mm: float, target: tuple[float, float, float]) -> Camera:
    a, e = np.radians(azimuth_deg), np.radians(elevation_deg)
    eye = (float(np.cos(a) * np.cos(e)), float(np.sin(a) * np.cos(e)), float(np.sin(e)))
    return Camera(target, eye, span_mm)


def _ruled(plate: Picture) -> Picture:
    """A thick and a thin line round the plate, as copper plates were printed."""
    out = plate.copy()
    ink = np.round(np.array(PLATE.ink) * 255.0).astype(np.uint8)
    edge = max(2, len(plate) // 60)
    for inset, line in ((edge, max(2, edge // 5)), (edge + max(4, edge // 2), 1)):
        for start in (inset, -inset - line):
            stop = start + line
            out[start:stop, inset : -inset or None] = ink
            out[inset : -inset or None, start:stop] = ink
    return out
