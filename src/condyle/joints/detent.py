"""Detents of a hinge: a bump on each ear drops into hollows of the tongue, so that a heavy limb rests at even steps.

The ears of a limb are as thick as the limb and give too little for a bump. So each bump stands near the free end of a leaf
that is cut out of its ear by a slit; where an ear is thin enough it gives as a whole. The bump stands at the far side of
the pin from the leaf's root, on the side of the cup. Everything is in the knuckle frame of hinge.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from condyle.geometry.primitives import box, cylinder, sphere
from condyle.geometry.solid import Solid, subtract, union
from condyle.joints.mechanics import snap
from condyle.joints.mechanics.detent import cap_radius_mm, climb_torque_nmm
from condyle.joints.stock import Stock

_HIGHEST_MM = 0.25
_LOWEST_MM = 0.12  # a lower bump is lost in a printer's own ripple (common practice, no source)
_WIDEST_MM = 0.8
_NARROWEST_MM = 0.4
_STEEPEST = 0.4  # height over rim: a cap not steeper than 44 degrees, so that it climbs out again
_LAND_MM = 0.4  # face left between two bumps' places; their hollows take a little of it
_EDGE_MM = 0.15  # face left beside the eye's rim and around the pin's bore
_DEEPER_MM = 0.05  # the hollow lies this much below the bump, so that the faces still meet beside it
_PLAY_MM = 0.06  # by which a hollow is wider all round, so that a bump finds it in print
_ROOTED_MM = 0.4
_BESIDE_MM = 0.3  # leaf on either side of the eye's slot
_SPARE_MM = 0.03  # that facets and the steps of a proof may ask more than is drawn
_BEYOND_MM = 0.1  # leaf between the slot's end and its root


_LYING = np.array([[0, 0, 1, 0], [1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 0, 1]], dtype=np.float64)


@dataclass(frozen=True)
class Detent:
    """One hinge's bumps and hollows (mm).

    step_deg   from rest to rest
    arm_mm     from the pin's axis to a bump's middle
    rim_mm, height_mm   of the cap that a bump is
    leaf_mm, length_mm, width_mm   of what gives; length from its root to the bump
    slit_mm    behind the leaf; 0 where the whole ear gives
    give_mm    how far the leaf may be pressed out within the material's strain, the squeeze included
    squeeze_mm of the faces beside the bump
    """

    step_deg: float
    arm_mm: float
    rim_mm: float
    height_mm: float
    leaf_mm: float
    length_mm: float
    width_mm: float
    slit_mm: float
    give_mm: float
    squeeze_mm: float

    @property
    def behind_mm(self) -> float:
        """From the tongue's ear face to where solid ear begins again; 0 without a slit."""
        return self.leaf_mm + self.slit_mm if self.slit_mm else 0.0


def detent(
    step_deg: float,
    eye_mm: float,
    reach_mm: float,
    bore_mm: float,
    ears_mm: tuple[float, float],
    clearance_mm: float,
    blind_mm: float,
    stock: Stock,
) -> Detent | None:
    """The detent that a hinge has room for; None where its hollows would run into one another or nothing gives enough.

    eye_mm, reach_mm   radii of the eye and of its slot; bore_mm that of the pin's bore
    ears_mm    thickness of the two ears; blind_mm what the pin's blind end needs of the far one
    """  # fmt: skip
    squeeze = max(0.0, -clearance_mm)
    inner, outer = bore_mm + _EDGE_MM, eye_mm - _EDGE_MM
    # The wider a bump the shorter its arm, and the way from rest to rest has to hold it: 2r + land = step·(outer − r).
    step = math.radians(step_deg)
    rim = min(_WIDEST_MM, 0.5 * (outer - inner), (step * outer - _LAND_MM) / (2.0 + step))
    rim = math.floor(100.0 * rim) / 100.0
    if rim < _NARROWEST_MM:
        return None
    arm = outer - rim
    length = arm + reach_mm + _BEYOND_MM
    height = min(_HIGHEST_MM, _STEEPEST * rim)
    # A cantilever pressed at the bump: t = 2·ε·l²/(3·y).
    leaf = stock.strain * length**2 / (1.5 * (height + squeeze + _SPARE_MM))
    slit = max(0.5, 1.25 * stock.gap_mm)
    thin = min(ears_mm)
    if thin >= leaf + slit + blind_mm and leaf >= stock.wall_mm:
        leaf = math.floor(100.0 * min(leaf, 0.4 * length)) / 100.0
    else:
        leaf, slit = thin, 0.0
        height = min(
            height, math.floor(100.0 * (stock.strain * length**2 / (1.5 * max(ears_mm)) - squeeze - _SPARE_MM)) / 100.0
        )
    if height < _LOWEST_MM:
        return None
    thickest = leaf if slit else max(ears_mm)
    give = stock.strain * length**2 / (1.5 * thickest)
    return Detent(step_deg, arm, rim, height, leaf, length, 2.0 * (reach_mm + _BESIDE_MM), slit, give, squeeze)


def stiffness_n_mm(d: Detent, stock: Stock) -> float:
    """Force over deflection of one leaf at its bump, with the give of its shear."""
    per_mm = snap.strain(1.0, d.length_mm, d.leaf_mm)
    force = snap.deflection_force_n(1.0, d.width_mm, d.leaf_mm, d.length_mm, stock.modulus_mpa) * per_mm
    return force / (1.0 + snap.shear_share(d.length_mm, min(d.leaf_mm, d.length_mm), stock.poisson))


def torque_nmm(d: Detent, stock: Stock) -> float:
    """What turns both bumps out of their hollows."""
    one = climb_torque_nmm(stiffness_n_mm(d, stock), d.squeeze_mm, d.rim_mm, d.height_mm, stock.friction, d.arm_mm)
    return 2.0 * one


def bumps(d: Detent, face_mm: float) -> Solid:
    """Both bumps, on ear faces at x = ±``face_mm``, rooted in the ears; to be added to the knuckle."""
    return union([_cap(d, side, face_mm, 0.0, d.rim_mm, d.height_mm) for side in (-1.0, 1.0)], "bumps")


def hollows(d: Detent, face_mm: float, swing_deg: tuple[float, float]) -> Solid:
    """The hollows of both faces, x = ±``face_mm``, of a tongue that swings so far; to be taken from the tongue."""
    low, high = swing_deg
    # Turned by an angle, the tongue brings to the bump what lay as far on the other side.
    rests = range(math.floor(low / d.step_deg), math.ceil(high / d.step_deg) + 1)
    deep = d.height_mm + _DEEPER_MM
    tools = [_cap(d, side, face_mm, -k * d.step_deg, d.rim_mm + _PLAY_MM, deep) for k in rests for side in (-1.0, 1.0)]
    return union(tools, "hollows")


def slits(d: Detent, face_mm: float, room_mm: float, below_mm: float, reach_mm: float) -> Solid | None:
    """What frees both leaves from their ears: behind them and along their sides, open to the round cut.

    face_mm     the ears' faces beside the eye, room_mm those beside the tongue's neck, both from the middle
    below_mm    how far down the knuckle's flesh goes; reach_mm  radius of the eye's slot, beyond which the root lies

    Between the ears the room is made as wide as the slits, so that no strip of flesh ties a leaf to the middle.
    """
    if not d.slit_mm:
        return None
    half, low, high = 0.5 * d.width_mm, -below_mm - 1.0, reach_mm + _BEYOND_MM
    inner, behind, outer = face_mm, face_mm + d.leaf_mm, face_mm + d.leaf_mm + d.slit_mm
    one = [
        box((behind, -half - d.slit_mm, low), (outer, half + d.slit_mm, high)),
        box((inner, half, low), (outer, half + d.slit_mm, high)),
        box((inner, -half - d.slit_mm, low), (outer, -half, high)),
    ]
    wide = box((-room_mm, -half - d.slit_mm, low), (room_mm, half + d.slit_mm, high))
    eye = cylinder(reach_mm, -room_mm - 1.0, room_mm + 1.0).transformed(_LYING)
    wide = subtract(wide, [eye], "room beside the leaves")
    turned = np.diag([-1.0, -1.0, 1.0, 1.0])
    return union([wide, *one, *(b.transformed(turned) for b in one)], "slits")


def _cap(d: Detent, side: float, face_mm: float, turn_deg: float, rim_mm: float, height_mm: float) -> Solid:
    """A cap over the plane x = ±face that points to the middle, with a root on the other side of the plane."""
    ball = cap_radius_mm(rim_mm, height_mm)
    angle = math.radians(turn_deg - 90.0)
    middle = (side * (face_mm - height_mm + ball), d.arm_mm * math.cos(angle), d.arm_mm * math.sin(angle))
    return sphere(ball).translated(middle).trimmed((-side, 0.0, 0.0), -(face_mm + _ROOTED_MM))
