"""Colours of triangles out of what files hold: numbers at corners, materials, textures. All are 8 bits of sRGB.

A triangle has one colour: of its corners' colours the one nearest to the other two, of a texture the pixel at its middle.
Simplified: a border that runs through a triangle moves to its edge, so a coarse mesh has coarse borders.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from condyle.errors import CondyleError
from condyle.geometry.formats.scene import Colours
from condyle.geometry.mesh import FloatArray

Picture = NDArray[np.uint8]
MAX_PIXELS = 64_000_000


def as_bytes(values: NDArray[np.generic], *, whole: bool) -> Colours:
    """Colour numbers (n, 3) as 8 bits: 0 to 255 where they are ``whole``, else 0 to 1; what is no number is black."""
    numbers = np.nan_to_num(values.astype(np.float64), nan=0.0, posinf=1e9, neginf=0.0)
    return np.clip(np.rint(numbers if whole else 255.0 * numbers), 0, 255).astype(np.uint8)


def from_linear(values: FloatArray) -> Colours:
    """Linear light (…, 3), 0 to 1, as sRGB (IEC 61966-2-1: 12.92 x below 0.0031308, else 1.055 x^(1/2.4) - 0.055)."""
    light = np.clip(np.nan_to_num(np.asarray(values, dtype=np.float64)), 0.0, 1.0)
    shown = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.power(light, 1.0 / 2.4) - 0.055)
    return np.rint(255.0 * shown).astype(np.uint8)


def to_linear(colours: Colours) -> FloatArray:
    """The inverse of ``from_linear``."""
    shown = colours.astype(np.float64) / 255.0
    return np.where(shown <= 0.04045, shown / 12.92, np.power((shown + 0.055) / 1.055, 2.4))


def of_corners(colours: Colours, faces: NDArray[np.generic]) -> Colours:
    """One colour a triangle (m, 3) from those of the vertices (n, 3): the corner's that is nearest to the other two."""
    at = colours[faces].astype(np.int64)
    apart = [
        np.abs(at[:, k] - at[:, (k + 1) % 3]).sum(1) + np.abs(at[:, k] - at[:, (k + 2) % 3]).sum(1) for k in range(3)
    ]
    return np.asarray(at[np.arange(len(at)), np.argmin(np.stack(apart, axis=1), axis=1)].astype(np.uint8))


def of_texture(picture: Picture, middles: FloatArray, *, from_top: bool) -> Colours:
    """The pixels (m, 3) at texture coordinates (m, 2), repeated beyond 0 to 1; v counts from the top or the bottom."""
    height, width = picture.shape[:2]
    uv = np.nan_to_num(np.asarray(middles, dtype=np.float64)) % 1.0
    column = np.minimum((uv[:, 0] * width).astype(np.int64), width - 1)
    row = np.minimum(((uv[:, 1] if from_top else 1.0 - uv[:, 1]) * height).astype(np.int64), height - 1)
    return np.asarray(picture[np.maximum(row, 0), column])


def picture_or_note(data: Callable[[], bytes], notes: list[str]) -> Picture | None:
    """A texture's pixels (h, w, 3); None, with a note, where it is missing or cannot be read."""
    from condyle.geometry.raster import picture_from

    try:
        return picture_from(data(), MAX_PIXELS)
    except (CondyleError, OSError, ValueError, SyntaxError):
        notes.append("a texture is missing or cannot be read: its colours were passed over")
        return None
