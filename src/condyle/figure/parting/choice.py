"""Choosing one plan for every joint so that neighbours leave each other room in the bones that they share."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from condyle.figure.parting.claims import Claims
from condyle.figure.parting.harmony import solve, twin
from condyle.figure.parting.options import options
from condyle.figure.parting.plan import Lack, Plan
from condyle.figure.parting.site import Site, cut_frame
from condyle.figure.skeleton import SeatedJoint
from condyle.figure.wishes import JointWish
from condyle.geometry.locality import Locality
from condyle.joints.stock import Stock
from condyle.workshop.fits import Fits


@dataclass(frozen=True)
class Refusal:
    """A joint that is not built: what is missing, or which neighbour leaves no room.

    ``would_fit_mm`` is the size that the limb takes, where another one was asked for.
    """

    joint: SeatedJoint
    lack: Lack
    beside: str = ""
    would_fit_mm: float | None = None


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
    for joint in joints:
        wish = wishes.get(joint.name, JointWish())
        site = Site(cut_frame(joint, joint.frame.origin), locality)
        most = {side: _most(joint, side, joints, kerf_mm, stock) for side in ("parent", "child")}
        found[joint.name], lacks[joint.name] = options(site, joint, wish, fits, kerf_mm, most, stock)
        if not found[joint.name] and (wish.size_mm or joint.spec.size):
            free = replace(joint, spec=replace(joint.spec, size=None))
            others, _ = options(site, free, replace(wish, size_mm=None), fits, kerf_mm, most, stock)
            if others:
                fitting[joint.name] = others[0].size_mm
    claims = Claims(stock.wall_mm)
    chosen = solve(joints, found, claims)
    plans = tuple(chosen[j.name] for j in joints if j.name in chosen)
    refusals = tuple(
        Refusal(j, lacks[j.name], _crowding(found[j.name], plans, claims), fitting.get(j.name))
        for j in joints
        if j.name not in chosen
    )
    return Choice(plans, refusals)


def _crowding(own: list[Plan], plans: Sequence[Plan], claims: Claims) -> str:
    """The neighbour that leaves no room for a joint which would fit by itself; empty when it would not."""
    if not own:
        return ""
    smallest = min(own, key=lambda p: p.size_mm)
    return next((p.joint.name for p in plans if claims.clash(smallest, p)), "its neighbours")


def _most(joint: SeatedJoint, cup: str, joints: Sequence[SeatedJoint], kerf_mm: float, stock: Stock) -> float:
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
