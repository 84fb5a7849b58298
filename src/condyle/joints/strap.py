"""Strap: a flat tongue hangs loose in a slot and cannot fall out, as a shoulder plate hangs on its strap.

The tongue stands under the piece (the cup's side) and points into the carrier (+z); the carrier's face is z = 0. Its two
prongs are parted by a gap in the tongue's own plane; a barb on the outer edge of each snaps behind a ledge of the slot.
x runs across the tongue's width, y through its thickness. It does not turn: it has play along z, and rocks a little.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from condyle.geometry.primitives import box
from condyle.geometry.solid import Solid, extrude, subtract, union
from condyle.joints.design import Cut, JointDesign, Need, SideTools
from condyle.joints.mechanics import snap
from condyle.joints.stock import Stock

SIZES_MM: Final = (3.0, 4.0, 5.0, 6.0, 8.0)
"""Widths of the tongue."""

PLAY_MM: Final = 0.25
"""Room around the tongue, per side: it is to swing, and no coat of paint may hold it."""

SLACK_MM: Final = 0.4
"""How far the tongue slides in and out between seat and ledge."""

_LAND_MM = 0.3
_BEARS_FROM_MM = 0.4  # seats are seldom flat: what lies nearer to the face is the seat's
_RUN_IN_DEG, _RUN_OUT_DEG = 30.0, 50.0
_FOOT_MM = 0.3  # the gap between the prongs ends this far over the carrier's face
_LARGEST_UNDERCUT_MM, _SMALLEST_UNDERCUT_MM = 0.35, 0.08


@dataclass(frozen=True)
class StrapShape:
    """Measures of one strap (mm): ``undercut`` is what each prong must bend to pass the ledge; ``ledge`` where it begins."""

    size: float
    thick: float
    gap: float
    prong: float
    barb: float
    ledge: float
    length: float
    undercut: float
    strain: float
    push_n: float

    @property
    def half(self) -> float:
        return self.size / 2.0


def shape(size_mm: float, stock: Stock) -> StrapShape | None:
    """The strap of a width, its barbs as high as the material's strain allows; None below 0.08 mm of overlap.

    Each prong is a cantilever of one section from the gap's foot to its barb, bent in the plane of the tongue: Guide A,
    cantilever (see mechanics/cantilever.py); four times as long as it is high or longer, so shear gives a twentieth more.
    """
    thick = max(1.2, 2.0 * stock.line_mm, 0.3 * size_mm)
    prong = max(0.95, 2.0 * stock.line_mm + 0.05, 0.22 * size_mm)
    gap = size_mm - 2.0 * prong
    arm = max(4.0 * prong, 3.6)
    for undercut in np.arange(_LARGEST_UNDERCUT_MM, _SMALLEST_UNDERCUT_MM - 1e-9, -0.01):
        strain = snap.strain(float(undercut), arm, prong)
        # The prongs come together by twice the undercut as they pass.
        if strain > stock.strain or gap < max(stock.gap_mm, 2.0 * float(undercut) + 0.1):
            continue
        barb = float(undercut) + PLAY_MM
        ledge = _FOOT_MM + arm - 0.5 * _LAND_MM - barb / math.tan(math.radians(_RUN_OUT_DEG)) - SLACK_MM
        tip = _FOOT_MM + arm + 0.5 * _LAND_MM + barb / math.tan(math.radians(_RUN_IN_DEG))
        force = snap.deflection_force_n(strain, thick, prong, arm, stock.modulus_mpa)
        return StrapShape(size_mm, thick, gap, prong, barb, ledge, tip, float(undercut), strain, 2.0 * force)
    return None


def needs(s: StrapShape, cut: Cut, stock: Stock) -> tuple[Need, ...]:
    """Flesh around the slot and its chamber in the carrier, and around the tongue's root in the piece, walls included."""
    wide, deep = s.half + s.barb + PLAY_MM + stock.wall_mm, 0.5 * s.thick + PLAY_MM + stock.wall_mm
    return (
        Need(0.3, s.length + PLAY_MM + stock.wall_mm, wide, deep, rounded=False),
        Need(-cut.kerf_mm - root_mm(s), -cut.kerf_mm - 0.2, s.half + 0.3, 0.5 * s.thick + 0.3, rounded=False),
    )


def root_mm(s: StrapShape) -> float:
    """How deep the tongue goes into the piece."""
    return max(1.0, 0.8 * s.thick)


def design(s: StrapShape, cut: Cut, stock: Stock) -> JointDesign:
    """The hardware of a strap. It holds no angle; what keeps it is the ledge."""
    return JointDesign(
        size_mm=s.size,
        clearance_mm=PLAY_MM,
        cut=cut,
        cup=SideTools(add=_tongue(s, cut)),
        knuckle=SideTools(take=_slot(s)),
        bearing=box((-s.half - s.barb - 0.35, -0.5 * s.thick - 0.35, _BEARS_FROM_MM), (s.half + s.barb + 0.35, 0.5 * s.thick + 0.35, s.length + 0.4)),
        bearing_mm2=2.0 * s.size * s.length,
        travel_mm=s.length + 0.5,
        undercut_mm=s.undercut,
        stiffness_n_mm=s.push_n / s.undercut,
        snap_strain=s.strain,
        insertion_n=snap.mating_force_n(s.push_n, _RUN_IN_DEG, stock.friction),
        retention_n=snap.mating_force_n(s.push_n, _RUN_OUT_DEG, stock.friction),
        hold_nmm=0.0,
        tilt_deg=math.degrees(math.atan(2.0 * PLAY_MM / s.ledge)),
    )  # fmt: skip


def _tongue(s: StrapShape, cut: Cut) -> Solid:
    foot = -cut.kerf_mm - root_mm(s)
    out = math.tan(math.radians(_RUN_OUT_DEG))
    low = s.ledge + SLACK_MM  # where the barb begins to rise
    high = low + s.barb / out
    right = [
        [s.half, foot], [s.half, low], [s.half + s.barb, high], [s.half + s.barb, high + _LAND_MM], [s.half, s.length],
    ]  # fmt: skip
    ring = np.array([*right, *([-x, z] for x, z in reversed(right))])
    plate = _standing(ring, s.thick)
    gap = box((-0.5 * s.gap, -s.thick, _FOOT_MM), (0.5 * s.gap, s.thick, s.length + 1.0))
    return subtract(plate, [gap], "strap tongue")


def _slot(s: StrapShape) -> Solid:
    """The slot with a lead-in, and the chamber behind its ledge; the ledge slopes as the barb does, so that it can print."""
    half, chamber = s.half + PLAY_MM, s.half + s.barb + PLAY_MM
    rise = (chamber - half) / math.tan(math.radians(_RUN_OUT_DEG))
    end = s.length + PLAY_MM
    right = [
        [half + 0.3, -0.6], [half + 0.3, 0.0], [half, 0.3], [half, s.ledge], [chamber, s.ledge + rise], [chamber, end],
    ]  # fmt: skip
    ring = np.array([*right, *([-x, z] for x, z in reversed(right))])
    return union([_standing(ring, s.thick + 2.0 * PLAY_MM)], "strap slot")


def _standing(ring: np.ndarray, thick: float) -> Solid:
    """A ring in x and z made a plate ``thick`` across y."""
    stand = np.array([[1, 0, 0, 0], [0, 0, -1, 0.5 * thick], [0, 1, 0, 0], [0, 0, 0, 1]], dtype=np.float64)
    return extrude([ring], thick).transformed(stand)
