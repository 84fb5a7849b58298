"""The sculptor's guide of a skeleton: what must be flesh, what must stay free, and where every joint is, at true size.

Sizes are chosen on the skeleton's lay figure, all joints together, as they would be in a sculpt; so a sculpt as stout as the
lay figure takes exactly this hardware at exactly these centres. The flesh drawn here is only what the hardware itself fills:
a limb of no more than that is too thin to be cut, by up to 2.5 mm all round at a shoulder; what is lacking is told then.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from condyle.figure.layfigure import LayFigure
from condyle.figure.parting.choice import choose
from condyle.figure.parting.hardware import Hardware, hardware_of
from condyle.figure.parting.plan import Half, Plan
from condyle.figure.skeleton import SeatedJoint
from condyle.figure.stance import joints_of
from condyle.geometry.frame import frame_from_zx, rotation_about
from condyle.geometry.locality import Locality
from condyle.geometry.mesh import FloatArray
from condyle.geometry.primitives import box, cylinder, sphere
from condyle.geometry.solid import Solid, hull, union
from condyle.joints.design import Need
from condyle.joints.stock import Stock, stock_of
from condyle.workshop.bench import Workshop

_ROD_WALLS = 2.0
_STEP_DEG = 15.0
_LEAST_SWEEP_MM = 2.0


@dataclass(frozen=True, eq=False)
class Guide:
    """A guide, figure coordinates, mm.

    joints     those that found room, with the kind and size that they get; refused holds the names of the others
    flesh      by bone (and ``JOINT_link``): the least that must be there, joined by a rod
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
    hardware = {n: union(added, n) for n, h in made.items() if (added := _added(h))}
    cavities = {n: union(taken, n) for n, h in made.items() if (taken := h.cavities())}
    sweeps = {n: swept for n in plans if (swept := _sweep(lay, plans[n])) is not None}
    return Guide(
        height_mm=lay.skeleton.height_mm,
        joints=joints,
        refused=tuple(r.joint.name for r in choice.refusals),
        flesh=_flesh(lay, choice.plans, stock),
        hardware=hardware,
        cavities=cavities,
        sweeps=sweeps,
    )


def _added(hardware: Hardware) -> list[Solid]:
    return [s for side in ("parent", "child", "link") for s in hardware.added(side)]


def _flesh(lay: LayFigure, plans: Sequence[Plan], stock: Stock) -> dict[str, Solid]:
    pieces: dict[str, list[Solid]] = {b.name: [] for b in lay.skeleton.bones}
    for plan in plans:
        spec = plan.joint.spec
        names = {"parent": spec.parent, "child": spec.child, "link": f"{spec.name}_link"}
        for half in plan.halves:
            for need in half.needs:
                side = half.cup_side if need.z1 <= -0.1 else half.knuckle_side
                pieces.setdefault(names[side], []).append(_need(half, need))
    rod = _ROD_WALLS * stock.wall_mm
    for bone in lay.skeleton.bones:
        pieces[bone.name] += _rods(lay, bone.name, rod)
    return {name: union(solids, name) for name, solids in pieces.items() if solids}


def _need(half: Half, need: Need) -> Solid:
    if need.rounded:
        form = cylinder(need.half_x, need.z0, need.z1, "outside")
    else:
        form = box((-need.half_x, -need.half_y, need.z0), (need.half_x, need.half_y, need.z1))
    return form.transformed(half.frame.matrix)


def _ends(lay: LayFigure, bone: str) -> list[FloatArray]:
    """The centres of a bone's joints, and its tip where it has no further one."""
    carrying, further = joints_of(lay.skeleton, bone)
    at = {j.name: j.frame.origin for j in lay.joints}
    points = [at[j.name] for j in (*([carrying] if carrying else []), *further)]
    return points + ([] if further else [lay.tips[bone]])


def _rods(lay: LayFigure, bone: str, radius: float) -> list[Solid]:
    """Thin rods that hold a bone's pieces together: from its first joint, or the middle of all, to each other one."""
    ends = _ends(lay, bone)
    start = ends[0] if joints_of(lay.skeleton, bone)[0] is not None else np.mean(ends, axis=0)
    out = []
    for end in ends:
        length = float(np.linalg.norm(end - start))
        if length > 0.5:
            out.append(cylinder(radius, 0.0, length).transformed(_along(start, end - start)))
    return out


def _along(origin: FloatArray, way: FloatArray) -> FloatArray:
    hint = (
        np.array([1.0, 0.0, 0.0])
        if abs(float(way[0])) < 0.9 * float(np.linalg.norm(way))
        else np.array([0.0, 1.0, 0.0])
    )
    return frame_from_zx(origin, way, hint).matrix


def _sweep(lay: LayFigure, plan: Plan) -> Solid | None:
    """Where a slim limb of the child's least thickness passes: hulls of neighbouring positions, every 15 degrees.

    A hull covers a little more than the sweep, by at most 1 % of the limb's length; twists sweep nothing new.
    """
    joint = plan.joint
    here = joint.frame.origin
    end = _ends(lay, joint.spec.child)[1]
    half = plan.halves[-1]
    r = min((n.half_x for n in half.needs), default=1.5)
    length = float(np.linalg.norm(end - here))
    first = half.cut.cup_mm + r + (0.5 * float(np.linalg.norm(plan.halves[0].frame.origin - half.frame.origin)))
    if length - first < _LEAST_SWEEP_MM:
        return None
    way = (end - here) / length
    ball = sphere(r).mesh.vertices[::7]
    ends = np.concatenate([ball + way * first, ball + way * length])
    hulls = []
    axes = joint.axes
    for motion, (low, high) in joint.spec.wanted.items():
        if motion == "twist" or motion not in axes:
            continue
        rest = joint.rest.get(motion, 0.0)
        steps = max(2, int(np.ceil((high - low) / _STEP_DEG)) + 1)
        turned = [
            ends @ rotation_about(np.asarray(axes[motion]), float(a)).T
            for a in np.linspace(low - rest, high - rest, steps)
        ]
        hulls += [hull(np.concatenate(pair) + here, "sweep") for pair in pairwise(turned)]
    return union(hulls, f"sweep of {joint.name}") if hulls else None
