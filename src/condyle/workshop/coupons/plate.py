"""A coupon's pieces laid out on its plate, and what printing it takes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from condyle.errors import UsageError
from condyle.geometry.solid import Solid
from condyle.workshop.material import Material
from condyle.workshop.printer import Printer

SIDE_MM = 120.0
"""Every coupon fits a square of this side."""

_APART_MM = 2.5

# A plain model of printing, common practice, no source: filament is laid at this speed on average, turns and travel
# included; a layer change costs a little; resin layers take light, peeling and the first ones more light.
_LAID_MM_S = 45.0
_FILAMENT_LAYER_S = 2.5
_RESIN_LAYER_S, _RESIN_FIRST_S, _RESIN_FIRST_LAYERS = 9.0, 40.0, 6
_WARMING_S = 240.0


@dataclass(frozen=True, eq=False)
class Piece:
    """One body of a coupon as it stands on the plate (mm, z = 0 is the plate)."""

    name: str
    solid: Solid


@dataclass(frozen=True)
class Effort:
    """Time and mass of a print by a plain model: right to about a third."""

    time_s: float
    mass_g: float


def laid_out(pieces: Sequence[Piece], side_mm: float = SIDE_MM) -> tuple[Piece, ...]:
    """The pieces set side by side in rows, deepest first, from the plate's corner at the origin, each on z = 0.

    UsageError ``coupon.plate`` when they do not fit.
    """
    order = sorted(pieces, key=lambda p: (-_extent(p)[1], p.name))
    x = y = row = 0.0
    placed: dict[str, Piece] = {}
    for piece in order:
        wide, deep = _extent(piece)
        if x > 0 and x + wide > side_mm:
            x, y, row = 0.0, y + row + _APART_MM, 0.0
        if wide > side_mm or y + deep > side_mm:
            raise UsageError(
                "coupon.plate",
                f"this coupon does not fit a plate of {side_mm:g} mm: {piece.name} is left over",
                hint="ask for fewer joints with --count, or a smaller size",
            )
        low = piece.solid.bounds[0]
        placed[piece.name] = Piece(piece.name, piece.solid.translated((x - low[0], y - low[1], -low[2])))
        x, row = x + wide + _APART_MM, max(row, deep)
    return tuple(placed[p.name] for p in pieces)


def effort(pieces: Sequence[Piece], printer: Printer, material: Material) -> Effort:
    """Print time and mass, printed solid: plastic over laying rate and layers (filament), or layers alone (resin)."""
    volume = sum(p.solid.volume_mm3 for p in pieces)
    height = max(float(p.solid.bounds[1, 2]) for p in pieces)
    layer = printer.layer_mm.value
    layers = math.ceil(height / layer)
    if printer.process == "filament":
        seconds = volume / (printer.line_mm.value * layer * _LAID_MM_S) + layers * _FILAMENT_LAYER_S + _WARMING_S
    else:
        first = min(layers, _RESIN_FIRST_LAYERS)
        seconds = first * _RESIN_FIRST_S + (layers - first) * _RESIN_LAYER_S
    return Effort(seconds, volume * material.density_g_cm3.value * 1e-3)


def span_mm(pieces: Sequence[Piece]) -> tuple[float, float, float]:
    """Width, depth and height of all pieces together."""
    bounds = np.array([p.solid.bounds for p in pieces])
    low, high = bounds[:, 0].min(axis=0), bounds[:, 1].max(axis=0)
    x, y, z = (float(v) for v in high - low)
    return x, y, z


def _extent(piece: Piece) -> tuple[float, float]:
    size = piece.solid.bounds[1] - piece.solid.bounds[0]
    return float(size[0]), float(size[1])
