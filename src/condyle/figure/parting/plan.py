"""A plan for one joint: family, size and cut, with the flesh that it claims, before any hardware is made."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from condyle.figure.parting.site import Prospect
from condyle.figure.skeleton import Kind, SeatedJoint
from condyle.geometry.frame import Frame
from condyle.geometry.polygons import Region, disc, rectangle, region_from_rings
from condyle.joints.ball import BallShape
from condyle.joints.custom import CustomShape
from condyle.joints.design import Cut, Need
from condyle.joints.hinge import HingeShape
from condyle.joints.peg import PegShape
from condyle.joints.swivel import SwivelShape

Shape = BallShape | HingeShape | SwivelShape | PegShape | CustomShape


@dataclass(frozen=True, eq=False)
class Half:
    """One cut of a joint with its hardware; a double hinge has two, each with the link as its knuckle.

    cup_side, knuckle_side  ``parent``, ``child`` or ``link``
    swing_deg   a hinge tongue's turn relative to the knuckle, about x of the knuckle frame
    skin_mm     distances to the skin along -x and +x
    mouth_side  on which side, in x, a pin goes in
    detent_deg  from rest to rest of this axle alone; 0 for a hinge without detents
    """

    prospect: Prospect
    frame: Frame
    cup_side: str
    knuckle_side: str
    shape: Shape
    cut: Cut
    needs: tuple[Need, ...]
    swing_deg: tuple[float, float] = (0.0, 0.0)
    skin_mm: tuple[float, float] = (0.0, 0.0)
    mouth_side: int = 1
    detent_deg: float = 0.0


@dataclass(frozen=True, eq=False)
class Plan:
    """All of one joint: its halves, and how much it is liked (higher is better).

    ``variant`` names the form apart from the limb's own measures, so that a left and a right joint can be made alike.
    ``instead_of`` is the family that was asked for, where that one found no room. ``insert`` is ``stud`` where the ball
    would break before it lets go and its stud is to be a part of its own, which can be replaced.
    """

    joint: SeatedJoint
    kind: Kind
    size_mm: float
    clearance_mm: float
    halves: tuple[Half, ...]
    liking: float
    socket: str = ""
    flare_mm: float = 0.0
    wide_mm: float = 0.0
    variant: tuple[float | str | bool, ...] = ()
    instead_of: str = ""
    insert: Literal["", "stud"] = ""


@dataclass(frozen=True)
class Lack:
    """Why a family does not fit: the flesh that is missing for its smallest size, and where (knuckle frame height)."""

    size_mm: float
    missing_mm: float
    z_mm: float
    reason: str = ""


def middle_plane(half: Half, width_mm: float) -> Region | None:
    """The knuckle's flesh across a hinge's axis, (y, z) of the knuckle frame; None where the axis lies outside.

    The least that sections at whole millimetres have within ``width_mm`` about the middle.
    """
    low, high, heights = [], [], []
    above = 2.0 * half.cut.radius_mm
    for z in np.arange(-math.ceil(half.cut.radius_mm), math.ceil(above) + 1.0):
        limb = half.prospect.at(float(z)).limb
        if limb is None:
            continue
        across = (-0.5 * width_mm, 0.0, 0.5 * width_mm)
        low.append(min(limb.span((x, 0.0), (0.0, -1.0)) for x in across))
        high.append(min(limb.span((x, 0.0), (0.0, 1.0)) for x in across))
        heights.append(float(z))
    if len(heights) < 2:
        return None
    one = np.column_stack([high, heights])
    other = np.column_stack([np.negative(low), heights])[::-1]
    flesh = region_from_rings([np.concatenate([one, other])])
    far = 2.0 * above + 10.0
    knuckle = disc((0.0, 0.0), half.cut.radius_mm) | rectangle((-far, 0.0), (far, far))
    return flesh & knuckle


def lack(prospect: Prospect, needs: tuple[Need, ...]) -> tuple[float, float]:
    """How much flesh is missing for the needs, mm (0 when they are met), and at which height."""
    worst, where = 0.0, 0.0
    for need in needs:
        steps = max(1, round(need.z1 - need.z0))
        if need.rounded:
            least, z = prospect.thinnest(need.z0, need.z1, steps)
            if need.half_x - least > worst:
                worst, where = need.half_x - least, z
            continue
        for k in range(steps + 1):
            z = need.z0 + (need.z1 - need.z0) * k / steps
            missing = _missing(prospect, z, need)
            if missing > worst:
                worst, where = missing, z
    return worst, where


def _missing(prospect: Prospect, z: float, need: Need) -> float:
    if prospect.inradius_mm(z) >= math.hypot(need.half_x, need.half_y):
        return 0.0
    limb = prospect.at(z).limb
    if limb is None:
        return max(need.half_x, need.half_y)
    wanted = rectangle((-need.half_x, -need.half_y), (need.half_x, need.half_y))
    if limb.contains(wanted):
        return 0.0
    for grow in (0.1, 0.2, 0.4, 0.6, 0.8, 1.0, 1.5, 2.0, 3.0):
        if limb.offset(grow).contains(wanted):
            return grow
    return 4.0
