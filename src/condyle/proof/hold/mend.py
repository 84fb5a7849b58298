"""What would make a joint hold, tried: a lighter inside beyond it, more interference, a larger size."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from condyle.figure.kit import BuiltJoint
from condyle.joints import ball
from condyle.joints.design import Cut
from condyle.joints.stock import Stock
from condyle.proof.hold.capacity import slope_nmm_mm

_LIGHT = 0.05
_MOST_GRIP_MM = 0.12
"""More drawn interference than this is not what a printer's fit is about."""


@dataclass(frozen=True)
class Remedy:
    """A change that was tried.

    value     fill (a share), clearance_mm, or size in mm
    factor    torque over load after it, recomputed
    enough    whether that reaches what is wanted
    """

    what: Literal["fill", "clearance_mm", "size"]
    value: float
    factor: float
    enough: bool

    @property
    def words(self) -> str:
        told = {
            "fill": f"fill = {self.value:.2f} beyond it",
            "clearance_mm": f"clearance_mm = {self.value:.3f}",
            "size": f"a size of {self.value:g} mm, where the limb has room",
        }[self.what]
        return f"tried {told}: holds {self.factor:.1f} times the load" + ("" if self.enough else ", not enough alone")


def mend(
    joint: BuiltJoint,
    hold_nmm: float,
    load_nmm: float,
    wanted_factor: float,
    stock: Stock,
    limb_mm: float,
    light_load: Callable[[float], float] | None,
) -> list[Remedy]:
    """Remedies for a joint that holds less than wanted, gentlest first; each recomputed, none guessed.

    limb_mm is the inscribed radius of the limb around the joint; ``light_load`` gives the load with another fill beyond, None
    where parts are printed full. Interference is tried up to what the material's strain allows. A larger ball is designed
    anew (not parted: whether the limb has room is said by ``make``).
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
    if joint.seated.spec.kind == "ball":
        for size in ball.SIZES_MM:
            if joint.size_mm is not None and size > joint.size_mm:
                larger = _larger_ball(joint, size, stock, limb_mm)
                if larger is not None:
                    out.append(Remedy("size", size, larger / load_nmm, larger >= wanted_factor * load_nmm))
                    if out[-1].enough:
                        break
    return out


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


def _larger_ball(joint: BuiltJoint, size: float, stock: Stock, limb_mm: float) -> float | None:
    """What a ball of another size would hold, designed as parting would: deep jaws first, then fingers."""
    clearance = joint.clearance_mm or 0.0
    room = max(limb_mm, 0.5 * size + 2.0 * stock.wall_mm)
    best: float | None = None
    for socket in ("slit", "split"):
        shape = ball.shape(size, "slit" if socket == "slit" else "split", clearance, room, stock)
        if shape is None:
            continue
        cut = Cut("sphere", ball.smallest_cut_mm(shape, stock), joint.kerf_mm or 0.3)
        hold = ball.design(shape, cut, clearance, 0.8 * cut.radius_mm, room, stock).hold_nmm
        if hold is not None and (best is None or hold > best):
            best = hold
    return best
