"""Balls that let go before a swivel breaks: a swivel's stud sits in its bore sideways, so a limb that is bent has to lose a ball.

Asked once all sizes stand. Where the ball above a swivel would be levered out by more than its stud bears, both are chosen
anew: with smaller balls above it, or with a thicker stud, whichever all joints together like better.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from condyle.figure.parting.claims import Claims
from condyle.figure.parting.harmony import solve, twin
from condyle.figure.parting.plan import Plan
from condyle.figure.skeleton import SeatedJoint
from condyle.figure.wishes import JointWish
from condyle.joints import ball, swivel
from condyle.joints.mechanics.release import pry_moment_nmm
from condyle.joints.stock import Stock

_AS_PROVED = 1.7
"""How many times the stress of a stud's smooth bar a proof finds at most: its collar's corner is a notch, and too short for a beam.
On an arm made for it 1.63, on the diver's swivels up to 1.6."""


def with_guards(
    joints: Sequence[SeatedJoint],
    found: Mapping[str, list[Plan]],
    chosen: dict[str, Plan],
    wishes: Mapping[str, JointWish],
    claims: Claims,
    stock: Stock,
) -> dict[str, Plan]:
    """The plans by joint name, those of swivels and the balls above them chosen anew where a stud would break first.

    As they were where neither way keeps every joint and mends every pair, or a wish forbids it.
    """
    weak = [(s, g) for s, g in _guarded(joints, chosen) if _share(joints, chosen[s], chosen[g], stock) > ball.MOST_POP]
    weak = [pair for pair in weak if all(wishes.get(n, JointWish()).protect for n in pair)]
    if not weak:
        return chosen
    alike = {(s, g) for s, g in weak} | {(twin(s), twin(g)) for s, g in weak if twin(s) in chosen and twin(g) in chosen}
    best: dict[str, Plan] | None = None
    for k in (0, 1):
        fewer = dict(found)
        for pair in sorted(alike):
            fewer[pair[k]] = [p for p in fewer[pair[k]] if _holds(joints, p, chosen[pair[1 - k]], k, stock)]
        if not all(fewer[pair[k]] for pair in alike):
            continue
        other = solve(joints, fewer, claims)
        if other.keys() != chosen.keys() or any(
            _share(joints, other[a], other[b], stock) > ball.MOST_POP for a, b in alike
        ):
            continue
        if best is None or _liked(other) > _liked(best):
            best = other
    return best or chosen


def _liked(plans: Mapping[str, Plan]) -> float:
    return sum(p.liking for p in plans.values())


def _guarded(joints: Sequence[SeatedJoint], chosen: Mapping[str, Plan]) -> list[tuple[str, str]]:
    """Each swivel with the nearest ball on the way to the root."""
    by_child = {j.spec.child: j for j in joints}
    out = []
    for joint in joints:
        plan = chosen.get(joint.name)
        if plan is None or not isinstance(plan.halves[0].shape, swivel.SwivelShape):
            continue
        above = by_child.get(joint.spec.parent)
        while above is not None:
            other = chosen.get(above.name)
            if other is not None and isinstance(other.halves[0].shape, ball.BallShape):
                out.append((joint.name, above.name))
                break
            above = by_child.get(above.spec.parent)
    return out


def _holds(joints: Sequence[SeatedJoint], plan: Plan, other: Plan, k: int, stock: Stock) -> bool:
    """Whether a plan of the swivel (``k`` 0) or of its ball (1) lets the ball go in time, the other one as chosen."""
    stud, guard = (plan, other) if k == 0 else (other, plan)
    return _share(joints, stud, guard, stock) <= ball.MOST_POP


def _share(joints: Sequence[SeatedJoint], stud: Plan, guard: Plan, stock: Stock) -> float:
    """What reaches a swivel when its ball is levered out, over what breaks it; 0 where either is of another family.

    The limb's end is taken at the farthest joint beyond; it lies further out, which brings the arms closer to each other, so
    the shorter arm is counted a twentieth longer.
    """
    s, g = stud.halves[0].shape, guard.halves[0].shape
    if not isinstance(s, swivel.SwivelShape) or not isinstance(g, ball.BallShape) or g.socket == "plain":
        return 0.0
    at, above = stud.joint.frame.origin, guard.joint.frame.origin
    ends = [j.frame.origin for j in _beyond(joints, stud.joint.spec.child)]
    end = max(ends, key=lambda e: float(np.linalg.norm(e - at)), default=at + (at - above))
    arms = float(np.linalg.norm(end - at)), max(1.0, float(np.linalg.norm(end - above)))
    pry = pry_moment_nmm(g.passing_n, 2.0 * (g.ball - g.undercut)) * min(1.0, 1.05 * arms[0] / arms[1])
    return _AS_PROVED * pry / swivel.bears_nmm(s, stock)


def _beyond(joints: Sequence[SeatedJoint], bone: str) -> list[SeatedJoint]:
    own = [j for j in joints if j.spec.parent == bone]
    return own + [other for j in own for other in _beyond(joints, j.spec.child)]
