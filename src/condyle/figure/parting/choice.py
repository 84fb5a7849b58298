"""Choosing one plan for every joint so that neighbours leave each other room in the bones that they share."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from condyle.figure.parting.claims import Claims
from condyle.figure.parting.guards import with_guards
from condyle.figure.parting.harmony import solve, twin
from condyle.figure.parting.options import instead, options
from condyle.figure.parting.plan import Lack, Plan
from condyle.figure.parting.site import Site, cut_frame
from condyle.figure.parting.surer import on_surer_necks, surer
from condyle.figure.skeleton import SeatedJoint
from condyle.figure.wishes import JointWish
from condyle.geometry.locality import Locality
from condyle.joints.stock import Stock
from condyle.workshop.fits import Fits


@dataclass(frozen=True)
class Refusal:
    """A joint that is not built: what is missing, or which neighbour leaves no room.

    ``would_fit_mm`` is the size that the limb takes, where another one was asked for. With ``beside``, a neighbour,
    ``lack`` is the length of limb that is missing between the two, and ``would_fit_mm`` the size of the neighbour's
    hardware that would leave room, where there is one.
    """

    joint: SeatedJoint
    lack: Lack
    beside: str = ""
    would_fit_mm: float | None = None


_FEW = 12
_Arguments = tuple[Site, SeatedJoint, JointWish, Fits, float, dict[str, float], Stock]


@dataclass(frozen=True)
class Choice:
    """The plan of every joint that is built, and the refusals, each in the order of the joints."""

    plans: tuple[Plan, ...]
    refusals: tuple[Refusal, ...]


def choose(
    joints: Sequence[SeatedJoint],
    wishes: Mapping[str, JointWish],
    locality: Locality,
    fits: Fits,
    kerf_mm: float,
    stock: Stock,
) -> Choice:
    """The plans that are liked best together, no two claiming the same flesh."""
    found: dict[str, list[Plan]] = {}
    lacks: dict[str, Lack] = {}
    fitting: dict[str, float] = {}
    arguments: dict[str, _Arguments] = {}
    for joint in joints:
        wish = wishes.get(joint.name, JointWish())
        site = Site(cut_frame(joint, joint.frame.origin), locality)
        most = {side: most_radius_mm(joint, side, joints, kerf_mm, stock) for side in ("parent", "child")}
        arguments[joint.name] = (site, joint, wish, fits, kerf_mm, most, stock)
        found[joint.name], lacks[joint.name] = options(*arguments[joint.name])
        if not found[joint.name] and (wish.size_mm or joint.spec.size):
            free = replace(joint, spec=replace(joint.spec, size=None))
            free_plans, _ = options(site, free, replace(wish, size_mm=None), fits, kerf_mm, most, stock)
            if free_plans:
                fitting[joint.name] = free_plans[0].size_mm
    claims = Claims(stock.wall_mm)
    chosen = solve(joints, found, claims)
    others = _simpler(joints, chosen, arguments)
    if others:
        found = {name: found[name] + others.get(name, []) for name in found}
        chosen = solve(joints, found, claims)
    chosen = with_guards(joints, found, chosen, wishes, claims, stock)
    chosen = on_surer_necks({j.name: chosen[j.name] for j in joints if j.name in chosen}, wishes, claims, stock)
    plans = tuple(chosen.values())
    refusals = tuple(
        crowded(j, found, plans, claims) or Refusal(j, lacks[j.name], would_fit_mm=fitting.get(j.name))
        for j in joints
        if j.name not in chosen
    )
    return Choice(plans, refusals)


def rechosen(
    joint: SeatedJoint,
    joints: Sequence[SeatedJoint],
    others: Mapping[str, Plan],
    before: Plan | None,
    wish: JointWish,
    locality: Locality,
    fits: Fits,
    kerf_mm: float,
    stock: Stock,
) -> Plan | Refusal:
    """The plan of one joint while all others keep theirs, one that clashes with none of them.

    It keeps the form that it had ``before``, where that still fits, or takes its twin's; else the best liked.
    """
    site = Site(cut_frame(joint, joint.frame.origin), locality)
    most = {side: most_radius_mm(joint, side, joints, kerf_mm, stock) for side in ("parent", "child")}
    claims = Claims(stock.wall_mm)
    if before is not None and not wish.size_mm and not joint.spec.size:
        # Most moves keep the form: of its size alone a few plans are made, of all sizes hundreds.
        same, _ = options(site, joint, replace(wish, size_mm=before.size_mm), fits, kerf_mm, most, stock)
        for plan in same:
            if plan.variant == before.variant and not any(claims.clash(plan, o) for o in others.values()):
                return surer([plan], list(others.values()), claims, stock, protect=wish.protect)[0]
    found, lack = options(site, joint, wish, fits, kerf_mm, most, stock)
    found += instead(site, joint, wish, fits, kerf_mm, most, stock)
    forms = [p.variant for p in (before, others.get(twin(joint.name))) if p is not None]
    ordered = sorted(found, key=lambda p: forms.index(p.variant) if p.variant in forms else len(forms))
    free = (p for p in ordered if not any(claims.clash(p, o) for o in others.values()))
    best = next(free, None)
    if best is None:
        return crowded(joint, {joint.name: found}, tuple(others.values()), claims) or Refusal(joint, lack)
    return surer([best], list(others.values()), claims, stock, protect=wish.protect)[0]


def _simpler(
    joints: Sequence[SeatedJoint], chosen: Mapping[str, Plan], arguments: Mapping[str, _Arguments]
) -> dict[str, list[Plan]]:
    """Plans of simpler families for the joints that found no room, and for their twins, so that both can be alike."""
    left_out = {j.name for j in joints if j.name not in chosen}
    wanted = left_out | {twin(name) for name in left_out}
    found = {j.name: instead(*arguments[j.name]) for j in joints if j.name in wanted}
    return {name: plans for name, plans in found.items() if plans}


def crowded(
    joint: SeatedJoint, found: Mapping[str, list[Plan]], plans: Sequence[Plan], claims: Claims
) -> Refusal | None:
    """How much room a neighbour takes from a joint that would fit by itself; None when it would not."""
    best: tuple[float, Plan, Plan] | None = None
    for own in sorted(found[joint.name], key=lambda p: (p.size_mm, -p.liking))[:_FEW]:
        crowding = [(claims.overlap_mm(own, p), p) for p in plans if claims.clash(own, p)]
        worst = max(crowding, key=lambda c: c[0], default=None)
        if worst is not None and (best is None or worst[0] < best[0]):
            best = (worst[0], own, worst[1])
    if best is None:
        return None
    missing, own, other = best
    name = other.joint.name
    sizes = [p.size_mm for p in found.get(name, ()) if not claims.clash(own, p)]
    return Refusal(joint, Lack(own.size_mm, missing, 0.0), name, max(sizes, default=None))


def most_radius_mm(joint: SeatedJoint, cup: str, joints: Sequence[SeatedJoint], kerf_mm: float, stock: Stock) -> float:
    """The largest cut radius when ``cup`` (``parent`` or ``child``) is hollowed, beside the other joints of that bone.

    Twins (left and right) share the way between them; any other neighbour is left 4 mm for its own hardware, and the
    claims settle the rest.
    """
    bone = getattr(joint.spec, cup)
    most = 30.0
    for other in joints:
        if other.name == joint.name or bone not in (other.spec.parent, other.spec.child):
            continue
        apart = float(np.linalg.norm(other.frame.origin - joint.frame.origin)) - stock.wall_mm
        most = min(most, 0.5 * apart if other.name == twin(joint.name) else apart - 4.0)
    return most - kerf_mm
