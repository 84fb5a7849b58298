"""From a plan to hardware in figure coordinates: what each side takes away, adds and bores."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from condyle.figure.parting.beside import kept_to_limb
from condyle.figure.parting.plan import Half, Plan, middle_plane
from condyle.geometry.primitives import box, cylinder, sphere
from condyle.geometry.solid import Solid, intersect, remainder, subtract, union
from condyle.joints import ball, custom, hinge, peg, swivel
from condyle.joints.design import Cut, JointDesign, SideTools
from condyle.joints.stock import Stock

_LYING = np.array([[0, 0, 1, 0], [1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 0, 1]], dtype=np.float64)


@dataclass(frozen=True, eq=False)
class Placed:
    """One half's design, and its solids in figure coordinates by side (``parent``, ``child``, ``link``)."""

    half: Half
    design: JointDesign
    take: dict[str, Solid]
    add: dict[str, Solid]
    bore: dict[str, Solid]
    bearing: Solid

    @cached_property
    def hollow(self) -> Solid | None:
        """What the cup's flesh loses beside the kerf, short of the middle of it."""
        tools = self.take.get(self.half.cup_side)
        return (
            None
            if tools is None
            else remainder(tools, [_knuckle_side(self.half.cut).transformed(self.half.frame.matrix)])
        )

    @cached_property
    def cavity(self) -> Solid | None:
        """What the knuckle's flesh loses beside the kerf: its cavity, and the bore through it."""
        side = self.half.knuckle_side
        tools = [store[side] for store in (self.take, self.bore) if side in store]
        return union(tools, "cavity") if tools else None


@dataclass(frozen=True, eq=False)
class Hardware:
    """All hardware of one joint."""

    plan: Plan
    placed: tuple[Placed, ...]
    _added: dict[str, list[Solid]] = field(default_factory=dict, init=False, repr=False)

    def cavities(self) -> list[Solid]:
        """What the flesh loses to this joint beside the kerf: cavities, and bores where they go through flesh."""
        return [c for c in (p.cavity for p in self.placed) if c is not None]

    def added(self, side: str) -> list[Solid]:
        """What one side gains, already bored; made when first asked for and kept."""
        if side in self._added:
            return self._added[side]
        found = self._added[side] = []
        for p in self.placed:
            if side in p.add:
                bores = [p.bore[side]] if side in p.bore else []
                found.append(subtract(p.add[side], bores, f"hardware of {self.plan.joint.name}"))
        return found


def hardware_of(plan: Plan, stock: Stock) -> Hardware:
    """Make the hardware of a plan."""
    return Hardware(plan, tuple(_place(half, _design(half, plan, stock)) for half in plan.halves))


def _design(half: Half, plan: Plan, stock: Stock) -> JointDesign:
    shape = half.shape
    if isinstance(shape, ball.BallShape):
        seen = half.prospect
        near = [s for s in seen.between(-0.85 * half.cut.radius_mm, 0.0) if s.limb is not None]
        limb = min((s.inradius_mm for s in near), default=half.cut.radius_mm)
        mouth = max(min(limb, half.cut.radius_mm) - stock.wall_mm, 0.0)
        # Below z = 0 the knuckle is no wider than the cut itself.
        above = [s.reach_mm for s in seen.between(0.0, 0.5 * shape.root_z) if s.limb is not None]
        reach = max(half.cut.radius_mm, *above) if above else half.cut.radius_mm
        return ball.design(shape, half.cut, plan.clearance_mm, mouth, reach + 0.3, stock)
    if isinstance(shape, hinge.HingeShape):
        flesh = middle_plane(half, shape.tongue)
        return hinge.design(
            shape,
            half.cut,
            plan.clearance_mm,
            half.swing_deg,
            half.skin_mm,
            half.mouth_side,
            stock,
            flesh,
            half.detent_deg,
        )
    if isinstance(shape, swivel.SwivelShape):
        return swivel.design(shape, half.cut, plan.clearance_mm, stock)
    if isinstance(shape, custom.CustomShape):
        return custom.design(shape, half.cut)
    return peg.design(shape, half.cut, plan.clearance_mm)


def _place(half: Half, design: JointDesign) -> Placed:
    matrix = half.frame.matrix
    knuckle = design.knuckle
    if knuckle.take is not None:
        # Room for the other side's hardware ends in the kerf: nothing beyond it is this side's flesh.
        own = intersect(knuckle.take, _knuckle_side(design.cut), "cavity")
        knuckle = SideTools(own, knuckle.add, knuckle.bore)
    bored = None if knuckle.bore is None else kept_to_limb(knuckle.bore, half.prospect)
    taken = None if knuckle.take is None else kept_to_limb(knuckle.take, half.prospect)
    knuckle = SideTools(taken, knuckle.add, bored)
    take: dict[str, Solid] = {}
    add: dict[str, Solid] = {}
    bore: dict[str, Solid] = {}
    for side, tools in ((half.cup_side, design.cup), (half.knuckle_side, knuckle)):
        for store, solid in ((take, tools.take), (add, tools.add), (bore, tools.bore)):
            if solid is not None:
                store[side] = solid.transformed(matrix)
    return Placed(half, design, take, add, bore, design.bearing.transformed(matrix))


def _knuckle_side(cut: Cut) -> Solid:
    """All that lies on the knuckle's side of the middle of the kerf, as far as hardware reaches."""
    far, half = 60.0, 0.5 * cut.kerf_mm
    above = box((-far, -far, -half), (far, far, far))
    if cut.shape == "plane":
        return above
    if cut.shape == "sphere":
        return union([above, sphere(cut.radius_mm + half)], "knuckle side")
    barrel = cylinder(cut.radius_mm + half, -far, far).transformed(_LYING)
    return union([above, barrel], "knuckle side")
