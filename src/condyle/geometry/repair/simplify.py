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

# Collapses add up: a tolerance of a quarter seldom moves a sculpt's surface by more than the whole.
_FIRST, _NEXT, _TRIES = 0.25, 0.4, 4
_MOST_CROSSINGS = 500


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
    tolerance = _FIRST * deviation_mm
    for _ in range(_TRIES if deviation_mm > 0 else 0):
        made = _collapsed(solid, tolerance)
        if made is not None:
            deviation, place = two_sided(bvh, Bvh(made.mesh))
            if deviation <= deviation_mm:
                return Simplified(made, deviation, place)
        tolerance *= _NEXT
    middle = solid.bounds.mean(axis=0)
    return Simplified(solid, 0.0, (float(middle[0]), float(middle[1]), float(middle[2])))


def _collapsed(solid: Solid, tolerance: float) -> Solid | None:
    """Fewer triangles at one tolerance; None where that changes the genus or leaves crossings that stay."""
    try:
        made = solid.simplified(tolerance)
        tree = Bvh(made.mesh)
        crossings = crossings_of(tree)
        if len(crossings) > _MOST_CROSSINGS:
            return None
        if len(crossings):
            # Collapses may push one sheet through another by a hair.
            made = solid_from_mesh(uncrossed(tree, crossings).mesh, "simplified sculpt")
            if len(crossings_of(Bvh(made.mesh))):
                return None
    except (SolidError, SculptError):
        return None
    return made if made.genus == solid.genus and made.triangle_count < solid.triangle_count else None
