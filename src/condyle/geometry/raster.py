"""Pictures of meshes without a display: a z-buffer, and ink and wash on paper.

The z-buffer keeps depth, normal, colour and owner of the nearest surface of each fine pixel; shading.py turns these
into tone and ink, and here the fine pixels are averaged to the picture's.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from condyle.errors import UsageError
from condyle.geometry.camera import Camera, camera_around
from condyle.geometry.mesh import FloatArray, Mesh
from condyle.geometry.shading import PLATE, Layers, Style, developed

Picture = NDArray[np.uint8]
Colour = tuple[float, float, float]


@dataclass(frozen=True, eq=False)
class Item:
    """A mesh to be drawn, with one colour (red, green, blue from 0 to 1) or one for each vertex (n, 3)."""

    mesh: Mesh
    colour: Colour = (0.86, 0.81, 0.71)
    vertex_colours: FloatArray | None = None


def render(
    items: Sequence[Item],
    camera: Camera,
    size: tuple[int, int] = (900, 900),
    style: Style = PLATE,
    fineness: int = 3,
) -> Picture:
    """The items seen by the camera: (height, width, 3) uint8. ``size`` is width, height; ``fineness`` pixels a side.

    Surfaces that reach behind a perspective camera are left out. The same input gives the same picture.
    """
    width, height = size
    if width < 1 or height < 1 or fineness < 1:
        raise UsageError("picture.size", "a picture needs a width, a height and a fineness of at least 1")
    layers = layers_of(items, camera, (width * fineness, height * fineness))
    fine = developed(layers, camera, style, fineness)
    coarse = fine.reshape(height, fineness, width, fineness, 3).mean(axis=(1, 3))
    return (np.clip(coarse, 0.0, 1.0) * 255.0 + 0.5).astype(np.uint8)


def render_around(
    items: Sequence[Item],
    azimuth_deg: float = 30.0,
    elevation_deg: float = 8.0,
    size: tuple[int, int] = (900, 900),
    style: Style = PLATE,
    fineness: int = 3,
) -> Picture:
    """The items from one side, the whole of them in view, in parallel projection (azimuth 0 is the front, +x)."""
    camera = camera_around([i.mesh for i in items], azimuth_deg, elevation_deg, aspect=size[0] / size[1])
    return render(items, camera, size, style, fineness)


def layers_of(items: Sequence[Item], camera: Camera, size: tuple[int, int]) -> Layers:
    """Depth (mm from the target's plane, inf where nothing is), normal, colour and item number of each pixel."""
    width, height = size
    depth = np.full((height, width), np.inf, dtype=np.float32)
    normal = np.zeros((height, width, 3), dtype=np.float32)
    colour = np.zeros((height, width, 3), dtype=np.float32)
    owner = np.full((height, width), -1, dtype=np.int32)
    for number, item in enumerate(items):
        placed = camera.project(item.mesh.vertices, width, height)
        tint = item.vertex_colours
        if tint is None:
            tint = np.broadcast_to(np.asarray(item.colour, dtype=np.float64), item.mesh.vertices.shape)
        _draw(
            placed,
            np.ascontiguousarray(item.mesh.faces, dtype=np.int64),
            vertex_normals(item.mesh),
            np.ascontiguousarray(tint, dtype=np.float64),
            camera.distance_mm,
            number,
            depth,
            normal,
            colour,
            owner,
        )
    return Layers(depth, normal, colour, owner)


def vertex_normals(mesh: Mesh) -> FloatArray:
    """Unit normals at the vertices (n, 3), triangles weighted by area; zero where no triangle is."""
    total = np.zeros((len(mesh.vertices), 3))
    for axis in range(3):
        flow = mesh.area_vectors[:, axis]
        for corner in range(3):
            total[:, axis] += np.bincount(mesh.faces[:, corner], weights=flow, minlength=len(total))
    length = np.linalg.norm(total, axis=1, keepdims=True)
    return np.divide(total, length, out=np.zeros_like(total), where=length > 0)


def stack_side_by_side(pictures: Sequence[Picture]) -> Picture:
    """Pictures of one height next to each other."""
    return np.concatenate(list(pictures), axis=1)


def lettered(picture: Picture, words: Sequence[tuple[float, float, str, float]], ink: Colour = PLATE.ink) -> Picture:
    """The picture with words set on it, each (column, row, text, size in pixels) about the middle of the text."""
    image = Image.fromarray(picture)
    pen = ImageDraw.Draw(image)
    fill = (int(ink[0] * 255), int(ink[1] * 255), int(ink[2] * 255))
    for column, row, text, size in words:
        pen.text((column, row), text, fill=fill, font=ImageFont.load_default(size), anchor="mm")
    return np.asarray(image)


def picture_from(data: bytes, most_pixels: int) -> Picture:
    """The pixels (h, w, 3) of a picture file; OSError or ValueError for what is none or is too large."""
    with Image.open(io.BytesIO(data), formats=("PNG", "JPEG", "WEBP")) as image:
        if image.width * image.height > most_pixels:
            raise ValueError("the picture is too large")
        return np.asarray(image.convert("RGB"))


def png_bytes(picture: Picture) -> bytes:
    """The picture as a PNG file's bytes (W3C PNG), without any time stamp."""
    out = io.BytesIO()
    Image.fromarray(picture).save(out, format="PNG", compress_level=6)
    return out.getvalue()


@njit(cache=True, nogil=True)
def _draw(placed, faces, normals, tints, distance, number, depth, normal, colour, owner):  # type: ignore[no-untyped-def]
    """Fill triangles by edge functions; pixel middles at half pixels; the nearer surface wins, ties go to the first."""
    height, width = depth.shape
    for f in range(len(faces)):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        ax, ay, az = placed[a, 0], placed[a, 1], placed[a, 2]
        bx, by, bz = placed[b, 0], placed[b, 1], placed[b, 2]
        cx, cy, cz = placed[c, 0], placed[c, 1], placed[c, 2]
        area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        if area == 0.0 or np.isnan(area):
            continue
        first_x = max(0, int(np.floor(min(ax, bx, cx) - 0.5)))
        last_x = min(width - 1, int(np.ceil(max(ax, bx, cx) - 0.5)))
        first_y = max(0, int(np.floor(min(ay, by, cy) - 0.5)))
        last_y = min(height - 1, int(np.ceil(max(ay, by, cy) - 0.5)))
        for row in range(first_y, last_y + 1):
            y = row + 0.5
            for column in range(first_x, last_x + 1):
                x = column + 0.5
                u = ((bx - x) * (cy - y) - (by - y) * (cx - x)) / area
                v = ((cx - x) * (ay - y) - (cy - y) * (ax - x)) / area
                w = 1.0 - u - v
                if u < 0.0 or v < 0.0 or w < 0.0:
                    continue
                if distance > 0.0:
                    # Depth is straight in the picture only as its reciprocal.
                    u, v, w = u / (distance + az), v / (distance + bz), w / (distance + cz)
                    total = u + v + w
                    u, v, w = u / total, v / total, w / total
                z = u * az + v * bz + w * cz
                if z < depth[row, column]:
                    depth[row, column] = z
                    owner[row, column] = number
                    for k in range(3):
                        normal[row, column, k] = u * normals[a, k] + v * normals[b, k] + w * normals[c, k]
                        colour[row, column, k] = u * tints[a, k] + v * tints[b, k] + w * tints[c, k]
