"""A swivel whose bore gives way: a whole stud with a ridge snaps in between two jaws at the bore's mouth.

The stud stays whole, since it is what bends when the limb is pushed sideways. Two quarters of the bore's wall are cut free as
jaws, from the mouth to their root deep in the flesh; the other two quarters hold the stud sideways over the bore's length.
Knuckle's frame: its face is z = 0, the bore runs to +z.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from condyle.geometry.mesh import FloatArray
from condyle.geometry.primitives import box, cylinder, frustum, turned
from condyle.geometry.solid import Solid, extrude, intersect, subtract, union
from condyle.joints.ball_shape import LEAST_PULL_N
from condyle.joints.fingers import Spring, ring_fingers
from condyle.joints.mechanics import snap
from condyle.joints.stock import Stock

COLLAR_MM: Final = 0.25
"""How much thicker a stud is up to the knuckle's face."""

MOUTH_MM: Final = 0.5
"""How wide a bore's mouth runs out, per side: over the collar it leaves a printed gap."""

RUN_IN_DEG: Final = 30.0
RUN_OUT_DEG: Final = 45.0
GROOVE_MM: Final = 0.08
"""How much deeper a groove is than its ridge stands."""

LIP_MM: Final = 0.8
"""The jaws' lips touch the stud over this length."""

FIRM_NMM_MM: Final = 0.5
"""Torque over the stud's diameter that firm jaws hold a stud with when it is thicker by 0.03 mm all around: 2 N·mm at 4 mm, twice what
a bent arm or leg brings about its own length (common practice, no source; what is held is proved on the finished figure)."""

_LAND_MM = 0.3  # of the ridge
_SLACK_MM = 0.06  # between the ridge's flank and the lips', along the axis
_EASE_MM = 0.08  # the bore's still walls stand this much further from the stud than the lips
_GRIP_MM = 0.03
_TIP_MM = 0.6  # the stud's end, drawn in so that it bears on nothing
_LARGEST_MM, _SMALLEST_MM, _STEP_MM = 0.3, 0.06, 0.02
_THICKEST = 1.2  # jaw over the stud's radius
_STEPS = 24


@dataclass(frozen=True)
class Jaws:
    """Two jaws about a stud of a radius (mm).

    lip          inner radius of the lips, the fit's clearance around the stud; ``guide`` that of the still walls
    outer        outer radius of the jaws, ``ring`` that of the room behind them
    ridge        radius of the stud's ridge, from ``low`` to ``high``; ``groove`` the room around it
    root         height of the jaws' root over the face; ``length`` the stud's
    undercut     how far each jaw is bent as the ridge passes
    """

    shaft: float
    lip: float
    guide: float
    outer: float
    ring: float
    ridge: float
    groove: float
    low: float
    high: float
    root: float
    length: float
    slit: float
    undercut: float
    spring: Spring


def jaws(shaft_mm: float, clearance_mm: float, length_mm: float, stock: Stock, *, firm: bool) -> Jaws | None:
    """The thinnest jaws that hold 8 N in pull, and if ``firm`` also turn as firmly as ``FIRM_NMM_MM`` asks; None where a
    material takes none of them.

    Thin jaws ask for the least flesh. Of one thickness the highest ridge that its strain allows suffers least from the
    printer's own error; it is kept between 0.06 and 0.3 mm, which is what a printer can form and what a thumb can push.
    """
    thinnest = stock.wall_mm + 0.03  # facets eat a hundredth or two on either side
    for thick in np.arange(thinnest, max(thinnest, _THICKEST * shaft_mm) + 1e-9, 0.1):
        for undercut in np.arange(_LARGEST_MM, _SMALLEST_MM - 1e-9, -_STEP_MM):
            found = _jaws(shaft_mm, clearance_mm, length_mm, float(thick), float(undercut), stock)
            if found.spring.strain_per_mm * (found.undercut + max(0.0, -clearance_mm)) > stock.strain:
                continue
            stiff = not firm or stock.friction * found.spring.n_per_mm * _GRIP_MM >= FIRM_NMM_MM
            if stiff and found.ridge > shaft_mm + 0.02 and _pull_n(found, stock) >= LEAST_PULL_N:
                return found
            break  # a lower ridge holds less, and none changes how stiff the jaws are: thicker ones
    return None


def _jaws(shaft: float, clearance: float, length: float, thick: float, undercut: float, stock: Stock) -> Jaws:
    lip = shaft + clearance
    guide = shaft + max(0.03, clearance + _EASE_MM)
    ridge = lip + undercut
    groove = ridge + GROOVE_MM
    outer = max(groove + stock.wall_mm + 0.03, lip + thick)
    top = MOUTH_MM + LIP_MM
    low = top + _SLACK_MM + undercut / math.tan(math.radians(RUN_OUT_DEG))
    high = low + _LAND_MM
    root = length
    slit = max(stock.gap_mm, 0.3)
    z = np.linspace(root, MOUTH_MM + 0.5 * LIP_MM, _STEPS)
    inner = np.interp(z, *_bore_line(lip, groove, guide, top, high).T[::-1])
    spring = ring_fingers(inner, np.full(_STEPS, outer), float(z[0] - z[-1]), slit, 4, stock.modulus_mpa)
    return Jaws(
        shaft=shaft,
        lip=lip,
        guide=guide,
        outer=outer,
        ring=outer + max(stock.gap_mm, undercut + max(0.0, -clearance) + 0.15),
        ridge=ridge,
        groove=groove,
        low=low,
        high=high,
        root=root,
        length=length,
        slit=slit,
        undercut=undercut,
        spring=Spring(spring.n_per_mm, spring.strain_per_mm, 2),  # two of the four quarters stay fast
    )


def _bore_line(lip: float, groove: float, guide: float, top: float, high: float) -> FloatArray:
    """The bore's inner line (k, 2) of (radius, height) from the lips up: groove around the ridge, then the guide."""
    rise = (groove - lip) / math.tan(math.radians(RUN_OUT_DEG))
    fall = (groove - guide) / math.tan(math.radians(RUN_IN_DEG))
    return np.array([[lip, MOUTH_MM], [lip, top], [groove, top + rise], [groove, high + 0.1], [guide, high + 0.1 + fall],
                     [guide, 1e3]])  # fmt: skip


def _pull_n(j: Jaws, stock: Stock) -> float:
    return snap.mating_force_n(j.spring.count * j.spring.n_per_mm * j.undercut, RUN_OUT_DEG, stock.friction)


def stud(j: Jaws, foot_mm: float, kerf_mm: float) -> Solid:
    """The whole stud from its root in the cup, at ``foot_mm``."""
    collar = j.shaft + COLLAR_MM
    rise = j.ridge - j.shaft
    ramp = rise / math.tan(math.radians(RUN_IN_DEG))
    profile = np.array(
        [
            [0.0, foot_mm],
            [collar, foot_mm],
            [collar, 0.0],
            [j.shaft, COLLAR_MM],
            [j.shaft, j.low - rise / math.tan(math.radians(RUN_OUT_DEG))],
            [j.ridge, j.low],
            [j.ridge, j.high],
            [j.shaft, j.high + ramp],
            [j.shaft, j.length - _TIP_MM],
            [j.shaft - 0.25, j.length],
            [0.0, j.length],
        ]
    )
    flare = frustum(max(1.3 * j.shaft, collar + 0.05), foot_mm, collar, -kerf_mm - 0.02)
    return union([turned(profile, "inside"), flare], "swivel stud")


def bore(j: Jaws) -> Solid:
    """All that the knuckle loses: the bore, the room behind the jaws and the slits that free them."""
    line = _bore_line(j.lip, j.groove, j.guide, MOUTH_MM + LIP_MM, j.high)
    line[-1, 1] = j.length + 0.3
    mouth = np.array([[0.0, -0.5], [j.lip + MOUTH_MM, -0.5], [j.lip + MOUTH_MM, 0.0]])
    hollow = turned(np.concatenate([mouth, line, [[0.0, j.length + 0.3]]]), "outside")
    # Where the walls stay fast there is no lip: the ridge has to pass.
    way = np.array([[0.0, -0.5], [j.groove, -0.5], *line[3:5], [0.0, line[4, 1]]])
    open_walls = intersect(
        turned(way, "outside"), _quarters(j.ring + 1.0, -0.6, j.length + 1.0, 0.0), "way past the walls"
    )
    behind = subtract(
        cylinder(j.ring, -0.5, j.root, "outside"), [cylinder(j.outer, -1.0, j.root + 1.0)], "room behind the jaws"
    )
    behind = intersect(behind, _quarters(j.ring + 1.0, -0.6, j.root + 1.0, 90.0), "room behind the jaws")
    blades = [_blade(j.ring - 0.02, j.slit, -0.5, j.root, turn) for turn in (45.0, 135.0)]
    return union([hollow, open_walls, behind, *blades], "bore with jaws")


def _quarters(half: float, z0: float, z1: float, turn_deg: float) -> Solid:
    """Two opposite quarters about z, their middles at ``turn_deg`` and across from it."""
    right = np.array([[0.0, 0.0], [half, -half], [half, half]])
    both = union([extrude([right], z1 - z0), extrude([-right], z1 - z0)], "quarters")
    return both.translated((0.0, 0.0, z0)).transformed(_turn(turn_deg))


def _blade(half: float, thickness: float, z0: float, z1: float, turn_deg: float) -> Solid:
    return box((-half, -thickness / 2, z0), (half, thickness / 2, z1)).transformed(_turn(turn_deg))


def _turn(deg: float) -> FloatArray:
    c, s = math.cos(math.radians(deg)), math.sin(math.radians(deg))
    return np.array([[c, -s, 0, 0], [s, c, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]], dtype=np.float64)
