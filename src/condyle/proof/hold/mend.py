"""What would make a joint hold: a lighter inside beyond it, weighed again; more interference or a larger size, worked out.

What is worked out here is what a trial then parts and measures (``proof.carry_trial``).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from condyle.figure.kit import BuiltJoint
from condyle.joints import ball
from condyle.joints.stock import Stock
from condyle.proof.hold.capacity import slope_nmm_mm

_LIGHT = 0.05
_MOST_GRIP_MM = 0.12
"""More drawn interference than this is not what a printer's fit is about."""

_HAND_N = 40.0
"""A ball that is to mend must still go in by hand."""


@dataclass(frozen=True)
class Remedy:
    """A change that may mend.

    value     fill (a share), clearance_mm, or size in mm; with a size the clearance_mm that goes with it, None for its fit's
    factor    torque over load after it: of the same pose weighed again for a fill, else as the joint's design gives it
    enough    whether that reaches what is wanted
    """

    what: Literal["fill", "clearance_mm", "size"]
    value: float
    factor: float
    enough: bool
    clearance_mm: float | None = None

    @property
    def words(self) -> str:
        told = {
            "fill": f"tried fill = {self.value:.2f} beyond it, weighed again",
            "clearance_mm": f"worked out, clearance_mm = {self.value:.3f}",
            "size": f"worked out, size = {self.value:g}"
            + ("" if self.clearance_mm is None else f" and clearance_mm = {self.clearance_mm:.3f}"),
        }[self.what]
        return f"{told}: holds {self.factor:.1f} times the load" + ("" if self.enough else ", not enough alone")


def mend(
    joint: BuiltJoint,
    hold_nmm: float,
    load_nmm: float,
    wanted_factor: float,
    stock: Stock,
    limb_mm: float,
    light_load: Callable[[float], float] | None,
) -> list[Remedy]:
    """Remedies for a joint that holds less than wanted, gentlest first.

    limb_mm is the inscribed radius of the limb around the joint; ``light_load`` gives the load with another fill beyond, None
    where parts are printed full. Interference is taken up to what the material's strain allows at the lip that the joint has.
    A larger ball is designed anew, not parted.
    """
    out: list[Remedy] = []
    if load_nmm <= 0.0:
        return out
    if light_load is not None:
        lighter = light_load(_LIGHT)
        factor = hold_nmm / lighter if lighter > 0.0 else 0.0
        if lighter < 0.98 * load_nmm:
            out.append(Remedy("fill", _LIGHT, factor, factor >= wanted_factor))
    tighter = _tighter(joint, hold_nmm, wanted_factor * load_nmm, stock)
    if tighter is not None:
        clearance, hold = tighter
        out.append(Remedy("clearance_mm", clearance, hold / load_nmm, hold >= wanted_factor * load_nmm))
    if joint.seated.spec.kind == "ball" and joint.size_mm is not None:
        out += _other_balls(joint, joint.size_mm, load_nmm, wanted_factor, stock, limb_mm)
    return out


def _other_balls(
    joint: BuiltJoint, size_mm: float, load_nmm: float, wanted_factor: float, stock: Stock, limb_mm: float
) -> list[Remedy]:
    """The smallest ball that holds enough in the socket that parting likes best, fingers, or jaws where none flex; before it the
    best that the next smaller gives.

    The lip is drawn anew for each: a tighter seat takes a lower one, which may let go too soon.
    """
    fit = joint.clearance_mm or 0.0
    best: Remedy | None = None
    for size in (s for s in ball.SIZES_MM if s >= size_mm):
        room = max(limb_mm, 0.5 * size + 2.0 * stock.wall_mm)
        here: Remedy | None = None
        for grip in np.arange(max(0.0, -fit), _MOST_GRIP_MM, 0.01):
            clearance = round(-float(grip), 3) if grip > 0.0 else fit
            shape = ball.shape(size, "slit", clearance, room, stock) or ball.shape(
                size, "split", clearance, room, stock
            )
            as_it_is = size == size_mm and clearance == fit
            if shape is None or as_it_is or not ball.LEAST_PULL_N <= shape.passing_n <= _HAND_N:
                continue
            factor = ball.hold_nmm(shape, clearance, stock) / load_nmm
            told = None if clearance == fit else clearance
            here = Remedy("size", size, factor, factor >= wanted_factor, told)
            if here.enough:
                return [best, here] if best is not None and best.value > size_mm else [here]
        if here is not None and (best is None or here.factor > best.factor):
            best = here
    return [best] if best is not None else []


def _tighter(joint: BuiltJoint, hold_nmm: float, wanted_nmm: float, stock: Stock) -> tuple[float, float] | None:
    """The clearance that would hold enough, and what it holds; the tightest that the strain allows where none does."""
    clearance = joint.clearance_mm or 0.0
    grip = max(0.0, -clearance)
    slope = hold_nmm / grip if grip > 0.0 else slope_nmm_mm(joint, stock.friction)
    if slope <= 0.0:
        return None
    needed = wanted_nmm / slope
    allowed = _MOST_GRIP_MM
    if joint.snap_strain:
        # A lip that is bent by its undercut already is bent further by every hundredth that the seat gets narrower.
        give = joint.undercut_mm if joint.undercut_mm > 0.0 else grip
        spare = max(0.0, stock.strain / joint.snap_strain - 1.0) * give
        allowed = min(allowed, grip + spare)
    tight = min(needed, allowed)
    if tight <= grip + 1e-6:
        return None
    return round(-tight, 3), slope * tight
