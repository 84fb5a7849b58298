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
from scipy.ndimage import distance_transform_edt, gaussian_filter

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
    here = layers.owner >= 0
    pixel_mm = camera.span_mm / height
    view = _view_normals(layers.normal, camera)
    shade = _occlusion(layers.depth, pixel_mm, style.occlusion_mm, 0.6)
    tone = _tone(view, 1.0 - style.occlusion * shade)
    wash = layers.colour * tone[..., None]
    paper = np.asarray(style.paper, dtype=np.float32)
    ink = np.asarray(style.ink, dtype=np.float32)
    picture = np.where(here[..., None], wash, paper)
    black = np.where(here, style.hatch * _hatching(layers, camera, tone, style.hatch_mm), 0.0)
    outline, fold = _lines(layers, view, pixel_mm, style)
    black = np.maximum(black, _drawn(outline, style.outline_px * fineness))
    black = np.maximum(black, 0.75 * _drawn(fold, style.fold_px * fineness))
    picture = picture * (1.0 - black[..., None]) + ink * black[..., None]
    if style.grain:
        noise = np.random.default_rng(7).standard_normal((height, width)).astype(np.float32)
        tooth = gaussian_filter(noise, 0.9 * fineness)
        picture = picture * (1.0 + style.grain * (tooth / max(float(tooth.std()), 1e-9)))[..., None]
    return picture.astype(np.float32)


def _view_normals(normal: FloatPicture, camera: Camera) -> FloatPicture:
    """Unit normals in right, up, back of the picture."""
    view = normal @ camera.axes.T.astype(np.float32)
    length = np.linalg.norm(view, axis=-1, keepdims=True)
    return np.divide(view, length, out=np.zeros_like(view), where=length > 0)


def _tone(view: FloatPicture, open_sky: FloatPicture) -> FloatPicture:
    """Brightness 0 to about 1.15: a key light from the upper left, a weak one from the right, and the sky."""
    key = np.array([-0.50, 0.62, 0.60], dtype=np.float32)
    fill = np.array([0.85, 0.05, 0.45], dtype=np.float32)
    key /= np.linalg.norm(key)
    fill /= np.linalg.norm(fill)
    lit = np.maximum(view @ key, 0.0)
    side = np.maximum(view @ fill, 0.0)
    sky = 0.5 + 0.5 * view[..., 1]
    gloss = np.maximum(view @ _halfway(key), 0.0) ** 40
    return (0.26 + 0.72 * lit * (0.35 + 0.65 * open_sky) + 0.16 * side + 0.30 * sky) * open_sky + 0.10 * gloss


def _halfway(light: FloatPicture) -> FloatPicture:
    half = light + np.array([0.0, 0.0, 1.0], dtype=np.float32)
    return half / np.linalg.norm(half)


def _hatching(layers: Layers, camera: Camera, tone: FloatPicture, period_mm: float) -> FloatPicture:
    """Lines along tilted level planes of the object, wider where it is darker, none in the light; 0 to 1."""
    height, width = layers.depth.shape
    plane, drift = camera.rays(width, height)
    depth = np.where(np.isfinite(layers.depth), layers.depth, 0.0)
    # Planes square to "up, a little towards the eye and the side": they wrap round limbs as an engraver's lines do.
    right, up, back = camera.axes
    across = up * 0.8 + back * 0.45 + right * 0.4
    across = across / np.linalg.norm(across)
    place = plane @ across + depth * (drift @ across)
    wave = 0.5 + 0.5 * np.cos(place * (2.0 * np.pi / period_mm))
    darkness = np.clip((0.66 - tone) / 0.6, 0.0, 1.0)
    return np.clip((darkness * 0.9 - wave) * 5.0 + 0.5, 0.0, 1.0).astype(np.float32) * (darkness > 0.02)


def _lines(
    layers: Layers, view: FloatPicture, pixel_mm: float, style: Style
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Pixels on an outline (paper, another item or a step in depth behind), and on a crease."""
    depth = np.where(np.isfinite(layers.depth), layers.depth, 1e6)
    outline = np.zeros(depth.shape, dtype=bool)
    fold = np.zeros(depth.shape, dtype=bool)
    for axis in (0, 1):
        z = depth if axis == 0 else depth.T
        n = view if axis == 0 else view.transpose(1, 0, 2)
        o = layers.owner if axis == 0 else layers.owner.T
        step = np.zeros(z.shape, dtype=bool)
        bend = np.zeros(z.shape, dtype=bool)
        # A slope is no step: compare with the neighbours on both sides.
        jump = np.abs(z[:-2] - 2.0 * z[1:-1] + z[2:]) > style.depth_step_mm + 4.0 * pixel_mm
        nearer = z[1:-1] <= np.minimum(z[:-2], z[2:]) + style.depth_step_mm
        step[1:-1] = jump & nearer & (o[1:-1] >= 0)
        other = (o[:-1] != o[1:]) & ((o[:-1] >= 0) | (o[1:] >= 0))
        step[:-1] |= other & (o[:-1] >= 0)
        both = (o[:-1] >= 0) & (o[1:] >= 0)
        bend[:-1] = both & (np.einsum("ijk,ijk->ij", n[:-1], n[1:]) < 1.0 - style.crease)
        outline |= step if axis == 0 else step.T
        fold |= bend if axis == 0 else bend.T
    return outline, fold


def _drawn(line: NDArray[np.bool_], width_px: float) -> FloatPicture:
    """A line of pixels as a stroke of the given width with a soft edge; 0 to 1."""
    if not line.any() or width_px <= 0:
        return np.zeros(line.shape, dtype=np.float32)
    away = distance_transform_edt(~line).astype(np.float32)
    return np.clip(width_px / 2.0 - away + 0.5, 0.0, 1.0)


@njit(cache=True)
def _occlusion(depth, pixel_mm, reach_mm, bias_mm):  # type: ignore[no-untyped-def]
    """How far nearer surfaces close a pixel in, 0 to 1: sixteen directions, four distances, steepest horizon each."""
    height, width = depth.shape
    out = np.zeros((height, width), dtype=np.float32)
    for row in range(height):
        for column in range(width):
            z = depth[row, column]
            if not np.isfinite(z):
                continue
            total = 0.0
            for turn in range(8):
                # The fan is turned from pixel to pixel so that no bands show.
                angle = (turn + 0.5 * ((row + column) % 2)) * np.pi / 4.0
                highest = 0.0
                for ring in range(1, 5):
                    reach = reach_mm * ring * ring / 16.0
                    i = int(row + np.sin(angle) * reach / pixel_mm)
                    j = int(column + np.cos(angle) * reach / pixel_mm)
                    if i < 0 or j < 0 or i >= height or j >= width or not np.isfinite(depth[i, j]):
                        continue
                    rise = z - depth[i, j] - bias_mm * reach / reach_mm
                    # Far nearer than the reach: another limb in front, whose shadow fades.
                    fade = min(1.0, 2.0 * reach_mm / max(rise, 1e-6))
                    highest = max(highest, fade * rise / np.sqrt(rise * rise + reach * reach))
                total += highest
            out[row, column] = total / 8.0
    return out
