"""Edges on the plate, chamfered by as much as the first layers spread."""

from __future__ import annotations

from condyle.build.layers import layers_of
from condyle.build.process import Rules
from condyle.geometry.mesh import FloatArray
from condyle.geometry.primitives import box
from condyle.geometry.solid import Solid, extrude, intersect, union


def chamfered(solid: Solid, rules: Rules) -> Solid:
    """The solid (build coordinates, lowest point at z = 0) without what its first layers will add again by spreading.

    The first layer is drawn in by the whole spread and the second by half of it: the chamfer in steps of one layer, as the
    printer would take any slope there. A layer too narrow to be drawn in stays as it is. Returns the same solid where
    the printer does not spread.
    """
    spread, layer = rules.first_layer_spread_mm, rules.layer_mm
    if spread <= 0:
        return solid
    low, high = solid.bounds
    foot = (
        solid
        if high[2] <= 3.0 * layer
        else intersect(solid, _slab(low, high, low[2] - 1.0, 3.0 * layer), "foot of a part")
    )
    first = layers_of(foot.mesh, layer)
    slabs = []
    for k, share in enumerate((1.0, 0.5)):
        if k >= len(first):
            break
        region = first.regions[k]
        inner = region.offset(-share * spread)
        rings = (region if inner.empty else inner).rings()
        bottom = k * layer - (1.0 if k == 0 else 0.0)
        slabs.append(extrude(rings, (k + 1) * layer - bottom + 1e-4).translated((0.0, 0.0, bottom)))
    if high[2] > 2.0 * layer:
        slabs.append(_slab(low, high, 2.0 * layer, float(high[2]) + 1.0))
    return intersect(solid, union(slabs, "what the first layers may fill"), "chamfered part")


def _slab(low: FloatArray, high: FloatArray, bottom: float, top: float) -> Solid:
    """All that lies between two heights, a little wider than the part."""
    return box(
        (float(low[0]) - 1.0, float(low[1]) - 1.0, float(bottom)),
        (float(high[0]) + 1.0, float(high[1]) + 1.0, float(top)),
    )
