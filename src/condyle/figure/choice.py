"""Choosing one plan for every joint so that neighbours leave each other room in the bones that they share."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from condyle.figure.claims import Claims
from condyle.figure.options import options
from condyle.figure.plan import Lack, Plan
from condyle.figure.site import Locality, Site, cut_frame
from condyle.figure.skeleton import SeatedJoint
from condyle.figure.wishes import JointWish
from condyle.geometry.mesh import FloatArray
from condyle.joints.stock import Stock
from condyle.workshop.fits import Fits

_ROUNDS = 300
# What it costs to leave a joint out: more than any step down in size, and less for a swivel, since the ball beside it
# does some of its work.
_REFUSED = {"swivel": 40.0, "peg": 40.0}
_REFUSED_ELSE = 60.0


@dataclass(frozen=True)
class Refusal:
    """A joint that is not built: what is missing, or which neighbour leaves no room."""

    joint: SeatedJoint
    lack: Lack
    beside: str = ""


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
    for joint in joints:
        wish = wishes.get(joint.name, JointWish())
        site = Site(cut_frame(joint, joint.frame.origin), locality)
        most = {side: _most(joint, side, joints, kerf_mm, stock) for side in ("parent", "child")}
        fitting, lacks[joint.name] = options(site, joint, wish, fits, kerf_mm, most, stock)
        found[joint.name] = _varied(fitting)
    tree = _Tree(joints, found, Claims(stock.wall_mm))
    chosen = tree.solve()
    plans = tuple(found[j.name][chosen[j.name]] for j in joints if j.name in chosen)
    refusals = tuple(Refusal(j, lacks[j.name], tree.crowded(j.name, chosen)) for j in joints if j.name not in chosen)
    return Choice(plans, refusals)


def _varied(plans: list[Plan]) -> list[Plan]:
    """A short list that still holds every way out: the best of each size, side, place and length."""
    kept: dict[tuple[float, str, tuple[int, ...], int, int], Plan] = {}
    for plan in plans:
        half = plan.halves[0]
        place = tuple(round(float(v)) for v in half.frame.origin)
        deep = round(max(n.z1 for n in half.needs))
        kept.setdefault((plan.size_mm, half.knuckle_side, place, deep, round(half.cut.radius_mm)), plan)
    return list(kept.values())[:48]


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
        most = min(most, 0.5 * apart if other.name == _twin(joint.name) else apart - 4.0)
    return most - kerf_mm


class _Tree:
    """Dynamic programming along the kinematic tree, limbs first.

    The best choice below a joint depends only on that joint's own plan, so each limb is solved exactly. Joints that
    share a bone side by side (hips, shoulders and neck) are not on one path: where their best plans clash, the plan
    whose loss is smaller is struck out and the tree solved again.
    """

    def __init__(self, joints: Sequence[SeatedJoint], found: dict[str, list[Plan]], claims: Claims) -> None:
        self._joints = {j.name: j for j in joints}
        self._found = found
        self._claims = claims
        self._struck: dict[str, set[int]] = {j.name: set() for j in joints}
        parents = {j.spec.parent for j in joints}
        children = {j.spec.child for j in joints}
        self._roots = [j.name for j in joints if j.spec.parent in parents - children]

    def solve(self) -> dict[str, int]:
        """The index of the chosen plan by joint; joints without any are left out."""
        chosen: dict[str, int] = {}
        for _ in range(_ROUNDS):
            best = self._best()
            chosen = {}
            for root in self._roots:
                self._walk(root, -2, best, chosen)
            pair = self._side_by_side(chosen)
            if pair is None:
                return chosen
            loser = min(pair, key=lambda n: (self._loss(n, chosen[n], best), n))
            self._strike(loser, chosen)
        return chosen

    def crowded(self, name: str, chosen: dict[str, int]) -> str:
        """The neighbour that leaves no room for a joint which would fit by itself; empty when it would not."""
        if not self._found[name]:
            return ""
        smallest = min(self._found[name], key=lambda p: p.size_mm)
        near = [n for n, k in chosen.items() if self._claims.clash(smallest, self._found[n][k])]
        return near[0] if near else "its neighbours"

    def _below(self, name: str) -> list[str]:
        bone = self._joints[name].spec.child
        return [n for n, j in self._joints.items() if j.spec.parent == bone]

    def _best(self) -> dict[str, FloatArray]:
        """By joint: the cost of each of its plans with the best of everything below it; the last entry is no plan."""
        costs: dict[str, FloatArray] = {}

        def visit(name: str) -> None:
            plans = self._found[name]
            kind = self._joints[name].spec.kind
            own = np.array([-p.liking for p in plans] + [_REFUSED.get(kind, _REFUSED_ELSE)])
            own[list(self._struck[name])] = np.inf
            for below in self._below(name):
                visit(below)
                for k in range(len(own)):
                    if np.isfinite(own[k]):
                        own[k] += costs[below][self._answer(name, k, below, costs)]
            costs[name] = own

        for root in self._roots:
            visit(root)
        return costs

    def _answer(self, name: str, k: int, below: str, costs: dict[str, FloatArray]) -> int:
        """The best plan of the joint below, given the plan of the one above (out of range for none)."""
        plans = self._found[name]
        order = np.argsort(costs[below], kind="stable")
        for j in order:
            if j >= len(self._found[below]) or k < 0 or k >= len(plans):
                return int(j)
            if not self._claims.clash(plans[k], self._found[below][j]):
                return int(j)
        return len(self._found[below])

    def _walk(self, name: str, above: int, costs: dict[str, FloatArray], chosen: dict[str, int]) -> None:
        k = int(np.argmin(costs[name])) if above == -2 else above
        if k < len(self._found[name]):
            chosen[name] = k
        for below in self._below(name):
            self._walk(below, self._answer(name, k, below, costs), costs, chosen)

    def _side_by_side(self, chosen: dict[str, int]) -> tuple[str, str] | None:
        names = list(chosen)
        for i, a in enumerate(names):
            for b in names[i + 1 :]:
                if self._claims.clash(self._found[a][chosen[a]], self._found[b][chosen[b]]):
                    return a, b
        return None

    def _strike(self, loser: str, chosen: dict[str, int]) -> None:
        """Strike out a plan, and the same one of its twin, so that left and right stay alike."""
        self._struck[loser].add(chosen[loser])
        twin = _twin(loser)
        if twin in chosen:
            mine, other = self._found[loser][chosen[loser]], self._found[twin][chosen[twin]]
            if (mine.size_mm, mine.socket, mine.halves[0].knuckle_side) == (
                other.size_mm,
                other.socket,
                other.halves[0].knuckle_side,
            ):
                self._struck[twin].add(chosen[twin])

    def _loss(self, name: str, k: int, costs: dict[str, FloatArray]) -> float:
        others = np.delete(costs[name], k)
        return float(others.min() - costs[name][k])


def _twin(name: str) -> str:
    """The joint's name on the other side; empty on the midline."""
    stem, _, side = name.rpartition("_")
    return {"left": f"{stem}_right", "right": f"{stem}_left"}.get(side, "")
