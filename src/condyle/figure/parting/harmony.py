"""The plans that are liked best together: dynamic programming along the kinematic tree, left and right alike.

The best choice below a joint depends only on that joint's own plan, so each limb is solved exactly. Left and right are
one choice as long as both limbs can take the same form. Joints side by side on one bone (neck and shoulders) are not on
one path: where their best plans clash, the plan whose loss is smaller is struck out and the tree solved again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from condyle.figure.parting.claims import Claims
from condyle.figure.parting.plan import Plan
from condyle.figure.skeleton import SeatedJoint
from condyle.geometry.formsets import Known
from condyle.geometry.mesh import FloatArray, IntArray

_ROUNDS = 200
_MOST_PLANS = 200
# What it costs to leave a joint out: more than any step down in size, and less for a swivel, since the ball beside it
# does some of its work.
_REFUSED = {"swivel": 40.0, "peg": 40.0}
_REFUSED_ELSE = 60.0


@dataclass(eq=False)
class _Group:
    """One joint, or a left and a right one that are chosen together; ``sets`` holds a plan for each of its joints."""

    joints: tuple[SeatedJoint, ...]
    sets: list[tuple[Plan, ...]]
    refused: float
    struck: set[int]

    @property
    def name(self) -> str:
        return self.joints[0].name


def solve(joints: Sequence[SeatedJoint], found: Mapping[str, list[Plan]], claims: Claims) -> dict[str, Plan]:
    """The chosen plan by joint name; joints that find no room are left out.

    joints in the skeleton's order; found: the plans of each joint, best liked first.
    """
    groups = _groups(joints, found)
    tree = _Tree(groups, claims)
    chosen: dict[str, int] = {}
    for _ in range(_ROUNDS):
        costs = tree.costs()
        chosen = tree.walk(costs)
        pair = tree.side_by_side(chosen)
        if pair is None:
            break
        loser = min(pair, key=lambda n: (tree.loss(n, chosen[n], costs), n))
        tree.by_name[loser].struck.add(chosen[loser])
    out: dict[str, Plan] = {}
    for name, k in chosen.items():
        group = tree.by_name[name]
        out.update({j.name: p for j, p in zip(group.joints, group.sets[k], strict=True)})
    return out


def twin(name: str) -> str:
    """The joint's name on the other side; empty on the midline."""
    stem, _, side = name.rpartition("_")
    return {"left": f"{stem}_right", "right": f"{stem}_left"}.get(side, "")


def _groups(joints: Sequence[SeatedJoint], found: Mapping[str, list[Plan]]) -> list[_Group]:
    """Twins in one group where they share forms; below a pair that was taken apart, everything is taken apart."""
    by_name = {j.name: j for j in joints}
    above = {j.name: next((o.name for o in joints if o.spec.child == j.spec.parent), "") for j in joints}
    apart: set[str] = set()
    groups: list[_Group] = []
    for joint in joints:
        other = by_name.get(twin(joint.name))
        if any(joint.name in (j.name for j in g.joints) for g in groups):
            continue
        shared: list[tuple[Plan, ...]] = []
        if other is not None and above[joint.name] not in apart and above[other.name] not in apart:
            theirs = {p.variant: p for p in found[other.name]}
            shared = [(p, theirs[p.variant]) for p in found[joint.name] if p.variant in theirs]
        refused = _REFUSED.get(joint.spec.kind, _REFUSED_ELSE)
        neither = other is not None and not found[joint.name] and not found[other.name]
        if other is not None and (shared or neither):
            shared.sort(key=lambda pair: -sum(p.liking for p in pair))
            groups.append(_Group((joint, other), _varied(shared), 2 * refused, set()))
            continue
        if other is not None:
            apart.add(joint.name)
        groups.append(_Group((joint,), _varied([(p,) for p in found[joint.name]]), refused, set()))
    return groups


def _varied(sets: list[tuple[Plan, ...]]) -> list[tuple[Plan, ...]]:
    """A short list that still holds every way out: the best of each size, side, place, length and insert."""
    kept: dict[tuple[float, str, tuple[int, ...], int, int, str], tuple[Plan, ...]] = {}
    for plans in sets:
        half = plans[0].halves[0]
        place = tuple(round(float(v)) for v in half.frame.origin)
        deep = round(max(n.z1 for n in half.needs))
        form = (plans[0].size_mm, half.knuckle_side, place, deep, round(half.cut.radius_mm), plans[0].insert)
        kept.setdefault(form, plans)
    return list(kept.values())[:_MOST_PLANS]


class _Tree:
    """Groups under the group whose child bone they hang on."""

    def __init__(self, groups: list[_Group], claims: Claims) -> None:
        self.by_name = {g.name: g for g in groups}
        self._claims = claims
        self._numbers = {g.name: claims.numbered(g.sets) for g in groups}
        self._clashes: dict[tuple[str, str], Known] = {}
        self._below: dict[str, list[str]] = {g.name: [] for g in groups}
        self._roots: list[str] = []
        parents = {j.spec.parent for g in groups for j in g.joints}
        children = {j.spec.child for g in groups for j in g.joints}
        base = parents - children
        first = next((g.name for g in groups if g.joints[0].spec.parent in base), "")
        for g in groups:
            bone = g.joints[0].spec.parent
            home = next((o.name for o in groups if any(j.spec.child == bone for j in o.joints)), None)
            if home is not None:
                self._below[home].append(g.name)
            elif g.name == first:
                self._roots.append(g.name)
            else:
                # Hangs on the root bone beside the first joint: put below it, so that the two are solved together.
                self._below[first].append(g.name)

    def costs(self) -> dict[str, FloatArray]:
        """By group: the cost of each of its sets with the best of everything below; the last entry is no set."""
        costs: dict[str, FloatArray] = {}

        def visit(name: str) -> None:
            group = self.by_name[name]
            own = np.array([-sum(p.liking for p in plans) for plans in group.sets] + [group.refused])
            own[list(group.struck)] = np.inf
            for below in self._below[name]:
                visit(below)
                finite = np.flatnonzero(np.isfinite(own))
                own[finite] += costs[below][self._answers(name, finite, below, costs)]
            costs[name] = own

        for root in self._roots:
            visit(root)
        return costs

    def walk(self, costs: dict[str, FloatArray]) -> dict[str, int]:
        """The best set by group name; refused groups are left out."""
        chosen: dict[str, int] = {}

        def visit(name: str, k: int) -> None:
            if k < len(self.by_name[name].sets):
                chosen[name] = k
            for below in self._below[name]:
                visit(below, int(self._answers(name, np.array([k]), below, costs)[0]))

        for root in self._roots:
            visit(root, int(np.argmin(costs[root])))
        return chosen

    def _answers(self, name: str, sets: NDArray[np.intp], below: str, costs: dict[str, FloatArray]) -> IntArray:
        """The best set of the group below for each given set of the one above; a group's length stands for no set."""
        order = np.argsort(costs[below], kind="stable").astype(np.int32)
        out = np.full(len(sets), order[0], dtype=np.int32)
        some = sets < len(self.by_name[name].sets)
        wanted = sets[some].astype(np.int32)
        mine, theirs = self._numbers[name], self._numbers[below]
        out[some] = self._claims.best_beside(mine, wanted, theirs, order, self._known(name, below))
        return out

    def _known(self, a: str, b: str) -> Known:
        if (a, b) not in self._clashes:
            self._clashes[a, b] = np.full((len(self._numbers[a]), len(self._numbers[b])), -1, dtype=np.int8)
        return self._clashes[a, b]

    def _clash(self, a: str, k: int, b: str, j: int) -> bool:
        one, two = self.by_name[a].sets[k], self.by_name[b].sets[j]
        return any(self._claims.clash(p, q) for p in one for q in two)

    def side_by_side(self, chosen: dict[str, int]) -> tuple[str, str] | None:
        """Two chosen groups that clash though they are not above one another; a pair that clashes in itself too."""
        names = list(chosen)
        for i, a in enumerate(names):
            plans = self.by_name[a].sets[chosen[a]]
            if len(plans) == 2 and self._claims.clash(*plans):
                return a, a
            for b in names[i + 1 :]:
                if self._clash(a, chosen[a], b, chosen[b]):
                    return a, b
        return None

    def loss(self, name: str, k: int, costs: dict[str, FloatArray]) -> float:
        """What it costs to do without a group's chosen set."""
        others = np.delete(costs[name], k)
        return float(others.min() - costs[name][k])
