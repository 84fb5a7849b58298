"""The least flesh that hardware of a given size needs around its joint."""

from __future__ import annotations

import math
from collections.abc import Sequence

from condyle.figure.skeleton import JointSpec
from condyle.joints import ball, custom, hinge, peg, swivel
from condyle.joints.design import Cut, Need
from condyle.joints.stock import Stock
from condyle.workshop.fits import Fits

_SPARE_MM = 0.15
_KERF_MM = 0.35
_ROOM_MM = 30.0


def needs_of(joint: JointSpec, size_mm: float | None, fits: Fits, stock: Stock) -> tuple[tuple[Need, ...], Cut]:
    """What a joint of a size needs, knuckle frame, and the smallest cut that covers it.

    For a ball, the hidden socket (``slit``) is taken where the material lets one be made, else the split one. Room for the peg
    of a stud of its own, where a small ball gets one, is not counted.
    """
    if joint.custom is not None:
        own = custom.shape(joint.custom)
        cut = Cut(joint.custom.shape, joint.custom.radius_mm, joint.custom.kerf_mm or _KERF_MM)
        return custom.needs(own, cut, stock), cut
    assert size_mm is not None
    clearance = fits.get(joint.kind, size_mm).clearance_mm
    if joint.kind == "ball":
        shape = ball.fingered(size_mm, clearance, stock)
        shape = shape or ball.shape(size_mm, "split", clearance, size_mm, stock)
        shape = shape or ball.shape(size_mm, "plain", clearance, _ROOM_MM, stock)
        if shape is not None:
            cut = Cut("sphere", round(ball.smallest_cut_mm(shape, stock), 2), _KERF_MM)
            return ball.needs(shape, cut, stock), cut
        return (), Cut("sphere", size_mm, _KERF_MM)
    if joint.kind in ("hinge", "double_hinge"):
        pin: hinge.Pin = "filament" if stock.process == "filament" else "metal"
        turning = hinge.shape(size_mm, pin, stock)
        cut = Cut("cylinder", round(hinge.smallest_cut_mm(turning, stock), 2), _KERF_MM)
        return hinge.needs(turning, cut, stock), cut
    flat = Cut("plane", 0.0, _KERF_MM)
    if joint.kind == "swivel":
        stud = next(
            (s for reach in swivel.REACHES if (s := swivel.shape(size_mm, clearance, stock, reach)) is not None), None
        )
        return (swivel.needs(stud, flat, stock) if stud is not None else ()), flat
    return peg.needs(peg.shape(size_mm), flat, stock), flat


def least_radius_mm(joint: JointSpec, fits: Fits, stock: Stock) -> float:
    """The smallest radius of a round limb that holds the joint's own size; 0 where no size is given."""
    if joint.size is None and joint.custom is None:
        return 0.0
    needs, cut = needs_of(joint, joint.size, fits, stock)
    return max([_reach(needs) + _SPARE_MM, cut.radius_mm / 1.2 if cut.radius_mm else 0.0])


def _reach(needs: Sequence[Need]) -> float:
    return max((n.half_x if n.rounded else math.hypot(n.half_x, n.half_y) for n in needs), default=0.0)
