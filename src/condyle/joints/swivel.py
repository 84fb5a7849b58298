"""Swivel: a stud with a ridge snaps into a grooved bore and turns about the limb's own axis.

The skin cut is a plane square to the axis. The stud stands on the cup's side and points to the knuckle (+z). Either the bore
gives way, on two jaws around a whole stud (``swivel_jaws``), or, where the limb is too thin for those, the stud does, split
into two halves. A whole stud bears five to seven times as much sideways.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from condyle.geometry.primitives import box, cylinder, frustum, turned
from condyle.geometry.solid import Solid, subtract, union
from condyle.joints.design import Cut, JointDesign, Need, SideTools
from condyle.joints.fingers import Spring, prongs
from condyle.joints.mechanics import snap
from condyle.joints.mechanics.section import bending_nmm, round_bar
from condyle.joints.stock import Stock
from condyle.joints.swivel_jaws import COLLAR_MM, LIP_MM, MOUTH_MM, RUN_IN_DEG, RUN_OUT_DEG, Jaws, bore, jaws, stud

SIZES_MM: Final = (2.0, 2.5, 3.0, 3.5, 4.0, 5.0, 6.0, 8.0)
"""Stud diameters."""

REACHES: Final = (2.0, 1.5, 1.1, 0.8)
"""Stud lengths in diameters, less a millimetre: long for the gentlest bend, short where the limb is."""

Gives = Literal["firm", "light", "split"]
"""What gives way: firm or light jaws of the bore, or the split stud's halves."""

GIVES: Final[tuple[Gives, ...]] = ("firm", "light", "split")

_SLOT_FOOT_MM = 0.4  # the slot ends this far above the knuckle's face
_RIDGE_LAND_MM = 0.3
_GROOVE_MM = 0.08  # how much deeper the groove is than the ridge stands
_LARGEST_UNDERCUT_MM = 0.3
_SMALLEST_UNDERCUT_MM = 0.05


@dataclass(frozen=True)
class SwivelShape:
    """Radii and heights of one swivel (mm).

    undercut   what each jaw bends outward as the ridge passes, or each half of a split stud inward
    slot       width of the slot in a split stud; 0 in a whole one, which has ``jaws`` around it
    """

    size: float
    shaft: float
    ridge: float
    ridge_z: float
    length: float
    slot: float
    undercut: float
    spring: Spring
    jaws: Jaws | None = None


def shape(
    size_mm: float, clearance_mm: float, stock: Stock, reach: float = 1.5, gives: Gives | None = None
) -> SwivelShape | None:
    """The swivel of a size, by default of the first kind in ``GIVES`` that the material's strain allows; None without one.

    ``reach`` is the stud's length in diameters, less a millimetre.
    """
    shaft = size_mm / 2.0
    length = reach * size_mm + 1.0
    if gives is None:
        made = (shape(size_mm, clearance_mm, stock, reach, g) for g in GIVES)
        return next((s for s in made if s is not None), None)
    if gives != "split":
        j = jaws(shaft, clearance_mm, length, stock, firm=gives == "firm")
        if j is None:
            return None
        return SwivelShape(size_mm, shaft, j.ridge, 0.5 * (j.low + j.high), length, 0.0, j.undercut, j.spring, j)
    return _split(size_mm, clearance_mm, length, stock)


def _split(size_mm: float, clearance_mm: float, length: float, stock: Stock) -> SwivelShape | None:
    """The split stud, its ridge as high as the material's strain allows; None below 0.05 mm."""
    shaft = size_mm / 2.0
    ridge_z = length - 0.9
    for undercut in np.arange(_LARGEST_UNDERCUT_MM, _SMALLEST_UNDERCUT_MM - 1e-9, -0.01):
        slot = max(stock.gap_mm, 2.0 * (float(undercut) + max(0.0, -clearance_mm)) + 0.1)
        if slot > 0.8 * shaft:
            continue
        spring = prongs(shaft, slot, ridge_z - _SLOT_FOOT_MM, stock.modulus_mpa)
        if spring.strain_per_mm * float(undercut) <= stock.strain:
            ridge = shaft + clearance_mm + float(undercut)
            if ridge <= shaft + 0.02:
                return None
            return SwivelShape(size_mm, shaft, ridge, ridge_z, length, slot, float(undercut), spring)
    return None


def needs(s: SwivelShape, cut: Cut, stock: Stock) -> tuple[Need, ...]:
    """Flesh around the bore in the knuckle and around the stud's root in the cup."""
    foot = Need(-cut.kerf_mm - root_mm(s), -cut.kerf_mm - 0.3, s.shaft + stock.wall_mm, s.shaft + stock.wall_mm)
    end = s.length + 0.3 + 0.8 * stock.wall_mm
    if s.jaws is None:
        around = s.ridge + _GROOVE_MM + stock.wall_mm
        return Need(0.3, end, around, around), foot
    around, beyond = s.jaws.ring + stock.wall_mm, s.jaws.guide + stock.wall_mm
    return (
        Need(0.3, s.jaws.root + 0.5 * stock.wall_mm, around, around),
        Need(s.jaws.root, end, beyond, beyond),
        foot,
    )


def root_mm(s: SwivelShape) -> float:
    """How deep the stud goes into the cup's flesh."""
    return max(1.5, s.shaft)


def design(s: SwivelShape, cut: Cut, clearance_mm: float, stock: Stock) -> JointDesign:
    """The hardware of a swivel."""
    grip = max(0.0, -clearance_mm)
    squeeze = s.spring.count * s.spring.n_per_mm * grip
    return JointDesign(
        size_mm=s.size,
        clearance_mm=clearance_mm,
        cut=cut,
        cup=SideTools(add=_stud(s, cut) if s.jaws is None else stud(s.jaws, -cut.kerf_mm - root_mm(s), cut.kerf_mm)),
        knuckle=SideTools(take=_bore(s, clearance_mm) if s.jaws is None else bore(s.jaws)),
        bearing=cylinder(s.ridge + MOUTH_MM, 0.02, s.length + 0.6, "outside"),
        bearing_mm2=_bearing_mm2(s),
        travel_mm=s.length + 0.5,
        undercut_mm=s.undercut,
        stiffness_n_mm=s.spring.count * s.spring.n_per_mm,
        snap_strain=s.spring.strain_per_mm * s.undercut,
        insertion_n=push_n(s, stock),
        retention_n=pull_n(s, stock),
        hold_nmm=stock.friction * squeeze * s.shaft,
        tilt_deg=180.0,
    )


def push_n(s: SwivelShape, stock: Stock) -> float:
    """The force that pushes the ridge past the bore's mouth."""
    return snap.mating_force_n(_squeeze_n(s), RUN_IN_DEG, stock.friction)


def pull_n(s: SwivelShape, stock: Stock) -> float:
    """The force that pulls it out again, past the ridge's steeper side."""
    return snap.mating_force_n(_squeeze_n(s), RUN_OUT_DEG, stock.friction)


def bears_nmm(s: SwivelShape, stock: Stock) -> float:
    """The bending moment that breaks the stud, its layers across it: a whole one as a round bar, a split one by one half alone.

    A bore presses one half of a split stud towards its slot, and nothing hands the load on to the other: a solve of the stud in
    its bore finds 0.9 to 0.96 of what one half by itself would be stressed (docs/decisions/0023).
    """
    if s.slot == 0.0:
        return bending_nmm(round_bar(2.0 * s.shaft), stock.across_mpa, 1.0)
    half = snap.segment_finger(s.shaft, 0.5 * s.slot)
    return stock.across_mpa * half.second_moment_mm4 / half.fibre_mm


def _bearing_mm2(s: SwivelShape) -> float:
    """What touches in the bore when nothing pulls sideways: the lips of the jaws, or all of a split stud below its ridge."""
    if s.jaws is None:
        return 2.0 * math.pi * s.shaft * s.ridge_z - 2.0 * s.slot * s.ridge_z
    return LIP_MM * (math.pi * s.shaft - 2.0 * s.jaws.slit)


def _squeeze_n(s: SwivelShape) -> float:
    """What presses the two jaws, or halves, together while the ridge passes."""
    return s.spring.count * s.spring.n_per_mm * s.undercut


def _stud(s: SwivelShape, cut: Cut) -> Solid:
    foot = -cut.kerf_mm - root_mm(s)
    rise, collar = s.ridge - s.shaft, s.shaft + COLLAR_MM
    low = s.ridge_z - _RIDGE_LAND_MM / 2 - rise / math.tan(math.radians(RUN_OUT_DEG))
    high = s.ridge_z + _RIDGE_LAND_MM / 2 + (rise + 0.15) / math.tan(math.radians(RUN_IN_DEG))
    profile = np.array(
        [
            [0.0, foot],
            [collar, foot],
            [collar, 0.0],
            [s.shaft, COLLAR_MM],
            [s.shaft, low],
            [s.ridge, s.ridge_z - _RIDGE_LAND_MM / 2],
            [s.ridge, s.ridge_z + _RIDGE_LAND_MM / 2],
            [s.shaft - 0.15, min(high, s.length - 0.05)],
            [s.shaft - 0.2, s.length],
            [0.0, s.length],
        ]
    )
    body = union(
        [turned(profile, "inside"), frustum(max(1.3 * s.shaft, collar + 0.05), foot, collar, -cut.kerf_mm - 0.02)],
        "swivel stud",
    )
    slot = box((-s.ridge - 1.0, -s.slot / 2, _SLOT_FOOT_MM), (s.ridge + 1.0, s.slot / 2, s.length + 1.0))
    eye = cylinder(s.slot * 0.6, -s.ridge - 1.0, s.ridge + 1.0, "outside").transformed(
        np.array([[0, 0, 1, 0], [1, 0, 0, 0], [0, 1, 0, _SLOT_FOOT_MM + 0.05], [0, 0, 0, 1]], dtype=np.float64)
    )
    return subtract(body, [slot, eye], "split stud")


def _bore(s: SwivelShape, clearance_mm: float) -> Solid:
    r = s.shaft + clearance_mm
    groove = s.ridge + _GROOVE_MM
    low = s.ridge_z - _RIDGE_LAND_MM / 2 - 0.06 - (groove - r) / math.tan(math.radians(RUN_OUT_DEG))
    profile = np.array(
        [
            [0.0, -0.5],
            [r + MOUTH_MM, -0.5],
            [r + MOUTH_MM, 0.0],
            [r, MOUTH_MM],
            [r, low],
            [groove, s.ridge_z - _RIDGE_LAND_MM / 2 - 0.06],
            [groove, s.ridge_z + _RIDGE_LAND_MM / 2 + 0.1],
            [max(r, s.shaft) + 0.05, s.length + 0.3],
            [0.0, s.length + 0.3],
        ]
    )
    return turned(profile, "outside")
