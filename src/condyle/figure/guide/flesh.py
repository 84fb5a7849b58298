"""The least flesh of a skeleton: limbs just thick enough to be cut, so that a sculpt of no more is parted with every joint.

Around each joint a limb is round, as thick as the widest of what its hardware needs there, walls included, and a little more
for sections that are taken every millimetre. Between joints it runs on evenly from one thickness to the next. The result is
held to the choosing of sizes, which any sculpt meets; a joint that still found no room gets thicker flesh, by steps.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from condyle.figure.layfigure import LayFigure
from condyle.figure.parting.choice import choose
from condyle.figure.parting.plan import Half, Plan
from condyle.figure.skeleton import SeatedJoint
from condyle.figure.stance import is_limb_root, joints_of, trunk_axis
from condyle.geometry.locality import Locality
from condyle.geometry.mesh import FloatArray
from condyle.geometry.primitives import cylinder, sphere
from condyle.geometry.solid import Solid, hull, union
from condyle.joints.design import Need
from condyle.joints.stock import Stock, stock_of
from condyle.workshop.bench import Workshop

_ROD_WALLS = 2.0
_SPARE_MM = 0.2
_BEYOND_MM = 1.0
_STEP_MM = 0.25
_ROUNDS = 8
_LEAST_SLANT = 0.5
_ROUND_STEPS = 3  # every so many of a ball's vertices make the end of a cone


@dataclass(frozen=True, eq=False)
class Flesh:
    """Least flesh, figure coordinates, mm.

    bones    by bone (and ``JOINT_link``); where two bones meet they overlap, for it is the cut that parts them
    radius   by joint: how thick the limb is there
    lacking  joints that found no room in it all the same, after the last step
    """

    bones: dict[str, Solid]
    radius_mm: dict[str, float]
    lacking: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Leg:
    """A round limb from one place to another: its centres, and its radius at either end."""

    start: FloatArray
    stop: FloatArray
    start_mm: float
    stop_mm: float

    @property
    def length_mm(self) -> float:
        return float(np.linalg.norm(self.stop - self.start))

    def points(self, after_mm: float = 0.0) -> FloatArray:
        """Points (n, 3) whose hull is the limb, from a distance along it on."""
        share = after_mm / self.length_mm if self.length_mm > 0.0 else 0.0
        first = self.start + share * (self.stop - self.start)
        radius = self.start_mm + share * (self.stop_mm - self.start_mm)
        return np.concatenate([_ball(radius) + first, _ball(self.stop_mm) + self.stop])


def least_flesh(lay: LayFigure, plans: Sequence[Plan], joints: Sequence[SeatedJoint], workshop: Workshop) -> Flesh:
    """The least flesh for the hardware of ``plans``, and nothing else; ``joints`` are theirs with kind and size fixed."""
    stock = stock_of(workshop)
    more: dict[str, float] = {}
    for _ in range(_ROUNDS):
        radius = {p.joint.name: _widest(p) + more.get(p.joint.name, 0.0) for p in plans}
        bones = _bones(lay, plans, radius, stock)
        body = Locality(union(list(bones.values()), "least flesh").mesh)
        refused = [r.joint.name for r in choose(joints, {}, body, workshop.fits, workshop.kerf_mm, stock).refusals]
        if not refused:
            return Flesh(bones, radius)
        more.update({name: more.get(name, 0.0) + _STEP_MM for name in refused})
    return Flesh(bones, radius, tuple(refused))


def legs_of(lay: LayFigure, bone: str, radius_mm: Mapping[str, float], stock: Stock) -> tuple[Leg, ...]:
    """The limbs of a bone: from the joint that carries it, or the middle of all, to each further joint, or to its tip.

    Limbs beside a trunk are reached from its axis along their own cut, so that the trunk's flesh comes nowhere near what
    turns there.
    """
    carrying, further = joints_of(lay.skeleton, bone)
    at = {j.name: j.frame.origin for j in lay.joints}
    rod = _ROD_WALLS * stock.wall_mm
    thick = {j.name: radius_mm.get(j.name, rod) for j in lay.joints}
    beside = [j for j in further if is_limb_root(lay.skeleton, j)]
    legs = []
    if len(further) < 2 or not beside:
        ends = [(at[j.name], thick[j.name]) for j in further] or [(lay.tips[bone], rod)]
        start = at[carrying.name] if carrying is not None else np.mean([place for place, _ in ends], axis=0)
        start_mm = thick[carrying.name] if carrying is not None else min(r for _, r in ends)
        legs = [Leg(start, stop, start_mm, stop_mm) for stop, stop_mm in ends]
    else:
        start, stop = trunk_axis(lay.skeleton, bone, at)
        along = (stop - start) / max(float(np.linalg.norm(stop - start)), 1e-9)
        start_mm = thick[carrying.name] if carrying is not None else min(thick[j.name] for j in further)
        on_axis = [(at[j.name], thick[j.name]) for j in further if j not in beside] or [(stop, start_mm)]
        legs = [Leg(start, place, start_mm, r) for place, r in on_axis]
        seated = {j.name: j for j in lay.joints}
        for joint in beside:
            here, r = at[joint.name], thick[joint.name]
            off = (here - start) - along * float((here - start) @ along)
            way = np.asarray(seated[joint.name].cut_axis)
            away = float(np.linalg.norm(off))
            root = here - way * (away / max(float(way @ off) / max(away, 1e-9), _LEAST_SLANT))
            foot = start + along * float(np.clip((root - start) @ along, 0.0, float((stop - start) @ along)))
            legs += [Leg(root, here, r, r), Leg(foot, root, r, r)]
    return tuple(leg for leg in legs if leg.length_mm > 0.5)


def _bones(lay: LayFigure, plans: Sequence[Plan], radius: Mapping[str, float], stock: Stock) -> dict[str, Solid]:
    pieces: dict[str, list[Solid]] = {}
    for plan in plans:
        spec = plan.joint.spec
        names = {"parent": spec.parent, "child": spec.child, "link": f"{spec.name}_link"}
        for half in plan.halves:
            cup, knuckle = _about(half, radius[spec.name])
            pieces.setdefault(names[half.cup_side], []).append(cup)
            pieces.setdefault(names[half.knuckle_side], []).append(knuckle)
    for bone in lay.skeleton.bones:
        for leg in legs_of(lay, bone.name, radius, stock):
            pieces.setdefault(bone.name, []).append(hull(leg.points(), f"limb of {bone.name}"))
    whole = {name: union(solids, name) for name, solids in pieces.items()}
    # Feet stand on the ground, however thick the limb is above it.
    return {name: solid.trimmed((0.0, 0.0, 1.0), 0.0) for name, solid in whole.items() if solid.bounds[1, 2] > 0.0}


def _about(half: Half, radius: float) -> tuple[Solid, Solid]:
    """The round limb on either side of one cut: the cup's up to the centre, the knuckle's as far down as its cut."""
    low, high = min(n.z0 for n in half.needs) - _BEYOND_MM, max(n.z1 for n in half.needs) + _BEYOND_MM
    cup = cylinder(radius, min(low, -_BEYOND_MM), 0.0, "outside")
    knuckle = cylinder(radius, -min(radius, 0.8 * half.cut.radius_mm), max(high, _BEYOND_MM), "outside")
    return cup.transformed(half.frame.matrix), knuckle.transformed(half.frame.matrix)


def _widest(plan: Plan) -> float:
    return max((_reach(need) for half in plan.halves for need in half.needs), default=0.0) + _SPARE_MM


def _reach(need: Need) -> float:
    return need.half_x if need.rounded else math.hypot(need.half_x, need.half_y)


def _ball(radius: float) -> FloatArray:
    return sphere(radius).mesh.vertices[::_ROUND_STEPS]
