"""One joint cut again while the rest of the figure stays as it is: what a maker sees while a joint is moved.

The whole sculpt is touched once, in ``make_ready``, and once more for each joint that is taken up, in ``stump_of``: the
sculpt cut by every other joint, of which only the body is kept that the joint lies in. Each move then costs a boolean
with that body, hardware, and relief of this one joint. Plans of all other joints stay as they were chosen, so a later
parting of the whole figure may choose otherwise for them, and for this one where its twin could change with it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from condyle.figure.kit import BuiltJoint, Kit, Part
from condyle.figure.parting.assemble import assemble
from condyle.figure.parting.balance import not_inside
from condyle.figure.parting.built import built_joint, refused_joint
from condyle.figure.parting.choice import Choice, Refusal, choose, most_radius_mm, rechosen
from condyle.figure.parting.claims import Claims
from condyle.figure.parting.fall import Fallen, fall_apart, merged
from condyle.figure.parting.flare import flared
from condyle.figure.parting.hardware import Hardware, hardware_of
from condyle.figure.parting.options import options
from condyle.figure.parting.plan import Lack, Plan
from condyle.figure.parting.settle import settled
from condyle.figure.parting.site import Site, cut_frame
from condyle.figure.relief import ReliefWish
from condyle.figure.relief.of_kit import without_new_voids
from condyle.figure.relief.relieve import relieve
from condyle.figure.skeleton import Bone, SeatedJoint, Skeleton
from condyle.figure.wishes import JointWish
from condyle.finding import Finding
from condyle.geometry.locality import Locality
from condyle.geometry.solid import Solid, gather, overlap, remainder, union
from condyle.joints.stock import Stock, stock_of
from condyle.workshop.bench import Workshop

_SLIVER_MM3 = 0.005
_NO_RELIEF = ReliefWish(depth_mm=0.0)

Told = tuple[Solid | None, Solid | None]
"""What a part lost, and what it gained; None for next to nothing."""


@dataclass(frozen=True, eq=False)
class Change:
    """What relief of one joint made of a part, from what it was before."""

    before: Solid
    after: Solid

    @cached_property
    def told(self) -> Told:
        if self.before is self.after:
            return None, None
        lost, gained = (remainder(a, [b]) for a, b in ((self.before, self.after), (self.after, self.before)))
        return _enough(lost), _enough(gained)


@dataclass(frozen=True, eq=False)
class Ready:
    """A figure of which one joint after another can be moved.

    body      the sculpt with its flares
    joints    as settled; plans and hardware: of the joints that are built, by name
    carved    by part and joint: the part before and after the joint's relief, told apart when a neighbour asks
    """

    body: Solid
    skeleton: Skeleton
    joints: dict[str, SeatedJoint]
    wishes: Mapping[str, JointWish]
    workshop: Workshop
    stock: Stock
    plans: dict[str, Plan]
    hardware: dict[str, Hardware]
    carved: dict[tuple[str, str], Change | Told]

    @cached_property
    def locality(self) -> Locality:
        return Locality(self.body.mesh)

    @cached_property
    def part_of(self) -> dict[str, str]:
        """Part name by bone and by ``JOINT_link``."""
        out = merged(self.skeleton, list(self.plans.values()))
        return out | {f"{n}_link": f"{n}_link" for n, p in self.plans.items() if len(p.halves) == 2}

    def ordered(self) -> list[Hardware]:
        """Hardware in the skeleton's order."""
        return [self.hardware[j.name] for j in self.skeleton.joints if j.name in self.hardware]


@dataclass(frozen=True, eq=False)
class Stump:
    """The body of the sculpt that a joint lies in when every other joint is cut. ``part`` is its name."""

    joint: str
    part: str
    flesh: Solid


@dataclass(frozen=True, eq=False)
class Recut:
    """A joint cut again: the parts on its sides, the joint as built or refused, findings, and the figure from here on.

    gone  names of parts that are no more, since the joint is not built now
    """

    parts: tuple[Part, ...]
    gone: tuple[str, ...]
    joint: BuiltJoint
    findings: tuple[Finding, ...]
    ready: Ready


def make_ready(
    sculpt: Solid,
    skeleton: Skeleton,
    seated: Sequence[SeatedJoint],
    workshop: Workshop,
    wishes: Mapping[str, JointWish],
    kit: Kit,
) -> Ready:
    """Choose and make what ``part`` does for the same figure; ``kit`` is what it made of it, with its relief.

    Takes about as long as parting without relief. Errors as ``part``.
    """
    stock = stock_of(workshop)
    locality = Locality(sculpt.mesh)
    height = float(sculpt.bounds[1, 2] - sculpt.bounds[0, 2])
    placed = [_settled(j, locality, height, wishes) for j in seated]
    choice: Choice = choose(placed, wishes, locality, workshop.fits, workshop.kerf_mm, stock)
    body, _ = flared(sculpt, choice.plans, stock)
    made = [hardware_of(plan, stock) for plan in choice.plans]
    fallen = fall_apart(body, skeleton, made, stock)
    made = [h for h in made if h.plan.joint.name not in fallen.hanging]
    parts, _ = assemble(fallen, made)
    hardware = {h.plan.joint.name: h for h in made}
    plans = {name: h.plan for name, h in hardware.items()}
    carved = _carved(parts, kit, plans)
    return Ready(body, skeleton, {j.name: j for j in placed}, wishes, workshop, stock, plans, hardware, carved)


def stump_of(ready: Ready, joint: str) -> Stump:
    """The body that a joint lies in. One boolean with the whole sculpt."""
    others = [h for h in ready.ordered() if h.plan.joint.name != joint]
    fallen = fall_apart(ready.body, ready.skeleton, others, ready.stock)
    name = fallen.part_of[ready.skeleton.joint(joint).child]
    return Stump(joint, name, fallen.flesh[name])


def recut(ready: Ready, stump: Stump, moved: SeatedJoint, wish: JointWish, parts: Mapping[str, Part]) -> Recut:
    """Cut one joint at its new place, or as its new wish has it.

    ``parts`` are all parts of the figure as it stands (relief of a joint looks at all that moves with it); those on both
    sides of the joint are made anew.
    """
    stock = ready.stock
    wishes = {**ready.wishes, moved.name: wish}
    joint = _settled(moved, ready.locality, float(np.ptp(ready.body.bounds[:, 2])), wishes)
    joints = {**ready.joints, moved.name: joint}
    others = {n: p for n, p in ready.plans.items() if n != moved.name}
    before = {ready.part_of[n] for n in (moved.spec.child, f"{moved.name}_link") if n in ready.part_of}
    had, shop = ready.plans.get(moved.name), ready.workshop
    chosen = rechosen(joint, list(joints.values()), others, had, wish, ready.locality, shop.fits, shop.kerf_mm, stock)
    plans, hardware = dict(others), {n: h for n, h in ready.hardware.items() if n != moved.name}
    hanging = None
    own: Hardware | None = None
    fallen = _whole(stump)
    if isinstance(chosen, Plan):
        own = hardware_of(chosen, stock)
        spec = chosen.joint.spec
        two = Skeleton(ready.skeleton.name, (Bone(spec.parent, None), Bone(spec.child, spec.parent)), (spec,))
        cut = fall_apart(stump.flesh, two, [own], stock)
        hanging = cut.hanging.get(moved.name)
        if hanging is None:
            plans[moved.name], hardware[moved.name] = chosen, own
            fallen = replace(cut, flesh={stump.part if n == spec.parent else n: s for n, s in cut.flesh.items()})
    after = replace(ready, joints=joints, wishes=wishes, plans=plans, hardware=hardware, carved=dict(ready.carved))
    fallen = replace(fallen, part_of=after.part_of, bone_of={n: _bone(n, moved) for n in fallen.flesh})
    raw, found = assemble(fallen, after.ordered())
    raised = [replace(p, solid=_with_relief(p, ready, moved.name)) for p in raw]
    there = {n: p for n, p in parts.items() if n not in before} | {p.name: p for p in raised}
    done = {p.name: p for p in raised}
    if moved.name in hardware:
        only = {n: replace(wishes.get(n, JointWish()), relief=_NO_RELIEF) for n in hardware if n != moved.name}
        relieved = relieve(list(there.values()), ready.body, after.ordered(), after.part_of, {**wishes, **only}, stock)
        found = (*found, *relieved.findings)
        for new in relieved.parts:
            if new.name in done:
                whole = without_new_voids(done[new.name].solid, new.solid)
                after.carved[new.name, moved.name] = Change(done[new.name].solid, whole)
                done[new.name] = replace(new, solid=whole)
    if own is not None and moved.name in hardware:
        record = built_joint(own, after.part_of, _outside_mm3(own, stump, ready.body), stock)
    else:
        refusal = chosen if isinstance(chosen, Refusal) else None
        record = refused_joint(joint, refusal, hanging)
    gone = tuple(sorted(before - set(done)))
    return Recut(tuple(done.values()), gone, record, (*fallen.findings, *found), after)


def sizes_that_fit(ready: Ready, moved: SeatedJoint, wish: JointWish) -> tuple[tuple[float, ...], Lack]:
    """The sizes of its family that a joint could have at a place beside all others, largest first, mm.

    And what the smallest one lacks where none fits.
    """
    joint = replace(moved, spec=replace(moved.spec, size=None))
    others = [p for n, p in ready.plans.items() if n != moved.name]
    shop, around = ready.workshop, [*(j for n, j in ready.joints.items() if n != moved.name), joint]
    most = {side: most_radius_mm(joint, side, around, shop.kerf_mm, ready.stock) for side in ("parent", "child")}
    site = Site(cut_frame(joint, joint.frame.origin), ready.locality)
    found, lack = options(site, joint, replace(wish, size_mm=None), shop.fits, shop.kerf_mm, most, ready.stock)
    claims = Claims(ready.stock.wall_mm)
    fit: set[float] = set()
    for plan in found:
        if plan.size_mm not in fit and not any(claims.clash(plan, o) for o in others):
            fit.add(plan.size_mm)
    return tuple(sorted(fit, reverse=True)), lack


def _settled(joint: SeatedJoint, locality: Locality, height: float, wishes: Mapping[str, JointWish]) -> SeatedJoint:
    asked = wishes.get(joint.name, JointWish()).seam_mm
    return settled(joint, locality, height, joint.spec.seam_mm if asked is None else asked)


def _whole(stump: Stump) -> Fallen:
    """A stump that is not cut."""
    return Fallen({stump.part: stump.flesh}, {}, {}, {}, stump.flesh.volume_mm3, (), {})


def _bone(part: str, joint: SeatedJoint) -> str:
    return joint.spec.child if part == f"{joint.name}_link" else part


def _carved(raw: Sequence[Part], kit: Kit, plans: Mapping[str, Plan]) -> dict[tuple[str, str], Change | Told]:
    """By part and joint what relief changed; each piece of the change goes to the nearest of the part's joints."""
    made = {p.name: p for p in kit.parts}
    out: dict[tuple[str, str], Change | Told] = {}
    for part in raw:
        if part.name not in made:
            continue
        at = {
            j.name: np.array([a.centre for a in j.axles])
            for j in kit.joints
            if j.built and j.name in plans and any(part.name in (a.moves, a.stays) for a in j.axles)
        }
        changes: dict[str, tuple[list[Solid], list[Solid]]] = {}
        for k, change in enumerate(Change(part.solid, made[part.name].solid).told):
            for piece in [] if change is None else change.components():
                middle = piece.bounds.mean(axis=0)
                owner = min(at, key=lambda n: float(np.linalg.norm(at[n] - middle, axis=1).min()), default="")
                if owner and _enough(piece):
                    changes.setdefault(owner, ([], []))[k].append(piece)
        for name, both in changes.items():
            taken, given = (gather(pieces) if pieces else None for pieces in both)
            out[part.name, name] = (taken, given)
    return out


def _enough(solid: Solid | None) -> Solid | None:
    return None if solid is None or solid.volume_mm3 < _SLIVER_MM3 else solid


def _with_relief(part: Part, ready: Ready, moved: str) -> Solid:
    """A part as assembled, with the relief that its other joints had: two booleans, however many these are."""
    told = [
        c if isinstance(c, tuple) else c.told for (n, j), c in ready.carved.items() if n == part.name and j != moved
    ]
    given = [g for _, g in told if g is not None]
    taken = [t for t, _ in told if t is not None]
    solid = union([part.solid, *given], part.name)
    solid = remainder(solid, taken) or solid
    return solid.components()[0] if solid is not part.solid else solid


def _outside_mm3(hardware: Hardware, stump: Stump, body: Solid) -> float:
    """How much of a joint's hardware stands out of the skin of its own limb."""
    added = [s for side in ("parent", "child", "link") for s in hardware.added(side)]
    proud = not_inside(added, body)
    outside = remainder(gather(proud), [stump.flesh]) if proud else None
    if outside is None:
        return 0.0
    shared = [overlap(s, outside) for s in added]
    return sum(s.volume_mm3 for s in shared if s is not None)
