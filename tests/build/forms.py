"""Parts and rules for the tests of building."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from condyle.build.faces import SHOW, Neck, PrintPart
from condyle.build.process import Rules, rules_of
from condyle.geometry.solid import Solid
from condyle.workshop.bench import load_workshop


def rules(**changed: object) -> Rules:
    """The rules of the 200 mm filament printer, with some of them changed."""
    return replace(rules_of(load_workshop().printer), **changed)


def part_of(solid: Solid, necks: tuple[Neck, ...] = (), bearings: tuple[Solid, ...] = ()) -> PrintPart:
    """A part all of whose faces show, outside its bearing solids."""
    from condyle.build.faces import kinds

    mesh = solid.mesh
    kind = np.full(mesh.triangle_count, SHOW, dtype=np.uint8)
    if bearings:
        kind = kinds(mesh.corners.mean(axis=1), bearings, None)
    return PrintPart("form", solid, solid, mesh, kind, necks, bearings, None)


def standing(solid: Solid) -> np.ndarray:
    """The move (4, 4) that puts a solid on the plate as it is."""
    move = np.eye(4)
    move[2, 3] = -solid.bounds[0, 2]
    return move
