"""Fixed peg: a tapered stud with one flat, so that it goes in one way only; glued or left as a push fit."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from condyle.geometry.primitives import Facets, box, cylinder, frustum
from condyle.geometry.solid import Solid, subtract, union
from condyle.joints.design import Cut, JointDesign, Need, SideTools
from condyle.joints.stock import Stock

SIZES_MM: Final = (2.5, 3.0, 4.0, 5.0, 6.0, 8.0)
"""Peg diameters at the foot."""

_DRAFT = 0.02  # radius lost per mm of length: about 1.1 degrees
_LEAD_IN_MM = 0.2
_FLAT = 0.55  # the flat stands at this share of the radius


@dataclass(frozen=True)
class PegShape:
    """Radii and length of a peg (mm)."""

    size: float
    radius: float
    length: float


def shape(size_mm: float) -> PegShape:
    """A peg 1.2 diameters long."""
    return PegShape(size_mm, size_mm / 2.0, 1.2 * size_mm)


def needs(s: PegShape, cut: Cut, stock: Stock) -> tuple[Need, ...]:
    """Flesh around the hole in the knuckle and around the peg's root in the cup."""
    across = s.radius + stock.wall_mm
    return (
        Need(0.2, s.length + 0.3 + stock.wall_mm, across, across),
        Need(-cut.kerf_mm - root_mm(s), -cut.kerf_mm - 0.2, across, across),
    )


def root_mm(s: PegShape) -> float:
    """How deep the peg goes into the cup's flesh."""
    return max(1.2, 0.8 * s.radius)


def design(s: PegShape, cut: Cut, clearance_mm: float) -> JointDesign:
    """The hardware of a fixed peg. It has no lip: what holds it is glue or the fit, so no retention is computed."""
    foot = -cut.kerf_mm - root_mm(s)
    return JointDesign(
        size_mm=s.size,
        clearance_mm=clearance_mm,
        cut=cut,
        cup=SideTools(add=_keyed(s, foot, s.length, 0.0, "inside")),
        knuckle=SideTools(take=_hole(s, clearance_mm)),
        bearing=cylinder(s.radius + max(0.0, clearance_mm) + 0.1, 0.02, s.length + 0.4, "outside"),
        bearing_mm2=2.0 * math.pi * s.radius * s.length * 0.9,
        travel_mm=s.length + 0.5,
    )


def _hole(s: PegShape, clearance_mm: float) -> Solid:
    """The keyed hole, its mouth widened so that a tight peg finds its way and nothing is squeezed at the very face."""
    r = s.radius + clearance_mm
    mouth = r + _LEAD_IN_MM
    wide = [cylinder(mouth, -0.5, 0.0, "outside"), frustum(mouth, 0.0, r, _LEAD_IN_MM, "outside")]
    return union([_keyed(s, -0.5, s.length + 0.3, clearance_mm, "outside"), *wide], "keyed hole")


def _keyed(s: PegShape, z0: float, z1: float, grow: float, facets: Facets) -> Solid:
    """The tapered stud with its flat on +y, grown for the hole."""
    lower = cylinder(s.radius + grow, z0, 0.0, facets) if z0 < 0 else None
    upper = frustum(s.radius + grow, 0.0, s.radius + grow - _DRAFT * z1, z1, facets)
    body = union([upper] if lower is None else [lower, upper], "peg")
    flat = _FLAT * s.radius + grow
    return subtract(body, [box((-s.size, flat, -0.6), (s.size, 2 * s.size, z1 + 1.0))], "keyed peg")
