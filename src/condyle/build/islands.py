"""Layer by layer: what starts in the air, what hangs out too far, what spans.

A place of a layer is *grounded* when the grounded part of the layer below reaches under it, or within the shift that the
process prints without support (layer height over the tangent of its overhang angle). What is not grounded

- starts in the air where its whole connected piece overlaps nothing of the layer below: an *island*;
- is a *bridge* where it hangs between anchors no further apart than the process spans;
- is a *shelf* where it stands out no further than the process's short ledge; a shelf bears nothing until later layers have
  grown over it from grounded ground;
- is an *overhang* otherwise.

Islands and overhangs ask for support, and are then as good as grounded. Places, lengths and areas are those of the true
sections at the middle of each layer, outlines thinned by no more than 0.004 mm; a fiftieth of the shift is forgiven.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from condyle.build.bridges import span
from condyle.build.layers import Layers
from condyle.build.process import Rules
from condyle.geometry.mesh import FloatArray
from condyle.geometry.polygons import Region, gathered

PatchKind = Literal["island", "overhang", "bridge"]

_SLACK = 1.02
_SPECK_MM2 = 0.003
_EVEN_MM = 0.001
_PROBES = 100
_STANDS = 0.2
_PLAIN_MM = 0.06


@dataclass(frozen=True, eq=False)
class Patch:
    """A region of one layer with nothing below.

    layer    its number; the patch's underside lies at ``layer * layer_mm``
    span_mm  of a bridge; None for what is anchored on one side or not at all
    depth_mm how far it reaches out from what is grounded; inf for an island
    """

    kind: PatchKind
    layer: int
    region: Region
    span_mm: float | None
    depth_mm: float

    @property
    def area_mm2(self) -> float:
        return self.region.area_mm2


def patches(layers: Layers, rules: Rules) -> list[Patch]:
    """All islands, overhangs and bridges, from the plate upwards. The first layer lies on the plate."""
    slope = math.tan(math.radians(max(rules.overhang_deg, 0.1)))
    shift = _SLACK * layers.layer_mm / slope
    out: list[Patch] = []
    below = layers.regions[0]
    grounded = below
    for k in range(1, len(layers)):
        here = layers.regions[k]
        loose = (here - grounded.offset(shift)).without_specks(_SPECK_MM2) if not grounded.empty else here
        if loose.empty:
            below = grounded = here
            continue
        found, shelf = _sort_out(k, here, below, grounded, loose, shift, rules)
        out += found
        below = here
        # An outline that has been moved again and again gathers points that say nothing, and hairs that bear nothing.
        grounded = (here - shelf).without_specks(_SPECK_MM2).simplified(_EVEN_MM) if not shelf.empty else here
    return out


def _sort_out(
    k: int, here: Region, below: Region, grounded: Region, loose: Region, shift: float, rules: Rules
) -> tuple[list[Patch], Region]:
    """The patches of one layer, and the shelves that stay ungrounded."""
    out: list[Patch] = []
    for piece in here.touching(loose).components():
        if _starts(piece, below):
            loose = loose - piece
            if piece.area_mm2 >= _SPECK_MM2:
                out.append(Patch("island", k, piece, None, math.inf))
    pieces = loose.without_specks(_SPECK_MM2).components()
    if not pieces:
        return out, loose
    ledge = rules.ledge_mm
    sticking = _stick_out(pieces, grounded, ledge) if ledge > shift else [True] * len(pieces)
    flat = gathered([piece for piece, sticks in zip(pieces, sticking, strict=True) if not sticks])
    close = flat.empty or _shelf(flat, grounded, ledge)
    shelves: list[Region] = []
    roofs: Region | None = None
    for piece, sticks in zip(pieces, sticking, strict=True):
        if not sticks and (close or _shelf(piece, grounded, ledge)):
            shelves.append(piece)
            continue
        if roofs is None:
            roofs = here - grounded
        roof = roofs.touching(piece)
        length = span(roof, grounded) if rules.bridge_mm > 0 else None
        depth = _depth(piece, grounded)
        if length is not None and length.length_mm <= rules.bridge_mm + 1e-6:
            out.append(Patch("bridge", k, roof, length.length_mm, depth))
        else:
            # The strip that would have been forgiven is part of the same sagging face.
            wide = piece.offset(1.5 * shift)
            region = (wide & here) - below
            out.append(Patch("overhang", k, region, None if length is None else length.length_mm, depth))
    return out, gathered(shelves)


def _starts(piece: Region, below: Region) -> bool:
    """Whether a piece of a layer has nothing below. Where a good share of its outline stands on something, it has."""
    if float(below.holds(piece.corners()).mean()) > _STANDS:
        return False
    return (piece & below).area_mm2 < _SPECK_MM2


def _stick_out(pieces: list[Region], grounded: Region, ledge_mm: float) -> list[bool]:
    """Whether corners of pieces lie plainly beyond the ledge: most that hang do, and no area has to be worked out for them."""
    corners = [p.corners() for p in pieces]
    near = grounded.within(np.concatenate(corners), ledge_mm + _PLAIN_MM)
    begins = np.cumsum([0, *(len(c) for c in corners[:-1])])
    return [not bool(one) for one in np.logical_and.reduceat(near, begins)]


def _shelf(piece: Region, grounded: Region, ledge_mm: float) -> bool:
    """Whether all of a region lies within the ledge."""
    return (piece - grounded.near(piece, ledge_mm + _PLAIN_MM).offset(ledge_mm)).area_mm2 < _SPECK_MM2


def _depth(piece: Region, grounded: Region) -> float:
    """How far a piece reaches out from what is grounded: furthest at the outline where it hangs free, at its middle where it
    is held all around."""
    outline = piece.corners()
    probes = np.concatenate([outline[:: max(1, len(outline) // _PROBES)], piece.inscribed_circle()[0][None]])
    return float(grounded.gaps(probes).max())


def islands_of(found: list[Patch]) -> list[Patch]:
    """Those that start in the air."""
    return [p for p in found if p.kind == "island"]


def middle_of(patch: Patch, layer_mm: float) -> FloatArray:
    """An inner point of a patch (3,), build coordinates."""
    centre, _ = patch.region.inscribed_circle()
    return np.array([centre[0], centre[1], patch.layer * layer_mm])
