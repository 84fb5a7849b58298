"""The shape that the process would really leave, layer by layer.

Each section of the design is changed as the printer's card says, in this order:

1. what is narrower than one line is not laid at all, and outer corners come out round by half a line (an opening by a disc of
   one line's width);
2. outlines move: inside holes and pockets by half of the hole's error, everywhere else by half of the shaft's error (both are
   errors of a diameter). A pocket is what a disc of 6 mm cannot reach from outside, so that a bore with a slit in its wall is
   still a bore;
3. the first layer spreads outwards by the card's value, the second by half of it (our choice).

A layer then fills its whole height, so that slopes are stairs: its section is that of its middle. Rounded edges of lines,
sagging of unsupported faces and the marks of supports are not in the model. With no errors and thin layers the result
is the design.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from condyle.build.layers import Layers
from condyle.build.process import Rules
from condyle.geometry.mesh import FloatArray
from condyle.geometry.polygons import Region, disc
from condyle.geometry.solid import Solid, extrude, union

_POCKET_MM = 3.0
_OVER_MM = 0.6
_FINE_MM = 0.004
_LOST_MM2 = 0.02
_LOOK_MM = 0.8
_ROOM_MM = 0.2
_EVEN_MM = 1e-6
_SPECK_MM2 = 0.01


@dataclass(frozen=True, eq=False)
class Lost:
    """What one layer cannot hold: area and a place in it (build coordinates)."""

    layer: int
    area_mm2: float
    place: tuple[float, float, float]


@dataclass(frozen=True, eq=False)
class Printed:
    """A part as printed, in build position.

    regions    what each layer fills, from ``k * layer_mm`` to the next
    transform  (4, 4), from figure to build coordinates
    lost       where features narrower than a line are left out
    """

    regions: tuple[Region, ...]
    layer_mm: float
    transform: FloatArray
    lost: tuple[Lost, ...]

    @property
    def volume_mm3(self) -> float:
        return sum(r.area_mm2 for r in self.regions) * self.layer_mm

    @property
    def lost_mm3(self) -> float:
        return sum(x.area_mm2 for x in self.lost) * self.layer_mm

    def signed_distance(self, points: FloatArray, within_mm: float = _LOOK_MM) -> FloatArray:
        """Distance (n,) of points (n, 3) in figure coordinates to the printed surface, negative inside; at most
        ``within_mm`` either way. Exact: a slab's distance is that of its outline and of its height together."""
        local = np.asarray(points) @ self.transform[:3, :3].T + self.transform[:3, 3]
        own = np.floor(local[:, 2] / self.layer_mm).astype(np.int64)
        reach = math.ceil(within_mm / self.layer_mm)
        outside, depth = np.full(len(local), within_mm), np.full(len(local), within_mm)
        inside = np.zeros(len(local), dtype=bool)
        for k in range(int(own.min()) - reach, int(own.max()) + reach + 1):
            near = np.flatnonzero(np.abs(own - k) <= reach)
            if not len(near):
                continue
            z = local[near, 2]
            rise = np.maximum(np.maximum(k * self.layer_mm - z, z - (k + 1) * self.layer_mm), 0.0)
            flat = self._flat(k, local[near, :2])
            outside[near] = np.minimum(outside[near], np.hypot(np.maximum(flat, 0.0), rise))
            depth[near] = np.minimum(depth[near], np.hypot(np.maximum(-flat, 0.0), rise))
            inside[near] |= (own[near] == k) & (flat < 0.0)
        return np.where(inside, -depth, outside)

    def _flat(self, k: int, xy: FloatArray) -> FloatArray:
        if not 0 <= k < len(self.regions):
            return np.full(len(xy), np.inf)
        return self.regions[k].signed(xy)

    def solid(self, first: int = 0, last: int | None = None) -> Solid:
        """The slabs of some layers as one solid, in build coordinates. SolidError where they hold nothing."""
        slabs = []
        for k in range(first, len(self.regions) if last is None else last):
            rings = [r for r in self.regions[k].rings() if len(r) >= 3]
            if rings:
                # Slabs overlap by a hair, so that they are one body.
                slabs.append(extrude(rings, self.layer_mm * 1.001).translated((0.0, 0.0, k * self.layer_mm)))
        return union(slabs, "printed layers")


Zone = tuple[Sequence[float], float]
"""Middle (build coordinates) and radius of a ball in which the shape is wanted, mm."""


def as_printed(layers: Layers, transform: FloatArray, rules: Rules, near: Sequence[Zone] | None = None) -> Printed:
    """The printed shape of a part from its layers in build position.

    ``near`` keeps the moving of outlines to balls, which saves time: inside them the shape holds, 0.6 mm above and below
    them too, and elsewhere outlines are as drawn or cut off. What is lost is looked for everywhere.
    """
    regions: list[Region] = []
    lost: list[Lost] = []
    for k, region in enumerate(layers.regions):
        laid = laid_down(region, rules.line_mm)
        lost += _lost(k, region, laid, layers.layer_mm, rules.line_mm)
        spread = rules.first_layer_spread_mm * (1.0 if k == 0 else 0.5 if k == 1 else 0.0)
        if near is None:
            regions.append(_left(laid, spread, rules))
            continue
        zone = _zone((k + 0.5) * layers.layer_mm, near)
        regions.append(laid if zone is None or laid.empty else _left(laid & zone, spread, rules))
    return Printed(tuple(regions), layers.layer_mm, transform, tuple(lost))


def _left(laid: Region, spread_mm: float, rules: Rules) -> Region:
    moved = moved_by_errors(laid, rules.hole_error_mm, rules.shaft_error_mm)
    return moved.offset(spread_mm, _FINE_MM) if spread_mm > 0 and not moved.empty else moved


def _zone(z: float, near: Sequence[Zone]) -> Region | None:
    """What of a level plane has to be right, with room around it for the pockets that reach in."""
    out: Region | None = None
    for (x, y, middle), radius in near:
        off = abs(z - middle)
        if off < radius + _OVER_MM:
            # Near the ball's top and bottom little of the plane is in it. Whether a place is a pocket hangs on all within a
            # pocket's whole width.
            wide = math.sqrt(max(radius**2 - max(off - _OVER_MM, 0.0) ** 2, 0.0))
            piece = disc((x, y), wide + 2.0 * _POCKET_MM + _ROOM_MM)
            out = piece if out is None else out | piece
    return out


def _lost(k: int, region: Region, laid: Region, layer_mm: float, line_mm: float) -> list[Lost]:
    """Pieces that are not laid, other than what every corner loses: the corner of a square, and half as much again."""
    if line_mm <= 0 or region.empty:
        return []
    corner = 1.5 * (1.0 - math.pi / 4.0) * (0.5 * line_mm) ** 2
    missing = (region - laid.offset(2.0 * _FINE_MM, _FINE_MM)).without_specks(max(_LOST_MM2, corner))
    out = []
    for piece in missing.components():
        x, y = piece.inscribed_circle()[0]
        out.append(Lost(k, piece.area_mm2, (float(x), float(y), (k + 0.5) * layer_mm)))
    return out


def laid_down(region: Region, line_mm: float) -> Region:
    """What a round line of this width can fill of a section."""
    if line_mm <= 0:
        return region
    return region.offset(-0.5 * line_mm, _FINE_MM).simplified(0.5 * _FINE_MM).offset(0.5 * line_mm, _FINE_MM)


def moved_by_errors(region: Region, hole_error_mm: float, shaft_error_mm: float) -> Region:
    """Outlines moved by half of each error of a diameter: of holes in holes and pockets, of shafts elsewhere."""
    hole, shaft = 0.5 * hole_error_mm, 0.5 * shaft_error_mm
    if region.empty or (abs(hole) < _EVEN_MM and abs(shaft) < _EVEN_MM):
        return region
    # Without its holes, the closed outline is what the shaft's error moves.
    envelope = region.simplified(0.5 * _FINE_MM).offset(_POCKET_MM, _FINE_MM).offset(-_POCKET_MM, _FINE_MM).filled()
    pockets = (envelope - region).without_specks(_SPECK_MM2)
    outer = envelope.offset(shaft, _FINE_MM)
    if pockets.empty:
        return outer
    if hole <= 0.0:
        # Past the mouth too, so that the moved envelope does not close it.
        open_ = pockets.offset(2.0 * max(shaft, 0.0) + 2.0 * _FINE_MM, _FINE_MM) - region.offset(-hole, _FINE_MM)
    else:
        open_ = pockets.offset(hole, _FINE_MM)
    return outer - open_
