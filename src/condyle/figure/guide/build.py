"""The sculptor's guide of a skeleton: what must be flesh, what must stay free, and where every joint is, at true size.

Sizes are chosen on the skeleton's lay figure, all joints together, as they would be in a sculpt. The flesh drawn here is the
least that is parted with this hardware at these centres; a sculpt may be stouter wherever it likes, and thinner nowhere.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from condyle.figure.guide.flesh import Flesh, least_flesh, legs_of
from condyle.figure.layfigure import LayFigure
from condyle.figure.parting.choice import choose
from condyle.figure.parting.hardware import Hardware, hardware_of
from condyle.figure.parting.plan import Plan
from condyle.figure.skeleton import SeatedJoint
from condyle.figure.stance import joints_of
from condyle.geometry.frame import rotation_about
from condyle.geometry.locality import Locality
from condyle.geometry.solid import Solid, hull, union
from condyle.joints.stock import Stock, stock_of
from condyle.workshop.bench import Workshop

_STEP_DEG = 15.0
_LEAST_SWEEP_MM = 2.0


@dataclass(frozen=True, eq=False)
class Guide:
    """A guide, figure coordinates, mm.

    joints     those that found room, with the kind and size that they get; refused holds the names of the others: no room
               on the lay figure, or none in the least flesh however much thicker it was made
    flesh      by bone (and ``JOINT_link``): the least that must be there to be parted; at joints two bones overlap
    hardware   by joint: what is added to the parts
    cavities   by joint: the room that is taken out of the flesh for it
    sweeps     by joint: where the least flesh of the child passes in the wanted motions; keep it free of other flesh
    """

    height_mm: float
    joints: tuple[SeatedJoint, ...]
    refused: tuple[str, ...]
    flesh: dict[str, Solid]
    hardware: dict[str, Solid]
    cavities: dict[str, Solid]
    sweeps: dict[str, Solid]


def sculptors_guide(lay: LayFigure, workshop: Workshop) -> Guide:
    """The guide of a lay figure's skeleton in a workshop."""
    stock = stock_of(workshop)
    choice = choose(lay.joints, {}, Locality(lay.sculpt.mesh), workshop.fits, workshop.kerf_mm, stock)
    made = {p.joint.name: hardware_of(p, stock) for p in choice.plans}
    plans = {p.joint.name: p for p in choice.plans}
    joints = tuple(
        replace(
            j,
            spec=replace(
                j.spec, kind=plans[j.name].kind, size=plans[j.name].size_mm if j.spec.custom is None else None
            ),
        )
        for j in lay.joints
        if j.name in plans
    )
    flesh = least_flesh(lay, choice.plans, joints, workshop)
    hardware = {n: union(added, n) for n, h in made.items() if (added := _added(h))}
    cavities = {n: union(taken, n) for n, h in made.items() if (taken := h.cavities())}
    sweeps = {n: swept for n in plans if (swept := _sweep(lay, plans[n], flesh, stock)) is not None}
    return Guide(
        height_mm=lay.skeleton.height_mm,
        joints=tuple(j for j in joints if j.name not in flesh.lacking),
        refused=(*(r.joint.name for r in choice.refusals), *flesh.lacking),
        flesh=flesh.bones,
        hardware=hardware,
        cavities=cavities,
        sweeps=sweeps,
    )


def _added(hardware: Hardware) -> list[Solid]:
    return [s for side in ("parent", "child", "link") for s in hardware.added(side)]


def _sweep(lay: LayFigure, plan: Plan, flesh: Flesh, stock: Stock) -> Solid | None:
    """Where the child's least flesh passes: hulls of neighbouring positions, every 15 degrees.

    A hull covers a little more than the sweep, by at most 1 % of the limb's length; twists sweep nothing new. Of a trunk only
    the way to its first further joint is swept.
    """
    joint = plan.joint
    here = joint.frame.origin
    child = joint.spec.child
    leg = next(iter(legs_of(lay, child, flesh.radius_mm, stock)), None)
    half = plan.halves[-1]
    apart = 0.5 * float(np.linalg.norm(plan.halves[0].frame.origin - half.frame.origin))
    first = half.cut.cup_mm + flesh.radius_mm[joint.name] + apart
    if leg is None or leg.length_mm - first < _LEAST_SWEEP_MM:
        return None
    ends = leg.points(first) - here
    if len(joints_of(lay.skeleton, child)[1]) < 2:
        own = flesh.bones[child].mesh.vertices - here
        ends = np.concatenate([ends, own[np.linalg.norm(own, axis=1) > first]])
    hulls = []
    for motion, (low, high) in joint.spec.wanted.items():
        if motion == "twist" or motion not in joint.axes:
            continue
        rest = joint.rest.get(motion, 0.0)
        steps = max(2, int(np.ceil((high - low) / _STEP_DEG)) + 1)
        turned = [
            ends @ rotation_about(np.asarray(joint.axes[motion]), float(a)).T
            for a in np.linspace(low - rest, high - rest, steps)
        ]
        hulls += [hull(np.concatenate(pair) + here, "sweep") for pair in pairwise(turned)]
    return union(hulls, f"sweep of {joint.name}") if hulls else None
