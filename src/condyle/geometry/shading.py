"""From depth, normal and owner of each pixel to ink and wash: the look of a plate in an old anatomical atlas.

Tone comes from two lights and the sky, darkened where nearer surfaces hem a pixel in (ambient occlusion taken from the
depth picture alone, after Mittring, Finding next gen: CryEngine 2, SIGGRAPH 2007 course, in a simple form: good for
looks, not a light simulation). Ink goes along outlines and folds; hatching follows level planes of the object.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from condyle.geometry.camera import Camera

FloatPicture = NDArray[np.float32]


@dataclass(frozen=True)
class Style:
    """How a picture is inked. Widths in pixels of the finished picture, lengths in mm."""

    paper: tuple[float, float, float] = (0.955, 0.930, 0.870)
    ink: tuple[float, float, float] = (0.16, 0.12, 0.10)
    outline_px: float = 1.5
    fold_px: float = 0.8
    depth_step_mm: float = 1.0
    crease: float = 0.55
    occlusion_mm: float = 6.0
    occlusion: float = 0.85
    hatch_mm: float = 0.9
    hatch: float = 0.45
    grain: float = 0.010


PLATE = Style()
PLAIN = Style(hatch=0.0, grain=0.0)


@dataclass(frozen=True, eq=False)
class Layers:
    """depth (h, w) mm, inf for paper; normal (h, w, 3); colour (h, w, 3); owner (h, w) item number, -1 for paper."""

    depth: FloatPicture
    normal: FloatPicture
    colour: FloatPicture
    owner: NDArray[np.int32]


def developed(layers: Layers, camera: Camera, style: Style, fineness: int) -> FloatPicture:
    """The inked picture (h, w, 3), still in fine pixels."""
    height, width = layers.depth.shape
    pixel_mm = camera.span_mm / height
    axes = np.ascontiguousarray(camera.axes, dtype=np.float64)
    shade = _occlusion(layers.depth, pixel_mm, style.occlusion_mm, 0.6)
    # Hatching follows planes square to "up, a little towards the eye and the side": they wrap round limbs as an
    # engraver's lines do. In the picture's own axes (right, up, back):
    across = np.array([0.4, 0.8, 0.45]) / np.linalg.norm([0.4, 0.8, 0.45])
    start = float(np.asarray(camera.target) @ (axes.T @ across))
    picture, black, view = _washed(
        layers.depth, layers.normal, layers.colour, layers.owner, shade, axes, pixel_mm,
        camera.distance_mm or np.inf, across, start, style.occlusion, style.hatch, style.hatch_mm,
        np.asarray(style.paper, dtype=np.float32),
    )  # fmt: skip
    lines = _lines(layers.depth, view, layers.owner, pixel_mm, style.depth_step_mm, style.crease)
    _stroke(lines & _OUTLINE != 0, style.outline_px * fineness, 1.0, black)
    _stroke(lines & _FOLD != 0, style.fold_px * fineness, 0.75, black)
    _ink(picture, black, np.asarray(style.ink, dtype=np.float32))
    if style.grain:
        noise = np.random.default_rng(7).standard_normal((height, width)).astype(np.float32)
        tooth = gaussian_filter(noise, 0.9 * fineness)
        picture *= (1.0 + style.grain * (tooth / max(float(tooth.std()), 1e-9)))[..., None]
    return picture


def _direction(x: float, y: float, z: float) -> tuple[float, float, float]:
    length = float(np.sqrt(x * x + y * y + z * z))
    return x / length, y / length, z / length


# Lights in the picture's axes: a key light from the upper left, a weak one from the right; gloss halfway to the eye.
_KEY = _direction(-0.50, 0.62, 0.60)
_FILL = _direction(0.85, 0.05, 0.45)
_HALFWAY = _direction(_KEY[0], _KEY[1], _KEY[2] + 1.0)
_OUTLINE, _FOLD = 1, 2


@njit(cache=True, nogil=True)
def _washed(depth, normal, colour, owner, shade, axes, pixel, far, across, start, closing, hatch, hatch_mm, paper):  # type: ignore[no-untyped-def]
    """The washed picture (h, w, 3), the ink of its hatching (h, w), and normals (h, w, 3) in right, up, back."""
    height, width = depth.shape
    picture = np.empty((height, width, 3), dtype=np.float32)
    black = np.zeros((height, width), dtype=np.float32)
    view = np.zeros((height, width, 3), dtype=np.float32)
    for row in range(height):
        for column in range(width):
            if owner[row, column] < 0:
                for k in range(3):
                    picture[row, column, k] = paper[k]
                continue
            x, y, z = normal[row, column, 0], normal[row, column, 1], normal[row, column, 2]
            a = x * axes[0, 0] + y * axes[0, 1] + z * axes[0, 2]
            b = x * axes[1, 0] + y * axes[1, 1] + z * axes[1, 2]
            c = x * axes[2, 0] + y * axes[2, 1] + z * axes[2, 2]
            length = np.sqrt(a * a + b * b + c * c)
            if length > 0:
                a, b, c = a / length, b / length, c / length
            view[row, column, 0], view[row, column, 1], view[row, column, 2] = a, b, c
            sky = 1.0 - closing * shade[row, column]
            lit = max(a * _KEY[0] + b * _KEY[1] + c * _KEY[2], 0.0)
            side = max(a * _FILL[0] + b * _FILL[1] + c * _FILL[2], 0.0)
            gloss = max(a * _HALFWAY[0] + b * _HALFWAY[1] + c * _HALFWAY[2], 0.0) ** 40
            tone = (0.26 + 0.72 * lit * (0.35 + 0.65 * sky) + 0.16 * side + 0.30 * (0.5 + 0.5 * b)) * sky + 0.10 * gloss
            for k in range(3):
                picture[row, column, k] = colour[row, column, k] * tone
            darkness = min(max((0.66 - tone) / 0.6, 0.0), 1.0)
            if hatch > 0.0 and darkness > 0.02:
                d = depth[row, column]
                grows = 1.0 + d / far
                place = start + across[0] * (column + 0.5 - width / 2.0) * pixel * grows
                place += across[1] * (height / 2.0 - row - 0.5) * pixel * grows - across[2] * d
                wave = 0.5 + 0.5 * np.cos(place * (2.0 * np.pi / hatch_mm))
                black[row, column] = hatch * min(max((darkness * 0.9 - wave) * 5.0 + 0.5, 0.0), 1.0)
    return picture, black, view


@njit(cache=True, nogil=True)
def _lines(depth, view, owner, pixel, step, crease):  # type: ignore[no-untyped-def]
    """Marks (h, w): on an outline (paper, another item or a step in depth behind), on a crease."""
    height, width = depth.shape
    out = np.zeros((height, width), dtype=np.uint8)
    for row in range(height):
        for column in range(width):
            mine = owner[row, column]
            z = depth[row, column] if mine >= 0 else 1e6
            for down, right in ((1, 0), (0, 1)):
                i, j = row + down, column + right
                if i < height and j < width and mine >= 0:
                    if owner[i, j] != mine:
                        out[row, column] |= _OUTLINE
                    if owner[i, j] >= 0:
                        turn = 0.0
                        for k in range(3):
                            turn += view[row, column, k] * view[i, j, k]
                        if turn < 1.0 - crease:
                            out[row, column] |= _FOLD
                # A slope is no step: compare with the neighbours on both sides.
                p, q = row - down, column - right
                if mine >= 0 and p >= 0 and q >= 0 and i < height and j < width:
                    before = depth[p, q] if owner[p, q] >= 0 else 1e6
                    behind = depth[i, j] if owner[i, j] >= 0 else 1e6
                    jump = abs(before - 2.0 * z + behind) > step + 4.0 * pixel
                    if jump and z <= min(before, behind) + step:
                        out[row, column] |= _OUTLINE
    return out


@njit(cache=True, nogil=True)
def _stroke(line, width_px, strength, black):  # type: ignore[no-untyped-def]
    """Draw pixels of a line as strokes of the given width with a soft edge, over what ink there is."""
    if width_px <= 0:
        return
    height, width = line.shape
    reach = int(np.ceil(width_px / 2.0 + 0.5))
    for row in range(height):
        for column in range(width):
            if not line[row, column]:
                continue
            for i in range(max(0, row - reach), min(height, row + reach + 1)):
                for j in range(max(0, column - reach), min(width, column + reach + 1)):
                    away = np.sqrt(float((i - row) ** 2 + (j - column) ** 2))
                    ink = strength * min(max(width_px / 2.0 - away + 0.5, 0.0), 1.0)
                    if ink > black[i, j]:
                        black[i, j] = ink


@njit(cache=True, nogil=True)
def _ink(picture, black, ink):  # type: ignore[no-untyped-def]
    height, width = black.shape
    for row in range(height):
        for column in range(width):
            share = black[row, column]
            if share > 0.0:
                for k in range(3):
                    picture[row, column, k] = picture[row, column, k] * (1.0 - share) + ink[k] * share


@njit(cache=True, nogil=True)
def _occlusion(depth, pixel_mm, reach_mm, bias_mm):  # type: ignore[no-untyped-def]
    """How far nearer surfaces close a pixel in, 0 to 1: sixteen directions, four distances, steepest horizon each."""
    height, width = depth.shape
    out = np.zeros((height, width), dtype=np.float32)
    # The fan is turned from pixel to pixel so that no bands show: one set of steps for each parity.
    down = np.empty((2, 8, 4), dtype=np.int64)
    right = np.empty((2, 8, 4), dtype=np.int64)
    for parity in range(2):
        for turn in range(8):
            angle = (turn + 0.5 * parity) * np.pi / 4.0
            for ring in range(4):
                reach = reach_mm * (ring + 1) ** 2 / 16.0
                down[parity, turn, ring] = int(np.floor(np.sin(angle) * reach / pixel_mm))
                right[parity, turn, ring] = int(np.floor(np.cos(angle) * reach / pixel_mm))
    for row in range(height):
        for column in range(width):
            z = depth[row, column]
            if not np.isfinite(z):
                continue
            total = 0.0
            parity = (row + column) % 2
            for turn in range(8):
                highest = 0.0
                for ring in range(4):
                    i, j = row + down[parity, turn, ring], column + right[parity, turn, ring]
                    if i < 0 or j < 0 or i >= height or j >= width or not np.isfinite(depth[i, j]):
                        continue
                    reach = reach_mm * (ring + 1) ** 2 / 16.0
                    rise = z - depth[i, j] - bias_mm * reach / reach_mm
                    if rise <= 0.0:
                        continue
                    # Far nearer than the reach: another limb in front, whose shadow fades.
                    fade = min(1.0, 2.0 * reach_mm / rise)
                    highest = max(highest, fade * rise / np.sqrt(rise * rise + reach * reach))
                total += highest
            out[row, column] = total / 8.0
    return out
