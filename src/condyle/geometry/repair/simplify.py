"""Fewer triangles within a stated deviation, measured."""

from __future__ import annotations

from dataclasses import dataclass

from condyle.errors import SculptError, SolidError
from condyle.finding import Point
from condyle.geometry.bvh import Bvh
from condyle.geometry.repair.crossing import crossings_of
from condyle.geometry.repair.deviation import two_sided
from condyle.geometry.repair.uncross import uncrossed
from condyle.geometry.solid import Solid, solid_from_mesh

_TRIES = 5


@dataclass(frozen=True, eq=False)
class Simplified:
    """The solid, how far its surface lies from the original's at most (two-sided, on samples), and where."""

    solid: Solid
    deviation_mm: float
    place: Point


def simplified(solid: Solid, bvh: Bvh, deviation_mm: float) -> Simplified:
    """``solid`` (with the hierarchy of its mesh) in fewer triangles: the same genus, no crossings, within a deviation.

    The library's tolerance bounds each collapse, not their sum, so the deviation is measured afterwards and the
    tolerance lowered until it holds. Where none of a few tries will do, or the deviation is 0, the solid stays as it is.
    """
    tolerance = 0.5 * deviation_mm
    for _ in range(_TRIES if deviation_mm > 0 else 0):
        try:
            made = solid.simplified(tolerance)
            tree = Bvh(made.mesh)
            crossings = crossings_of(tree)
            if len(crossings):
                # Collapses may push one sheet through another by a hair.
                made = solid_from_mesh(uncrossed(tree, crossings).mesh, "simplified sculpt")
                tree = Bvh(made.mesh)
        except (SolidError, SculptError):
            tolerance *= 0.5
            continue
        if made.genus == solid.genus and not len(crossings_of(tree)) and made.triangle_count < solid.triangle_count:
            deviation, place = two_sided(bvh, tree)
            if deviation <= deviation_mm:
                return Simplified(made, deviation, place)
            tolerance *= max(0.25, 0.8 * deviation_mm / deviation)
        else:
            tolerance *= 0.5
    middle = solid.bounds.mean(axis=0)
    return Simplified(solid, 0.0, (float(middle[0]), float(middle[1]), float(middle[2])))
