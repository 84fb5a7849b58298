"""Necks drawn thicker once every joint has its plan, where flesh and neighbours leave room for their roots.

A beam finds the neck of a chosen ball sound; a proof of the finished neck may not, where it is too short for a beam. Done
last, it takes no size from any joint; left and right are drawn alike.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from condyle.figure.parting.claims import Claims
from condyle.figure.parting.harmony import twin
from condyle.figure.parting.plan import Plan, lack
from condyle.figure.wishes import JointWish
from condyle.joints import ball
from condyle.joints.design import Need
from condyle.joints.stock import Stock

_FLARE = 1.5  # of the neck, as wide as the root of a ball's stud becomes


def on_surer_necks(
    chosen: Mapping[str, Plan], wishes: Mapping[str, JointWish], claims: Claims, stock: Stock
) -> dict[str, Plan]:
    """The plans by joint name, in their order, each ball on the thickest neck up to ``ball.SURE_POP`` that finds room."""
    out = dict(chosen)
    done: set[str] = set()
    for name in chosen:
        other = twin(name)
        alike = other in out and out[other].variant == out[name].variant and out[other].kind == out[name].kind
        pair = [name, other] if alike else [name]
        if name in done:
            continue
        done.update(pair)
        found = surer(
            [out[n] for n in pair], [p for n, p in out.items() if n not in pair], claims, stock,
            protect=all(wishes.get(n, JointWish()).protect for n in pair),
        )  # fmt: skip
        out.update(zip(pair, found, strict=True))
    return out


def surer(
    plans: Sequence[Plan], others: Sequence[Plan], claims: Claims, stock: Stock, *, protect: bool
) -> Sequence[Plan]:
    """One plan, or a left and a right one alike, on the thickest necks that clash with no other; else as they are."""
    steps = [_thicker(p, stock) for p in plans] if protect else []
    for drawn in zip(*steps, strict=False):
        fits = [p for p in drawn if p is not None]
        if len(fits) < len(plans) or any(claims.clash(p, o) for p in fits for o in others):
            continue
        if len(fits) < 2 or not claims.clash(*fits):
            return fits
    return plans


def _thicker(plan: Plan, stock: Stock) -> list[Plan | None]:
    """The plan on each of its ball's surer necks, thickest first; None where flesh is missing for the neck's root."""
    half = plan.halves[0]
    if not isinstance(half.shape, ball.BallShape) or plan.insert or len(plan.halves) > 1:
        return []
    out: list[Plan | None] = []
    for shape in ball.surer(half.shape, stock):
        needs = ball.needs(shape, half.cut, stock)
        # Its root flares out further than a plain neck's needs say; it must not come out through the skin.
        foot = -half.cut.cup_mm - ball.root_mm(shape)
        flare = Need(foot, foot + 0.5 * ball.root_mm(shape), _FLARE * shape.neck, _FLARE * shape.neck)
        room = lack(half.prospect, (*needs, flare))[0] <= plan.flare_mm
        out.append(replace(plan, halves=(replace(half, shape=shape, needs=needs),)) if room else None)
    return out
